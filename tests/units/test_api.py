"""The API: a session in as a document with its files, reduced, read as points; each token within its bench and role."""

from __future__ import annotations

import hashlib
import json
from datetime import UTC, datetime, timedelta
from typing import Any

import jsonschema
import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from reduction.run import reduce_session
from reduction.session import Session as SessionDocument
from tests import builders, logs
from units.actions import tokens
from units.models import ApiToken, Bench, Unit

pytestmark = pytest.mark.django_db


def a_program(bench: Bench, token_role: str, person_role: str = "owner") -> dict[str, str]:
    """Return the headers of a program with a token of this role."""
    person = builders.a_person(bench=bench, role=person_role)
    _, secret = tokens.make(bench=bench, label="script", token_role=token_role, days=7, by=person)
    return {"Authorization": f"Bearer {secret}"}


def a_document(**fields: Any) -> dict[str, Any]:
    document = {
        "name": "brought by a program",
        "unit": {
            "maker": "Quellmar",
            "model": "W11",
            "kind": "window",
            "claims": [{"quantity": "capacity", "value": 8000, "quantity_unit": "Btu/h"}],
        },
        "room": {
            "volume_m3": 34.0,
            "surfaces": [{"to": "outdoor", "ua_w_per_k": 14.0, "u95_w_per_k": 2.0}],
            "c_eff_j_per_k": 400_000.0,
            "c_eff_u95_j_per_k": 90_000.0,
        },
        "files": [{"path": "temperatures.csv"}, {"path": "plugs.csv"}],
        "settings": {"monte_carlo_draws": 2000},
    }
    return document | fields


def sent(client: Client, program: dict[str, str], document: dict[str, Any] | str) -> Any:
    files = [SimpleUploadedFile(f"{name}.csv", logs.LOGS[name]()) for name in ("temperatures", "plugs")]
    text = document if isinstance(document, str) else json.dumps(document)
    return client.post("/api/sessions/", {"document": text, "files": files}, headers=program)


def test_a_program_brings_a_session_reduces_it_and_reads_the_same_points_as_the_command_line(
    bench: Bench, visitor: Client, tmp_path: Any
) -> None:
    program = a_program(bench, "tester")
    brought = sent(visitor, program, a_document())
    assert brought.status_code == 201, brought.content
    session = brought.json()
    job = visitor.post(f"/api/sessions/{session['id']}/reduce/", headers=program).json()
    assert visitor.get(f"/api/jobs/{job['id']}/", headers=program).json()["state"] == "done"
    points = visitor.get(f"/api/points/?session={session['id']}&current=true", headers=program).json()["results"]
    reduction = visitor.get(f"/api/reductions/{points[0]['reduction']}/", headers=program).json()
    for name in ("temperatures", "plugs"):
        (tmp_path / f"{name}.csv").write_bytes(logs.LOGS[name]())
    alone = reduce_session(SessionDocument.model_validate(reduction["document"]), base=tmp_path)
    assert [point["capacity_w"] for point in points] == [point.capacity_w for point in alone.points]
    assert reduction["result"]["session_sha256"] == alone.session_sha256


def test_a_session_goes_out_as_the_document_it_came_in_as_with_its_files_byte_for_byte(
    bench: Bench, visitor: Client
) -> None:
    program = a_program(bench, "tester")
    session = sent(visitor, program, a_document()).json()
    document = visitor.get(f"/api/sessions/{session['id']}/session.json", headers=program).json()
    schema = visitor.get("/api/schema/session.json").json()
    jsonschema.validate(document, schema)
    assert document["room"]["surfaces"][0]["ua_w_per_k"] == 14.0
    assert document["unit"]["claims"][0]["value"] == 8000
    for file in session["files"]:
        answer = visitor.get(f"/api/sessions/{session['id']}/files/{file['id']}/", headers=program)
        content = b"".join(answer.streaming_content)
        assert content == logs.LOGS[file["name"].removesuffix(".csv")]()
        assert hashlib.sha256(content).hexdigest() == file["sha256"]


def test_a_document_that_breaks_its_schema_is_answered_with_the_field_and_leaves_nothing(
    bench: Bench, visitor: Client
) -> None:
    program = a_program(bench, "tester")
    answer = sent(visitor, program, a_document(room={"volume_m3": -1}))
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["place"]["column"] == "room.volume_m3"
    assert bench.sessions.count() == 0
    assert bench.units.count() == 0


def test_a_file_that_is_missing_is_named(bench: Bench, visitor: Client) -> None:
    answer = sent(visitor, a_program(bench, "tester"), a_document(files=[{"path": "other.csv"}]))
    assert answer.status_code == 422
    assert "other.csv" in answer.json()["errors"][0]["sentence"]
    assert bench.evidence.count() == 0


def test_a_unit_is_registered_with_claims_in_si_and_changed_in_part(bench: Bench, visitor: Client) -> None:
    program = a_program(bench, "tester")
    facts = {
        "maker": "Quellmar",
        "model": "W12",
        "kind": "window",
        "tags": ["quiet", "series:Nord"],
        "claims": [{"quantity": "capacity", "value": 12000, "quantity_unit": "Btu/h", "stated_in": "nameplate"}],
    }
    made = visitor.post("/api/units/", facts, content_type="application/json", headers=program)
    assert made.status_code == 201, made.content
    unit = made.json()
    # A ton of refrigeration, 12 000 Btu/h, is 3516.853 W: NIST SP 811 (2008), appendix B.8.
    assert unit["claims"][0]["value_si"] == pytest.approx(3516.853, abs=0.001)
    changed = visitor.patch(
        f"/api/units/{unit['id']}/", {"refrigerant": "R-32"}, content_type="application/json", headers=program
    ).json()
    assert changed["refrigerant"] == "R-32"
    assert changed["tags"] == ["quiet", "series:Nord"]
    assert len(changed["claims"]) == 1


def test_a_claim_in_a_unit_that_does_not_fit_is_refused_in_words(bench: Bench, visitor: Client) -> None:
    facts = {"maker": "Q", "model": "W", "kind": "window"}
    facts["claims"] = [{"quantity": "capacity", "value": 12000, "quantity_unit": "dB(A)"}]
    program = a_program(bench, "tester")
    answer = visitor.post("/api/units/", facts, content_type="application/json", headers=program)
    assert answer.status_code == 400
    assert "dB(A)" in str(answer.json()["claims"])
    assert bench.units.count() == 0


def test_a_readers_token_reads_and_does_not_write(bench: Bench, visitor: Client) -> None:
    builders.a_unit(bench=bench)
    program = a_program(bench, "reader")
    assert len(visitor.get("/api/units/", headers=program).json()["results"]) == 1
    facts = {"maker": "Q", "model": "W", "kind": "window"}
    answer = visitor.post("/api/units/", facts, content_type="application/json", headers=program)
    assert answer.status_code == 403
    assert Unit.objects.count() == 1


def test_a_token_is_no_stronger_than_the_person_who_made_it(bench: Bench, visitor: Client) -> None:
    program = a_program(bench, "owner", person_role="reader")
    facts = {"maker": "Q", "model": "W", "kind": "window"}
    assert visitor.post("/api/units/", facts, content_type="application/json", headers=program).status_code == 403


def test_a_token_stays_on_its_bench_though_its_person_works_on_two(bench: Bench, visitor: Client) -> None:
    elsewhere = builders.a_bench()
    person = builders.a_person(bench=bench, role="owner")
    elsewhere.memberships.create(person=person, role="owner")
    hidden = builders.a_unit(bench=elsewhere)
    _, secret = tokens.make(bench=bench, label="script", token_role="owner", days=7, by=person)
    program = {"Authorization": f"Bearer {secret}"}
    assert visitor.get(f"/api/units/{hidden.pk}/", headers=program).status_code == 404
    assert visitor.get("/api/units/", headers=program).json()["results"] == []


@pytest.mark.parametrize("end", ["revoked", "expired", "mistyped"])
def test_a_token_that_does_not_live_opens_nothing(end: str, bench: Bench, visitor: Client) -> None:
    person = builders.a_person(bench=bench, role="owner")
    token, secret = tokens.make(bench=bench, label="script", token_role="owner", days=7, by=person)
    if end == "revoked":
        tokens.revoke(token=token, by=person)
    if end == "expired":
        ApiToken.objects.update(expires_at=datetime.now(UTC) - timedelta(seconds=1))
    sent_secret = secret + "x" if end == "mistyped" else secret
    assert visitor.get("/api/units/", headers={"Authorization": f"Bearer {sent_secret}"}).status_code == 401


def test_the_secret_of_a_token_is_shown_once_and_not_kept(owner: Client) -> None:
    page = owner.post("/bench/tokens/", {"label": "nightly", "token_role": "reader", "days": 30}).content.decode()
    token = ApiToken.objects.get()
    secret = page.split('<code class="secret">')[1].split("<")[0]
    assert tokens.hashed(secret) == token.secret_sha256
    assert secret not in owner.get("/bench/tokens/").content.decode()


def test_lists_go_on_page_by_page_until_all_was_seen_once(bench: Bench, visitor: Client) -> None:
    made = {str(builders.a_unit(bench=bench).pk) for _ in range(7)}
    program, address, seen = a_program(bench, "reader"), "/api/units/?page_size=3", []
    while address:
        page = visitor.get(address, headers=program).json()
        seen += [unit["id"] for unit in page["results"]]
        address = page["next"]
    assert sorted(seen) == sorted(made)


def test_a_list_asks_the_database_the_same_number_of_times_however_long_it_is(
    bench: Bench, visitor: Client, django_assert_max_num_queries: Any
) -> None:
    for _ in range(12):
        builders.a_unit(bench=bench)
    program = a_program(bench, "reader")
    with django_assert_max_num_queries(6):
        visitor.get("/api/units/", headers=program)


def test_published_points_are_open_to_all_and_name_nothing_private(bench: Bench, visitor: Client) -> None:
    unit = builders.a_unit(bench=bench, serial="SN-PRIVATE-77", notes="private note")
    builders.a_published_point(unit=unit)
    answer = visitor.get("/api/published-points/?outdoor_temp_c__gte=20")
    (point,) = answer.json()["results"]
    assert point["maker"] == unit.maker
    assert {"capacity_w", "capacity_u95_w", "eer_btu_per_wh", "eer_u95"} <= point.keys()
    for private in ("SN-PRIVATE-77", "private note", str(bench.pk), bench.name):
        assert private not in answer.content.decode()


def test_the_openapi_document_names_every_address_of_the_api(visitor: Client) -> None:
    document = visitor.get("/api/openapi.json").json()
    assert document["openapi"].startswith("3.")
    assert {"/api/units/", "/api/sessions/", "/api/reductions/{id}/", "/api/points/", "/api/published-points/"} <= {
        *document["paths"]
    }


def test_a_file_that_can_be_read_in_two_ways_is_answered_with_its_question_until_the_profile_says(
    bench: Bench, visitor: Client
) -> None:
    program = a_program(bench, "tester")

    def send(profile: dict[str, str]) -> Any:
        file = SimpleUploadedFile("log.csv", b"time,room_C\n07/08/2026 18:05,24.6\n07/08/2026 18:06,24.7\n")
        document = a_document(files=[{"path": "log.csv", "profile": profile}])
        return visitor.post("/api/sessions/", {"document": json.dumps(document), "files": [file]}, headers=program)

    refused = send({})
    assert refused.status_code == 422
    question = refused.json()["errors"][0]["question"]
    assert (question["what"], question["options"]) == ("date_order", ["day_first", "month_first"])
    assert "fits both orders" in question["because"]
    assert send({"date_order": "day_first"}).status_code == 201
