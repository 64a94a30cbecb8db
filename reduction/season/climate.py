"""A reader's own climate: hourly weather files and plain bin tables, brought to bins of outdoor temperature."""

from __future__ import annotations

import csv
import re

import numpy as np

from reduction.errors import Place, UnreadableFile, UnreadableValue
from reduction.season.seasonal import Bins

EPW_DRY_BULB, EPW_HEADER_LINES = 6, 8  # column and header of an EnergyPlus weather file
MISSING_C = 99.9  # dry bulb of a missing hour in EPW
BIN_WIDTH_C = 1.0
MOST_HOURS = 8784.0
OF_AIR = (-90.0, MISSING_C, "a temperature of outdoor air in °C")  # colder was never measured; 99.9 is a missing hour
OF_BIN = (-130.0, 140.0, "a temperature of outdoor air")  # °F or °C: the heading says which
OF_HOURS = (0.0, MOST_HOURS, f"hours from 0 to {MOST_HOURS:g}")


def climate_bins(text: str, name: str = "climate") -> Bins:
    """Read a climate file and return its hours by bins of 1 K.

    Understood are EPW files, TMY tables with a heading that holds “dry-bulb”, and tables of two columns, temperature
    [°C, or °F where its heading says so] and hours.

    Raises
    ------
    UnreadableFile
        If it is none of these.
    UnreadableValue
        If a temperature or an hour count is no number or impossible.

    Examples
    --------
    >>> climate_bins("temp_c,hours\\n25,100\\n30,50\\n").hours.tolist()
    [100.0, 50.0]
    """
    lines = text.lstrip("\ufeff").splitlines()
    rows = list(csv.reader(lines, delimiter=_delimiter(lines)))
    if rows and rows[0] and rows[0][0].strip().upper() == "LOCATION":
        hours = rows[EPW_HEADER_LINES:]
        return hourly_bins(
            [_number(row, EPW_DRY_BULB, name, n) for n, row in enumerate(hours, EPW_HEADER_LINES + 1) if row]
        )
    heading = next((n for n, row in enumerate(rows) if any("dry-bulb" in cell.lower() for cell in row)), None)
    if heading is not None:
        column = next(n for n, cell in enumerate(rows[heading]) if "dry-bulb" in cell.lower())
        return hourly_bins(
            [_number(row, column, name, n) for n, row in enumerate(rows[heading + 1 :], heading + 2) if row]
        )
    return _bin_table(rows, name)


def hourly_bins(temps_c: list[float]) -> Bins:
    """Return the hours of a list of hourly temperatures [°C] by bins of 1 K; missing hours (99.9) are left out.

    Examples
    --------
    >>> bins = hourly_bins([20.2, 20.4, 31.0])
    >>> bins.outdoor_temp_c.tolist(), bins.hours.tolist()
    ([20.0, 31.0], [2.0, 1.0])
    """
    known = np.array([temp for temp in temps_c if temp < MISSING_C])
    centres, hours = np.unique(np.round(known / BIN_WIDTH_C) * BIN_WIDTH_C, return_counts=True)
    return Bins(centres, hours.astype(np.float64))


def _bin_table(rows: list[list[str]], name: str) -> Bins:
    heading = " ".join(rows[0]) if rows else ""
    named = bool(re.search("[A-Za-z°]", heading))
    pairs = [
        (_number(row, 0, name, number, OF_BIN), _number(row, 1, name, number, OF_HOURS))
        for number, row in enumerate(rows[named:], named + 1)
        if any(cell.strip() for cell in row)
    ]
    if not pairs:
        raise UnreadableFile(
            place=Place(name),
            found=heading or "an empty file",
            expected="an EPW or TMY file, or a table of temperature and hours",
            remedy="Export the hourly weather file again, or give one line per bin: temperature, hours.",
        )
    temps, hours = (np.array(column) for column in zip(*pairs, strict=True))
    if re.search(r"°?\s*\bF\b|_f\b", heading):
        temps = (temps - 32.0) / 1.8
    if hours.sum() > MOST_HOURS:
        raise UnreadableValue(
            place=Place(name, column="hours"),
            found=f"{hours.sum():g} in all",
            expected=f"no more than {MOST_HOURS:g} in a year",
            remedy="Check which column holds the hours.",
        )
    return Bins(temps, hours)


def _delimiter(lines: list[str]) -> str:
    first = lines[0] if lines else ""
    return max(",;\t", key=first.count) if any(mark in first for mark in ",;\t") else ","


def _number(row: list[str], column: int, name: str, line: int, limits: tuple[float, float, str] = OF_AIR) -> float:
    low, high, expected = limits
    cell = row[column].strip() if column < len(row) else ""
    try:
        value = float(cell.replace(",", "."))
    except ValueError:
        value = float("nan")
    if low <= value <= high:
        return value
    raise UnreadableValue(
        place=Place(name, row=line),
        found=cell or "nothing",
        expected=expected,
        remedy="Delete the row or correct the value.",
    )
