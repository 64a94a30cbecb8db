"""What is published, for programs: the API that needs no token, all of it as one file, and the README's example."""

from __future__ import annotations

import io
import json
import re
import zipfile
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from django.test import Client

from tests import builders, publishing
from units import shelf
from units.editions import data_set
from units.models import PublishedPoint, Unit

pytestmark = pytest.mark.django_db
README = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")


def published(count: int = 1, **fields: Any) -> list[Unit]:
    """Publish points of so many units that carry what must not go out."""
    bench = builders.a_bench()
    units = [builders.a_unit(bench=bench, serial="S-8842", notes="in the cellar", **fields) for _ in range(count)]
    for unit in units:
        builders.a_published_point(unit=unit, capacity_kind="total")
        builders.a_point(unit=unit, capacity_w=1111.0)
    shelf.refresh(units)
    return units


def test_a_published_unit_comes_with_claims_tags_and_its_headline_and_nothing_private(visitor: Client) -> None:
    (unit,) = published()
    (row,) = visitor.get("/api/published-units/").json()["results"]
    assert row["id"] == str(unit.pk)
    assert (row["capacity_w"], row["capacity_u95_w"], row["point_count"]) == (2300.0, 60.0, 1)
    assert {claim["quantity"] for claim in row["claims"]} == {claim.quantity for claim in unit.claims.all()}
    assert not {"S-8842", "cellar", "1111"} & set(re.findall(r"[\w-]+", json.dumps(row)))


@pytest.mark.parametrize(
    ("query", "found"),
    [("", 3), ("kind=window", 2), ("kind=mini_split", 1), ("q=quellmar+mini", 1), ("outdoor=33-37", 3),
     ("outdoor=25-30", 0), ("tag=quiet", 0), ("capacity_w__gte=2000&capacity_w__lte=2400", 3)],
)  # fmt: skip
def test_published_units_are_filtered_as_the_catalogue_is(query: str, found: int, visitor: Client) -> None:
    published(2, kind="window")
    published(1, kind="mini_split")
    assert len(visitor.get(f"/api/published-units/?{query}").json()["results"]) == found


def test_published_units_go_on_page_by_page_until_all_was_seen_once(visitor: Client) -> None:
    units = published(7)
    address, seen = "/api/published-units/?page_size=3", []
    while address:
        page = visitor.get(address).json()
        seen += [row["id"] for row in page["results"]]
        address = page["next"]
    assert sorted(seen) == sorted(str(unit.pk) for unit in units)


@pytest.mark.parametrize("address", ["/api/published-units/", "/api/published-points/", "/api/editions/"])
def test_an_open_list_asks_the_database_as_often_for_nine_as_for_two(
    address: str, visitor: Client, django_assert_max_num_queries: Any
) -> None:
    counts = []
    for more in (2, 7):
        published(more)
        with django_assert_max_num_queries(10) as captured:
            assert len(visitor.get(address).json()["results"]) >= more
        counts.append(len(captured))
    assert counts[0] == counts[1]


def test_a_comparison_by_program_says_what_the_page_says(visitor: Client) -> None:
    units = published(2)
    query = "&".join(f"unit={unit.pk}" for unit in units)
    rows = visitor.get(f"/api/published-comparison/?{query}").json()
    assert [row["id"] for row in rows] == [str(unit.pk) for unit in units]
    assert {(row["capacity_w"], row["capacity_u95_w"], row["group"]) for row in rows} == {(2300.0, 60.0, "A")}
    assert rows[0]["basis"] == "tested at the rating condition"
    assert visitor.get(f"/api/published-comparison/?{query}&at=25-30").json() == []


@pytest.mark.parametrize("query", ["", "unit=x", "unit=00000000-0000-0000-0000-000000000000&at=hot"])
def test_a_comparison_that_cannot_be_made_is_answered_in_words(query: str, visitor: Client) -> None:
    answer = visitor.get(f"/api/published-comparison/?{query}")
    assert answer.status_code == 400
    assert re.search("Name 1 to 60 units|Expected one of rating", answer.text)


def an_archive(visitor: Client) -> zipfile.ZipFile:
    answer = visitor.get("/published/data.zip")
    assert answer.status_code == 200
    return zipfile.ZipFile(io.BytesIO(b"".join(answer.streaming_content)))  # read to its end, it closes itself


def test_the_data_set_holds_what_is_published_in_three_like_forms(visitor: Client) -> None:
    published(3)
    parts = an_archive(visitor)
    for name, columns in data_set.DICTIONARY.items():
        as_parquet = pd.read_parquet(io.BytesIO(parts.read(f"{name}.parquet")))
        as_csv = pd.read_csv(io.BytesIO(parts.read(f"{name}.csv")), keep_default_na=False, na_values=[""])
        as_json = pd.DataFrame(json.loads(parts.read(f"{name}.json")))
        assert list(as_parquet) == list(as_csv) == list(as_json) == list(columns)
        assert len(as_parquet) == len(as_csv) == len(as_json) == (3 if name != "claims" else len(as_csv))
        numbers = list(as_parquet.select_dtypes("float"))
        pd.testing.assert_frame_equal(as_csv[numbers].astype(float), as_parquet[numbers])
        pd.testing.assert_frame_equal(as_json[numbers].astype(float), as_parquet[numbers])
    points = pd.read_parquet(io.BytesIO(parts.read("points.parquet")))
    kept = pd.DataFrame(PublishedPoint.objects.values("capacity_w", "capacity_u95_w", "outdoor_temp_c"))
    pd.testing.assert_frame_equal(points[list(kept)], kept)


def test_the_dictionary_says_of_every_column_what_it_means_and_of_every_number_its_unit(visitor: Client) -> None:
    published()
    said = pd.read_csv(io.BytesIO(an_archive(visitor).read("dictionary.csv")), keep_default_na=False)
    assert said["meaning"].str.len().min() > 4
    assert set(said["file"]) == {"units", "claims", "points"}
    numbers = said["column"].str.contains(r"_(?:w|c|v|percent|u95|wh)$|^cop$|^value")
    assert (said.loc[numbers, "quantity_unit"] != "").all()


def test_the_data_set_names_each_editions_licence_and_nothing_private(owner: Client, visitor: Client) -> None:
    edition = publishing.a_published_review(owner.person.memberships.get().bench, owner.person)
    parts = an_archive(visitor)
    (row,) = pd.read_csv(io.BytesIO(parts.read("licences.csv"))).to_dict("records")
    assert (row["review"], row["edition"], row["sha256"]) == (edition.review.slug, 1, edition.sha256)
    assert row["licence"] == "CC BY 4.0"
    text = " ".join(parts.read(name).decode(errors="replace") for name in parts.namelist())
    secrets = [str(owner.person.email), *(unit.serial for unit in Unit.objects.exclude(serial=""))]
    assert [secret for secret in secrets if secret and secret in text] == []


def state_of(visitor: Client) -> str:
    answer = visitor.get("/published/data.zip")
    assert b"".join(answer.streaming_content)
    return str(answer["ETag"])


def test_the_data_set_is_made_once_for_what_is_published_and_again_when_that_changes(visitor: Client) -> None:
    (unit,) = published()
    first = state_of(visitor)
    assert visitor.get("/published/data.zip", headers={"if-none-match": first}).status_code == 304
    unit.model = "Renamed"
    unit.save()
    shelf.refresh([unit])
    assert state_of(visitor) != first
    assert b"Renamed" in an_archive(visitor).read("units.csv")


def test_a_cell_of_the_data_set_is_not_run_by_a_spreadsheet(visitor: Client) -> None:
    published(maker="=1+1")
    assert b"'=1+1" in an_archive(visitor).read("units.csv")


@pytest.mark.django_db(transaction=True)
def test_the_readmes_example_loads_every_published_point(live_server: Any, capsys: pytest.CaptureFixture[str]) -> None:
    published(3)
    (code,) = re.findall(r"^```python\n(import json\nfrom urllib.*?)^```$", README, flags=re.MULTILINE | re.DOTALL)
    assert len([line for line in code.splitlines() if line.strip()]) <= 10
    told: dict[str, Any] = {}
    exec(code.replace("http://127.0.0.1:8000", live_server.url).replace("page_size=500", "page_size=2"), told)
    assert len(told["points"]) == 3
    assert "2300.0" in capsys.readouterr().out
