"""Clocks of files: the correction a tester confirmed, and the one that shared events suggest.

A heater that switches is seen by two loggers: by the plug at once, by the room's thermometers as a change of slope.
Sliding one against the other finds how far apart their clocks are. The estimate is offered with its evidence and
never applied unless the session's file holds it.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np
from numpy.typing import NDArray

from reduction.align.series import Series
from reduction.session import ClockCorrection, Finding, Role, Severity

FloatArray = NDArray[np.float64]

STEP_S = 5.0
MOST_POINTS = 60_000
SEARCH_S = 5400.0  # an hour of daylight saving and half an hour more
SLOPE_S = 60.0
LEAST_CORRELATION = 0.4
TIED, DOUBTFUL = (
    0.98,
    0.6,
)  # of the best correlation, and the least where two lags fit alike: even cycles repeat themselves
LEAST_DRIFT_S = 20.0  # change of the offset between the halves of a run that is worth a word
LEAST_HALF_S = 5400.0
# How long after the switching the room's air answers, and how well that is known. Computed with room models of one
# to five stores and probes of 15–60 s time constant; no published source.
ANSWER_S = {"heater": (35.0, 20.0), "unit": (-20.0, 45.0)}


def corrected(time_s: FloatArray, clock: ClockCorrection) -> FloatArray:
    """Times on the true clock: true = logged + offset + drift × (logged − reference).

    Parameters
    ----------
    time_s
        Logged times, Unix UTC, shape (n,). [s]
    clock
        As confirmed for the file; without a reference the drift counts from the first stamp.

    Examples
    --------
    >>> corrected(np.array([0.0, 1e5]), ClockCorrection(offset_s=-94.0, drift_ppm=20.0)).tolist()
    [-94.0, 99908.0]
    """
    if (clock.offset_s == 0.0 and clock.drift_ppm == 0.0) or not len(time_s):
        return time_s
    reference = clock.reference_utc.timestamp() if clock.reference_utc else float(time_s[0])
    return time_s + clock.offset_s + clock.drift_ppm * 1e-6 * (time_s - reference)


@dataclass(frozen=True)
class ClockOffer:
    """A correction for one file's clock against another file, how sure it is and why."""

    file: str
    against: str
    correction: ClockCorrection
    sure: float
    because: str

    def finding(self) -> Finding:
        """Word the offer, with what to do to accept it."""
        return Finding(
            code="clock_offset_offered",
            severity=Severity.WARNING,
            sentence=f"The clock of {self.file} seems to be {abs(self.correction.offset_s):.0f} s "
            f"{'behind' if self.correction.offset_s > 0 else 'ahead of'} that of {self.against}: {self.because}. "
            "Nothing was shifted.",
            subject=self.file,
            remedy=f"If it is so, enter an offset of {self.correction.offset_s:+.0f} s for this file's clock.",
        )


@dataclass(frozen=True)
class _Match:
    lag_s: float
    correlation: float
    rival_lag_s: float
    rival: float

    @property
    def is_tied(self) -> bool:
        """Whether an offset a heater cycle or more away fits about as well."""
        return self.rival >= TIED * self.correlation


def clock_offers(series: tuple[Series, ...]) -> tuple[ClockOffer, ...]:
    """Offsets between files that share the switching of a heater, or of a unit that cycles.

    Parameters
    ----------
    series
        All series after the corrections that the session already holds.

    Returns
    -------
    tuple
        One offer per file whose thermometers answer at another time than expected, if the difference is larger than
        two and a half of its standard uncertainties; the power log's clock is the reference.
    """
    offers = []
    answering = [s for s in series if s.role in (Role.ROOM_TEMP, Role.RETURN_TEMP) and len(s.time_s) > 10]
    for file in dict.fromkeys(s.file for s in answering):
        driver = _driver(series, but=file)
        if driver is not None:
            offer = _offer(driver, [s for s in answering if s.file == file])
            offers += [offer] if offer else []
    return tuple(offers)


def _driver(series: tuple[Series, ...], but: str) -> Series | None:
    """The log outside this file with the largest switching: heaters first, then the unit."""
    for roles in ((Role.HEATER_CYCLING_POWER, Role.HEATER_CONSTANT_POWER), (Role.UNIT_POWER,)):
        found = [s for s in series if s.role in roles and s.file != but and s.counter is None and len(s.time_s) > 10]
        swings = [(float(np.nanstd(s.values)), n) for n, s in enumerate(found)]
        if swings and max(swings)[0] > 30.0:
            return found[max(swings)[1]]
    return None


def _offer(driver: Series, answers: list[Series]) -> ClockOffer | None:
    kind = "unit" if driver.role == Role.UNIT_POWER else "heater"
    logs = [driver, *answers]
    whole = min(s.time_s[0] for s in logs), max(s.time_s[-1] for s in logs)
    match = _match(driver, answers, *whole)
    if match is None or match.correlation < (DOUBTFUL if match.is_tied else LEAST_CORRELATION):
        return None
    expected, u_s = ANSWER_S[kind]
    offset = expected - match.lag_s
    if abs(offset) < 2.5 * u_s:
        return None
    common = max(s.time_s[0] for s in logs), min(s.time_s[-1] for s in logs)
    drift, drift_words = _drift_ppm(driver, answers, *common, near_s=match.lag_s)
    because = (
        f"{len(answers)} thermometer{'s' if len(answers) > 1 else ''} answer {driver.name} {match.lag_s:+.0f} s after "
        f"it switches, where {expected:+.0f} ± {2 * u_s:.0f} s is usual (correlation {match.correlation:.2f}, the next "
        f"best {match.rival:.2f} at {match.rival_lag_s:+.0f} s{', which fits as well' * match.is_tied}){drift_words}"
    )
    correction = ClockCorrection(
        offset_s=round(offset),
        offset_u_s=u_s,
        drift_ppm=drift,
        reference_utc=datetime.fromtimestamp(sum(common) / 2, UTC) if drift else None,
        reason=because,
    )
    sure = match.correlation * (1.2 - 0.5 * max(0.0, match.rival / match.correlation))
    return ClockOffer(answers[0].file, driver.file, correction, round(float(np.clip(sure, 0.1, 0.95)), 2), because)


def _match(
    driver: Series, answers: list[Series], start: float, end: float, near_s: float | None = None
) -> _Match | None:
    """Slide the slope of the answers against the driver; the best lag, and the best one a cycle or more away.

    With `near_s` only lags within five minutes of it are looked at.
    """
    step = max(STEP_S, (end - start) / MOST_POINTS)
    edges = np.arange(start, end, step)
    if len(edges) < 200:
        return None
    cause, cause_n = _standard(driver.pieces.cell_means(edges))
    half = max(1, round(SLOPE_S / step))
    slopes = []
    for answer in answers:
        temp = answer.pieces.cell_means(edges)
        slope = np.full(len(temp), np.nan)
        slope[half:-half] = temp[2 * half :] - temp[: -2 * half]
        slopes.append(_standard(slope)[0])
    effect, effect_n = _standard(np.mean(slopes, axis=0))
    sign = -1.0 if driver.role == Role.UNIT_POWER else 1.0
    size = 1 << (2 * len(cause)).bit_length()
    spectrum = np.fft.rfft(sign * effect, size) * np.conj(np.fft.rfft(cause, size))
    most = min(round(SEARCH_S / step), len(cause) // 2)
    lags = np.arange(-most, most + 1)
    correlation = np.fft.irfft(spectrum, size)[lags] / max(1, min(cause_n, effect_n))
    if near_s is not None:
        correlation = np.where(np.abs(lags * step - near_s) <= 300.0, correlation, -1.0)
    best = int(np.argmax(correlation))
    rival = int(np.argmax(np.where(np.abs(lags - lags[best]) * step > 240.0, correlation, -1.0)))
    return _Match(
        float(lags[best] * step), float(correlation[best]), float(lags[rival] * step), float(correlation[rival])
    )


def _standard(values: FloatArray) -> tuple[FloatArray, int]:
    """Deviations from the mean in standard deviations, 0 where unknown; and how many are known."""
    known = np.isfinite(values)
    if known.sum() < 2 or np.std(values[known]) == 0:
        return np.zeros(len(values)), 0
    return np.where(known, (values - values[known].mean()) / values[known].std(), 0.0), int(known.sum())


def _drift_ppm(driver: Series, answers: list[Series], start: float, end: float, near_s: float) -> tuple[float, str]:
    """Drift from the lags of both halves of the run, 0 where they agree within 20 s or are too short. [ppm]"""
    middle = (start + end) / 2
    if middle - start < LEAST_HALF_S:
        return 0.0, ""
    first, second = (_match(driver, answers, *span, near_s=near_s) for span in ((start, middle), (middle, end)))
    if first is None or second is None or min(first.correlation, second.correlation) < LEAST_CORRELATION:
        return 0.0, ""
    change = second.lag_s - first.lag_s
    if abs(change) < LEAST_DRIFT_S:
        return 0.0, ""
    words = f"; {first.lag_s:+.0f} s in the first half and {second.lag_s:+.0f} s in the second, so it drifts"
    return float(round(-1e6 * change / (middle - start))), words
