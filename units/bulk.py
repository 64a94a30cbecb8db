"""Units and claims as a table, read: one row a unit, a column for each claim, headed as `capacity [Btu/h]`.

A row that names no maker and no model goes on with the unit above: claims at another condition, or of a quantity that
it has a claim of already.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import datetime
from typing import TYPE_CHECKING, Any

from django import forms
from django.core.exceptions import ValidationError
from python_calamine import CalamineError, CalamineWorkbook

from reduction.errors import Place, ReductionError, UnreadableFile
from reduction.readers.sheet_size import refuse_large_sheets
from reduction.readers.source import BROKEN_ARCHIVE
from units.forms.unit import ClaimForm, UnitForm
from units.models import Claim, Unit
from units.quantities import METRIC, Display
from units.spreadsheet import plain

if TYPE_CHECKING:
    from units.models import Bench

MOST_ROWS = 2000
MOST_BYTES = 2 * 1024 * 1024
CLAIM_HEADING = re.compile(rf"^({'|'.join(Claim.Quantity.values)})\s*\[(.+)\]$")
UNIT_COLUMNS = {
    "maker": "maker", "model": "model", "kind": "kind", "compressor": "compressor", "refrigerant": "refrigerant",
    "voltage [v]": "voltage_v", "serial": "serial", "obtained": "obtained", "obtained detail": "obtained_detail",
    "afterwards": "afterwards", "price": "price", "currency": "price_currency", "tags": "tag_text", "notes": "notes",
    "reference": "is_reference", "synthetic": "is_synthetic",
}  # fmt: skip
TEMPERATURES = {
    "room": "room_temp_c", "room wet bulb": "room_wet_bulb_c", "outdoors": "outdoor_temp_c",
    "outdoor wet bulb": "outdoor_wet_bulb_c",
}  # fmt: skip
CLAIM_COLUMNS = {"condition": "rating", **TEMPERATURES, "basis": "basis", "stated in": "stated_in",
                 "stated on": "stated_on"}  # fmt: skip
AIR_FLOW = "air flow [m³/h]"
YES = ("yes", "true", "1", "x")
CHOICES = {"kind": Unit.Kind, "compressor": Unit.Compressor, "obtained": Unit.Obtained, "afterwards": Unit.Afterwards}


@dataclass(frozen=True)
class Row:
    """One row as understood: the unit's form, its claims' forms, and what is wrong with them."""

    number: int
    form: UnitForm
    claims: tuple[ClaimForm, ...]
    errors: tuple[str, ...]


def as_text(name: str, data: bytes) -> str:
    """Return a CSV or a workbook's first sheet as CSV text.

    Raises
    ------
    UnreadableFile
        If it is neither, or too large.
    """
    if len(data) > MOST_BYTES:
        raise _unreadable(name, f"{len(data) / 1e6:.1f} MB", "at most 2 MB", "Split the list into several files.")
    is_workbook = data[:2] == b"PK" or data[:4] == b"\xd0\xcf\x11\xe0"
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerows(_workbook(name, data) if is_workbook else _lines(name, data))
    return text.getvalue()


def table_of(name: str, text: str) -> list[dict[str, str]]:
    """Return the rows of CSV text by their headings in lower case.

    Raises
    ------
    UnreadableFile
        If it has no row, too many rows, or a heading that is not known.
    """
    rows = [row for row in csv.reader(io.StringIO(text)) if any(cell.strip() for cell in row)]
    if len(rows) < 2:
        raise _unreadable(
            name, "no row under a heading", "a heading and a row for each unit", "Export to see the form."
        )
    if len(rows) > MOST_ROWS + 1:
        raise _unreadable(name, f"{len(rows) - 1} rows", f"at most {MOST_ROWS}", "Split the list into several files.")
    headings = [heading.strip().lower() for heading in rows[0]]
    for heading in headings:
        if heading and heading not in {*UNIT_COLUMNS, *CLAIM_COLUMNS, AIR_FLOW} and not _claim_heading(heading):
            known = ", ".join([*UNIT_COLUMNS, *CLAIM_COLUMNS, "capacity [Btu/h]"])
            raise _unreadable(name, heading, f"one of {known}", "Rename the column, or take it out.")
    return [dict(zip(headings, map(plain, row), strict=False)) for row in rows[1:]]


def _claim_heading(heading: str) -> re.Match[str] | None:
    return CLAIM_HEADING.match(heading)


def _unreadable(name: str, found: str, expected: str, remedy: str) -> UnreadableFile:
    return UnreadableFile(place=Place(name), found=found, expected=expected, remedy=remedy)


def _lines(name: str, data: bytes) -> list[list[str]]:
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        remedy = "Save it as CSV in UTF-8, or as xlsx."
        raise _unreadable(name, "bytes that are no UTF-8 text", "a CSV file or a workbook", remedy) from error
    if "\0" in text:
        raise _unreadable(name, "a binary file", "a CSV file or a workbook", "Save it as CSV in UTF-8, or as xlsx.")
    first = text.partition("\n")[0]
    return list(csv.reader(io.StringIO(text), delimiter=max(",;\t", key=first.count)))


def _workbook(name: str, data: bytes) -> list[list[str]]:
    try:
        if data[:2] == b"PK":
            refuse_large_sheets(name, data)
        sheet = CalamineWorkbook.from_filelike(io.BytesIO(data)).get_sheet_by_index(0)
    except (CalamineError, *BROKEN_ARCHIVE) as error:
        if isinstance(error, ReductionError):
            raise
        remedy = "Save it as CSV in UTF-8, or as xlsx."
        raise _unreadable(name, "a workbook that cannot be opened", "a CSV file or a workbook", remedy) from error
    return [["" if cell is None else _written(cell) for cell in row] for row in sheet.to_python()]


def _written(cell: Any) -> str:
    if isinstance(cell, datetime):
        return cell.date().isoformat()
    return f"{cell:.15g}" if isinstance(cell, float) else str(cell)


def understood(rows: Iterable[dict[str, str]], bench: Bench, display: Display = METRIC) -> list[Row]:
    """Return each unit as forms that a page would have sent, checked by the same rules."""
    found: list[Row] = []
    for number, row in enumerate(rows, start=2):
        claims, errors = _claims(row, display)
        if found and not any(row.get(name, "").strip() for name in ("maker", "model", "kind")):
            above = found[-1]
            found[-1] = replace(above, claims=above.claims + claims, errors=above.errors + errors)
        else:
            form = _form(row, bench)
            found.append(Row(number, form, claims, (*_errors("", form), *errors)))
    return found


def _form(row: dict[str, str], bench: Bench) -> UnitForm:
    unit, air_flow = Unit(bench=bench), row.get(AIR_FLOW, "").strip()
    form = UnitForm(
        {field: _value(field, row.get(column, "")) for column, field in UNIT_COLUMNS.items()}, instance=unit
    )
    if air_flow:
        try:
            unit.claimed_air_flow_m3_per_h = forms.FloatField(min_value=0).clean(air_flow)
        except ValidationError as error:
            form.add_error(None, f"{AIR_FLOW}: {error.messages[0]}")
    return form


def _claims(row: dict[str, str], display: Display) -> tuple[tuple[ClaimForm, ...], tuple[str, ...]]:
    """Return the row's claims, all at the row's condition, and what is wrong with them."""
    shared = {field: row.get(column, "").strip() for column, field in CLAIM_COLUMNS.items()}
    own = next((shared["rating"] for field in TEMPERATURES.values() if shared[field]), None)
    if own is not None:  # its own temperatures make it a condition of its own, by whatever name
        shared["rating"] = "own"
    found = [
        ClaimForm(
            {"quantity": heading[1], "value": cell.strip().replace(",", ""), "quantity_unit": _unit(heading[2])}
            | shared,
            display=display,
        )
        for name, cell in row.items()
        if (heading := _claim_heading(name)) and cell.strip()
    ]
    errors = [sentence for claim in found for sentence in _errors(f"{claim.data['quantity']}: ", claim)]
    for claim in found:
        claim.instance.condition_name = claim.instance.condition_name or ("" if own in (None, "own") else own)
    return tuple(found), tuple(errors)


def _value(field: str, cell: str) -> str:
    """Return what a form expects: a choice by its key or by its name."""
    text = cell.strip()
    if field in CHOICES:
        named = {label.lower(): value for value, label in CHOICES[field].choices}
        return named.get(text.lower(), text.lower()) or ("unknown" if field == "compressor" else "")
    if field.startswith("is_"):
        return "on" if text.lower() in YES else ""
    return text


def _unit(written: str) -> str:
    """Return a unit of measure as the form spells it, whatever its case."""
    spelled = {"btu/h": "Btu/h", "w": "W", "kw": "kW", "btu/(w·h)": "Btu/(W·h)", "btu/wh": "Btu/(W·h)", "w/w": "W/W",
               "db(a)": "dB(A)", "a": "A", "l/h": "L/h", "l/day": "L/day"}  # fmt: skip
    return spelled.get(written.strip(), written.strip())


def _errors(prefix: str, form: Any) -> Iterator[str]:
    for field, sentences in form.errors.items():
        label = "" if field == "__all__" else f"{(form.fields[field].label or field).lower()}: "
        for sentence in sentences:
            yield f"{prefix}{label}{sentence}"
