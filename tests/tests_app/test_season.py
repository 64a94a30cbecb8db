"""A season in a reader's own climate, worked out from a reduction and nowhere kept."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from reduction import session as doc
from reduction.season.ceer import ceer
from tests import builders
from tests.tests_app import logs
from tests_app.models import Reduction, Session

pytestmark = pytest.mark.django_db

ASKED = {
    "no_load_c": "18",
    "full_load_c": "35",
    "full_load_w": "2000 W",
    "room_wet_bulb_c": "19.4",
    "price_per_kwh": "0.30",
    "currency": "eur",
    "standby_hours": "4000",
}
DOCUMENT = {"unit": {"kind": "window"}}


@pytest.fixture
def full_speed(session: Session) -> Reduction:
    """Return a reduction of one window at the US rating condition."""
    conditions = {
        "room_temp_c": doc.Measured(value=26.7, u=0.1),
        "room_wet_bulb_c": doc.Measured(value=19.4, u=0.1),
        "outdoor_temp_c": doc.Measured(value=35.0, u=0.1),
    }
    return builders.a_reduction(
        session=session, points=(builders.a_result_point(conditions=conditions),), document=DOCUMENT
    )


def asked(client: Client, reduction: Reduction, **fields: Any) -> Any:
    return client.post(reverse("season", args=[reduction.session_id, reduction.pk]), ASKED | fields)


def plain(response: Any) -> str:
    return response.content.decode().replace("\N{NO-BREAK SPACE}", " ")


def test_the_cost_is_energy_times_price_and_its_sum_is_shown(full_speed: Reduction, reader: Client) -> None:
    # One bin at the tested condition with a load of 2000 W for 1000 h: 2000 kWh of heat at a ratio of 2000/2300.
    page = asked(reader, full_speed, bins="35,1000")
    assert page.status_code == 200
    cost, season = page.context["own"].cost, page.context["own"].season
    assert season.cooling_kwh == pytest.approx(2000.0)
    loss = (0.10 + 0.25) / 2  # middle of the bounds of the cycling loss
    drawn = 2000 / 2300 * 700 / (1 - loss * (1 - 2000 / 2300))
    assert cost.cooling_energy_kwh == pytest.approx(drawn, rel=0.01)
    standby_kwh = (0.3 + 3.0) / 2 * 4000 / 1000
    assert cost.standby_energy_kwh == pytest.approx(standby_kwh)
    assert cost.total == pytest.approx(0.30 * (cost.cooling_energy_kwh + standby_kwh))
    text = plain(page)
    assert f"{cost.total:,.2f} EUR" in text
    assert "it is no CEER and no SEER" in text
    assert "bounded: not measured" in text


def test_a_climate_file_is_read_as_such(full_speed: Reduction, reader: Client) -> None:
    file = logs.uploaded("place.csv", "temp_f,hours\n95,1000\n77,500\n")
    page = asked(reader, full_speed, climate=file)
    assert page.context["own"].efficiency.because.startswith("1500 h of climate")


@pytest.mark.parametrize(
    ("fields", "sentence"),
    [
        ({}, "Give either a file or a typed table."),
        ({"bins": "hot,1000"}, "expected"),
        ({"bins": "35,1000", "full_load_c": "17"}, "It must be warmer than where cooling begins."),
        ({"bins": "35,1000", "full_load_w": "much"}, "“much” is no load."),
        ({"bins": "35,1000", "price_per_kwh": "-1"}, "greater than or equal to 0"),
    ],
)
def test_what_cannot_be_worked_out_is_said(
    full_speed: Reduction, reader: Client, fields: dict[str, str], sentence: str
) -> None:
    page = asked(reader, full_speed, **fields)
    assert page.status_code == 422
    assert sentence in page.content.decode()


def test_a_result_that_saw_no_full_speed_says_what_is_missing(session: Session, reader: Client) -> None:
    limit = doc.Limit(verdict="coil near freezing", because="Cold coil.")
    reduction = builders.a_reduction(session=session, points=(builders.a_result_point(limit=limit),), document=DOCUMENT)
    page = asked(reader, reduction, bins="35,1000")
    assert "no point at full or reduced speed" in page.content.decode()


def test_the_ceer_of_a_result_is_shown_with_what_is_measured_and_what_is_bounded(
    session: Session, reader: Client
) -> None:
    inputs = (
        doc.SeasonInput(name="capacity at 95 °F", value=7848, u=100, quantity_unit="Btu/h", measured=True, because="x"),
        doc.SeasonInput(name="standby", value=1.65, u=0.8, quantity_unit="W", measured=False, because="usual"),
    )
    value = ceer(7848, 700, 1.65)
    figure = doc.SeasonFigure(
        name="CEER", value=value, u95=0.4, quantity_unit="Btu/(W·h)", inputs=inputs, because="One test."
    )
    stored = builders.a_reduction(session=session)
    result = stored.result | {"seasonal": [figure.model_dump(mode="json")]}
    builders.a_reduction(session=session, supersedes=stored, result=result)
    text = plain(reader.get(reverse("result", args=[session.pk])))
    assert f"CEER {value:.1f} ± 0.4 Btu/(W·h)" in text
    assert "it is neither the EER of a window nor a figure by another procedure" in text
    assert ("measured" in text, "bounded" in text) == (True, True)
