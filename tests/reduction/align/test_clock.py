"""Two files see the same switching: the offset and drift between their clocks, offered and never applied."""

from __future__ import annotations

import numpy as np
import pytest

from reduction.align.clock import clock_offers, corrected
from reduction.align.series import Series
from reduction.session import ClockCorrection, Role
from tests.reduction.signals import NOON_S, a_room_answer, a_series, a_thermostat, every


def two_files(shift_s: float = 0.0, drift_ppm: float = 0.0, hours: float = 4.0) -> tuple[Series, Series]:
    time, power = a_thermostat(hours)
    room = a_room_answer(time, power) + np.random.default_rng(1).normal(0, 0.03, len(time))
    logged = time + shift_s + drift_ppm * 1e-6 * (time - time.mean())
    return (
        a_series(time, power, Role.HEATER_CYCLING_POWER, file="hub.csv", column="heater B"),
        a_series(logged, room, file="logger.csv", column="room"),
    )


def test_a_shift_of_94_seconds_is_offered_with_its_evidence() -> None:
    (offer,) = clock_offers(two_files(94.0))
    assert (offer.file, offer.against) == ("logger.csv", "hub.csv")
    assert offer.correction.offset_s == pytest.approx(-94.0, abs=2 * offer.correction.offset_u_s)
    assert offer.finding().code == "clock_offset_offered"
    assert "ahead of that of hub.csv" in offer.finding().sentence
    assert "Nothing was shifted" in offer.finding().sentence


@pytest.mark.parametrize("shift_s", [-1800.0, -300.0, 240.0, 3600.0])
def test_shifts_up_to_an_hour_of_daylight_saving_are_found(shift_s: float) -> None:
    (offer,) = clock_offers(two_files(shift_s, hours=6.0))
    assert offer.correction.offset_s == pytest.approx(-shift_s, abs=2 * offer.correction.offset_u_s)


def test_clocks_that_agree_get_no_offer() -> None:
    assert clock_offers(two_files(0.0)) == ()


def test_a_drift_shows_between_the_halves_of_the_run() -> None:
    (offer,) = clock_offers(two_files(240.0, drift_ppm=4000.0, hours=8.0))
    assert offer.correction.drift_ppm == pytest.approx(-4000.0, rel=0.25)
    assert offer.correction.reference_utc is not None


def test_an_accepted_offer_leaves_none() -> None:
    power, room = two_files(94.0)
    (offer,) = clock_offers((power, room))
    mended = a_series(corrected(room.time_s, offer.correction), room.values, file="logger.csv")
    assert clock_offers((power, mended)) == ()


def test_without_a_shared_event_nothing_is_guessed() -> None:
    noise = np.random.default_rng(2).normal(22.0, 0.05, 2880)
    power, _ = two_files()
    assert clock_offers((power, a_series(every(5.0, 4), noise, file="logger.csv"))) == ()


def test_one_file_has_one_clock() -> None:
    power, room = two_files(94.0)
    assert clock_offers((power, a_series(room.time_s, room.values, file="hub.csv"))) == ()


def test_a_confirmed_drift_counts_from_its_reference() -> None:
    given = ClockCorrection.model_validate(
        {"offset_s": 10.0, "drift_ppm": 100.0, "reference_utc": "2026-07-14T12:00:00Z"}
    )
    assert corrected(np.array([NOON_S, NOON_S + 10_000.0]), given) - NOON_S == pytest.approx([10.0, 10_011.0])


def test_cycles_as_even_as_a_clock_leave_the_offset_tied_and_say_so() -> None:
    time = every(5.0, 6.0)
    power = np.where((time - NOON_S) % 400.0 < 200.0, 1200.0, 0.0)
    room = a_room_answer(time, power) + np.random.default_rng(1).normal(0, 0.03, len(time))
    logged = (
        a_series(time, power, Role.HEATER_CYCLING_POWER, file="hub.csv", column="heater B"),
        a_series(time + 200.0, room, file="logger.csv", column="room"),
    )
    (offer,) = clock_offers(logged)
    assert "which fits as well" in offer.because
