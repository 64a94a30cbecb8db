"""The ledger is looked at as a whole: each invariant is broken once behind the application's back, and found."""

from __future__ import annotations

import shutil
import uuid
from collections.abc import Callable
from io import StringIO
from pathlib import Path

import pytest
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.core.management import CommandError, call_command
from django.db import connection, transaction
from django.db.models import F, QuerySet
from django.test import Client

from tests import builders
from tests.tests_app import logs
from tests_app.actions import mapping, reduce, upload
from tests_app.models import Channel, Evidence, Finding, Job, PartialUpload, Point, Reduction, Session
from units.actions import editions, ledger, reviews
from units.models import CalibrationRecord, CatalogueEntry, Edition, PooledRow, PublishedPoint

pytestmark = pytest.mark.django_db


def behind_the_back(model: type, **fields: object) -> None:
    """Change rows as someone with the database's password would."""
    QuerySet(model).update(**fields)


@pytest.fixture
def whole(owner: Client) -> Session:
    """Return a session that was read, reduced twice, and published with its raw table."""
    bench = owner.person.memberships.get().bench
    unit = builders.a_unit(bench=bench, claims={}, obtained="bought", afterwards="kept")
    session = builders.a_session(
        bench=bench, unit=unit, name="At 35 °C", reduction_settings={"monte_carlo_draws": 2000}
    )
    upload.keep_files(session=session, files=logs.both(), by=owner.person)
    channels = list(Channel.objects.filter(file__session=session))
    mapping.confirm(channels=channels, choices={channel.pk: {} for channel in channels}, by=owner.person)
    reduce.run_and_store(session=session, by=owner.person)
    session.fixed_loads = [{"what": "fan", "power_w": 50.0, "u95_w": 1.5}]
    session.save()
    reduce.run_and_store(session=session, by=owner.person)
    review = reviews.begin(bench=bench, units=[unit], by=owner.person)
    reviews.write(review=review, disclosure="Bought.", charts=[], publish_raw=True, by=owner.person)
    editions.publish(review=review, by=owner.person)
    editions.publish(review=review, erratum="A word.", by=owner.person)
    builders.an_instrument(bench=session.bench)
    calibration = CalibrationRecord.objects.create(
        instrument=session.bench.instruments.get(), valid_from=builders.NOON.date(), how="ice"
    )
    calibration.certificate.save("c.txt", ContentFile(b"ok"))
    return session


def evidence_path() -> Path:
    return Path(default_storage.path(Evidence.objects.order_by("size_bytes").last().stored_as))


def bytes_lost(session: Session) -> None:
    evidence_path().unlink()


def bytes_changed(session: Session) -> None:
    path = evidence_path()
    path.write_bytes(path.read_bytes().replace(b"0", b"1", 1))


def size_changed(session: Session) -> None:
    behind_the_back(Evidence, size_bytes=F("size_bytes") + 1)


def stored_twice(session: Session) -> None:
    row = Evidence.objects.order_by("size_bytes").last()
    stored_as = default_storage.save(row.stored_as + "_copy", ContentFile(evidence_path().read_bytes()))
    behind_the_back(Evidence.objects.filter(pk=row.pk).model, stored_as=stored_as)


def document_changed(session: Session) -> None:
    document = Reduction.objects.first().document
    behind_the_back(Reduction, document=document | {"notes": "written later"})


def document_broken(session: Session) -> None:
    behind_the_back(Reduction, document={"files": "none"})


def log_forgotten(session: Session) -> None:
    other = builders.a_bench()
    behind_the_back(Evidence, bench=other)


def figure_changed(session: Session) -> None:
    behind_the_back(Point, capacity_w=F("capacity_w") + 0.001)


def detail_changed(session: Session) -> None:
    detail = Point.objects.first().detail
    behind_the_back(Point, detail=detail | {"label": "Z"})


def point_removed(session: Session) -> None:
    QuerySet(Finding).delete()
    with connection.cursor() as cursor:
        cursor.execute("DELETE FROM units_review_points")
        cursor.execute("DELETE FROM tests_app_point")


def finding_changed(session: Session) -> None:
    behind_the_back(Finding, sentence="All is well.")


def method_changed(session: Session) -> None:
    behind_the_back(Reduction, method_version="0.0")


def two_current(session: Session) -> None:
    with connection.cursor() as cursor:
        cursor.execute("DROP INDEX a_session_has_one_first_reduction")
    behind_the_back(Reduction, supersedes=None)


def unit_of_another_bench(session: Session) -> None:
    behind_the_back(Session, unit=builders.a_unit(bench=builders.a_bench()))


def instrument_of_another_bench(session: Session) -> None:
    behind_the_back(Channel, instrument=builders.an_instrument(bench=builders.a_bench()))


def parts_lost(session: Session) -> None:
    PartialUpload.objects.create(
        session=session, name="b.csv", size_bytes=9, received_bytes=5, started_by=builders.a_person()
    )


def job_without_result(session: Session) -> None:
    Job.objects.create(bench=session.bench, session=session, what="reduction", state=Job.State.DONE)


def job_of_a_dead_worker(session: Session) -> None:
    job = Job.objects.create(bench=session.bench, session=session, what="reduction", state=Job.State.RUNNING)
    Job.objects.filter(pk=job.pk).update(heard_at=builders.NOON)


def edition_changed(session: Session) -> None:
    document = Edition.objects.first().document
    behind_the_back(Edition, document=document.replace("Bought.", "Lent..."))


def edition_renumbered(session: Session) -> None:
    QuerySet(Edition).filter(number=2).update(number=3)


def table_lost(session: Session) -> None:
    for path in Path(default_storage.path("published")).rglob("*.csv"):
        path.unlink()


def published_figure_changed(session: Session) -> None:
    behind_the_back(PublishedPoint, power_w=F("power_w") * 1.01)


def published_point_removed(session: Session) -> None:
    QuerySet(PublishedPoint).delete()


def corrected_point_stands(session: Session) -> None:
    behind_the_back(PublishedPoint, is_current=True)


def certificate_lost(session: Session) -> None:
    default_storage.delete(CalibrationRecord.objects.get().certificate.name)


def shelf_row_changed(session: Session) -> None:
    behind_the_back(CatalogueEntry, capacity_w=F("capacity_w") * 1.001)


def pooled_figure_changed(session: Session) -> None:
    behind_the_back(PooledRow, capacity_u_w=F("capacity_u_w") * 0.999)


def shelf_forgotten(session: Session) -> None:
    QuerySet(CatalogueEntry).filter(audience="public").delete()


BROKEN: dict[Callable[[Session], None], tuple[str, str]] = {
    bytes_lost: ("evidence is whole", "bytes are gone"),
    bytes_changed: ("evidence is whole", "bytes hash to"),
    size_changed: ("evidence is whole", "its row says"),
    stored_twice: ("evidence is whole", "not under its digest"),
    document_changed: ("reductions are of their documents", "hashes to"),
    document_broken: ("reductions are of their documents", "breaks the format"),
    log_forgotten: ("reductions are of their documents", "not kept on its bench"),
    figure_changed: ("results are their points", "capacity_w"),
    detail_changed: ("results are their points", "detail"),
    point_removed: ("results are their points", "points are stored"),
    finding_changed: ("results are their points", "findings"),
    method_changed: ("results are their points", "of method 0.0"),
    two_current: ("one reduction of a session stands", "2 current and 2 first of 2"),
    unit_of_another_bench: ("nothing crosses benches", "its unit is of another bench"),
    instrument_of_another_bench: ("nothing crosses benches", "its instrument is of another bench"),
    parts_lost: ("uploads have their parts", "0 bytes are stored, 5 counted"),
    job_without_result: ("no job is stuck", "nothing came of it"),
    job_of_a_dead_worker: ("no job is stuck", "nobody works on it"),
    edition_changed: ("editions are frozen", "its digest does not hold"),
    edition_renumbered: ("editions are numbered", "editions [1, 3]"),
    table_lost: ("editions are frozen", "table of S1"),
    published_figure_changed: ("published points are their editions", "not as in the document"),
    published_point_removed: ("published points are their editions", "does not hold it"),
    corrected_point_stands: ("what stands is shown", "stands"),
    certificate_lost: ("certificates are kept", "gone"),
    shelf_row_changed: ("the shelf is what stands", "public row"),
    pooled_figure_changed: ("the shelf is what stands", "bench row"),
    shelf_forgotten: ("the shelf is what stands", "public row"),
}


def test_a_ledger_that_was_only_used_holds_and_all_of_it_was_looked_at(whole: Session) -> None:
    looked = {one.invariant: one for one in ledger.check()}
    assert [fault for one in looked.values() for fault in one.faults] == []
    empty = {"uploads have their parts", "no job is stuck"}
    assert {name for name, one in looked.items() if not one.looked_at} == empty
    assert ledger.left_over() == []


def test_each_invariant_that_is_broken_is_found_under_its_name(whole: Session, tmp_path: Path) -> None:
    store = Path(default_storage.location)
    shutil.copytree(store, tmp_path / "as it was")
    missed = {}
    for break_it, (invariant, words) in BROKEN.items():
        with transaction.atomic():
            break_it(whole)
            faults = {one.invariant: " ".join(one.faults) for one in ledger.check() if one.faults}
            transaction.set_rollback(True)
        shutil.rmtree(store)
        shutil.copytree(tmp_path / "as it was", store)
        if words not in faults.get(invariant, "nothing"):
            missed[break_it.__name__] = faults
    assert missed == {}


def test_every_invariant_is_broken_by_some_test() -> None:
    assert {invariant for invariant, _ in BROKEN.values()} == {one.invariant for one in ledger.check()}


def test_the_command_says_what_holds_and_exits_with_a_fault(whole: Session) -> None:
    said = StringIO()
    call_command("check_ledger", stdout=said)
    assert "holds  evidence is whole (2 looked at)" in said.getvalue()
    bytes_lost(whole)
    with pytest.raises(CommandError, match="1 faults: the ledger does not hold"):
        call_command("check_ledger", stdout=said)
    assert "1 FAULTS  evidence is whole" in said.getvalue()


def test_what_a_dead_process_left_is_told_and_no_fault(whole: Session) -> None:
    default_storage.save(f"sha256/00/{'0' * 64}", ContentFile(b"kept, and its row never written"))
    default_storage.save(f"partial/{uuid.uuid4()}/000000000000000", ContentFile(b"part"))
    said = StringIO()
    call_command("check_ledger", stdout=said)
    assert "2 left over by processes that died" in said.getvalue()
