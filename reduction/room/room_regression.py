"""A room's heat balance as a regression: linear in every conductance and capacity once the time constants are chosen.

Averaged between two observations, the balance of `reduction.room.relaxation` reads, what is sought in capitals,

    P = Σ UA_k [T_room − T_k + Σ_p w_p·r_p(T_k)] + C·ΔT_room/Δt + Σ_p [H_p·r_p(T_room) + Z_p·e^(−t/τ_p)]

Its noise is that of two thermometer readings, times C/Δt, and what a few stores cannot follow, which wanders over
hours: generalised least squares. Time constants, and the share of UA that lies behind slow stores, are a grid: every
member is solved exactly and weighted by its evidence.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations, pairwise, product

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import solve_triangular
from scipy.special import chdtrc

from reduction.room.relaxation import relaxing_part

FloatArray = NDArray[np.float64]
Member = tuple[tuple[float, ...], float]
"""Time constants of the stores [s], and the massive share of UA."""

POLE_GRID_S: FloatArray = np.geomspace(0.15, 40.0, 11) * 3600.0
LEAST_RATIO = 2.2  # between two time constants: closer ones cannot be told apart
MASSIVE_SHARES = (0.2, 0.5, 0.8)  # of UA behind slow stores; the rest is panes, leaks, thin doors
READING_U_K = 0.01  # first guess, for the mean of a room's sensors over an observation: display step, mixing
LEAST_READING_U_K = 0.001
LEAST_START_U_W = 30.0
WALL_TAU_S = 0.8 * 3600.0  # a quicker store is furniture, not a wall with weather behind it
WANDER = 0.007  # of the heat: what a few stores, leaks that vary and moisture leave over …
WANDER_S = 2.0 * 3600.0  # … about this time; set so that simulated rooms are recovered as often as stated
LAGS = 12


@dataclass(frozen=True)
class RoomLog:
    """What a characterisation run measured, on an equal grid of step `step_s`, n cells.

    `heat_w` all heat into the room, `room_c`, `around_c` (surfaces, n); `smooth` cells to average over (whole cycles
    of the heater), `every` cells from one observation to the next.
    """

    step_s: float
    heat_w: FloatArray
    room_c: FloatArray
    around_c: FloatArray
    smooth: int
    every: int

    @property
    def interval_s(self) -> float:
        """Time from one observation to the next. [s]"""
        return self.step_s * self.every

    def smoothed(self, cells: FloatArray) -> FloatArray:
        """Average over whole cycles, one value per observation, along the last axis."""
        total = np.concatenate([np.zeros((*cells.shape[:-1], 1)), np.cumsum(cells, axis=-1)], axis=-1)
        return np.asarray((total[..., self.smooth :] - total[..., : -self.smooth])[..., :: self.every] / self.smooth)

    def between(self, cells: FloatArray) -> FloatArray:
        """Mean from one observation to the next, along the last axis."""
        integral = self.smoothed(np.cumsum(cells, axis=-1) - 0.5 * cells)
        return np.asarray(np.diff(integral, axis=-1) / self.every)


@dataclass(frozen=True)
class Prior:
    """Wide normal priors: they only keep what the run cannot tell within what rooms can be. Value and u each."""

    ua_w_per_k: tuple[float, float]
    c_j_per_k: tuple[float, float]
    pole_w_per_k: float
    pole_limit_j_per_k: float
    start_k: tuple[float, float]

    def of(self, surfaces: int, taus_s: tuple[float, ...]) -> tuple[FloatArray, FloatArray]:
        """Mean and u of the coefficients, in the order of the columns.

        A store slower than its limit of capacity allows has less conductance; what it still lacks at the first
        sample goes with its conductance.
        """
        rows = [*[self.ua_w_per_k] * surfaces, self.c_j_per_k]
        for tau in taus_s:
            h = self.pole_w_per_k / (1.0 + self.pole_w_per_k * tau / self.pole_limit_j_per_k)
            rows += [(h, h), (h * self.start_k[0], h * self.start_k[1] + LEAST_START_U_W)]
        mean, u = np.array(rows).T
        return mean, u


@dataclass(frozen=True)
class Fit:
    """One member of the grid: coefficients with covariance, given its time constants and massive share."""

    taus_s: tuple[float, ...]
    massive: float
    x: FloatArray
    cov: FloatArray
    log_evidence: float


class Columns:
    """All columns that any member is made of, whitened, and their products, computed once for the whole grid."""

    def __init__(self, log: RoomLog, noise: FloatArray) -> None:
        self.surfaces = len(log.around_c)
        slope = np.diff(log.smoothed(log.room_c)) / log.interval_s
        rows = [log.between(log.room_c - log.around_c), slope[None, :], *(_pole(log, tau) for tau in POLE_GRID_S)]
        white = solve_triangular(noise, np.concatenate([*rows, log.between(log.heat_w)[None, :]]).T, lower=True).T
        self._rows, self._heat = white[:-1], white[-1]
        self.gram = self._rows @ self._rows.T
        self.cross = self._rows @ self._heat
        self.power = float(self._heat @ self._heat)

    def of(self, member: Member) -> FloatArray:
        """What each coefficient of a member multiplies, in terms of all columns; shape (coefficients, all).

        The massive share is split evenly over the slow stores.
        """
        taus_s, massive = member
        k = self.surfaces
        chosen = np.zeros((k + 1 + 2 * len(taus_s), self.gram.shape[0]))
        chosen[: k + 1, : k + 1] = np.eye(k + 1)
        walls = [tau for tau in taus_s if tau > WALL_TAU_S] or taus_s[-1:]
        for p, tau in enumerate(taus_s):
            first = k + 1 + int(np.searchsorted(POLE_GRID_S, tau)) * (k + 2)
            chosen[k + 1 + 2 * p, first] = 1.0
            chosen[k + 2 + 2 * p, first + k + 1] = 1.0
            if tau in walls:
                chosen[:k, first + 1 : first + k + 1] = massive / len(walls) * np.eye(k)
        return chosen

    def residual(self, fit: Fit) -> FloatArray:
        """Whitened residuals of a member, shape (n,)."""
        return np.asarray(self._heat - fit.x @ self.of((fit.taus_s, fit.massive)) @ self._rows)


def _pole(log: RoomLog, tau_s: float) -> FloatArray:
    """What one time constant leaves of the room's and each neighbour's temperature, and of its start."""
    since = np.arange(log.room_c.size) * log.step_s
    drivers = [relaxing_part(t, log.step_s, np.array([tau_s]))[0] for t in (log.room_c, *log.around_c)]
    return log.between(np.stack([*drivers, np.exp(-since / tau_s)]))


def noise_factor(log: RoomLog, c_j_per_k: float, reading_u_k: float) -> FloatArray:
    """Cholesky factor of the covariance of the mean powers between observations, shape (n, n). [W]"""
    n = log.smoothed(log.room_c).size - 1
    lag_s = np.abs(np.subtract.outer(np.arange(n), np.arange(n))) * log.interval_s
    wander = (WANDER * float(np.abs(log.heat_w).max())) ** 2 * np.exp(-lag_s / WANDER_S)
    ends = 2.0 * np.eye(n) - np.eye(n, k=1) - np.eye(n, k=-1)
    reading = (c_j_per_k * reading_u_k / log.interval_s) ** 2 * (ends + 1e-3 * np.eye(n))
    return np.asarray(np.linalg.cholesky(wander + reading))


def reading_u_k(log: RoomLog, noise: FloatArray, residual: FloatArray, c_j_per_k: float) -> float:
    """Noise of a temperature reading, from how the residuals of a rich fit jump from one observation to the next.

    A residual is C/Δt times the difference of two readings; the difference of two neighbours has variance 6 (C·u/Δt)².
    """
    jumps = np.diff(noise @ residual)
    return max(float(np.std(jumps) * log.interval_s / (c_j_per_k * np.sqrt(6.0))), LEAST_READING_U_K)


def solve(columns: Columns, prior: Prior, member: Member) -> Fit:
    """Generalised least squares with priors for one member of the grid.

    References
    ----------
    JCGM 100:2008, H.3 (least squares with covariance); prior as extra observations (any textbook).
    """
    chosen = columns.of(member)
    gram, cross = chosen @ columns.gram @ chosen.T, chosen @ columns.cross
    mean, u = prior.of(columns.surfaces, member[0])
    information = gram * np.outer(u, u) + np.eye(u.size)
    cov = np.linalg.inv(information)
    y = cov @ (u * (cross - gram @ mean))
    x = mean + u * y
    chi2 = columns.power - 2.0 * float(x @ cross) + float(x @ gram @ x) + float(y @ y)
    log_evidence = -0.5 * (chi2 + float(np.linalg.slogdet(information)[1]))
    return Fit(*member, x, cov * np.outer(u, u), log_evidence)


def grid(poles: int) -> list[Member]:
    """Choices of so many time constants, apart enough to be told apart, each with every massive share."""
    choices = combinations([float(tau) for tau in POLE_GRID_S], poles)
    apart = [c for c in choices if all(b / a >= LEAST_RATIO for a, b in pairwise(c))]
    return list(product(apart, MASSIVE_SHARES if poles else (0.0,)))


def weights(fits: list[Fit]) -> FloatArray:
    """Weights of members of any order by their evidence, every order being as likely as another beforehand.

    The evidence is the likelihood averaged over the prior, so a store that explains nothing costs its member weight.
    """
    orders = np.array([len(fit.taus_s) for fit in fits])
    logs = np.array([fit.log_evidence for fit in fits]) - np.log(np.bincount(orders)[orders])
    weight = np.exp(logs - logs.max())
    return np.asarray(weight / weight.sum())


def whiteness(residual: FloatArray) -> tuple[float, float]:
    """Lag-one correlation of the residuals and the probability of so much pattern by chance.

    References
    ----------
    Ljung and Box, Biometrika 65 (1978) 297 (from memory).
    """
    n = residual.size
    off = residual - residual.mean()
    lags = np.arange(1, min(LAGS, n // 4) + 1)
    r = np.array([off[k:] @ off[:-k] for k in lags]) / (off @ off)
    return float(r[0]), float(chdtrc(lags.size, n * (n + 2) * np.sum(r**2 / (n - lags))))
