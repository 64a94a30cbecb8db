"""Condensate, humidifiers and dry coils: when a result is total, and what the water adds."""

from __future__ import annotations

from dataclasses import replace

import pytest

from reduction.align.timeline import Series
from reduction.balance.heat_balance import Balance
from reduction.ground.constants import LATENT_HEAT_J_PER_KG
from reduction.session import Moisture, Role, Severity, UnitKind, UnitUnderTest, Weighing
from reduction.uncertainty.propagation import propagate
from tests.reduction.balance.test_water import TIME_S as SCALE_TIME_S
from tests.reduction.balance.test_water import scale, weighed
from tests.reduction.bench_room import a_balance, a_channel, a_timeline, capacity_of, terms_of
from tests.reduction.signals import NOON_S

PER_H = 3600.0
COLD_SUPPLY = a_channel("supply", Role.SUPPLY_TEMP, 10.0)
HUMID = a_channel("rh", Role.ROOM_RH, 55.0)
DRY = a_channel("rh", Role.ROOM_RH, 18.0)
PORTABLE = UnitUnderTest(model="Wheeler", kind=UnitKind.SINGLE_DUCT_PORTABLE)


def with_water(
    *weighings: Weighing, humidifier: str = "none", channels: tuple[Series, ...] = (), **fields: object
) -> Balance:
    moisture = Moisture(weighings=weighings, humidifier=humidifier, **fields)  # type: ignore[arg-type]
    return a_balance(a_timeline(None, COLD_SUPPLY, HUMID, *channels), moisture=moisture)


def latent_w(balance: Balance) -> float | None:
    if balance.latent is None:
        return None
    return float(propagate(balance.ledger.inputs, lambda x: balance.latent(x)[None, :]).values[0])  # type: ignore[misc]


def test_without_any_weighing_a_coil_that_may_be_wet_gives_a_sensible_result() -> None:
    balance = with_water()
    assert balance.kind == "sensible"
    assert balance.latent is None
    (said,) = [f for f in balance.findings if f.code == "sensible_only"]
    assert "at most" in said.sentence


def test_a_room_too_dry_to_condense_makes_sensible_the_total() -> None:
    balance = a_balance(a_timeline(None, COLD_SUPPLY, DRY))
    assert balance.kind == "total"
    assert latent_w(balance) == 0.0
    assert "dry coil" in balance.moisture_how


def test_a_kilogram_of_condensate_in_an_hour_adds_its_latent_heat_to_the_total() -> None:
    """2454 kJ/kg at 20 °C is 682 W, IAPWS; the room at 24 °C and water ending at 24 °C make 680 W of it."""
    without = with_water()
    balance = with_water(weighed(1.0, 0.0, 1.0), condensate_temp_c=24.0)
    assert balance.kind == "total"
    assert latent_w(balance) == pytest.approx(LATENT_HEAT_J_PER_KG / PER_H, rel=1e-6)
    assert capacity_of(balance) - capacity_of(without) == pytest.approx(682.0, abs=4.0)


def test_condensate_that_leaves_cold_carries_more_heat_away_than_one_that_warms_in_the_room() -> None:
    cold, warm = (with_water(weighed(1.0, 0.0, 1.0), condensate_temp_c=t) for t in (6.0, 24.0))
    assert capacity_of(cold) - capacity_of(warm) == pytest.approx(4186.0 * 18.0 / PER_H, rel=0.01)


def test_water_that_a_humidifier_evaporates_takes_its_heat_from_the_room() -> None:
    """Supplied and condensed at the same rate and temperature, water leaves the total to the heaters."""
    both = (weighed(1.0, 0.0, 1.0), weighed(1.0, 0.0, 1.0, "water_supply"))
    balance = with_water(*both, humidifier="ultrasonic", water_supply_temp_c=15.0, condensate_temp_c=15.0)
    assert capacity_of(balance) == pytest.approx(capacity_of(with_water()), abs=0.01)
    assert latent_w(balance) == pytest.approx(683.3, abs=0.1)


def test_a_boiling_humidifier_changes_nothing_beside_its_own_power() -> None:
    both = (weighed(1.0, 0.0, 1.0), weighed(1.0, 0.0, 1.0, "water_supply"))
    boiling, mist = (with_water(*both, humidifier=kind) for kind in ("boiling", "ultrasonic"))
    assert capacity_of(boiling) == pytest.approx(capacity_of(mist))


def test_a_humidifier_nobody_weighed_still_leaves_the_total_but_an_uncertain_split() -> None:
    balance = with_water(humidifier="evaporative")
    assert balance.kind == "total"
    assert latent_w(balance) == pytest.approx(0.37 * capacity_of(balance), rel=0.1)  # by the coil at 4 to 9 °C
    assert propagate(balance.ledger.inputs, lambda x: balance.latent(x)[None, :]).u() > 50.0  # type: ignore[misc]


def test_water_given_at_constant_humidity_is_what_was_condensed() -> None:
    balance = with_water(weighed(0.8, 0.0, 1.0, "water_supply"), humidifier="ultrasonic")
    assert latent_w(balance) == pytest.approx(0.8 * LATENT_HEAT_J_PER_KG / PER_H, rel=1e-3)


def test_a_bucket_under_a_unit_that_throws_its_water_on_the_condenser_is_not_believed() -> None:
    balance = with_water(weighed(1.0, 0.0, 1.0), condensate_on_condenser=True)
    assert balance.kind == "sensible"
    assert "condensate_on_condenser" in {f.code for f in balance.findings}


def test_a_portable_gives_its_net_effect_whatever_its_bucket_holds() -> None:
    bare = a_balance(a_timeline(None, COLD_SUPPLY, HUMID), unit=PORTABLE)
    bucket = a_balance(
        a_timeline(None, COLD_SUPPLY, HUMID), unit=PORTABLE, moisture=Moisture(weighings=(weighed(1.0, 0, 1),))
    )
    assert bare.kind == "total"
    assert capacity_of(bucket) == pytest.approx(capacity_of(bare))
    assert [f.severity for f in bare.findings if f.code == "net_effect"] == [Severity.NOTE]


def test_a_logged_scale_is_used_before_a_weighing_by_hand() -> None:
    grown = scale(0.5 * (SCALE_TIME_S - NOON_S) / PER_H)
    balance = with_water(weighed(5.0, 0.0, 1.0), channels=(grown,))
    assert latent_w(balance) == pytest.approx(0.5 * LATENT_HEAT_J_PER_KG / PER_H, rel=0.01)


def test_the_moisture_terms_are_named_in_the_balance() -> None:
    names = set(terms_of(with_water(weighed(1.0, 0.0, 1.0))))
    assert {"moisture from outside the room", "water in and out"} <= names


def test_what_the_convention_leaves_open_is_in_both_parts_and_not_in_their_sum() -> None:
    """Vapour at 24 °C less water at 7 °C: 2545 − 29 kJ/kg (IAPWS-95), 56 kJ/kg above K1 as the limit of its error."""
    balance = with_water(weighed(1.0, 0.0, 1.0))
    (term,) = [term for term in balance.ledger.terms if term.name == "moisture from outside the room"]
    assert "gives up 2515" in term.how or "gives up 2516" in term.how
    (k1,) = [item for item in balance.ledger.inputs if item.name == "K1"]
    assert k1.u == pytest.approx(56e3 / 3**0.5, rel=0.03)
    exact = [item if item is k1 else replace(item, u=0.0) for item in balance.ledger.inputs]
    result = propagate(exact, balance.model)
    total, sensible, latent = (result.u(i) for i in range(3))
    assert total == pytest.approx(0.0, abs=1e-6)
    assert sensible == pytest.approx(latent)
    assert latent == pytest.approx(k1.u / PER_H, rel=1e-6)
