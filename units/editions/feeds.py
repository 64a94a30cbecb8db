"""What programs follow: the Atom feed of editions, the site map, the rules for robots, and the points as a table."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable
from typing import Any
from xml.etree.ElementTree import Element, SubElement, tostring

from django.utils.feedgenerator import Atom1Feed

from units.models import Edition
from units.spreadsheet import harmless

SITEMAP = "http://www.sitemaps.org/schemas/sitemap/0.9"
KEPT_OUT = (
    "/bench/",
    "/sessions/",
    "/units/new/",
    "/rooms/",
    "/instruments/",
    "/reviews/",
    "/shared/",
    "/account/",
    "/api/",
)
IN_FEED = 50
CSV_COLUMNS = (
    "point", "unit", "label", "start", "end", "outdoor_temp_c", "room_temp_c", "room_rh_percent", "capacity_w",
    "capacity_u95_w", "capacity_kind", "power_w", "power_u95_w", "eer_btu_per_wh", "eer_u95", "cop", "cop_u95",
    "limit", "usable",
)  # fmt: skip


def atom(editions: Iterable[Edition], origin: str) -> bytes:
    """Return the newest editions as an Atom feed: a correction is an entry of its own, with its erratum."""
    feed = Atom1Feed(
        title="Cooling Ledger: published reviews",
        link=f"{origin}/published/",
        feed_url=f"{origin}/published/feed.atom",
        description="Measured cooling of room air conditioners",
        language="en",
    )
    for edition in list(editions)[:IN_FEED]:
        address = f"{origin}/published/{edition.review.slug}/{edition.number}/"
        erratum = f"Correction: {edition.erratum} " if edition.erratum else ""
        feed.add_item(
            title=f"{edition.title} (edition {edition.number})",
            link=address,
            description=f"{erratum}{edition.summary}".strip(),
            unique_id=address,
            pubdate=edition.published_at,
            updateddate=edition.published_at,
            author_name=edition.published_by,
        )
    return feed.writeString("utf-8").encode()


def sitemap(editions: Iterable[Edition], origin: str) -> bytes:
    """Return the addresses worth finding, with the day each last changed."""
    root = Element("urlset", xmlns=SITEMAP)
    for path in ("/", "/method/", "/published/"):
        SubElement(SubElement(root, "url"), "loc").text = f"{origin}{path}"
    for edition in editions:
        url = SubElement(root, "url")
        SubElement(url, "loc").text = f"{origin}/published/{edition.review.slug}/"
        SubElement(url, "lastmod").text = f"{edition.published_at:%Y-%m-%d}"
    return tostring(root, encoding="utf-8", xml_declaration=True)


def robots(origin: str) -> str:
    """Return what robots may read: what is public, not what needs a login or a secret."""
    refused = "\n".join(f"Disallow: {path}" for path in KEPT_OUT)
    return f"User-agent: *\n{refused}\n\nSitemap: {origin}/sitemap.xml\n"


def table(document: dict[str, Any]) -> bytes:
    """Return an edition's points as CSV, SI, one row a point; instants in UTC."""
    text = io.StringIO()
    writer = csv.DictWriter(text, CSV_COLUMNS, extrasaction="ignore", lineterminator="\n")
    writer.writeheader()
    names = {unit["key"]: unit["name"] for unit in document["units"]}
    for key, point in sorted(document["points"].items(), key=lambda item: int(item[0][1:])):
        shown = {"point": key, "unit": names.get(point["unit"], ""), "limit": point["limit"]["verdict"]}
        writer.writerow({name: harmless(cell) for name, cell in (point | shown).items()})
    return text.getvalue().encode()


def chart_table(chart: dict[str, Any]) -> bytes:
    """Return a chart's numbers as CSV; of an edition older than these, its table as it is written."""
    if "csv" in chart:
        return chart["csv"].encode()
    text = io.StringIO()
    rows = ([harmless(cell) for cell in row] for row in (chart["headings"], *chart["table"]))
    csv.writer(text, lineterminator="\n").writerows(rows)
    return text.getvalue().encode()
