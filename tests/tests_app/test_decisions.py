"""The decision rule of a session: free before the run, told after it, and what the verdict follows."""

from __future__ import annotations

import json

import pytest
from django.test import Client
from django.urls import reverse

from reduction import session as doc
from reduction.errors import InvalidSession
from reduction.judge.decision import in_words
from tests import builders
from tests.tests_app import logs
from tests_app import session_document
from tests_app.actions import decisions, documents, reduce
from tests_app.models import RuleChoice, Session
from units.models.immutable import WrittenOnce

pytestmark = pytest.mark.django_db

GUARDED, SIMPLE = doc.DecisionRule(rule="guard_band"), doc.DecisionRule(rule="simple_acceptance")
WHY = "The maker asked for the rule of its own scheme."


def test_a_rule_chosen_before_the_run_needs_no_reason_and_is_no_change(bench, tester: Client) -> None:
    session = builders.a_session(bench=bench)
    choice = decisions.choose(session=session, rule=GUARDED, by=tester.person)
    document = session_document.to_document(session)
    assert (document.decision.rule, document.decision.chosen_at) == ("guard_band", choice.chosen_at)
    assert document.decision.changes == ()


def test_choosing_the_usual_rule_is_a_choice_too_and_choosing_it_twice_is_one(bench, tester: Client) -> None:
    session = builders.a_session(bench=bench)
    assert decisions.choose(session=session, rule=doc.DecisionRule(), by=tester.person).chosen_at
    assert decisions.choose(session=session, rule=doc.DecisionRule(), by=tester.person) is None


def test_a_change_after_the_data_are_there_says_why_or_is_refused(read_session: Session, tester: Client) -> None:
    with pytest.raises(InvalidSession, match="found “no reason”"):
        decisions.choose(session=read_session, rule=GUARDED, why=" ", by=tester.person)
    made = decisions.choose(session=read_session, rule=GUARDED, why=WHY, by=tester.person)
    assert (made.after, made.chosen_by, made.chosen_in_role) == ("data", tester.person, "tester")
    change = session_document.to_document(read_session).decision.changes[0]
    assert (change.before, change.now, change.why) == (in_words(doc.DecisionRule()), in_words(GUARDED), WHY)


def test_a_change_after_a_result_is_logged_the_old_result_keeps_its_rule_and_the_new_verdict_follows(
    confirmed_session: Session, tester: Client
) -> None:
    before = reduce.run_and_store(session=confirmed_session, by=tester.person)
    decisions.choose(session=confirmed_session, rule=SIMPLE, why=WHY, by=tester.person)
    after = reduce.run_and_store(session=confirmed_session, by=tester.person)
    assert after.supersedes == before
    assert "decision" not in before.document
    assert [change["after"] for change in after.document["decision"]["changes"]] == ["result"]
    rules = [[verdict["rule"] for verdict in row.points.get().detail["verdicts"]] for row in (before, after)]
    assert rules == [[in_words(doc.DecisionRule())], [in_words(SIMPLE)]]


def test_choices_are_written_once(bench, tester: Client) -> None:
    choice = decisions.choose(session=builders.a_session(bench=bench), rule=GUARDED, by=tester.person)
    choice.why = "never mind"
    for attempt in (choice.save, choice.delete, RuleChoice.objects.all().delete):
        with pytest.raises(WrittenOnce):
            attempt()


def test_a_session_moves_with_its_rule_and_its_changes_and_without_names(
    confirmed_session: Session, tester: Client, stranger: Client
) -> None:
    decisions.choose(session=confirmed_session, rule=GUARDED, why=WHY, by=tester.person)
    document = session_document.to_document(confirmed_session)
    sent = document.model_dump_json()
    assert tester.person.username not in sent
    there = stranger.person.memberships.get().bench
    moved = documents.bring_in(bench=there, document=documents.parse(sent), files=logs.both(), by=stranger.person)
    assert session_document.to_document(moved) == document


def test_an_unknown_scheme_is_refused_with_the_known_ones(bench, tester: Client) -> None:
    with pytest.raises(InvalidSession, match="EU market surveillance"):
        decisions.choose(
            session=builders.a_session(bench=bench), rule=doc.DecisionRule(tolerance_from="mine"), by=tester.person
        )


def test_the_rule_is_chosen_with_the_session_on_its_page(bench, tester: Client) -> None:
    form = {"name": "Unit at 35 °C", "purpose": "cooling", "time_zone": "UTC"}
    answer = tester.post(reverse("session-new"), form | {"decision-rule": "guard_band", "decision-guard_factor": "1.5"})
    session = Session.objects.get(name="Unit at 35 °C")
    assert answer.url == reverse("files", args=[session.pk])
    assert (session_document.decision_of(session).guard_factor, session.rule_choices.get().after) == (1.5, "")


def test_a_change_is_asked_for_its_reason_and_shown_on_the_result(confirmed_session: Session, tester: Client) -> None:
    reduce.run_and_store(session=confirmed_session, by=tester.person)
    address = reverse("decision", args=[confirmed_session.pk])
    assert tester.post(address, {"rule": "guard_band"}).status_code == 422
    assert tester.post(address, {"rule": "guard_band", "why": WHY}).status_code == 302
    reduce.run_and_store(session=confirmed_session, by=tester.person)
    page = tester.get(reverse("result", args=[confirmed_session.pk])).content.decode()
    for said in (
        WHY,
        in_words(GUARDED),
        in_words(doc.DecisionRule()),
        tester.person.username,
        "after a result was there",
    ):
        assert said in page


def test_the_api_chooses_freely_and_changes_with_a_reason(
    bench, confirmed_session: Session, tester: Client, reader: Client
) -> None:
    def put(client: Client, session: Session, **facts: object):
        address = reverse("api-session-decision", args=[session.pk])
        return client.put(address, json.dumps(facts), content_type="application/json")

    fresh = builders.a_session(bench=bench)
    assert put(reader, fresh, rule="guard_band").status_code == 403
    assert put(tester, fresh, rule="guard_band").json()["changes"] == []
    assert put(tester, fresh, tolerance_from="mine").status_code == 400
    refused = put(tester, confirmed_session, rule="guard_band")
    assert (refused.status_code, refused.json()["errors"][0]["found"]) == (422, "no reason")
    assert put(tester, confirmed_session, rule="guard_band", why=WHY).json()["changes"][0]["why"] == WHY
