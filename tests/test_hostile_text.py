"""Text that tries to be script, formula or path wherever a person may write: no page, picture, feed or table runs it.

The carriers are the classic ones: common practice, no source.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterator
from html.parser import HTMLParser
from typing import Any
from xml.etree import ElementTree

import pytest
from django.core.files.base import ContentFile
from django.test import Client
from django.urls import reverse

from tests import builders, logs
from tests_app.actions import upload
from tests_app.models import Session, Window
from units import shelf
from units.actions import editions, reviews, shares
from units.models import Bench, Edition, MakerComment, Room, Tag, Unit

pytestmark = pytest.mark.django_db

MARK = "zqx7"  # stands in every carrier, so that what became of it can be found
CARRIERS = {
    "script": f"<script>{MARK}()</script>",
    "image": f"<img src=x onerror={MARK}()>",
    "out of an attribute": f"\"'><svg onload={MARK}()>",
    "out of json": f"</script><script>{MARK}()</script>",
    "out of a comment": f"--><script>{MARK}()</script><!--",
    "out of cdata": f"]]><script>{MARK}()</script>",
    "template": "{{ settings.SECRET_KEY }}" + MARK + "{% load %}",
}
MARKDOWN = {
    "link": f"[a](javascript:{MARK}())",
    "data link": f"[a](data:text/html,<script>{MARK}()</script>)",
    "image": f"![a](x\"onerror=\"{MARK}())",
    "autolink": f"<javascript:{MARK}()>",
    "raw": f"<a href=\"java&#115;cript:{MARK}()\" style=\"x:expression({MARK}())\" onclick={MARK}()>a</a>",
    "frame": f"<iframe srcdoc=\"<script>{MARK}()</script>\"></iframe>",
    "form": f"<form action=//evil.example/{MARK}><button>Go</button></form>",
}  # fmt: skip
RUNS = {"script", "iframe", "object", "embed", "form", "base", "meta", "link", "style"}


class Elements(HTMLParser):
    """Collects what of a page is not text: elements with their attributes, and what stands in scripts."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []
        self.inside = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.inside = tag if tag in {"script", "style"} else ""
        for name, value in attrs:
            dangerous = name.startswith("on") or name in {"style", "srcdoc"}
            leads = name in {"href", "src", "action", "formaction", "xlink:href"}
            scheme = (value or "").strip().lower().startswith(("javascript:", "data:text", "vbscript:"))
            if MARK in (value or "") and (dangerous or (leads and (scheme or "evil.example" in (value or "")))):
                self.found.append(f"<{tag} {name}={value}>")
            if dangerous and name.startswith("on"):
                self.found.append(f"<{tag} {name}>")

    def handle_endtag(self, tag: str) -> None:
        self.inside = ""

    def handle_data(self, data: str) -> None:
        if self.inside and MARK in data and not _is_data(data):
            self.found.append(f"in <{self.inside}>: {data[:80]}")


def _is_data(text: str) -> bool:
    """Say whether the content of a script element is data, as JSON-LD is."""
    try:
        json.loads(text)
    except ValueError:
        return False
    return True


def what_runs(page: str) -> list[str]:
    elements = Elements()
    elements.feed(page)
    return elements.found


@pytest.mark.parametrize("carrier", [*CARRIERS.values(), *MARKDOWN.values()][:4])
def test_the_check_itself_sees_a_carrier_that_runs(carrier: str) -> None:
    assert what_runs(f"<p>{carrier.removeprefix(chr(34))}</p>")


LISTS = (
    "catalogue", "published", "bench-home", "people", "tokens", "units", "sessions", "rooms", "instruments", "reviews",
    "bench-archive", "second-step",
)  # fmt: skip


def _hostile_session(bench: Bench, unit: Unit, room: Room, owner: Client) -> Session:
    all_of_it = " ".join(CARRIERS.values())
    short = {name: CARRIERS[name][:40] for name in CARRIERS}
    session = builders.a_session(bench=bench, unit=unit, room=room, name=all_of_it[:120], notes=all_of_it)
    Window.objects.create(session=session, label=short["script"], start=builders.NOON, end=builders.NOON, accepted=True)
    file = ContentFile(logs.temperatures(), name=f"{short['image'].replace('/', '')}.csv")
    assert upload.keep_files(session=session, files=[file], by=owner.person).refused == []
    builders.a_reduction(session=session, points=(builders.a_result_point(label=short["script"]),))
    return session


@pytest.fixture
def hostile(owner: Client, bench: Bench) -> dict[str, Any]:
    """Put the carriers wherever text of a person is kept, publish a review of it, and share it."""
    all_of_it = " ".join(CARRIERS.values())
    bench.name, bench.about = all_of_it[:120], all_of_it
    bench.save()
    short = {name: CARRIERS[name][:40] for name in CARRIERS}
    unit = builders.a_unit(bench=bench, claims={}, maker=short["script"], model=short["image"], obtained="bought",
                           afterwards="kept", obtained_detail=all_of_it[:200], refrigerant="<b>R</b>")  # fmt: skip
    for key in ("image", "out of an attribute"):
        unit.tags.add(Tag.objects.create(bench=bench, key=short[key], value=CARRIERS[key][:80]))
    room = builders.a_room(bench=bench, name=short["out of an attribute"])
    instrument = builders.an_instrument(bench=bench, name=short["image"])
    session = _hostile_session(bench, unit, room, owner)
    review = reviews.begin(bench=bench, units=[unit], title=all_of_it[:160], by=owner.person)
    body = "\n\n".join([*CARRIERS.values(), *MARKDOWN.values()])
    reviews.write(review=review, summary=all_of_it[:300], body=body, disclosure=all_of_it, charts=["tested"],
                  by=owner.person)  # fmt: skip
    link, secret = shares.share(review=review, label=short["script"], days=7, by=owner.person)
    MakerComment.objects.create(
        review=review, link=link, name=short["script"], text=all_of_it, accepted_at=builders.NOON
    )
    edition = editions.publish(review=review, by=owner.person)
    shelf.refresh([unit])
    return {
        "unit": [unit.pk], "unit-edit": [unit.pk], "room": [room.pk], "room-edit": [room.pk],
        "instrument": [instrument.pk], "session-edit": [session.pk], "files": [session.pk], "channels": [session.pk],
        "facts": [session.pk], "windows": [session.pk], "result": [session.pk], "review": [review.pk],
        "review-preview": [review.pk], "review-publish": [review.pk], "shared": [secret], "shared-reply": [secret],
        "edition": [edition.review.slug], "edition-numbered": [edition.review.slug, 1],
        "edition-file": [edition.review.slug, 1], "edition-embed": [edition.review.slug, 1, "tested"],
    } | {name: [] for name in LISTS}  # fmt: skip


def read(client: Client, name: str, arguments: list[Any]) -> str:
    answer = client.get(reverse(name, args=arguments))
    assert answer.status_code == 200, name
    return b"".join(answer).decode()


def test_no_page_runs_what_a_person_wrote(hostile: dict[str, list[Any]], owner: Client) -> None:
    pages = {name: read(owner, name, arguments) for name, arguments in hostile.items()}
    assert {name: found for name, page in pages.items() if (found := what_runs(page))} == {}
    seen = [name for name, page in pages.items() if MARK in page]
    assert len(seen) > 20, "the carriers must be on the pages for this to mean anything"
    assert [name for name, page in pages.items() if "settings.SECRET_KEY" in page and "{{" not in page] == []


def test_a_search_gives_back_no_script(hostile: dict[str, list[Any]], owner: Client) -> None:
    for name, question in (("catalogue", "q"), ("sessions", "q"), ("compare", "unit")):
        for carrier in CARRIERS.values():
            page = owner.get(reverse(name), {question: carrier}).content.decode()
            assert what_runs(page) == []


@pytest.mark.parametrize("form", ["svg"])
def test_no_picture_holds_script(hostile: dict[str, list[Any]], visitor: Client, form: str) -> None:
    slug = Edition.objects.get().review.slug
    picture = read(visitor, "edition-chart", [slug, 1, "tested", form])
    tags = {element.tag.rpartition("}")[2] for element in ElementTree.fromstring(picture).iter()}
    assert tags & (RUNS | {"foreignObject", "a"}) == set()
    assert what_runs(picture) == []


def test_feed_and_site_map_stay_whole(hostile: dict[str, list[Any]], visitor: Client) -> None:
    for name in ("feed", "sitemap"):
        tree = ElementTree.fromstring(read(visitor, name, []))
        assert {element.tag.rpartition("}")[2] for element in tree.iter()} & {"script", "img", "svg"} == set()


def test_data_for_search_engines_cannot_end_its_element(hostile: dict[str, list[Any]], visitor: Client) -> None:
    page = read(visitor, "edition", [Edition.objects.get().review.slug])
    linked = page.split('<script type="application/ld+json">')[1].split("</script>")[0]
    assert MARK in linked
    assert json.loads(linked)


FORMULAS = ("=1+cmd|' /C calc'!A0", "+1+1", "-1+cmd|x", "@SUM(A1)", "\t=1", " =1", "＝1")


def cells(text: str) -> Iterator[str]:
    for row in csv.reader(io.StringIO(text)):
        yield from row


@pytest.mark.parametrize("formula", FORMULAS)
def test_no_table_holds_a_cell_that_a_spreadsheet_runs(formula: str, owner: Client, bench: Bench) -> None:
    unit = builders.a_unit(bench=bench, claims={}, maker=formula, model="W", notes=formula, obtained="bought",
                           afterwards="kept")  # fmt: skip
    session = builders.a_session(bench=bench, unit=unit, name=formula)
    builders.a_reduction(session=session, points=(builders.a_result_point(label=formula),))
    review = reviews.begin(bench=bench, units=[unit], by=owner.person)
    unit.notes = ""
    unit.save()
    reviews.write(review=review, disclosure="Bought.", charts=[], by=owner.person)
    editions.publish(review=review, by=owner.person)
    for name, arguments in (("units-export", []), ("edition-csv", [review.slug, 1])):
        found = [cell for cell in cells(read(owner, name, arguments)) if formula.strip() in cell]
        assert found, name
        assert [cell for cell in found if not cell.startswith("'")] == []


PATHS = (
    "../../etc/passwd",
    r"..\..\windows\win.ini",
    "/etc/passwd",
    "a/../../b.csv",
    r"C:\x.csv",
    "\x00.csv",
    "..",
    ".",
)


@pytest.mark.parametrize("name", PATHS)
def test_a_file_name_leads_nowhere(name: str, owner: Client, bench: Bench, evidence_folder: Any) -> None:
    session = builders.a_session(bench=bench)
    taken = upload.keep_files(session=session, files=[ContentFile(logs.plugs(), name=name)], by=owner.person)
    kept = taken.kept[0]
    assert not set("/\\\x00") & set(kept.name)
    assert kept.name not in ("..", ".")
    stored = [path for path in evidence_folder.rglob("*") if path.is_file()]
    assert [path.name for path in stored] == [kept.evidence.sha256]
