"""A reduction is stored once with its points and findings, and is never changed."""

from __future__ import annotations

import pytest
from django.core.exceptions import ObjectDoesNotExist
from django.db import IntegrityError, transaction
from django.test import Client
from django.urls import reverse

from reduction import session as doc
from reduction.method import METHOD_VERSION
from reduction.run import session_digest
from tests import builders
from tests_app.actions import attach, reduce, sessions
from tests_app.models import Finding, Point, Reduction, Session
from units.models.immutable import WrittenOnce

pytestmark = pytest.mark.django_db


def test_points_are_stored_with_digests_and_method_version(reduction: Reduction) -> None:
    document = doc.Session.model_validate(reduction.document)
    assert reduction.input_sha256 == session_digest(document)
    assert reduction.method_version == METHOD_VERSION
    assert [log.sha256 for log in document.files] == [file["sha256"] for file in reduction.result["files"]]
    point = reduction.points.get()
    whole = doc.Point.model_validate(point.detail)
    assert (point.capacity_w, point.capacity_u95_w, point.limit) == (
        whole.capacity_w,
        whole.capacity_u95_w,
        whole.limit.verdict,
    )
    assert point.unit == reduction.session.unit
    assert [row.code for row in reduction.findings.filter(point=point)] == [finding.code for finding in whole.findings]


def test_the_same_inputs_give_the_reduction_that_stands(reduction: Reduction, tester: Client) -> None:
    assert reduce.run_and_store(session=reduction.session, by=tester.person) == reduction
    assert not reduce.is_due(reduction.session)


def test_a_changed_fact_gives_a_new_reduction_beside_the_old(reduction: Reduction, tester: Client) -> None:
    before = reduction.points.get().capacity_w
    session = reduction.session
    load = {"what": "fan", "power_w": 50.0, "u95_w": 1.5}
    sessions.state_facts(session=session, facts={"fixed_loads": [load]}, by=tester.person)
    assert reduce.is_due(session)
    newer = reduce.run_and_store(session=session, by=tester.person)
    assert newer.supersedes == reduction
    assert newer.points.get().capacity_w - before == pytest.approx(50, abs=0.5)
    assert Reduction.objects.get(pk=reduction.pk).points.get().capacity_w == before
    assert (list(Reduction.objects.current()), list(Point.objects.current())) == ([newer], [newer.points.get()])


def test_going_back_to_earlier_inputs_supersedes_again(reduction: Reduction, tester: Client) -> None:
    session = reduction.session
    for loads in ([{"what": "fan", "power_w": 50.0, "u95_w": 1.5}], []):
        sessions.state_facts(session=session, facts={"fixed_loads": loads}, by=tester.person)
        standing = reduce.run_and_store(session=session, by=tester.person)
    assert standing.pk != reduction.pk
    assert standing.input_sha256 == reduction.input_sha256
    assert standing.points.get().capacity_w == reduction.points.get().capacity_w


def test_two_workers_at_once_store_one_reduction(reduction: Reduction, tester: Client) -> None:
    document = doc.Session.model_validate(reduction.document)
    result = doc.Result.model_validate(reduction.result)
    stored = reduce.store(session=reduction.session, document=document, result=result, by=tester.person)
    assert stored == reduction


def test_another_unit_is_taken_by_the_next_reduction_only(reduction: Reduction, tester: Client) -> None:
    other = builders.a_unit(bench=reduction.session.bench)
    attach.to_unit(session=reduction.session, unit=other, by=tester.person)
    newer = reduce.run_and_store(session=reduction.session, by=tester.person)
    assert reduction.points.get().unit != other
    assert newer.points.get().unit == other


def test_a_second_first_reduction_is_refused_by_the_database(stored: Reduction) -> None:
    with pytest.raises(IntegrityError, match=r"a_session_has_one_first_reduction|session_id"), transaction.atomic():
        builders.a_reduction(session=stored.session, points=())


def test_a_second_successor_is_refused_by_the_database(stored: Reduction) -> None:
    builders.a_reduction(session=stored.session, points=(), supersedes=stored)
    with pytest.raises(IntegrityError, match="supersedes"), transaction.atomic():
        builders.a_reduction(session=stored.session, points=(), supersedes=stored)


ROWS = {
    "reduction": lambda reduction: reduction,
    "point": lambda reduction: reduction.points.get(),
    "finding": lambda reduction: reduction.findings.first(),
}
CHANGED = {"reduction": "method_version", "point": "label", "finding": "sentence"}
DOORS = {
    "save": lambda row, field: row.save(),
    "save some fields": lambda row, field: row.save(update_fields=[field]),
    "save as another instance of the same row": lambda row, field: type(row)(pk=row.pk, **copied(row)).save(),
    "save raw, as a fixture is loaded": lambda row, field: row.save_base(raw=True),
    "force an update": lambda row, field: row.save(force_update=True),
    "update by query": lambda row, field: type(row).objects.update(**{field: "x"}),
    "update by filtered query": lambda row, field: type(row).objects.filter(pk=row.pk).update(**{field: "x"}),
    "update or create": lambda row, field: type(row).objects.update_or_create(pk=row.pk, defaults={field: "x"}),
    "update many": lambda row, field: type(row).objects.bulk_update([row], [field]),
    "create over it": lambda row, field: type(row).objects.bulk_create(
        [row], update_conflicts=True, update_fields=[field], unique_fields=["id"]
    ),
    "delete": lambda row, field: row.delete(),
    "delete by query": lambda row, field: type(row).objects.filter(pk=row.pk).delete(),
}


def copied(row: Reduction | Point | Finding) -> dict[str, object]:
    return {field.name: getattr(row, field.name) for field in row._meta.concrete_fields if field.name != "id"}


@pytest.fixture
def stored(session: Session) -> Reduction:
    """Return a stored reduction that no log was read for."""
    stored = builders.a_reduction(session=session)
    Finding.objects.create(reduction=stored, code="stuck_sensor", severity="warning", sentence="It stuck.")
    return stored


@pytest.mark.parametrize("door", DOORS)
@pytest.mark.parametrize("name", ROWS)
def test_there_is_no_door_to_change_what_is_stored(stored: Reduction, name: str, door: str) -> None:
    row = ROWS[name](stored)
    field = CHANGED[name]
    before = getattr(row, field)
    setattr(row, field, "x")
    with pytest.raises((WrittenOnce, IntegrityError)), transaction.atomic():
        DOORS[door](row, field)
    assert getattr(type(row).objects.get(pk=row.pk), field) == before


@pytest.mark.parametrize("related", ["points", "findings"])
def test_related_rows_have_no_door_either(stored: Reduction, related: str) -> None:
    with pytest.raises(WrittenOnce):
        getattr(stored, related).update(label="x")
    with pytest.raises(WrittenOnce):
        getattr(stored, related).all().delete()


def test_a_session_with_results_cannot_be_removed(reduction: Reduction, tester: Client) -> None:
    page = tester.post(reverse("session-remove", args=[reduction.session_id]))
    assert page.status_code == 422
    assert "Results and their evidence stay" in page.content.decode()
    assert Session.objects.filter(pk=reduction.session_id).exists()


def test_a_person_who_leaves_takes_no_result_along(reduction: Reduction, tester: Client) -> None:
    tester.person.delete()
    kept = Reduction.objects.get(pk=reduction.pk)
    assert kept.reduced_by is None
    with pytest.raises(ObjectDoesNotExist):
        tester.person.refresh_from_db()
