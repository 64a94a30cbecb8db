"""The terms of the room's balance, one at a time, and the balance as physics."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from reduction.align.timeline import align
from reduction.balance.heat_balance import OUTPUTS, Balance, heat_balance
from reduction.room.envelope import conductances
from reduction.room.slow_mass import SlowMassRelease
from reduction.session import (
    FixedLoad,
    HeaterKind,
    People,
    Role,
    Room,
    Severity,
    Solar,
    Surface,
)
from reduction.uncertainty.propagation import propagate
from reduction.windows.span import Span
from tests.reduction.bench_room import (
    HOURS,
    NO_MASS,
    ROOM,
    TIME_S,
    a_balance,
    a_bench_session,
    a_channel,
    a_timeline,
    capacity_of,
    terms_of,
)
from tests.reduction.signals import NOON_S

NOON = datetime.fromtimestamp(NOON_S, UTC)
UNKNOWN_ROOM = Room(volume_m3=30.0)


def codes(balance: Balance) -> set[str]:
    return {finding.code for finding in balance.findings}


def u_of(balance: Balance, row: int = 0) -> float:
    return propagate(balance.ledger.inputs, balance.model).u(row)


def room_of(*surfaces: Surface, **fields: Any) -> Room:
    return ROOM.model_copy(update={"surfaces": surfaces} | fields)


def test_the_terms_sum_to_the_headline() -> None:
    balance = a_balance(people=(People(count=1),), solar=(Solar(power_w=40.0, u95_w=20.0),))
    assert capacity_of(balance) == pytest.approx(sum(terms_of(balance).values()), abs=0.1)


def test_every_term_says_where_it_comes_from() -> None:
    assert all(term.how for term in a_balance().ledger.terms)


def test_heat_gained_through_a_wall_adds_to_the_capacity_and_heat_lost_takes_away() -> None:
    for outside, gain in ((32.0, 200.0), (24.0, 0.0), (20.0, -100.0)):
        terms = terms_of(a_balance(a_timeline({"outside": outside})))
        assert terms["envelope to outdoor"] == pytest.approx(gain)


def test_each_neighbour_is_met_at_its_own_temperature() -> None:
    room = room_of(
        Surface(to="outdoor", ua_w_per_k=10.0, u95_w_per_k=1.0),
        Surface(to="hall", ua_w_per_k=20.0, u95_w_per_k=1.0),
        Surface(to="attic", ua_w_per_k=5.0, u95_w_per_k=1.0),
    )
    hall = a_channel("hall", Role.ADJACENT_TEMP, 23.0, place="hall")
    attic = a_channel("attic", Role.ADJACENT_TEMP, 40.0, place="attic")
    terms = terms_of(a_balance(a_timeline(None, hall, attic), room=room))
    assert terms["envelope to hall"] == pytest.approx(-20.0)
    assert terms["envelope to attic"] == pytest.approx(80.0)


def test_a_neighbour_nobody_measured_costs_uncertainty_and_is_said() -> None:
    room = room_of(Surface(to="attic", ua_w_per_k=20.0, u95_w_per_k=1.0))
    balance = a_balance(room=room)
    assert "neighbour_temperature_missing" in codes(balance)
    assert u_of(balance) > 40.0
    assert balance.usable


def test_an_unmeasured_neighbour_is_an_indoor_space_however_cold_the_room_is_held() -> None:
    room = room_of(Surface(to="hall", ua_w_per_k=20.0, u95_w_per_k=1.0))
    balance = a_balance(a_timeline({"room": 20.0}), room=room)
    assert terms_of(balance)["envelope to hall"] == pytest.approx(20.0 * (24.0 - 20.0))


@pytest.mark.parametrize("true_w_per_k", [6.0, 12.0, 46.0])
def test_the_band_of_a_room_never_characterised_holds_tight_and_leaky_ones(true_w_per_k: float) -> None:
    # What three simulated rooms of 30 m³ have to outdoors; the middle one is the ordinary kind.
    outdoor = conductances(Room(volume_m3=30.0))[0]
    assert abs(outdoor.ua_w_per_k - true_w_per_k) < 2.0 * outdoor.u_w_per_k


def test_without_outdoor_air_the_condenser_s_inlet_stands_in() -> None:
    inlet = a_channel("inlet", Role.CONDENSER_INLET_TEMP, 32.0)
    balance = a_balance(a_timeline(None, inlet, without=("outside",)))
    assert terms_of(balance)["envelope to outdoor"] == pytest.approx(200.0)
    assert "condenser_inlet_for_outdoor" in codes(balance)


def test_without_any_outdoor_temperature_there_is_no_usable_point() -> None:
    balance = a_balance(a_timeline(without=("outside",)))
    assert not balance.usable
    assert "outdoor_temperature_missing" in codes(balance)


def test_without_a_room_temperature_there_is_no_usable_point() -> None:
    balance = a_balance(a_timeline(without=("room",)))
    assert not balance.usable
    assert "no_room_temperature" in codes(balance)


def test_return_air_stands_in_for_the_room_and_costs_uncertainty() -> None:
    balance = a_balance(a_timeline(None, a_channel("return", Role.RETURN_TEMP, 24.0), without=("room",)))
    assert balance.usable
    assert "return_air_for_room" in codes(balance)
    assert u_of(balance) > u_of(a_balance())


def test_a_falling_room_temperature_adds_to_the_capacity() -> None:
    falling = 24.0 - 0.1 * (TIME_S - NOON_S) / 3600.0
    assert terms_of(a_balance(a_timeline({"room": falling})))["storage"] == pytest.approx(0.1 * 2.475e6 / 3600.0)


def test_a_bent_course_of_the_room_makes_the_storage_less_sure() -> None:
    hours = (TIME_S - NOON_S) / 3600.0
    settling = 0.2 * (1.0 - np.exp(-hours / 0.3))
    straight, bent = (a_balance(a_timeline({"room": 24.0 - course})) for course in (0.1 * hours, settling))
    assert u_of(bent) > u_of(straight) + 3.0


def test_in_a_calm_room_the_storage_is_as_unsure_as_its_noise_makes_it() -> None:
    rng = np.random.default_rng(4)
    drawn = [a_balance(a_timeline({"room": 24.0 + 0.05 * rng.standard_normal(TIME_S.size)})) for _ in range(40)]
    found = [propagate(balance.ledger.inputs, balance.model) for balance in drawn]
    row = len(OUTPUTS) + [term.name for term in drawn[0].ledger.terms].index("storage")
    realised = np.std([result.values[row] for result in found])
    stated = np.sqrt(np.mean([result.u(row) ** 2 for result in found]))
    assert 0.7 < stated / realised < 2.5  # the departure from the ends is noise too, and counts


def test_a_person_for_half_of_the_window_counts_half() -> None:
    half = NOON + timedelta(hours=HOURS / 2)
    terms = terms_of(a_balance(people=(People(count=2, sensible_w_each=70.0, end_utc=half),)))
    assert terms["people 1"] == pytest.approx(70.0)


def test_declared_sun_is_a_term_only_while_it_shone() -> None:
    sun = Solar(power_w=120.0, u95_w=60.0, start_utc=NOON, end_utc=NOON + timedelta(hours=HOURS / 4))
    before = Solar(power_w=500.0, u95_w=60.0, end_utc=NOON)
    terms = terms_of(a_balance(solar=(sun, before)))
    assert terms["sun 1"] == pytest.approx(30.0)
    assert "sun 2" not in terms


def test_infiltration_is_a_term_only_where_the_walls_do_not_hold_it() -> None:
    apart = room_of(*ROOM.surfaces, surfaces_include_infiltration=False, infiltration_m3_per_h=30.0)
    assert terms_of(a_balance(room=apart))["infiltration from outdoor"] == pytest.approx(0.335 * 30.0 * 8.0, rel=0.04)
    assert "infiltration from outdoor" not in terms_of(a_balance())


def test_glowing_heaters_warm_the_walls_first_and_fan_heaters_hardly() -> None:
    lost = {
        kind: min(v for k, v in terms_of(a_balance(heater_kind=kind)).items() if k.startswith("radiant"))
        for kind in (HeaterKind.FAN_FORCED, HeaterKind.RADIANT)
    }
    assert lost[HeaterKind.RADIANT] < 3 * lost[HeaterKind.FAN_FORCED] < 0.0


def test_a_heater_of_unknown_kind_is_said_to_be_one() -> None:
    assert "heater_kind_unknown" in codes(a_balance(heater_kind=HeaterKind.UNKNOWN))
    assert "heater_kind_unknown" not in codes(a_balance())


def test_the_slow_mass_is_a_term_with_its_own_u() -> None:
    balance = a_balance(slow=SlowMassRelease(-40.0, 25.0, "walls still warming"))
    assert terms_of(balance)["slow mass"] == pytest.approx(-40.0)
    assert u_of(balance) ** 2 - u_of(a_balance()) ** 2 == pytest.approx(625.0)


def test_a_room_never_characterised_is_much_less_sure() -> None:
    assert u_of(a_balance(room=UNKNOWN_ROOM)) > 3 * u_of(a_balance())


def test_missing_and_dead_power_of_the_unit_leave_the_capacity_but_no_efficiency() -> None:
    missing, dead = a_balance(a_timeline(without=("unit",))), a_balance(a_timeline({"unit": 0.0}))
    assert missing.power is None
    assert dead.power is None
    assert missing.usable
    assert not dead.usable
    assert capacity_of(missing) == pytest.approx(capacity_of(a_balance()))


def test_the_scatter_of_the_balance_counts_by_its_blocks() -> None:
    noisy = 2400.0 + np.repeat(
        60.0 * np.array([1, -1, 1, 1, -1, -1, 1, -1, -1, 1, -1, 1, 1, -1, -1, 1]), len(TIME_S) // 16
    )
    (repeat,) = [i for i in a_balance(a_timeline({"heater": noisy})).ledger.inputs if i.name == "repeatability"]
    assert repeat.u == pytest.approx(60.0 / np.sqrt(16), rel=0.15)
    assert repeat.dof == 14.0


def test_a_steady_drift_of_the_heat_is_no_error_of_its_mean() -> None:
    drifting = np.linspace(2300.0, 2500.0, len(TIME_S))
    (repeat,) = [i for i in a_balance(a_timeline({"heater": drifting})).ledger.inputs if i.name == "repeatability"]
    assert repeat.u < 1.0


watts = st.floats(10.0, 3000.0)


@settings(deadline=None, max_examples=25)
@given(heat=watts, fixed=watts, kelvins=st.floats(-10.0, 15.0), slow=st.floats(-80.0, 80.0))
def test_doubling_every_term_doubles_the_capacity(heat: float, fixed: float, kelvins: float, slow: float) -> None:
    def run(factor: float) -> Balance:
        return a_balance(
            a_timeline({"heater": factor * heat, "outside": 24.0 + factor * kelvins}),
            slow=SlowMassRelease(factor * slow, 1.0, "walls"),
            fixed_loads=(FixedLoad(what="lamp", power_w=factor * fixed, u95_w=1.0),),
        )

    assert capacity_of(run(2.0)) == pytest.approx(2.0 * capacity_of(run(1.0)), abs=0.01)


@settings(deadline=None, max_examples=15)
@given(shift_s=st.integers(-86_400, 86_400))
def test_moving_all_clocks_alike_changes_nothing_but_the_times(shift_s: int) -> None:
    timeline = a_timeline({"heater": np.where(TIME_S % 600 < 300, 3000.0, 1800.0)})
    moved = {key: replace(each, time_s=each.time_s + shift_s) for key, each in timeline.series.items()}
    spans = (Span("w", NOON_S + s, NOON_S + s + 7200.0) for s in (0.0, float(shift_s)))
    runs = zip((timeline, align(tuple(moved.values()))), spans, strict=True)
    here, there = (heat_balance(t, a_bench_session(), span, NO_MASS) for t, span in runs)
    assert capacity_of(there) == pytest.approx(capacity_of(here), abs=1e-3)
    assert u_of(there) == pytest.approx(u_of(here), rel=0.01)  # the grid cuts the cycles elsewhere


@pytest.mark.parametrize("field", ["u95_w_per_k", "ua_w_per_k"])
def test_a_less_certain_wall_never_gives_a_more_certain_capacity(field: str) -> None:
    surface = {"to": "outdoor", "ua_w_per_k": 25.0, "u95_w_per_k": 4.0}
    wide = surface | {field: 3 * float(surface[field])}
    assert u_of(a_balance(room=room_of(Surface(**wide)))) > u_of(a_balance(room=room_of(Surface(**surface))))


def test_findings_name_the_window() -> None:
    found = a_balance(a_timeline(without=("outside",)), room=UNKNOWN_ROOM).findings
    assert {f.subject for f in found} == {"whole"}
    assert Severity.SEVERE in {f.severity for f in found}
