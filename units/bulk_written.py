"""Units and claims as a table, written: all that the reading of such a table takes, so that nothing is lost on the way.

A unit has one row for each condition that it has claims at; the rows after its first name no maker and no model.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from reduction.ground.tables import number, table
from units.bulk import AIR_FLOW, TEMPERATURES, UNIT_COLUMNS
from units.quantities import MINUS
from units.spreadsheet import harmless
from units.workbook import workbook

if TYPE_CHECKING:
    from units.models import Claim, Unit

Cells = dict[str, str | float]


def as_csv(units: Iterable[Unit]) -> str:
    """Return the table as CSV; a cell that a spreadsheet would run is made harmless."""
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerows(_rows(units))
    return text.getvalue()


def as_workbook(units: Iterable[Unit]) -> bytes:
    """Return the table as an xlsx file."""
    return workbook(_rows(units))


def _rows(units: Iterable[Unit]) -> list[Sequence[str | float]]:
    found = [row for unit in units for row in _unit_rows(unit)]
    headings = list(dict.fromkeys([*UNIT_COLUMNS, AIR_FLOW, *(heading for row in found for heading in row)]))
    return [headings, *([_safe(row.get(heading, "")) for heading in headings] for row in found)]


def _safe(cell: str | float) -> str | float:
    if isinstance(cell, float):
        return int(cell) if cell.is_integer() else cell
    return harmless(cell)


def _unit_rows(unit: Unit) -> list[Cells]:
    own: Cells = {column: _cell(unit, field) for column, field in UNIT_COLUMNS.items()}
    own[AIR_FLOW] = "" if unit.claimed_air_flow_m3_per_h is None else unit.claimed_air_flow_m3_per_h
    rows: list[Cells] = []
    for claim in unit.claims.all():
        heading, stated = f"{claim.quantity} [{claim.quantity_unit}]", _stated(claim)
        row = next((row for row in rows if heading not in row and stated.items() <= row.items()), None)
        if row is None:
            rows.append(row := dict(stated))
        row[heading] = claim.value
    return [own | rows[0], *rows[1:]] if rows else [own]


def _stated(claim: Claim) -> Cells:
    """Return where and how a claim is stated; a named condition needs no temperatures."""
    temps = {column: getattr(claim, field) for column, field in TEMPERATURES.items()}
    named = next((row for row in table("rating_conditions") if row["title"] == claim.condition_name), None)
    if named and all(number(named[TEMPERATURES[column]]) == value for column, value in temps.items()):
        temps = dict.fromkeys(temps)
    condition = claim.condition_name or ("own" if any(value is not None for value in temps.values()) else "")
    return {
        "condition": condition,
        **{column: "" if value is None else f"{value!r} °C".replace("-", MINUS) for column, value in temps.items()},
        "basis": claim.basis,
        "stated in": claim.stated_in,
        "stated on": claim.stated_on.isoformat() if claim.stated_on else "",
    }


def _cell(unit: Unit, field: str) -> str | float:
    if field == "tag_text":
        return ", ".join(str(tag) for tag in unit.tags.all())
    value = getattr(unit, field)
    if isinstance(value, bool):
        return "yes" if value else ""
    return "" if value is None else value if isinstance(value, float) else str(value)
