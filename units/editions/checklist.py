"""What must be in order before a review is published, each with where to put it in order."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from reduction.judge.decision import in_words
from tests_app import session_document
from units.charts import PICTURES
from units.claims import listed
from units.editions.document import accepted, decided_by
from units.editions.figures import REFERENCE, references, stale, written_out
from units.editions.material import Material

TABLES = ("points", "claims")
UNIT = r"\s*(?:[°%$€£±]|(?:k?W|k?Wh|Btu|V|A|Hz|K|Pa|dB|m|cm|mm|kg|g|l|L|h|min|s|hours?|minutes?|days?|times|USD|EUR)\b)"
BARE_NUMBER = re.compile(rf"(?<![\w.,:/$€£-])\d[\d,.]*\d{{2}}(?![\w/-]|[.,]\d|{UNIT})")
YEARS = range(1900, 2100)
CITED = ("capacity", "power", "eer", "cop", "ceer", "seer", "sacc", "sound")


@dataclass(frozen=True)
class Check:
    """One line of the checklist."""

    title: str
    faults: tuple[str, ...] = ()
    blocks: bool = True

    @property
    def passed(self) -> bool:
        """Say whether nothing is wrong."""
        return not self.faults


def checklist(material: Material) -> list[Check]:
    """Return every check, passed or not."""
    return [Check(title, tuple(find(material)), blocks) for title, find, blocks in CHECKS]


def open_faults(material: Material) -> list[str]:
    """Return what stands in the way of publishing."""
    return [fault for check in checklist(material) if check.blocks for fault in check.faults]


def _points(material: Material) -> Iterator[str]:
    if not material.review.title.strip():
        yield "The review has no title."
    if not material.units:
        yield "Choose the unit that the review is about."
    if not material.rows:
        yield "Choose at least one point."
    keys = material.unit_keys
    for name, row in zip(material.points, material.rows, strict=True):
        if row.unit_id not in keys:
            yield f"{name} is a point of another unit."
        if not row.usable:
            yield f"{name} ({row.label}) is not usable as a result; its findings say why."
    for unit in material.units:
        if not any(row.unit_id == unit.pk for row in material.rows):
            yield f"No point of {unit} is chosen."


def superseded(material: Material) -> list[str]:
    """Return the short names of points whose session was reduced again."""
    return [
        name
        for name, row in zip(material.points, material.rows, strict=True)
        if hasattr(row.reduction, "superseded_by")
    ]


def _current(material: Material) -> Iterator[str]:
    for name in superseded(material):
        yield f"{name} was reduced again since: take the newer results."


def _disclosed(material: Material) -> Iterator[str]:
    for unit in material.units:
        if not unit.obtained:
            yield f"Say how {unit} was obtained."
        if not unit.afterwards:
            yield f"Say what becomes of {unit} afterwards."
    if not material.review.disclosure.strip():
        yield "Write the disclosure: how each unit was obtained, who paid, what ties there are to the maker."


def _heard(material: Material) -> Iterator[str]:
    if not material.review.contacts and not accepted(material.review):
        yield "No attempt to reach the maker is recorded; the page will say so."


def _severe(material: Material) -> Iterator[str]:
    for finding in material.severe:
        if not str(material.review.answers.get(str(finding.pk), "")).strip():
            yield f"Answer the severe finding: {finding.sentence}"


def _claims(material: Material) -> Iterator[str]:
    for unit in material.units:
        for claim in listed(unit):
            if claim.quantity in CITED and not claim.stated_in:
                yield f"Say where {unit}'s claim is stated: {claim}."


def _references(material: Material) -> Iterator[str]:
    for reference in references(material.review.body):
        if reference.kind == "chart" and reference.rest not in PICTURES:
            yield f"There is no chart “{reference.rest}”."
        elif reference.kind == "table" and reference.rest not in TABLES:
            yield f"There is no table “{reference.rest}”; there are {' and '.join(TABLES)}."
        elif reference.kind == "figure" and written_out(reference, material.points) is None:
            yield f"{reference.written} names no figure of a chosen point."


def _fresh(material: Material) -> Iterator[str]:
    for one in stale(material.review.body, material.review.bound_figures, material.points):
        yield f"{one.reference} read “{one.before}” when the text was saved, now “{one.now}”: read it again and save."


def _one_rule(material: Material) -> Iterator[str]:
    versions = sorted({reduction.method_version for reduction in material.reductions.values()})
    if len(versions) > 1:
        yield f"The points were judged by method versions {', '.join(versions)}: reduce the older sessions again."
    judged = {key: decided_by(reduction)["rule"] for key, reduction in material.reductions.items()}
    if len(set(judged.values())) > 1:
        said = "; ".join(f"{key} by this: {rule}" for key, rule in judged.items())
        yield f"The sessions' claims were judged by different decision rules ({said}): choose one for all of them."
    for key, reduction in material.reductions.items():
        if in_words(session_document.decision_of(reduction.session)) != judged[key]:
            yield f"The decision rule of session {key} was changed since: reduce it again."


def _private(material: Material) -> Iterator[str]:
    review = material.review
    written = {"title": review.title, "summary": review.summary, "text": review.body, "disclosure": review.disclosure}
    written |= {"embargo": review.embargo, "record of contacts": " ".join(map(str, review.contacts))}
    written |= {f"details on how {unit} was obtained": unit.obtained_detail for unit in material.units}
    for place, text in written.items():
        for told in material.secrets.told_in(text):
            yield f"The {place} tells {told}: take it out."


def _typed_numbers(material: Material) -> Iterator[str]:
    for found in BARE_NUMBER.findall(REFERENCE.sub("", material.review.body)):
        if not (found.isdigit() and int(found) in YEARS):
            yield f"“{found}” in the text has no unit; bind figures to their point, as in {{{{ P1 capacity }}}}."


CHECKS: tuple[tuple[str, Callable[[Material], Iterator[str]], bool], ...] = (
    ("Units and points are chosen", _points, True),
    ("Every point is of its session's newest reduction", _current, True),
    ("How each unit was obtained is disclosed", _disclosed, True),
    ("Severe findings are answered", _severe, True),
    ("Every claim says where it is stated", _claims, True),
    ("References in the text exist", _references, True),
    ("The text was read with the figures as they are now", _fresh, True),
    ("One rule judges all points", _one_rule, True),
    ("Nothing private is told", _private, True),
    ("Numbers in the text have units", _typed_numbers, False),
    ("The maker was heard", _heard, False),
)
