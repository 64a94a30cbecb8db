"""What programs get of an edition: linked data, feed, site map, tables, caching."""

from __future__ import annotations

import csv
import gzip
import io
import json
import re
from typing import Any
from xml.etree import ElementTree

import feedparser
import pytest
from django.test import Client
from pyld import jsonld

from tests import publishing
from units.actions import editions, reviews
from units.editions import feeds
from units.models import Bench, Edition

SITE = "http://testserver"
ATOM = "{http://www.w3.org/2005/Atom}"  # RFC 4287, section 1.2
SITEMAP = "{http://www.sitemaps.org/schemas/sitemap/0.9}"  # the protocol's own page
MOST_BYTES = 250_000


@pytest.fixture
def edition(bench: Bench, owner: Client) -> Edition:
    body = "# Found\n\nIt removed {{ P1 capacity }}.\n\n{{ chart eer-outdoor }}\n\n{{ table points }}\n"
    return publishing.a_published_review(bench, owner.person, body=body)


@pytest.fixture
def page(edition: Edition, visitor: Client) -> str:
    return visitor.get(f"/published/{edition.review.slug}/1/").content.decode()


# --- what programs read ---------------------------------------------------------------------------------------


def test_linked_data_are_json_that_names_the_product_and_the_bytes(edition: Edition, page: str) -> None:
    """schema.org: Review.itemReviewed, Dataset.distribution, DataDownload.sha256 (names from memory)."""
    (text,) = re.findall(r'<script type="application/ld\+json">(.*?)</script>', page, re.DOTALL)
    review, data = json.loads(text)["@graph"]
    unit = edition.review.units.get()
    assert json.loads(text)["@context"] == "https://schema.org"
    assert (review["@type"], review["itemReviewed"][0]["name"]) == ("Review", str(unit))
    assert data["distribution"][0]["sha256"] == edition.sha256
    assert data["distribution"][0]["contentUrl"] == f"{SITE}/published/{edition.review.slug}/1/edition.json"


def test_linked_data_are_read_as_meant_by_a_json_ld_processor(edition: Edition, page: str) -> None:
    """Against PyLD; the vocabulary is schema.org's, given here so that nothing is asked of the network."""
    (text,) = re.findall(r'<script type="application/ld\+json">(.*?)</script>', page, re.DOTALL)
    schema = "https://schema.org/"
    linked = json.loads(text) | {
        "@context": {"@vocab": schema, "url": {"@type": "@id"}, "contentUrl": {"@type": "@id"}}
    }
    review, data = jsonld.expand(linked)
    numbered = f"{SITE}/published/{edition.review.slug}/1/"
    assert (review["@type"], data["@type"]) == ([f"{schema}Review"], [f"{schema}Dataset"])
    assert (review["@id"], review[f"{schema}isBasedOn"][0]["@id"]) == (numbered, data["@id"])
    assert review[f"{schema}itemReviewed"][0]["@type"] == [f"{schema}Product"]
    quads = jsonld.to_rdf(linked, {"format": "application/n-quads"})
    assert f'<{schema}sha256> "{edition.sha256}"' in quads
    assert f"<{schema}contentUrl> <{numbered}edition.json>" in quads


def test_the_link_preview_is_a_picture_of_the_first_chart(page: str, visitor: Client) -> None:
    (address,) = re.findall(r'<meta property="og:image" content="([^"]*)"', page)
    answer = visitor.get(address.removeprefix(SITE))
    assert answer["Content-Type"] == "image/png"
    assert answer.content[:8] == b"\x89PNG\r\n\x1a\n"  # PNG specification, 5.2
    width, height = (int.from_bytes(answer.content[at : at + 4]) for at in (16, 20))
    assert width > height > 300


def test_each_chart_is_handed_out_as_numbers_and_one_of_an_old_edition_as_it_is_written(
    edition: Edition, visitor: Client
) -> None:
    for chart in json.loads(edition.document)["charts"]:
        answer = visitor.get(f"/published/{edition.review.slug}/1/charts/{chart['name']}.csv")
        assert answer["Content-Type"] == "text/csv; charset=utf-8"
        rows = list(csv.reader(io.StringIO(answer.text)))
        assert len(rows) == len(chart["table"]) + 1
        without = {key: value for key, value in chart.items() if key != "csv"}
        written = list(csv.reader(io.StringIO(feeds.chart_table(without).decode())))
        assert written == [chart["headings"], *chart["table"]]


def test_the_feed_has_an_entry_for_each_edition_with_its_erratum(
    edition: Edition, owner: Client, visitor: Client
) -> None:
    reviews.write(review=edition.review, body="New words.", by=owner.person)
    editions.publish(review=edition.review, erratum="A word was wrong.", by=owner.person)
    content = visitor.get("/published/feed.atom").content
    read = feedparser.parse(content)
    root = ElementTree.fromstring(content)
    entries = root.findall(f"{ATOM}entry")
    assert (read.bozo, read.version, len(read.entries)) == (False, "atom10", 2)
    assert read.entries[0].link == f"{SITE}/published/{edition.review.slug}/2/"
    assert root.tag == f"{ATOM}feed"
    assert all(root.find(f"{ATOM}{name}") is not None for name in ("id", "title", "updated"))  # RFC 4287, 4.1.1
    assert [entry.findtext(f"{ATOM}title") for entry in entries] == [
        "A window unit at 35 °C (edition 2)",
        "A window unit at 35 °C (edition 1)",
    ]
    assert "A word was wrong." in (entries[0].findtext(f"{ATOM}summary") or "")
    assert len({entry.findtext(f"{ATOM}id") for entry in entries}) == 2


def test_the_site_map_names_the_review_and_robots_keep_out_of_what_is_private(
    edition: Edition, visitor: Client
) -> None:
    root = ElementTree.fromstring(visitor.get("/sitemap.xml").content)
    robots = visitor.get("/robots.txt").content.decode()
    assert f"{SITE}/published/{edition.review.slug}/" in [loc.text for loc in root.iter(f"{SITEMAP}loc")]
    assert "Disallow: /shared/" in robots
    assert "Sitemap: http://testserver/sitemap.xml" in robots


def test_the_points_come_as_csv_with_a_unit_in_every_heading_that_needs_one(edition: Edition, visitor: Client) -> None:
    heading, row = visitor.get(f"/published/{edition.review.slug}/1/points.csv").content.decode().splitlines()
    found = dict(zip(heading.split(","), row.split(","), strict=True))
    assert (found["point"], found["capacity_w"], found["capacity_u95_w"], found["limit"]) == (
        "P1",
        "2300.0",
        "60.0",
        "at full speed",
    )


# --- caches and frames -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["", "edition.json", "edition.html", "points.csv", "charts/eer-outdoor.svg"])
def test_what_never_changes_is_kept_long_and_answered_with_304(name: str, edition: Edition, visitor: Client) -> None:
    address = f"/published/{edition.review.slug}/1/{name}"
    first = visitor.get(address)
    again = visitor.get(address, headers={"if-none-match": first["ETag"]})
    other = visitor.get(address, headers={"if-none-match": '"something else"'})
    assert (first.status_code, again.status_code, other.status_code) == (200, 304, 200)
    assert again.content == b""
    assert int(re.findall(r"max-age=(\d+)", first["Cache-Control"])[0]) >= 86_400
    assert "Cookie" not in first.get("Vary", "")


@pytest.mark.parametrize(
    ("accepted", "is_packed"), [("gzip, br", True), ("br, gzip;q=0.5", True), ("gzip;q=0", False), ("", False)]
)
def test_the_page_is_packed_for_who_can_unpack_it(
    accepted: str, is_packed: bool, edition: Edition, visitor: Client
) -> None:
    address = f"/published/{edition.review.slug}/1/"
    answer = visitor.get(address, headers={"accept-encoding": accepted})
    again = visitor.get(address, headers={"accept-encoding": accepted, "if-none-match": answer["ETag"]})
    content = gzip.decompress(answer.content) if is_packed else answer.content
    assert (answer.get("Content-Encoding") == "gzip") == is_packed
    assert content == visitor.get(address).content
    assert again.status_code == 304
    assert answer["Vary"] == "Accept-Encoding"


def test_the_reviews_own_address_is_asked_again_and_shows_the_last_edition(
    edition: Edition, owner: Client, visitor: Client
) -> None:
    address = f"/published/{edition.review.slug}/"
    first = visitor.get(address)
    reviews.write(review=edition.review, body="New words.", by=owner.person)
    editions.publish(review=edition.review, erratum="A word was wrong.", by=owner.person)
    second = visitor.get(address, headers={"if-none-match": first["ETag"]})
    assert "no-cache" in first["Cache-Control"]
    assert second.status_code == 200
    assert "New words." in second.content.decode()


def test_only_the_chart_frame_may_be_framed_by_other_sites(edition: Edition, visitor: Client) -> None:
    base = f"/published/{edition.review.slug}/1/"
    frame, whole = visitor.get(f"{base}embed/eer-outdoor/"), visitor.get(base)
    assert "frame-ancestors *" in frame["Content-Security-Policy"]
    assert "X-Frame-Options" not in frame
    assert "frame-ancestors 'none'" in whole["Content-Security-Policy"]
    assert whole["X-Frame-Options"] == "DENY"


@pytest.mark.parametrize(
    "address",
    [
        "nothing/",
        "{slug}/2/",
        "{slug}/1/charts/none.svg",
        "{slug}/1/charts/eer-outdoor.exe",
        "{slug}/1/embed/none/",
        "{slug}/2/edition.json",
    ],
)
def test_what_is_not_there_is_a_404(address: str, edition: Edition, visitor: Client) -> None:
    assert visitor.get(f"/published/{address.format(slug=edition.review.slug)}").status_code == 404


def test_the_list_of_published_reviews_needs_the_same_queries_for_one_as_for_many(
    bench: Bench, owner: Client, visitor: Client, django_assert_max_num_queries: Any
) -> None:
    for _ in range(3):
        publishing.a_published_review(bench, owner.person)
    with django_assert_max_num_queries(2):
        assert visitor.get("/published/").content.decode().count("Edition 1") == 3
