"""The builders give what other tests take for granted."""

import pytest

from tests import builders
from tests_app.actions import reduce
from units.models import Bench


@pytest.mark.parametrize("powers", ["plugs", "energy"])
def test_a_session_with_logs_reduces_to_what_its_heater_gave(bench: Bench, powers: str) -> None:
    session = builders.a_session(bench=bench, with_logs=["temperatures", powers])
    point = reduce.run_and_store(session=session, by=None).points.get()
    envelope_w = 14.0 * (30.0 - 26.7)
    assert point.capacity_w == pytest.approx(1900.0 + envelope_w, abs=point.capacity_u95_w)
    assert point.power_w == pytest.approx(700.0, abs=point.power_u95_w)


def test_a_published_point_has_an_edition_behind_it(bench: Bench) -> None:
    published = builders.a_published_point(unit=builders.a_unit(bench=bench))
    assert published.edition.review.units.get() == published.unit


def test_a_point_belongs_to_its_unit(bench: Bench) -> None:
    unit = builders.a_unit(bench=bench)
    assert builders.a_point(unit=unit, capacity_w=2000.0).unit == unit
