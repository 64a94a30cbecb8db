"""The edition's document: everything its page shows, as canonical JSON whose SHA-256 is the edition's digest."""

from __future__ import annotations

import hashlib
import json
import re
from datetime import UTC, date, datetime
from typing import Any

from reduction import session as doc
from reduction.judge.decision import in_words
from tests_app.models import Reduction
from units.charts import PICTURES, draw
from units.claims import listed
from units.compare.comparison import compared
from units.compare.frames import names
from units.drawing import FONT, INKS, configured, lively
from units.editions.figures import bound
from units.editions.material import Material
from units.models import Claim, Edition, MakerComment, Review, Unit
from units.picture import Drawn
from units.quantities import METRIC, Display

FORMAT = "cooling-ledger-edition/1"
LICENCES = {
    "CC BY 4.0": "https://creativecommons.org/licenses/by/4.0/",
    "CC BY-SA 4.0": "https://creativecommons.org/licenses/by-sa/4.0/",
    "CC0 1.0": "https://creativecommons.org/publicdomain/zero/1.0/",
}
DRAWS_NOTHING = tuple(
    re.compile(pattern)
    for pattern in (
        r' (?:class|font-family)="[^"]*"',
        r' (?:pointer-events="none"|opacity="1"|stroke-opacity="1"|fill-opacity="1")',
        r"<path[^>]* display=\"none\"/>",
        r'<path d="M0,0h0v0h0Z"[^>]*/>',
        r"<g></g>",
        r"<g></g>",  # those that held nothing else
    )
)
CUSTOMARY = Display(temperature="F", power="Btu/h")
DEFAULT_CHARTS = ("ratio", "capacity-outdoor", "eer-outdoor", "shortfall")
SAME_IN_UNIT = (
    "maker", "model", "kind", "compressor", "refrigerant", "voltage_v", "obtained", "obtained_detail", "afterwards",
    "price_currency", "is_synthetic",
)  # fmt: skip
SAME_IN_CLAIM = (
    "quantity", "value", "quantity_unit", "value_si", "condition_name", "room_temp_c", "room_wet_bulb_c",
    "outdoor_temp_c", "outdoor_wet_bulb_c", "basis", "stated_in",
)  # fmt: skip
SAME_IN_FINDING = ("code", "severity", "sentence", "subject", "remedy")

Document = dict[str, Any]


def canonical(document: Document) -> bytes:
    """Return the one way to write a document: keys in order, no spaces, UTF-8, no number that JSON does not know.

    `<` is written as an escape, so that the same bytes may stand inside a page.

    >>> canonical({"b": 1.5, "a": "°<"}).decode()
    '{"a":"°\\\\u003c","b":1.5}'
    """
    text = json.dumps(document, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)
    return text.replace("<", "\\u003c").encode()


def digest(data: bytes) -> str:
    """Return the SHA-256 that names these bytes."""
    return hashlib.sha256(data).hexdigest()


def stamp(moment: datetime) -> str:
    """Write an instant in UTC to the second."""
    return moment.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def built(
    material: Material, *, number: int, published_at: datetime, erratum: str = "", before: Edition | None = None
) -> Document:
    """Return the whole document of an edition, without its list of errata and its raw files."""
    review = material.review
    charts = [charted(*both) for both in pictures(material)]
    named = names(material.compared_rows())
    return {
        "format": FORMAT,
        "slug": review.slug,
        "number": number,
        "title": review.title,
        "summary": review.summary,
        "published_at": stamp(published_at),
        "published_by": review.bench.name,
        "synthetic": is_synthetic(material),
        "licence": {"name": review.licence, "url": LICENCES.get(review.licence, "")},
        "disclosure": review.disclosure,
        "embargo": review.embargo,
        "contacts": review.contacts,
        "replies": [_reply(comment) for comment in accepted(review)],
        "body": review.body,
        "figures": bound(review.body, material.points),
        "units": [_unit(unit, material.unit_keys[unit.pk], named[unit.pk]) for unit in material.units],
        "sessions": {key: _session(reduction, material, review) for key, reduction in material.reductions.items()},
        "points": material.points,
        "charts": charts,
        "erratum": erratum,
        "previous_sha256": before.sha256 if before else "",
    }


def is_synthetic(material: Material) -> bool:
    """Say whether any of it is invented."""
    invented = [unit.is_synthetic for unit in material.units]
    return material.review.bench.is_synthetic or any(
        [*invented, *(reduction.session.is_synthetic for reduction in material.reductions.values())]
    )


def accepted(review: Review) -> list[MakerComment]:
    """Return the maker's answers that the owner accepted for print."""
    return list(review.maker_comments.filter(accepted_at__isnull=False).order_by("written_at"))


def _reply(comment: MakerComment) -> Document:
    return {"from": comment.name, "text": comment.text, "written_at": stamp(comment.written_at)}


def _unit(unit: Unit, key: str, name: str) -> Document:
    return {name: getattr(unit, name) for name in SAME_IN_UNIT} | {
        "key": key,
        "name": name,
        "kind_label": unit.get_kind_display(),
        "compressor_label": unit.get_compressor_display(),
        "obtained_label": unit.get_obtained_display(),
        "afterwards_label": unit.get_afterwards_display(),
        "price": None if unit.price is None else str(unit.price),
        "claims": [_claim(claim) for claim in listed(unit)],
    }


def _claim(claim: Claim) -> Document:
    stated_on: date | None = claim.stated_on
    return {name: getattr(claim, name) for name in SAME_IN_CLAIM} | {
        "quantity_label": claim.get_quantity_display(),
        "stated_on": stated_on.isoformat() if stated_on else None,
    }


def _session(reduction: Reduction, material: Material, review: Review) -> Document:
    veil = material.veils[reduction.pk]
    findings = [finding for finding in material.findings if finding.reduction_id == reduction.pk]
    own = [finding for row in material.rows if row.reduction_id == reduction.pk for finding in row.findings.all()]
    answers = [
        {"sentence": veil.cover(finding.sentence), "answer": answer}
        for finding in [*findings, *own]
        if (answer := review.answers.get(str(finding.pk)))
    ]
    room = reduction.document.get("room") or {}
    return {
        "method_version": reduction.method_version,
        "input_sha256": reduction.input_sha256,
        "reduced_at": stamp(reduction.reduced_at),
        "files": [{"sha256": log["sha256"], "bytes": log["bytes"]} for log in reduction.result.get("files", ())],
        "room": {name: room.get(name) for name in ("volume_m3", "construction")},
        "settings": reduction.document.get("settings") or {},
        "decision": veil.covered(decided_by(reduction)),
        "findings": [{name: veil.cover(getattr(finding, name)) for name in SAME_IN_FINDING} for finding in findings],
        "answers": answers,
        "raw": None,
    }


def decided_by(reduction: Reduction) -> Document:
    """Return the rule that a reduction's claims were judged by, and each change of it after there were data."""
    rule = doc.DecisionRule.model_validate(reduction.document.get("decision") or {})
    changes = [change.model_dump(exclude={"at", "by"}) | {"at": stamp(change.at)} for change in rule.changes]
    chosen_at = stamp(rule.chosen_at) if rule.chosen_at else None
    return {"rule": in_words(rule), "chosen_at": chosen_at, "changes": changes}


def pictures(material: Material) -> list[tuple[Drawn, Drawn]]:
    """Return the chosen charts of the chosen points in SI, each with the same in °F and Btu/h; no empty ones."""
    if not material.rows:
        return []
    frames = compared(material.compared_rows()).frames
    named = [name for name in material.review.charts or DEFAULT_CHARTS if name in PICTURES]
    both = [(draw(name, frames, METRIC), draw(name, frames, CUSTOMARY)) for name in named]
    return [(drawn, other) for drawn, other in both if drawn and other]


def charted(drawn: Drawn, other: Drawn) -> Document:
    """Return a chart as it is frozen: picture, sentence, table in both systems of units, what draws it in a browser."""
    headings, table = [column.title for column in drawn.headings], drawn.table
    return _otherwise(headings, table, other.table) | {
        "name": drawn.picture.name,
        "title": drawn.picture.title,
        "says": drawn.says,
        "note": drawn.picture.note,
        "svg": lighter(str(drawn.svg)),
        "headings": headings,
        "numeric": [not column.text for column in drawn.headings],
        "table": table,
        "csv": drawn.file("csv").decode(),
        "spec": configured(lively(drawn.chart)).to_dict(),
    }


def _otherwise(headings: list[str], table: list[list[str]], other: list[list[str]]) -> Document:
    """Return what a table says otherwise in other units: its first columns, and those whose cells differ."""
    columns = list(zip(*table, strict=True)), list(zip(*other, strict=True))
    differ = [at for at, (here, there) in enumerate(zip(*columns, strict=True)) if here != there]
    if not differ:
        return {}
    kept = sorted({0, *range(headings.index("Point") + 1 if "Point" in headings else 1), *differ})
    return {
        "other_headings": [headings[at] for at in kept],
        "other_table": [[row[at] for at in kept] for row in other],
    }


def lighter(svg: str) -> str:
    """Return a chart without what draws nothing: a page may hold a dozen.

    >>> lighter('<svg class="marks"><g><path d="" display="none"/></g><text opacity="1">x</text></svg>')
    '<svg><text>x</text></svg>'
    """
    for part in DRAWS_NOTHING:
        svg = part.sub("", svg)
    return svg


def standing_alone(svg: str) -> str:
    """Return a page's chart with its colours and letters written in, for places without the page's style."""
    for ink, token in INKS.items():
        svg = svg.replace(f"var({token})", ink)
    return svg.replace("<svg ", f'<svg font-family="{FONT}" ', 1)
