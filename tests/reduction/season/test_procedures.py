"""Seasons by published procedures from a unit's own points: bins walked by hand, names and units kept apart."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from reduction.judge.own_surface import fitted_surface
from reduction.judge.rated_point import RatedPoint
from reduction.season.procedures import published_seasons
from reduction.season.unit_season import procedure_figures, standby_input
from reduction.session import Compressor, Limit, Measured, SeasonFigure, UnitKind

ISO_HOURS = [
    100,
    139,
    165,
    196,
    210,
    215,
    210,
    181,
    150,
    120,
    75,
    35,
    11,
    6,
    4,
]  # ISO 16358-1:2013, T1 reference bins, 21 to 35 °C


def _m(value: float, u: float = 0.0) -> Measured:
    return Measured(value=value, u=u)


def _point(kind: UnitKind = UnitKind.MINI_SPLIT, capacity_w: float = 3500.0, power_w: float = 1000.0) -> RatedPoint:
    return RatedPoint(
        kind=kind, capacity=_m(capacity_w, 35.0), power=_m(power_w, 5.0), room_temp_c=_m(27.0),
        room_wet_bulb_c=_m(19.0), outdoor_temp_c=_m(35.0), limit=Limit(verdict="at full speed", because=""),
    )  # fmt: skip


def _reduced(point: RatedPoint, share: float, power_share: float) -> RatedPoint:
    return replace(
        point, capacity=_m(share * point.capacity.value), power=_m(power_share * point.power.value),
        limit=Limit(verdict="reduced speed", because=""),
    )  # fmt: skip


def _named(figures: tuple[SeasonFigure, ...], start: str) -> SeasonFigure:
    return next(figure for figure in figures if figure.name.startswith(start))


def test_the_iso_season_is_the_bins_walked_one_by_one() -> None:
    point = _point()
    figure = _named(procedure_figures([point], UnitKind.MINI_SPLIT), "CSPF")
    surface = fitted_surface([point], np.arange(21.0, 36.0), 19.0)
    heat = energy = 0.0
    for hours, outdoor, q, p in zip(ISO_HOURS, range(21, 36), surface.capacity_w, surface.power_w, strict=True):
        load = float(surface.capacity_w[-1]) * (outdoor - 20.0) / 15.0
        part = min(load / q, 1.0)
        heat += hours * min(load, q)
        energy += hours * part * p / (1.0 - 0.25 * (1.0 - part))
    assert figure.value == pytest.approx(heat / energy, rel=1e-9)
    assert figure.quantity_unit == "W/W"


def test_each_procedure_has_its_own_name_and_unit_of_measure() -> None:
    figures = procedure_figures([_point()], UnitKind.MINI_SPLIT)
    assert [(figure.name, figure.quantity_unit) for figure in figures] == [
        ("CSPF (ISO 16358-1)", "W/W"),
        ("SEER (EU 206/2012)", "W/W"),
        ("SEER (AHRI 210/240 bins)", "Btu/(W·h)"),
    ]
    window = procedure_figures([_point(UnitKind.WINDOW)], UnitKind.WINDOW)
    assert [figure.name for figure in window] == ["CEER", "CSPF (ISO 16358-1)"]
    assert all("not comparable" in figure.because for figure in figures)


@pytest.mark.parametrize("kind", [UnitKind.SINGLE_DUCT_PORTABLE, UnitKind.DUAL_DUCT_PORTABLE])
def test_a_portable_gets_no_season_of_another_kind(kind: UnitKind) -> None:
    assert procedure_figures([_point(kind)], kind) == ()


def test_without_full_speed_there_is_no_published_season() -> None:
    slowed = _reduced(_point(), 0.5, 0.4)
    assert published_seasons([[slowed]], UnitKind.MINI_SPLIT, standby_input(None)) == ()
    assert procedure_figures([], UnitKind.MINI_SPLIT) == ()


def test_a_reduced_speed_that_is_more_efficient_raises_every_season() -> None:
    full = _point()
    one = procedure_figures([full], UnitKind.MINI_SPLIT, compressor=Compressor.VARIABLE_SPEED)
    two = procedure_figures([_reduced(full, 0.5, 0.35), full], UnitKind.MINI_SPLIT)
    assert all(more.value > less.value for less, more in zip(one, two, strict=True))
    assert "a lower bound" in one[0].because
    assert "full speed and 1 reduced speed" in two[0].because


def test_what_a_unit_draws_while_it_waits_lowers_the_european_season_alone() -> None:
    hungry, frugal = (procedure_figures([_point()], UnitKind.MINI_SPLIT, _m(watts, 0.1)) for watts in (8.0, 0.5))
    assert _named(hungry, "SEER (EU").value < _named(frugal, "SEER (EU").value
    assert _named(hungry, "CSPF").value == _named(frugal, "CSPF").value
    standby = next(each for each in _named(hungry, "SEER (EU").inputs if each.name == "standby power")
    assert standby.measured


def test_a_measured_efficiency_carries_its_doubt_into_the_season() -> None:
    sure, unsure = (
        _named(procedure_figures([replace(_point(), capacity=_m(3500.0, u))], UnitKind.MINI_SPLIT), "CSPF")
        for u in (10.0, 150.0)
    )
    # Own algebra: a relative error of the capacity is one of every bin's efficiency, beside what the maps leave open.
    added = np.sqrt(unsure.u95**2 - sure.u95**2) / unsure.value
    assert added == pytest.approx(2.0 * np.sqrt(150.0**2 - 10.0**2) / 3500.0, rel=0.05)
