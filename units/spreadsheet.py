"""Text for a spreadsheet, which would run a cell that begins like a formula."""

from __future__ import annotations

from typing import Any

FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")


def harmless(cell: Any) -> Any:
    """Return a cell so that a spreadsheet shows it and never runs it; numbers stay numbers.

    >>> harmless("=1+cmd|' /C calc'!A0"), harmless("-12.5"), harmless("−12 °C"), harmless(-3.0)
    ("'=1+cmd|' /C calc'!A0", '-12.5', '−12 °C', -3.0)
    """
    if not isinstance(cell, str) or not cell.lstrip(" ").startswith(FORMULA):
        return cell
    try:
        float(cell)
    except ValueError:
        return f"'{cell}"
    return cell
