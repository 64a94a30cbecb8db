"""What a fitted run tells of its room, in figures and words: RoomFit, its troubles, its time constants."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from reduction.room.room_regression import Fit, RoomLog, whiteness
from reduction.room.room_run import HOUR_S, Run
from reduction.session import RoomFit, SlowMass, Surface

FloatArray = NDArray[np.float64]

LEAST_DIFFERENCE_K = 2.0  # between room and neighbour for UA to mean anything
LEAST_HEAT_W = 100.0
TELLS = 0.5  # U95 over ΣUA above which the run counts as not telling it
NAMES = ("C_eff", "slow conductance", "slow capacity")


@dataclass(frozen=True)
class Summary:
    """UA of each surface, C_eff, slow conductance and slow capacity, averaged over the grid; with covariance.

    `c_u_j_per_k`: what C_eff depends on where the line to slow mass is drawn.
    """

    x: FloatArray
    cov: FloatArray
    c_u_j_per_k: float
    best: Fit


def time_constants_h(x: FloatArray, surfaces: int, taus_s: tuple[float, ...]) -> tuple[float, ...]:
    """Time constants of the room left alone, longest first.

    Parameters
    ----------
    x
        Coefficients of a fit, in the order of the regression.
    surfaces
        How many of them are UA.
    taus_s
        Time constants of the stores behind the air's. [s]

    Examples
    --------
    A room of 360 kJ/K and 10 W/K cools with 10 h:

    >>> time_constants_h(np.array([10.0, 360e3]), 1, ())
    (10.0,)
    """
    ua, c = max(float(x[:surfaces].sum()), 1e-6), max(float(x[surfaces]), 1.0)
    h = np.maximum(x[surfaces + 1 :: 2], 0.0)
    rates = np.zeros((len(taus_s) + 1,) * 2)
    rates[0, 0] = (ua + h.sum()) / c
    rates[0, 1:] = -h / c
    for p, tau in enumerate(taus_s, start=1):
        rates[p, 0], rates[p, p] = -1.0 / tau, 1.0 / tau
    return tuple(sorted((1.0 / HOUR_S / np.linalg.eigvals(rates).real).tolist(), reverse=True))


def _troubles(run: Run, total: float, total_u95: float) -> list[str]:
    """Why the run cannot tell UA, in sentences; none where it can."""
    said = []
    apart = np.sqrt(np.mean((run.log.room_c - run.log.around_c) ** 2, axis=1))
    if float(run.log.heat_w.max()) < LEAST_HEAT_W:
        said.append(
            f"hardly any heat was given ({run.log.heat_w.mean():.0f} W), so only C/UA shows: add a heated spell"
        )
    for to, k in zip(run.to, apart, strict=True):
        if k < LEAST_DIFFERENCE_K:
            said.append(f"room and {to} were within {k:.1f} K, so no heat flowed that could tell UA to {to}")
    if total_u95 > TELLS * total:
        said.append("that is too wide to be of use: hold the room warmer or for longer")
    return said


def _remarks(run: Run, x: FloatArray, u95: FloatArray) -> list[str]:
    """Surfaces that the run tells less well than their sum."""
    return [
        f"UA to {to} alone is {x[k]:.0f} ± {u95[k]:.0f} W/K, since its difference hardly varied apart from the others'"
        for k, to in enumerate(run.to)
        if len(run.to) > 1 and u95[k] > TELLS * abs(x[k])
    ]


def room_fit(run: Run, summary: Summary, residual: FloatArray, noise: FloatArray) -> RoomFit:
    """Say what a run tells of the room: values with U95 and correlation, residuals, and whether it tells UA at all.

    Without heat there is no conductance to state, only a time constant.
    """
    surfaces, x, order = len(run.to), summary.x, len(summary.best.taus_s) + 1
    u = np.sqrt(np.diag(summary.cov))
    correlation = summary.cov / np.outer(u, u) if (u > 0.0).all() else np.eye(u.size)
    rho, chance = whiteness(residual)
    pattern = "no pattern left" if chance > 0.05 else "some pattern left, which the stated uncertainty allows for"
    told, identifiable = _sentences(run, summary)
    c = float(max(x[surfaces], 1.0))
    return RoomFit(
        model=f"{order}R{order}C",
        surfaces=_surfaces(run, x, 2.0 * u, correlation) if _was_heated(run) else (),
        c_eff_j_per_k=c,
        c_eff_u95_j_per_k=float(2.0 * u[surfaces]),
        slow_mass=_slow_mass(x[surfaces + 1 :], 2.0 * u[surfaces + 1 :]),
        time_constants_h=time_constants_h(summary.best.x, surfaces, summary.best.taus_s),
        residual_rms_c=float(np.std(noise @ residual)) * run.log.interval_s / (c * np.sqrt(2.0)),
        residual_whiteness=f"lag-one correlation {rho:.2f}, Ljung–Box p = {chance:.2f}: {pattern}",
        identifiable=identifiable,
        because=told,
        correlation=tuple(tuple(float(v) for v in row) for row in correlation),
        parameter_names=(*(f"UA to {to}" for to in run.to), *NAMES),
        course_w=_course(run.log, noise @ residual),
    )


def _was_heated(run: Run) -> bool:
    return float(run.log.heat_w.max()) >= LEAST_HEAT_W


def _surfaces(run: Run, x: FloatArray, u95: FloatArray, correlation: FloatArray) -> tuple[Surface, ...]:
    return tuple(
        Surface(
            to=to,
            ua_w_per_k=max(float(x[k]), 0.0),
            u95_w_per_k=float(u95[k]),
            correlation=tuple(round(float(r), 4) for r in correlation[k, :k]),
        )
        for k, to in enumerate(run.to)
    )


def _sentences(run: Run, summary: Summary) -> tuple[str, bool]:
    """What the run tells in words, and whether it tells UA."""
    surfaces, x = len(run.to), summary.x
    total_u95 = 2.0 * float(np.sqrt(summary.cov[:surfaces, :surfaces].sum()))
    troubles = _troubles(run, float(x[:surfaces].sum()), total_u95)
    told = [f"{run.log.room_c.size * run.log.step_s / HOUR_S:.1f} h with the unit off"]
    if not _was_heated(run):
        return "; ".join([*told, *troubles]) + ".", False
    told[0] += f" give ΣUA = {x[:surfaces].sum():.1f} ± {total_u95:.1f} W/K"
    remarks = _remarks(run, x, 2.0 * np.sqrt(np.diag(summary.cov)))
    return "; ".join([*told, *troubles, *remarks]) + ".", not troubles


def _course(log: RoomLog, residual_w: FloatArray) -> tuple[tuple[float, float, float], ...]:
    """Hours since the start, heat given and what the best member makes of it, for the picture of the fit."""
    heat = log.between(log.heat_w)
    hours = (np.arange(heat.size) + 0.5) * log.interval_s / HOUR_S
    return tuple((round(t, 3), round(q, 1), round(q - r, 1)) for t, q, r in np.c_[hours, heat, residual_w].tolist())


def _slow_mass(x: FloatArray, u95: FloatArray) -> SlowMass | None:
    """What lies behind, where the run shows it at all."""
    if x[0] <= u95[0] / 2.0 or x[1] <= 0.0:
        return None
    return SlowMass(
        conductance_w_per_k=float(x[0]),
        conductance_u95_w_per_k=float(u95[0]),
        capacity_j_per_k=float(x[1]),
        capacity_u95_j_per_k=float(u95[1]),
    )
