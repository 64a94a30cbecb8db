"""What the tester knows beside the logs, typed into the page."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from reduction.errors import InvalidSession
from tests_app import session_document
from tests_app.actions import sessions
from tests_app.forms.facts import LISTS
from tests_app.models import Session

pytestmark = pytest.mark.django_db


def typed(*, lists: dict[str, list[dict[str, Any]]] | None = None, known: int = 0, **test: Any) -> dict[str, Any]:
    """Return what the page would post."""
    posted: dict[str, Any] = {"test-heater_kind": "unknown", "test-condensate_on_condenser": "unknown"}
    posted |= {f"test-{name}": value for name, value in test.items()}
    for name in LISTS:
        rows = (lists or {}).get(name, [])
        posted |= {f"{name}-TOTAL_FORMS": len(rows), f"{name}-INITIAL_FORMS": known if rows else 0}
        for i, row in enumerate(rows):
            posted |= {f"{name}-{i}-{field}": value for field, value in row.items()}
    return posted


def post(client: Client, session: Session, **fields: Any) -> Any:
    return client.post(reverse("facts", args=[session.pk]), typed(**fields))


def test_loads_and_settings_reach_the_document(session: Session, tester: Client) -> None:
    loads = [
        {"what": "circulation fan", "power_w": "50.4", "u95_w": "1.5"},
        {"what": "lamp", "power_w": "9", "u95_w": "1"},
    ]
    assert (
        post(tester, session, lists={"fixed_loads": loads}, heater_kind="fan_forced", altitude_m="1600").status_code
        == 302
    )
    document = session_document.to_document(Session.objects.get())
    assert [(load.what, load.power_w, load.u95_w) for load in document.fixed_loads] == [
        ("circulation fan", 50.4, 1.5),
        ("lamp", 9.0, 1.0),
    ]
    assert (document.heater_kind, document.settings.altitude_m) == ("fan_forced", 1600.0)


def test_instants_are_typed_and_shown_in_the_zone_of_the_session(session: Session, tester: Client) -> None:
    Session.objects.update(time_zone="America/Denver")
    weighing = {"what": "condensate", "mass_kg": "0.4", "u95_kg": "0.01"}
    weighing |= {"start_utc": "2026-07-14T06:30:00", "end_utc": "2026-07-14T07:30:00"}
    post(tester, session, lists={"weighings": [weighing]})
    kept = session_document.to_document(Session.objects.get()).moisture.weighings[0]
    assert kept.start_utc.isoformat() == "2026-07-14T12:30:00+00:00"
    assert 'value="2026-07-14T06:30:00"' in tester.get(reverse("facts", args=[session.pk])).content.decode()


def test_saving_the_page_as_it_is_changes_nothing(session: Session, tester: Client) -> None:
    event = {"time_utc": "2026-07-14T12:00:00", "what": "door opened", "kind": "door"}
    load = {"what": "fan", "power_w": "50", "u95_w": "1"}
    post(
        tester,
        session,
        lists={"fixed_loads": [load], "events": [event]},
        fan_step="high",
        condensate_on_condenser="true",
    )
    before = session_document.to_document(Session.objects.get())
    post(
        tester,
        session,
        lists={"fixed_loads": [load], "events": [event]},
        known=1,
        fan_step="high",
        condensate_on_condenser="true",
    )
    assert session_document.to_document(Session.objects.get()) == before
    assert before.moisture.condensate_on_condenser is True


def test_a_line_can_be_taken_out(session: Session, tester: Client) -> None:
    load = {"what": "fan", "power_w": "50", "u95_w": "1"}
    post(tester, session, lists={"fixed_loads": [load]})
    post(tester, session, lists={"fixed_loads": [load | {"DELETE": "on"}]}, known=1)
    assert Session.objects.get().fixed_loads == []


@pytest.mark.parametrize(
    ("lists", "sentence"),
    [
        ({"fixed_loads": [{"what": "fan", "power_w": "-5", "u95_w": "1"}]}, "greater than or equal to 0"),
        ({"fixed_loads": [{"what": "fan", "power_w": "fifty", "u95_w": "1"}]}, "Enter a number"),
        ({"fixed_loads": [{"what": "fan", "power_w": "nan", "u95_w": "1"}]}, "Enter a number"),
        ({"fixed_loads": [{"what": "fan", "power_w": "50", "u95_w": ""}]}, "This field is required"),
        ({"events": [{"time_utc": "soon", "what": "door", "kind": "door"}]}, "Enter a valid date/time"),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_is_saved(session: Session, tester: Client, lists, sentence) -> None:
    page = post(tester, session, lists=lists, fan_step="high")
    assert page.status_code == 422
    assert sentence in page.content.decode()
    assert Session.objects.get().reduction_settings == {}


def test_a_fact_that_breaks_the_document_is_refused_whole(session: Session, tester: Client) -> None:
    facts = {"notes": "kept?", "people": [{"count": -1}]}
    with pytest.raises(InvalidSession, match=r"column “people.0.count”.*greater than or equal to 0.*nothing was saved"):
        sessions.state_facts(session=session, facts=facts, by=tester.person)
    assert Session.objects.get().notes == ""


def test_the_room_is_shown_with_its_uncertainty(session: Session, tester: Client) -> None:
    page = tester.get(reverse("facts", args=[session.pk])).content.decode().replace("\N{NO-BREAK SPACE}", " ")
    assert "14 ± 2 W/K" in page
    assert "co-heating run" in page


def test_a_line_left_as_the_browser_shows_it_is_no_line(session: Session, tester: Client) -> None:
    untouched = {"events": [{"time_utc": "", "kind": "note", "what": ""}], "weighings": [{"what": "condensate"}]}
    assert post(tester, session, lists=untouched).status_code == 302
    kept = Session.objects.get()
    assert (kept.events, kept.moisture) == ([], {})


@pytest.mark.parametrize(
    ("typed_as", "scale", "kept_c"),
    [("22", "C", 22.0), ("72 °F", "C", 22.2222), ("72", "F", 22.2222), ("22 C", "F", 22.0)],
)
def test_a_temperature_is_in_the_readers_scale_or_in_the_one_written_after_it(
    session: Session, tester: Client, typed_as: str, scale: str, kept_c: float
) -> None:
    tester.cookies["display"] = f"{scale}|W|auto"
    assert post(tester, session, set_room_temp_c=typed_as).status_code == 302
    assert session_document.to_document(Session.objects.get()).settings.set_room_temp_c == pytest.approx(kept_c)
    shown = tester.get(reverse("facts", args=[session.pk])).content.decode()
    assert f"{kept_c if scale == 'C' else kept_c * 1.8 + 32:.4g} °{scale}" in shown


@pytest.mark.parametrize(("typed_as", "kg"), [("0.82", 0.82), ("820 g", 0.82), ("1,8 lb", 0.816466)])
def test_a_mass_may_be_written_in_grams_or_pounds(session: Session, tester: Client, typed_as: str, kg: float) -> None:
    weighing = {"what": "condensate", "mass_kg": typed_as, "u95_kg": "10 g"}
    weighing |= {"start_utc": "2026-07-14T06:30:00", "end_utc": "2026-07-14T07:30:00"}
    assert post(tester, session, lists={"weighings": [weighing]}).status_code == 302
    kept = session_document.to_document(Session.objects.get()).moisture.weighings[0]
    assert (kept.mass_kg, kept.u95_kg) == (pytest.approx(kg), 0.01)


DUCTS = {
    "ducts-exhaust_flow_m3_per_h": "400", "ducts-exhaust_flow_u95_m3_per_h": "24", "ducts-exhaust_area_m2": "0.56",
    "ducts-exhaust_surface_temp_c": "108 °F", "ducts-off_cycle_power_w": "61",
}  # fmt: skip


def test_a_portables_ducts_reach_the_document_and_stay_as_they_are(session: Session, tester: Client) -> None:
    session.unit.kind = "single_duct_portable"
    session.unit.save()
    address = reverse("facts", args=[session.pk])
    assert "Ducts of the portable" in tester.get(address).text
    assert tester.post(address, typed() | DUCTS).status_code == 302
    ducts = session_document.to_document(Session.objects.get()).unit.ducts
    assert (ducts.exhaust_flow_m3_per_h, ducts.exhaust_flow_u95_m3_per_h, ducts.exhaust_area_m2) == (400.0, 24.0, 0.56)
    assert ducts.exhaust_surface_temp_c == pytest.approx(42.22, abs=0.01)
    assert ducts.intake_flow_m3_per_h is None
    assert 'value="42.22 °C"' in tester.get(address).text
    tester.post(address, typed() | dict.fromkeys(DUCTS, ""))
    assert session_document.to_document(Session.objects.get()).unit.ducts.exhaust_flow_m3_per_h is None


def test_only_a_portable_is_asked_for_its_ducts(session: Session, tester: Client) -> None:
    assert "Ducts of the portable" not in tester.get(reverse("facts", args=[session.pk])).text


def test_a_flow_of_nothing_is_refused_in_words(session: Session, tester: Client) -> None:
    session.unit.kind = "single_duct_portable"
    session.unit.save()
    page = tester.post(reverse("facts", args=[session.pk]), typed() | DUCTS | {"ducts-exhaust_flow_m3_per_h": "0"})
    assert page.status_code == 422
    assert "greater than 0" in page.text
