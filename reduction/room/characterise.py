"""A room's UA, heat capacity and slow mass from a run with the unit off: co-heating, off run, decay."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from reduction.align.timeline import Timeline
from reduction.errors import NothingToReduce
from reduction.room.envelope import fast_store
from reduction.room.room_regression import (
    READING_U_K,
    Columns,
    Fit,
    Prior,
    RoomLog,
    grid,
    noise_factor,
    reading_u_k,
    solve,
    weights,
)
from reduction.room.room_run import HOUR_S, Run, run_of
from reduction.room.room_told import NAMES, Summary, room_fit
from reduction.session import Finding, Room, RoomFit, Session, Severity

FloatArray = NDArray[np.float64]

FAST_TAU_S = 0.75 * HOUR_S  # what follows quicker counts with the store that follows the air …
FAST_TAU_BAND_S = (0.4 * HOUR_S, 1.5 * HOUR_S)  # … though one may as well draw the line here or there
MODEL_REL_U = 0.12  # of C and slow mass: a few stores stand for many
UA_REL_U = 0.03  # what heaters radiate straight into the envelope, and wind
MOST_POLES = 3
NOISE_POLES = 2
UA_PRIOR_REL_U = 0.7
UA_PRIOR_W_PER_K_M3 = 0.5  # to each side: 8 to 50 W/K in all for a room of 30 m³; common practice, no source
POLE_PRIOR_W_PER_K = 60.0
POLE_LIMIT_J_PER_K_M3 = 60e3  # of one store: 1.8 MJ/K for a room of 30 m³; common practice, no source
START_LAG = (0.35, 0.35)  # of the difference to the surroundings that a store may still lack at the first sample


def characterise(timeline: Timeline, session: Session) -> RoomFit:
    """Fit UA, C and slow mass to a run with the unit off.

    Models with none to three stores behind the one that follows the air are fitted to the whole run and weighted by
    evidence; the heaviest gives the model its name. Errors of thermometers and power
    meters, which residuals cannot show, are added.

    Parameters
    ----------
    timeline
        All channels on one grid.
    session
        For the fixed loads and the room's volume.

    Returns
    -------
    RoomFit
        `identifiable` says whether the run can tell UA at all, `because` why not or how well.

    Raises
    ------
    NothingToReduce
        Without a room temperature, a neighbour's temperature or two hours with the unit off.

    References
    ----------
    Method §2; JCGM 100:2008 H.3; evidence: MacKay, Neural Computation 4 (1992) 415 (from memory).
    """
    run = run_of(timeline, session)
    prior = prior_of(session.room, run.log)
    noise = _noise(run.log, prior)
    columns = Columns(run.log, noise)
    members = [member for poles in range(MOST_POLES + 1) for member in grid(poles)]
    summary = summarise([solve(columns, prior, member) for member in members], len(run.to))
    shared = _shared_errors(run, prior, summary.best, noise)
    model_u = np.abs(summary.x) * np.array([UA_REL_U] * len(run.to) + [MODEL_REL_U] * len(NAMES))
    model_u[len(run.to)] = np.hypot(model_u[len(run.to)], summary.c_u_j_per_k)
    with_all = replace(summary, cov=summary.cov + shared + np.diag(model_u**2))
    return room_fit(run, with_all, columns.residual(summary.best), noise)


def room_found(timeline: Timeline, session: Session) -> tuple[RoomFit | None, tuple[Finding, ...]]:
    """The room as a characterisation session shows it, with what there is to say; nothing for other sessions."""
    if session.purpose != "characterisation":
        return None, ()
    try:
        fit = characterise(timeline, session)
    except NothingToReduce as nothing:
        sentence = f"This run tells nothing of the room: {nothing.found} where it takes {nothing.expected}."
        return None, (_finding("room_not_fitted", Severity.SEVERE, sentence, nothing.remedy),)
    if fit.identifiable:
        return fit, ()
    return fit, (
        _finding(
            "room_partly_told",
            Severity.WARNING,
            f"This run tells the room only in part: {fit.because}",
            "Hold the room 10 K or more from its surroundings over a night in which the outdoor temperature changes, "
            "then let it cool for some hours.",
        ),
    )


def _finding(code: str, severity: Severity, sentence: str, remedy: str) -> Finding:
    return Finding(code=code, severity=severity, sentence=sentence, subject="room", remedy=remedy)


def _noise(log: RoomLog, prior: Prior) -> FloatArray:
    """Factor of the noise, with the readings' own noise taken from the best fit of one order."""
    c = prior.c_j_per_k[0]
    first = noise_factor(log, c, READING_U_K)
    columns = Columns(log, first)
    best = max((solve(columns, prior, member) for member in grid(NOISE_POLES)), key=lambda fit: fit.log_evidence)
    return noise_factor(log, c, reading_u_k(log, first, columns.residual(best), c))


def prior_of(room: Room, log: RoomLog) -> Prior:
    """Wide bands of what rooms can be, from volume and construction, whatever is stated of this one.

    Stores of a room that is warm at the first sample have been warming for an unknown time.
    """
    bare = Room(volume_m3=room.volume_m3, floor_m2=room.floor_m2, construction=room.construction)
    ua, store = UA_PRIOR_W_PER_K_M3 * room.volume_m3, fast_store(bare)
    warm_k = float(log.room_c[0] - log.around_c[:, 0].mean())
    return Prior(
        ua_w_per_k=(ua, UA_PRIOR_REL_U * ua),
        c_j_per_k=(store.c_j_per_k, store.c_j_per_k),
        pole_w_per_k=POLE_PRIOR_W_PER_K,
        pole_limit_j_per_k=POLE_LIMIT_J_PER_K_M3 * room.volume_m3,
        start_k=(START_LAG[0] * warm_k, START_LAG[1] * abs(warm_k)),
    )


def _sought(fit: Fit, surfaces: int, fast_tau_s: float = FAST_TAU_S) -> FloatArray:
    """Matrix that takes a member's coefficients to UA, C_eff, slow conductance and slow capacity."""
    m = np.zeros((surfaces + len(NAMES), fit.x.size))
    m[: surfaces + 1, : surfaces + 1] = np.eye(surfaces + 1)
    for p, tau in enumerate(fit.taus_s):
        at, fast = surfaces + 1 + 2 * p, 1.0 / (1.0 + (tau / fast_tau_s) ** 4)
        m[surfaces:, at] = fast * tau, 1.0 - fast, (1.0 - fast) * tau
    return m


def summarise(fits: list[Fit], surfaces: int) -> Summary:
    """Average over the members of a grid by evidence, with what they differ by in the covariance.

    Where the line between quick and slow lies is anywhere in its band alike: JCGM 100, 4.3.7, range over √12.
    """
    weight = weights(fits)
    maps = [_sought(fit, surfaces) for fit in fits]
    means = np.stack([m @ fit.x for m, fit in zip(maps, fits, strict=True)])
    x = weight @ means
    within = sum(w * m @ fit.cov @ m.T for w, m, fit in zip(weight, maps, fits, strict=True))
    off = means - x
    low, high = (
        sum(w * (_sought(f, surfaces, at)[surfaces] @ f.x) for w, f in zip(weight, fits, strict=True))
        for at in FAST_TAU_BAND_S
    )
    cov = within + (off * weight[:, None]).T @ off
    return Summary(x, np.asarray(cov), abs(float(high - low)) / np.sqrt(12.0), fits[int(np.argmax(weight))])


def _shared_errors(run: Run, prior: Prior, best: Fit, noise: FloatArray) -> FloatArray:
    """Covariance from errors that last for the whole run, by solving again with each of them shifted by its u."""
    log, surfaces = run.log, len(run.to)
    shifted = [replace(log, room_c=log.room_c + run.room_u_k)]
    for k, u in enumerate(run.around_u_k):
        shifted.append(replace(log, around_c=log.around_c + u * np.eye(surfaces)[:, [k]]))
    shifted += [replace(log, heat_w=log.heat_w + u) for u in run.heat_u_w]
    here = _sought(best, surfaces) @ best.x
    moves = []
    for other in shifted:
        fit = solve(Columns(other, noise), prior, (best.taus_s, best.massive))
        moves.append(_sought(fit, surfaces) @ fit.x - here)
    return np.asarray(np.stack(moves).T @ np.stack(moves))
