"""Why a whole file is refused, in one sentence with a remedy."""

from __future__ import annotations

from reduction.errors import Place, UnreadableFile

EXPORT_AGAIN = "Export it again as CSV with one heading row and a time column."


def refusal(file: str, found: str, expected: str = "rows of readings", remedy: str = EXPORT_AGAIN) -> UnreadableFile:
    """Return the error for a file that cannot be read as a whole.

    Examples
    --------
    >>> print(refusal("hall.csv", "an empty file", remedy="Copy it again."))
    hall.csv: found “an empty file”, expected rows of readings. Copy it again.
    """
    return UnreadableFile(place=Place(file), found=found[:200], expected=expected, remedy=remedy)
