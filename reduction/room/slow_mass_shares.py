"""Which errors of the slow mass are the same in several windows: those of the room itself, and those of one log.

A release is linear in the mass's coefficients. Their prior is the room's and the same in every window and session of
it; where the stores stood when the log began, and what the log's evidence got wrong, is the log's own. With prior
deviations z ~ N(0, 1) the posterior error is C z + noise, so a window carries A C of each z, whatever its log taught.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

# A few stores stand for many, so what the model gets wrong in one window it gets less and less wrong the same way
# later. What relaxes goes by ratios of times, so windows soon after a start part sooner than late ones: e-foldings of
# the time since the log began, and an earlier start, for which differences in simulated rooms are covered (own study).
ALIKE_FOR_LOG = 30.0
BEGAN_BEFORE_S = 1800.0
SHAPE_REL_U = 0.15  # … and of a release, what their shape gets wrong whatever the log tells (own study)
ROUNDING_W = 1e-3  # of the difference of squares that is a window's own
WORTH_A_LINE = 0.1  # of a window's u: a smaller share (1 % of its variance) joins what is the window's own


@dataclass(frozen=True)
class Share:
    """A part of a release's error: signed standard contribution [W]; equal keys are the same error."""

    name: str
    contribution_w: float
    shared_key: str | None


@dataclass(frozen=True)
class Joint:
    """Errors of k windows together: `room` of each of the room's coefficients, shape (k, m); covariance (k, k). [W, W²]

    `names` of the coefficients, shape (m,).
    """

    names: tuple[str, ...]
    room: FloatArray
    covariance_w2: FloatArray

    def shares(self, room_key: str, log_key: str, least_u_w: float) -> list[tuple[Share, ...]]:
        """Return each window's error in parts: the room's, the log's, its own; their squares sum to its variance.

        References
        ----------
        JCGM 100:2008, F.1.2.3: what several results have in common correlates them; a covariance is factored into
        independent parts by its eigenvectors.
        """
        u_w = np.sqrt(np.maximum(np.diag(self.covariance_w2), least_u_w**2))
        matters = np.abs(self.room / u_w[:, None]).max(axis=0, initial=0.0) >= WORTH_A_LINE
        room = self.room[:, matters]
        value, vector = np.linalg.eigh(self.covariance_w2 - room @ room.T)
        log = vector * np.sqrt(np.maximum(value, 0.0))
        log = log[:, np.abs(log / u_w[:, None]).max(axis=0) >= WORTH_A_LINE][:, ::-1]
        own = np.sqrt(np.maximum(u_w**2 - np.sum(room**2, axis=1) - np.sum(log**2, axis=1), 0.0))
        names = [name for name, kept in zip(self.names, matters, strict=True) if kept]
        common = [(name, f"room:{room_key}:slow mass:{name}") for name in names]
        common += [(_of_log(i, log.shape[1]), f"slow mass:{log_key}:{i}") for i in range(log.shape[1])]
        parts = np.hstack([room, log])
        return [_shares(common, row, float(rest)) for row, rest in zip(parts, own, strict=True)]


def joint(
    since_s: FloatArray, weight: FloatArray, mean_w: FloatArray, at: FloatArray, pull: FloatArray, names: Sequence[str]
) -> Joint:
    """Return the errors of all windows together over weighted choices of time constants.

    Parameters
    ----------
    since_s
        Time from the start of the log to the middle of each window, shape (windows,). [s]
    weight
        Of each choice, shape (choices,), summing to one.
    mean_w
        Shape (choices, windows). [W]
    at, pull
        What one prior standard deviation of a coefficient gives, before and after the evidence, shape
        (choices, windows, coefficients). [W]
    names
        Of the leading coefficients, those that are the room's.
    """
    best = weight @ mean_w
    off = mean_w - best
    covariance = np.einsum("c,cij,ckj->ik", weight, pull, at) + (off.T * weight) @ off
    covariance += SHAPE_REL_U**2 * np.outer(best, best)
    age = np.log(since_s + BEGAN_BEFORE_S)
    alike = np.exp(-np.abs(np.subtract.outer(age, age)) / ALIKE_FOR_LOG)
    # The largest part of `alike` that is the same everywhere, so that what is left of a covariance stays one.
    same = 1.0 / np.linalg.pinv(alike).sum()
    room = np.sqrt(same) * np.einsum("c,cij->ij", weight, pull[:, :, : len(names)])
    return Joint(tuple(names), room, covariance * alike)


def _of_log(index: int, count: int) -> str:
    return "start and evidence of this log" + (f" ({index + 1})" if count > 1 else "")


def _shares(common: Sequence[tuple[str, str]], row: FloatArray, own: float) -> tuple[Share, ...]:
    shares = [Share(name, float(part), key) for (name, key), part in zip(common, row, strict=True) if part]
    return (*shares, *([Share("this window alone", own, None)] if own > ROUNDING_W else []))
