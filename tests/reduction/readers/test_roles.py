"""Roles from words in four languages, and from behaviour where words say nothing. Courses are invented."""

from __future__ import annotations

import numpy as np
import pytest

from reduction.readers import propose_roles
from reduction.readers.headings import words_of
from reduction.readers.place_words import role_by_words
from tests.reduction.readers.builders import a_column, a_log

N = 720
CYCLE = (np.arange(N) // 30) % 2 == 0
MAINS = 1 + 0.01 * np.sin(np.arange(N) / 9)
UNIT = 600 + 4 * np.sin(np.arange(N) / 50)


@pytest.mark.parametrize(
    ("heading", "quantity", "role"),
    [
        ("t_supply", "temperature", "supply_temp"),
        ("Zulufttemperatur (°C)", "temperature", "supply_temp"),
        ("Soufflage", "temperature", "supply_temp"),
        ("Impulsión", "temperature", "supply_temp"),
        ("Rückluft", "temperature", "return_temp"),
        ("Reprise d'air", "temperature", "return_temp"),
        ("Kondensator Eintritt", "temperature", "condenser_inlet_temp"),
        ("Sortie condenseur", "temperature", "condenser_outlet_temp"),
        ("Entrada condensador", "temperature", "condenser_inlet_temp"),
        ("outdoor unit outlet temperature", "temperature", "condenser_outlet_temp"),
        ("hose exhaust", "temperature", "condenser_outlet_temp"),
        ("Außentemperatur", "temperature", "outdoor_temp"),
        ("Extérieur", "temperature", "outdoor_temp"),
        ("attic above room", "temperature", "adjacent_temp"),
        ("Pasillo", "temperature", "adjacent_temp"),
        ("roomWetBulb", "temperature", "room_wet_bulb"),
        ("Raumfeuchte", "humidity", "room_rh"),
        ("Humidité extérieure", "humidity", "outdoor_rh"),
        ("Klimagerät Leistung", "power", "unit_power"),
        ("Puissance clim", "power", "unit_power"),
        ("heater thermostat W", "power", "heater_cycling_power"),
        ("Grundlast Heizlüfter", "power", "heater_constant_power"),
        ("circulation fan", "power", "other_power"),
        ("mains total", "power", "ignored"),
        ("Calefactor contador", "energy", "heater_energy"),
        ("Temp ripresa", "temperature", "return_temp"),
        ("Ingresso condensatore", "temperature", "condenser_inlet_temp"),
        ("Buiten", "temperature", "outdoor_temp"),
        ("Kondensor ut", "temperature", "condenser_outlet_temp"),
        ("Utomhus", "temperature", "outdoor_temp"),
        ("Skraplacz wylot", "temperature", "condenser_outlet_temp"),
        ("Saída condensador", "temperature", "condenser_outlet_temp"),
        ("凝縮器入口温度", "temperature", "condenser_inlet_temp"),
        ("冷凝器出风温度", "temperature", "condenser_outlet_temp"),
        ("室外温度", "temperature", "outdoor_temp"),
        ("T_cin", "temperature", "condenser_inlet_temp"),
        ("heater setpoint", "temperature", "ignored"),
        ("plug temperature", "temperature", "ignored"),
        ("feels like", "temperature", "ignored"),
        ("Seau condensat", "mass", "condensate_mass"),
        ("humidifier tank", "mass", "water_supply_mass"),
    ],
)
def test_words_name_a_role(heading: str, quantity: str, role: str) -> None:
    found = role_by_words(words_of(heading), quantity)
    assert found is not None
    assert found[0] == role


@pytest.mark.parametrize("heading", ["Probe 7", "Channel A", "T1", "value"])
def test_words_that_say_nothing_name_no_role(heading: str) -> None:
    assert role_by_words(words_of(heading), "temperature") is None


def test_a_heater_that_switches_is_told_from_one_that_runs_on() -> None:
    log = a_log(
        "p.csv", a_column("Heater A (W)", 1000 * MAINS, "W"), a_column("Heater B (W)", CYCLE * 1500 * MAINS, "W")
    )
    roles = propose_roles([log])
    assert roles["p.csv", "Heater A (W)"].value == "heater_constant_power"
    assert roles["p.csv", "Heater B (W)"].value == "heater_cycling_power"
    assert "switches 23 times between 0 and" in roles["p.csv", "Heater B (W)"].because


def test_nameless_powers_are_told_apart_by_the_mains_and_by_the_cold_air() -> None:
    power = a_log(
        "power.csv",
        a_column("P1", 700 * MAINS, "W"),
        a_column("P2", UNIT, "W"),
        a_column("P3", CYCLE * 900 * MAINS, "W"),
    )
    air = a_log(
        "air.csv", a_column("probe x", 12 - (UNIT - 600) / 10, "°C"), a_column("probe y", np.full(N, 24.0), "°C")
    )
    roles = propose_roles([power, air])
    assert roles["power.csv", "P1"].value == "heater_constant_power"
    assert roles["power.csv", "P2"].value == "unit_power"
    assert roles["power.csv", "P3"].value == "heater_cycling_power"
    assert "“probe x”, the coldest air" in roles["power.csv", "P2"].because


def test_a_role_is_proposed_over_all_files_of_a_session() -> None:
    power = a_log("power.csv", a_column("ac_W", UNIT, "W"))
    levels = {"a": 11.0, "b": 24.0, "c": 24.4, "d": 35.0, "e": 48.0}
    air = a_log("air.csv", *(a_column(f"probe {n}", np.full(N, v), "°C") for n, v in levels.items()))
    roles = {key[1]: guess for key, guess in propose_roles([power, air]).items()}
    assert roles["probe a"].value == "supply_temp"
    assert roles["probe b"].value == "room_temp"
    assert roles["probe d"].value == "condenser_inlet_temp"
    assert roles["probe e"].value == "condenser_outlet_temp"
    assert roles["probe a"].because == "“probe a”: coldest while the unit draws power: 11.0 °C, 13.0 K from the next"


def test_words_that_behaviour_contradicts_are_kept_and_doubted() -> None:
    log = a_log(
        "s.csv",
        a_column("ac_W", UNIT, "W"),
        a_column("supply", np.full(N, 24.0), "°C"),
        a_column("return", np.full(N, 11.0), "°C"),
    )
    roles = propose_roles([log])
    assert roles["s.csv", "supply"].value == "supply_temp"
    assert roles["s.csv", "supply"].sure < 0.5
    assert "the supply air is 13.0 K warmer than the other side" in roles["s.csv", "supply"].because


def test_water_that_grows_is_condensate_and_water_that_shrinks_is_supplied() -> None:
    log = a_log(
        "w.csv", a_column("scale 1", np.linspace(0, 900, N), "g"), a_column("scale 2", np.linspace(5000, 4100, N), "g")
    )
    roles = propose_roles([log])
    assert roles["w.csv", "scale 1"].value == "condensate_mass"
    assert roles["w.csv", "scale 2"].value == "water_supply_mass"


def test_a_nameless_counter_belongs_to_the_power_it_agrees_with() -> None:
    counter = np.cumsum(UNIT * 10.0 / 3.6e6)
    log = a_log(
        "e.csv",
        a_column("ac_W", UNIT, "W"),
        a_column("heater_const_W", 900 * MAINS, "W"),
        a_column("E1", counter, "kWh"),
    )
    roles = propose_roles([log])
    assert roles["e.csv", "E1"].value == "unit_energy"
    assert roles["e.csv", "E1"].sure >= 0.7


def test_every_proposal_has_a_sentence_and_a_certainty() -> None:
    log = a_log(
        "x.csv",
        a_column("ac_W", UNIT, "W"),
        a_column("mystery", np.arange(N), ""),
        a_column("rh", np.full(N, 40.0), "%"),
    )
    for guess in propose_roles([log]).values():
        assert len(guess.because) > 10
        assert 0 < guess.sure <= 1
