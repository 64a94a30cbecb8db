"""Text for a spreadsheet, which would run a cell that begins like a formula."""

from __future__ import annotations

from typing import Any

GUARD = "'"
FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")


def harmless(cell: Any) -> Any:
    """Return a cell so that a spreadsheet shows it and never runs it; numbers stay numbers.

    >>> harmless("=1+cmd|' /C calc'!A0"), harmless("-12.5"), harmless("−12 °C"), harmless(-3.0)
    ("'=1+cmd|' /C calc'!A0", '-12.5', '−12 °C', -3.0)
    """
    if not isinstance(cell, str) or not cell.lstrip(f" {GUARD}").startswith(FORMULA):
        return cell
    try:
        float(cell)
    except ValueError:
        return f"{GUARD}{cell}"
    return cell


def plain(cell: str) -> str:
    """Return a cell as it was before it was made harmless.

    >>> plain(harmless("=1+1")), plain(harmless("'=1+1")), plain("'tis cold"), plain("-12.5")
    ('=1+1', "'=1+1", "'tis cold", '-12.5')
    """
    guarded = cell.startswith(GUARD) and cell.lstrip(f" {GUARD}").startswith(FORMULA)
    return cell[1:] if guarded else cell
