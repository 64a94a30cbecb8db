"""Slow mass: closed forms of one store, and simulated rooms with nine."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import numpy as np
import pytest

from reduction.align.timeline import Timeline, align
from reduction.room.slow_mass import SlowMassRelease, slow_mass_release
from reduction.session import Event, LogFile, Role, Room, Session, SlowMass, Surface, UnitKind, UnitUnderTest
from tests.coverage.adapter import as_session
from tests.coverage.study import replicas
from tests.reduction.signals import NOON_S, a_series, every

HOUR_S = 3600.0
SURFACES = (Surface(to="outdoor", ua_w_per_k=15.0, u95_w_per_k=2.0),)
H, C = 80.0, 1.2e6  # W/K and J/K of the one store: 4.2 h
KNOWN = SlowMass(conductance_w_per_k=H, conductance_u95_w_per_k=8.0, capacity_j_per_k=C, capacity_u95_j_per_k=1.2e5)
HOURS = 8.0
TIME_S = every(10.0, HOURS)
SINCE_S = TIME_S - NOON_S


def a_room(slow_mass: SlowMass | None = None) -> Room:
    return Room(volume_m3=30.0, surfaces=SURFACES, c_eff_j_per_k=4e5, c_eff_u95_j_per_k=4e4, slow_mass=slow_mass)


def a_log(
    room_c: Any, *, heater_w: Any = None, outdoor_c: Any = 30.0, heater: Role = Role.HEATER_CONSTANT_POWER
) -> Timeline:
    """Room and outdoor temperature; with `heater_w` also a unit at one power, so that there is evidence."""
    channels = {"room": (Role.ROOM_TEMP, room_c), "outdoor": (Role.OUTDOOR_TEMP, outdoor_c)}
    if heater_w is not None:
        channels |= {"unit": (Role.UNIT_POWER, 600.0), "heater": (heater, heater_w)}
    return align(
        tuple(
            a_series(TIME_S, np.broadcast_to(np.asarray(values, float), TIME_S.shape), role, column=name, key=name)
            for name, (role, values) in channels.items()
        )
    )


def release(
    timeline: Timeline, *hours: tuple[float, float], room: Room | None = None, **fields: Any
) -> list[SlowMassRelease]:
    session = Session(
        name="slow mass",
        unit=UnitUnderTest(model="Norvane W9", kind=UnitKind.WINDOW),
        room=room or a_room(),
        files=(LogFile(path="log.csv"),),
        **{"heater_kind": "fan_forced", **fields},
    )
    return list(slow_mass_release(timeline, session, [(NOON_S + a * HOUR_S, NOON_S + b * HOUR_S) for a, b in hours]))


def test_a_room_at_rest_releases_nothing() -> None:
    (found,) = release(a_log(22.0, heater_w=1400.0), (6.0, 8.0))
    assert abs(found.value_w) < 2 * found.u_w
    assert found.u_w < 20.0


def test_a_known_store_follows_a_fallen_room_as_the_exponential_says() -> None:
    # the room falls by 3 K at 4 h; closed form: release = H·3 K·exp(−t/τ), averaged over the window
    found, *_ = release(a_log(np.where(SINCE_S < 4 * HOUR_S, 25.0, 22.0)), (6.0, 8.0), room=a_room(KNOWN))
    tau = C / H
    mean = H * 3.0 * tau * (np.exp(-2 * HOUR_S / tau) - np.exp(-4 * HOUR_S / tau)) / (2 * HOUR_S)
    assert found.value_w == pytest.approx(mean, rel=0.15)  # a tenth more conducts to a quicker store beside it
    assert abs(found.value_w - mean) < 2 * found.u_w


def test_a_room_that_was_warmed_takes_heat() -> None:
    fell, *_ = release(a_log(np.where(SINCE_S < 4 * HOUR_S, 25.0, 22.0)), (5.0, 6.0))
    rose, *_ = release(a_log(np.where(SINCE_S < 4 * HOUR_S, 19.0, 22.0)), (5.0, 6.0))
    assert fell.value_w > 50.0
    assert rose.value_w < -50.0


def test_a_recent_change_costs_uncertainty_and_a_soak_wins_it_back() -> None:
    log = a_log(np.where(SINCE_S < 2 * HOUR_S, 25.0, 22.0))
    soon, late = release(log, (3.0, 4.0), (7.0, 8.0))
    calm, *_ = release(a_log(22.0), (3.0, 4.0))
    assert soon.u_w > 1.5 * calm.u_w
    assert late.u_w < soon.u_w
    assert abs(late.value_w) < abs(soon.value_w)


def test_a_characterised_room_is_known_better_than_a_prior_band() -> None:
    log = a_log(np.where(SINCE_S < 4 * HOUR_S, 25.0, 22.0))
    (band,), (known,) = release(log, (5.0, 7.0)), release(log, (5.0, 7.0), room=a_room(KNOWN))
    assert known.u_w < 0.5 * band.u_w


def the_drift_of_one_store() -> Timeline:
    """A unit that takes 1500 W all along while a store left from a warmer day gives less and less."""
    given = 120.0 * np.exp(-SINCE_S / (2 * HOUR_S))
    return a_log(22.0, heater_w=1500.0 - 15.0 * 8.0 - given)


def test_the_drift_of_the_balance_at_one_unit_power_shows_what_the_mass_still_gives() -> None:
    # truth over the window: 120 W·exp(−t/2 h) averaged from 2 h to 4 h = 120·(e^−1 − e^−2) = 27.9 W
    (found,) = release(the_drift_of_one_store(), (2.0, 4.0))
    assert abs(found.value_w - 120.0 * (np.exp(-1.0) - np.exp(-2.0))) < 2 * found.u_w
    assert found.value_w > 15.0
    assert "stretches at one power" in found.how


def test_a_heater_turned_by_degrees_speaks_as_a_constant_one_does() -> None:
    given = 240.0 * np.exp(-SINCE_S / (2 * HOUR_S))
    logs = [
        a_log(22.0, heater_w=1500.0 - 15.0 * 8.0 - given, heater=role)
        for role in (Role.HEATER_CONSTANT_POWER, Role.HEATER_CYCLING_POWER)
    ]
    (constant,), (turned,) = (release(log, (2.0, 4.0)) for log in logs)
    assert turned.value_w == pytest.approx(constant.value_w)
    assert "stretches at one power" in turned.how


def test_walls_keep_radiant_heat_as_they_would_that_of_warmer_air() -> None:
    # reciprocity: of P_r on the walls P_r/(hA) is kept like a step of the air, by G·exp(−t/τ) of each store
    log = a_log(22.0, heater_w=1400.0)
    (fan,), (radiant,) = (release(log, (1.0, 2.0), heater_kind=kind) for kind in ("fan_forced", "radiant"))
    assert radiant.value_w < fan.value_w - 5.0
    assert radiant.u_w > fan.u_w


def test_evidence_next_to_an_open_door_is_not_used() -> None:
    at = datetime.fromtimestamp(NOON_S, UTC)
    end = datetime.fromtimestamp(NOON_S + HOURS * HOUR_S, UTC)
    (found,) = release(
        the_drift_of_one_store(), (2.0, 4.0), events=(Event(time_utc=at, end_utc=end, what="door open", kind="door"),)
    )
    assert "no long stretch" in found.how


def test_outdoor_air_that_warms_reaches_the_room_late() -> None:
    # UA·ΔT runs ahead of what walls let through, so the term is negative
    (found,) = release(a_log(22.0, outdoor_c=28.0 + SINCE_S / HOUR_S), (6.0, 8.0))
    assert found.value_w < 0.0


def test_without_a_room_temperature_there_is_no_estimate() -> None:
    timeline = align((a_series(TIME_S, np.full(TIME_S.size, 30.0), Role.OUTDOOR_TEMP),))
    assert release(timeline, (6.0, 8.0)) == [SlowMassRelease(0.0, 0.0, "No room temperature, so no estimate.")]


def test_simulated_rooms_after_a_change_of_set_point_are_followed() -> None:
    """Forty rooms of nine stores: the term takes most of the release out and its u covers what is left."""
    true, value, u = [], [], []
    for one in replicas("set-point change", 40, seed=3):
        session, timeline = as_session(one)
        (found,) = slow_mass_release(timeline, session, [one.known.window_s])
        true.append(one.true_mean("release_w", *one.known.window_s))
        value.append(found.value_w)
        u.append(found.u_w)
    off = np.array(value) - np.array(true)
    assert np.std(true) > 80.0
    assert np.std(off) < 0.5 * np.std(true)
    assert np.mean(np.abs(off) < 2 * np.hypot(u, 15.0)) > 0.82  # of 40; the coverage study tells more closely


def test_declared_sun_is_not_taken_for_the_mass() -> None:
    """A steady unit and mass, and 200 W of sun for two hours that the heaters then need not give."""
    sun = (SINCE_S > 3.0 * HOUR_S) & (SINCE_S < 5.0 * HOUR_S)
    timeline = a_log(22.0, heater_w=np.where(sun, 1200.0, 1400.0))
    start, end = (datetime.fromtimestamp(NOON_S + h * HOUR_S, UTC) for h in (3.0, 5.0))
    (unsaid,) = release(timeline, (0.5, 2.9))
    (said,) = release(
        timeline, (0.5, 2.9), solar=[{"power_w": 200.0, "u95_w": 40.0, "start_utc": start, "end_utc": end}]
    )
    assert abs(said.value_w) < 8.0
    assert abs(said.value_w) < abs(unsaid.value_w)
