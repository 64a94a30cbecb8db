"""Units and claims as a table, in and out: one row a unit, a column for each claim, headed as `capacity [Btu/h]`."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from python_calamine import CalamineError, CalamineWorkbook

from reduction.errors import Place, UnreadableFile
from units.forms.unit import ClaimForm, UnitForm
from units.models import Claim, Unit
from units.quantities import METRIC, Display
from units.spreadsheet import harmless

if TYPE_CHECKING:
    from units.models import Bench

MOST_ROWS = 2000
MOST_BYTES = 2 * 1024 * 1024
CLAIM_HEADING = re.compile(rf"^({'|'.join(Claim.Quantity.values)})\s*\[(.+)\]$")
UNIT_COLUMNS = {
    "maker": "maker", "model": "model", "kind": "kind", "compressor": "compressor", "refrigerant": "refrigerant",
    "voltage [v]": "voltage_v", "serial": "serial", "obtained": "obtained", "obtained detail": "obtained_detail",
    "afterwards": "afterwards", "price": "price", "currency": "price_currency", "tags": "tag_text", "notes": "notes",
}  # fmt: skip
CLAIM_COLUMNS = {"condition": "rating", "basis": "basis", "stated in": "stated_in", "stated on": "stated_on"}
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
        if heading and heading not in UNIT_COLUMNS | CLAIM_COLUMNS and not _claim_heading(heading):
            known = ", ".join([*UNIT_COLUMNS, *CLAIM_COLUMNS, "capacity [Btu/h]"])
            raise _unreadable(name, heading, f"one of {known}", "Rename the column, or take it out.")
    return [dict(zip(headings, row, strict=False)) for row in rows[1:]]


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
        sheet = CalamineWorkbook.from_filelike(io.BytesIO(data)).get_sheet_by_index(0)
    except CalamineError as error:
        remedy = "Save it as CSV in UTF-8, or as xlsx."
        raise _unreadable(name, "a workbook that cannot be opened", "a CSV file or a workbook", remedy) from error
    return [["" if cell is None else _written(cell) for cell in row] for row in sheet.to_python()]


def _written(cell: Any) -> str:
    return f"{cell:g}" if isinstance(cell, float) else str(cell)


def understood(rows: Iterable[dict[str, str]], bench: Bench, display: Display = METRIC) -> list[Row]:
    """Return each row as forms that a page would have sent, checked by the same rules."""
    return [_understood(number, row, bench, display) for number, row in enumerate(rows, start=2)]


def _understood(number: int, row: dict[str, str], bench: Bench, display: Display) -> Row:
    form = UnitForm({field: _value(field, row.get(column, "")) for column, field in UNIT_COLUMNS.items()},
                    instance=Unit(bench=bench))  # fmt: skip
    shared = {field: row.get(column, "").strip() for column, field in CLAIM_COLUMNS.items()}
    claims = [
        ClaimForm(
            {"quantity": found[1], "value": cell.strip().replace(",", ""), "quantity_unit": _unit(found[2])} | shared,
            display=display,
        )
        for heading, cell in row.items()
        if (found := _claim_heading(heading)) and cell.strip()
    ]  # fmt: skip
    errors = [*_errors("", form)]
    for claim in claims:
        errors += _errors(f"{claim.data['quantity']}: ", claim)
    return Row(number, form, tuple(claims), tuple(errors))


def _value(field: str, cell: str) -> str:
    """Return what a form expects: a choice by its key or by its name."""
    text = cell.strip()
    if field in CHOICES:
        named = {label.lower(): value for value, label in CHOICES[field].choices}
        return named.get(text.lower(), text.lower()) or ("unknown" if field == "compressor" else "")
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


def written(units: Iterable[Unit]) -> str:
    """Return units with their claims as CSV that reads back; a cell that a spreadsheet would run is made harmless."""
    rows = []
    for unit in units:
        claims = list(unit.claims.all())
        row = {column: _cell(unit, field) for column, field in UNIT_COLUMNS.items()}
        row |= {f"{claim.quantity} [{claim.quantity_unit}]": f"{claim.value:g}" for claim in claims}
        first = claims[0] if claims else Claim()
        row |= {"condition": first.condition_name, "basis": first.basis, "stated in": first.stated_in}
        row |= {"stated on": first.stated_on.isoformat() if first.stated_on else ""}
        rows.append(row)
    headings = list(dict.fromkeys([*UNIT_COLUMNS, *(heading for row in rows for heading in row)]))
    text = io.StringIO()
    writer = csv.DictWriter(text, headings, restval="", lineterminator="\n")
    writer.writeheader()
    writer.writerows({heading: harmless(cell) for heading, cell in row.items()} for row in rows)
    return text.getvalue()


def _cell(unit: Unit, field: str) -> str:
    if field == "tag_text":
        return ", ".join(str(tag) for tag in unit.tags.all())
    value = getattr(unit, field)
    return "" if value is None else f"{value:g}" if isinstance(value, float) else str(value)
