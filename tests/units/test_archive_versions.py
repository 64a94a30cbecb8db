"""Archives of earlier versions come in; those of later ones are told apart. The kept archives are synthetic."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path

import pytest
from django.urls import reverse

from reduction.errors import UnreadableFile
from tests.archives import archived, as_lines, parts_of, rewritten, rows_of
from tests_app.actions import reduce
from tests_app.models import Evidence, Point, RuleChoice
from units.actions import ledger
from units.archive import look, read, versions
from units.models import Bench, Edition, Unit

pytestmark = pytest.mark.django_db
KEPT = Path(__file__).resolve().parents[2] / "fixtures" / "archives"
FIRST = KEPT / "version_1.bench.zip"  # written by the program as it was when the format had one version


def test_an_archive_of_every_earlier_version_is_kept_to_be_read():
    kept = {look.look(path).version for path in KEPT.glob("*.bench.zip")}
    assert kept == set(range(1, versions.VERSION))


def test_an_archive_of_the_first_version_comes_in_with_all_it_holds(owner, client):
    bench = read.read(FIRST, owner=owner.person, settle=lambda bench, look: None)
    assert list(ledger.faults_of(bench)) == []
    told = list(csv.DictReader(io.StringIO(parts_of(FIRST)["points.csv"].decode())))[-1]
    point = Point.objects.current().get(reduction__session__bench=bench)
    assert point.capacity_w == float(told["capacity_w"])
    assert point.capacity_u95_w == float(told["capacity_u95_w"])
    edition = Edition.objects.get()
    page = client.get(reverse("edition", args=[edition.review.slug]))
    assert page.status_code == 200
    assert edition.sha256[:12] in page.text


def test_what_came_from_the_first_version_goes_on_working(owner):
    bench = read.read(FIRST, owner=owner.person)
    session = bench.sessions.get()
    before = reduce.standing_reduction(session)
    after = reduce.run_and_store(session=session, by=owner.person)
    assert after.supersedes == before
    assert not RuleChoice.objects.exists()
    for name in ("result", "facts", "channels", "windows", "files"):
        assert owner.get(reverse(name, args=[session.pk])).status_code == 200


def test_an_archive_of_the_first_version_is_written_again_as_one_of_this(owner, tmp_path):
    bench = read.read(FIRST, owner=owner.person)
    digest = archived(bench, tmp_path / "now.zip")
    found = look.look(tmp_path / "now.zip")
    assert (found.version, found.content_sha256) == (versions.VERSION, digest)
    assert {name: count for name, count in found.counts.items() if count} == look.look(FIRST).counts


def test_where_evidence_lay_is_left_out_and_found_anew(owner):
    assert {row["stored_as"] for row in rows_of(FIRST, "Evidence")}
    row = versions.upgraded("Evidence", {"id": "x", "sha256": "ab", "stored_as": "anywhere"}, version=1)
    assert row == {"id": "x", "sha256": "ab"}
    assert versions.upgraded("Evidence", {"stored_as": "x"}, version=2) == {"stored_as": "x"}, "a step is gone once"
    read.read(FIRST, owner=owner.person)
    assert {row.stored_as for row in Evidence.objects.all()} == {
        f"sha256/{row['sha256'][:2]}/{row['sha256']}" for row in rows_of(FIRST, "Evidence")
    }


def test_a_first_version_that_says_its_evidence_lies_elsewhere_gets_its_own(owner, tmp_path):
    """A forged row must not lead to what another bench keeps."""
    rows = [row | {"stored_as": "exports/of-another-bench"} for row in rows_of(FIRST, "Evidence")]
    read.read(rewritten(FIRST, tmp_path / "x.zip", {"rows/Evidence.jsonl": as_lines(rows)}), owner=owner.person)
    assert all(row.stored_as.endswith(row.sha256) for row in Evidence.objects.all())


def test_every_step_is_of_a_version_that_there_is():
    assert {step.to for step in versions.STEPS} <= set(range(2, versions.VERSION + 1))


def without(kind: str, field: str, to: Path) -> Path:
    """Return the archive as it were from before there was a field."""
    rows = [{name: value for name, value in row.items() if name != field} for row in rows_of(FIRST, kind)]
    return rewritten(FIRST, to, {f"rows/{kind}.jsonl": as_lines(rows)})


@pytest.mark.parametrize(
    ("kind", "field", "default"),
    [("Unit", "is_reference", False), ("Unit", "claimed_air_flow_m3_per_h", None), ("Unit", "notes", "")],
)
def test_a_field_that_was_not_written_yet_takes_the_models_default(kind, field, default, owner, tmp_path):
    read.read(without(kind, field, tmp_path / "x.zip"), owner=owner.person)
    assert getattr(Unit.objects.get(), field) == default


def test_a_field_that_nothing_can_stand_for_is_named(owner, tmp_path):
    with pytest.raises(UnreadableFile, match=r"Room [0-9a-f-]+, volume_m3: not there, and nothing to take instead"):
        read.read(without("Room", "volume_m3", tmp_path / "x.zip"), owner=owner.person)
    assert Bench.objects.filter(name="Larkmoor Bench", is_synthetic=True).count() == 0


def test_a_kind_of_row_that_was_not_written_yet_has_none(owner, tmp_path):
    older = rewritten(FIRST, tmp_path / "x.zip", {"rows/ShareLink.jsonl": None})
    assert read.read(older, owner=owner.person).sessions.count() == 1


@pytest.mark.parametrize(
    ("changed", "stated", "said"),
    [
        ({}, {"format": "cooling-ledger-bench/99"}, "version 99 of the format, which a newer version"),
        ({"rows/Telescope.jsonl": b'{"id": 1}\n'}, {}, r"a part rows/Telescope\.jsonl, which a newer version"),
        ({"rows/Unit.jsonl": "more"}, {}, "the field fan_speed of Unit, which a newer version"),
    ],
)
def test_what_a_newer_version_wrote_is_refused_with_what_to_do(changed, stated, said, owner, tmp_path):
    more = as_lines([row | {"fan_speed": 3} for row in rows_of(FIRST, "Unit")])
    newer = rewritten(
        FIRST,
        tmp_path / "x.zip",
        {name: more if data == "more" else data for name, data in changed.items()},
        stated=stated,
    )
    with pytest.raises(UnreadableFile, match=rf"{said} of the program writes.*Update this installation"):
        read.read(newer, owner=owner.person)
    assert not Bench.objects.filter(is_synthetic=True).exists()


@pytest.mark.parametrize("stated", [None, 2, "cooling-ledger-bench/0", "cooling-ledger-backup/1", "another/1"])
def test_what_states_no_version_is_no_archive(stated, owner, tmp_path):
    with pytest.raises(UnreadableFile, match=f"expected {versions.FORMAT}"):
        look.look(rewritten(FIRST, tmp_path / "x.zip", {}, stated={"format": stated}))


@pytest.mark.parametrize("manifest", [b"[]", b"no JSON", b'{"format": "cooling-ledger-bench/2"}', b"[" * 100_000])
def test_a_manifest_that_is_none_is_refused(manifest, tmp_path):
    with pytest.raises(UnreadableFile):
        look.look(rewritten(FIRST, tmp_path / "x.zip", {"manifest.json": manifest}, fits=False))


def test_the_digest_of_the_content_is_of_the_rows_as_they_stand_in_the_file():
    assert look.look(FIRST).content_sha256 == json.loads(parts_of(FIRST)["manifest.json"])["content_sha256"]
