"""What a visitor gets: nothing private, nothing to write, a page that is light, whole without a script and cached."""

from __future__ import annotations

import json
import re
from datetime import timedelta
from html.parser import HTMLParser
from itertools import pairwise
from typing import Any
from urllib.parse import urljoin

import html5lib
import pytest
from django.test import Client

from reduction import session as doc
from tests import publishing
from tests.builders import NOON
from units.actions import editions
from units.models import Bench, Edition

SITE = "http://testserver"
DOORS = ("/", "/published/", "/robots.txt", "/sitemap.xml", "/published/feed.atom")
ATOM = "{http://www.w3.org/2005/Atom}"  # RFC 4287, section 1.2
SITEMAP = "{http://www.sitemaps.org/schemas/sitemap/0.9}"  # the protocol's own page
MOST_BYTES = 250_000
VOID = {"meta", "link", "br", "hr", "img", "input", "path", "rect", "line", "circle"}


@pytest.fixture
def edition(bench: Bench, owner: Client) -> Edition:
    return publishing.a_published_review(
        bench,
        owner.person,
        body="# Found\n\nIt removed {{ P1 capacity }}.\n\n{{ chart eer-outdoor }}\n\n{{ table points }}\n",
    )


@pytest.fixture
def page(edition: Edition, visitor: Client) -> str:
    return visitor.get(f"/published/{edition.review.slug}/1/").content.decode()


class Links(HTMLParser):
    """Collects what a page leads to, and checks that its elements are closed in order."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.found: set[str] = set()
        self.ids: list[str] = []
        self.open: list[str] = []
        self.crossed: list[str] = []
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        self.found |= {given[name] or "" for name in ("href", "src", "data-live") if name in given}
        self.ids += [given["id"] or ""] if "id" in given else []
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        if tag not in VOID:
            self.open.pop()

    def handle_endtag(self, tag: str) -> None:
        if tag not in VOID and (not self.open or self.open.pop() != tag):
            self.crossed.append(tag)


def walk(client: Client, start: list[str]) -> dict[str, Any]:
    """Follow every link of this site from some addresses on, as a robot would; return each answer."""
    answers: dict[str, Any] = {}
    waiting = list(start)
    while waiting:
        address = waiting.pop().split("#")[0]
        if address in answers:
            continue
        answer = answers[address] = client.get(address)
        body = b"".join(answer.streaming_content) if answer.streaming else answer.content
        answer.body = body
        if "html" in answer.get("Content-Type", ""):
            absolute = (urljoin(f"{SITE}{address}", link) for link in Links(body.decode()).found)
            waiting += [link.removeprefix(SITE) for link in absolute if link.startswith(f"{SITE}/")]
    return answers


# --- privacy ------------------------------------------------------------------------------------------------


def test_a_visitor_who_follows_every_link_finds_nothing_private(
    edition: Edition, visitor: Client, owner: Client
) -> None:
    owner.person.email = f"{publishing.PERSON}@larkmoor.example"
    owner.person.first_name, owner.person.last_name = "Odalys", "Fenwick-Marr"
    owner.person.save()
    point = edition.review.points.get()
    ids = [
        str(row.pk) for row in (point, point.reduction, point.reduction.session, edition.review, edition.review.bench)
    ]
    secret = [*publishing.PRIVATE, "Fenwick-Marr", owner.person.username, *ids]
    mine = f"/published/{edition.review.slug}/1/"
    answers = walk(visitor, [*DOORS, f"{mine}embed/eer-outdoor/"])
    reached = {address.rsplit("/", 1)[1] for address in answers if address.startswith(mine)}
    assert reached >= {"", "edition.json", "edition.html", "points.csv", "eer-outdoor.svg"}
    told = {(address, text) for address, answer in answers.items() for text in secret if text.encode() in answer.body}
    assert told == set()
    broken = {
        address: a.status_code for address, a in answers.items() if a.status_code >= 400 and "/static/" not in address
    }
    assert broken == {}


def test_the_sentences_of_a_finding_are_told_in_public_words(page: str) -> None:
    assert "heater constant power of log file 1 stood still for 4 min on power meter in room (session)." in page


def test_errors_that_units_share_keep_a_common_key_that_cannot_be_read(edition: Edition) -> None:
    (line,) = json.loads(edition.document)["points"]["P1"]["budget"]
    assert re.fullmatch(r"[0-9a-f]{16}", line["shared_key"])


def test_text_that_tells_a_serial_is_not_published(bench: Bench, owner: Client) -> None:
    review = publishing.a_ready_review(bench, owner.person, body=f"Its plate says {publishing.SERIAL.lower()}.")
    with pytest.raises(Exception, match="tells the unit's serial number"):
        editions.publish(review=review, by=owner.person)


@pytest.mark.parametrize("method", ["post", "put", "patch", "delete"])
def test_a_visitor_cannot_write_to_any_published_address(method: str, edition: Edition, visitor: Client) -> None:
    slug = edition.review.slug
    for address in ("/published/", f"/published/{slug}/", f"/published/{slug}/1/", f"/published/{slug}/1/edition.json"):
        assert getattr(visitor, method)(address).status_code == 405
    assert visitor.post(f"/reviews/{edition.review_id}/publish/").status_code == 302


# --- what the page says ---------------------------------------------------------------------------------------


def test_the_page_says_how_the_unit_was_obtained_before_it_says_a_figure(page: str) -> None:
    assert 0 < page.index("Bought at retail") < page.index("2,300")
    assert "the maker did not choose the sample" in page


def test_the_page_states_measured_and_claimed_in_both_unit_systems(page: str) -> None:
    text = page.replace("\xa0", " ")
    assert "2,300 ± 60 W (7,800 ± 200 Btu/h)" in text
    assert "8,000 Btu/h (2,340 W)" in text
    assert "Leaflet, March 2026" in text
    assert "35.0 ± 0.2 °C (95.0 ± 0.4 °F)" in text
    assert "None received." in text


def test_a_figure_in_the_prose_leads_to_its_point(page: str) -> None:
    assert '<a class="bound" href="#point-P1">2,300' in page
    assert 'id="point-P1"' in page


def test_charts_and_tables_set_into_the_text_stand_there_once(page: str) -> None:
    assert page.count('id="chart-eer-outdoor"') == 1
    assert page.index('id="chart-eer-outdoor"') < page.index("Measured against claimed")
    assert page.count("Each point as tested") == 1


def test_every_chart_has_a_sentence_and_a_table(edition: Edition, page: str) -> None:
    charts = json.loads(edition.document)["charts"]
    assert len(charts) == page.count("<figure") > 0
    for chart in charts:
        assert chart["says"] in page
        assert all(cell in page for cell in [*chart["table"][0], *chart.get("other_table", [[]])[0]])
    assert any("°F" in cell for chart in charts for cell in chart["other_table"][0])


def test_the_page_is_well_formed_with_unique_ids_and_heading_levels_in_order(page: str) -> None:
    parsed = Links(page)
    levels = [int(level) for level in re.findall(r"<h([1-6])[ >]", page)]
    assert (parsed.crossed, parsed.open) == ([], [])
    assert len(parsed.ids) == len(set(parsed.ids))
    assert levels.count(1) == 1
    assert all(later - earlier <= 1 for earlier, later in pairwise(levels))


@pytest.mark.parametrize(
    "address",
    [
        "/published/",
        "/published/{slug}/",
        "/published/{slug}/1/",
        "/published/{slug}/1/edition.html",
        "/published/{slug}/1/embed/eer-outdoor/",
        "/reviews/",
        "/reviews/{review}/",
        "/reviews/{review}/preview/",
        "/reviews/{review}/publish/",
    ],
)
def test_pages_parse_without_an_error_of_the_html_standard(address: str, edition: Edition, owner: Client) -> None:
    """Against html5lib, which follows the WHATWG parsing algorithm and lists each parse error."""
    parser = html5lib.HTMLParser()
    parser.parse(owner.get(address.format(slug=edition.review.slug, review=edition.review_id)).content.decode())
    assert parser.errors == []


def test_the_page_is_light_and_whole_without_a_script(page: str) -> None:
    assert len(page.encode()) < MOST_BYTES
    assert page.count("<svg") == page.count("<figure")
    assert re.findall(r"<script(?![^>]*(?:defer|ld\+json))", page) == []
    assert re.findall(r'<link rel="stylesheet"', page) == []


def test_a_page_of_a_dozen_points_is_light_too(bench: Bench, owner: Client, visitor: Client) -> None:
    """With as much to a point as the demo's have: the budget is not spent on names that stand in every row."""
    line = doc.Component(
        name="gain of power meter", value=1.0, quantity_unit="W/W", u=0.01, sensitivity=-2300.0, contribution_w=12.0,
        share=0.125, source="Limits of error of the meter, rectangular, over the window's mean reading.",
    )  # fmt: skip
    term = doc.Term(name="a load of the room", value_w=230.0, u_w=4.0, how="Mean of a logged meter, of its own gain.")
    step = doc.Step(name="Outdoor temperature", value_w=-80.0, u_w=9.0, kind="modelled", because="By published maps.")
    check = doc.CrossCheck(
        name="counter against power", value=1.01, u95=0.02, quantity_unit="1", expected="1", passed=True,
        because="The counter advanced by as much as the logged power says.",
    )  # fmt: skip
    full = {"budget": (line,) * 8, "terms": (term,) * 10, "shortfall": (step,) * 7, "cross_checks": (check,) * 5}
    points = [
        publishing.a_telling_point(label=f"steady {n}", start=NOON + timedelta(hours=n), **full) for n in range(12)
    ]
    edition = publishing.a_published_review(bench, owner.person, *points)
    page = visitor.get(f"/published/{edition.review.slug}/1/").content
    assert page.count(b'class="card point"') == 12
    assert len(page) < MOST_BYTES


def test_synthetic_data_are_labelled(bench: Bench, owner: Client, visitor: Client) -> None:
    review = publishing.a_ready_review(bench, owner.person)
    review.units.update(is_synthetic=True)
    editions.publish(review=review, by=owner.person)
    for address in (f"/published/{review.slug}/", f"/published/{review.slug}/1/embed/eer-outdoor/"):
        assert "Synthetic data" in visitor.get(address).content.decode()
    assert "synthetic" in visitor.get("/published/").content.decode()
