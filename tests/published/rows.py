"""Published values as rows of `fixtures/published`: inputs, value, tolerance, why that tolerance, source."""

from __future__ import annotations

import csv
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

FOLDER = Path(__file__).resolve().parents[2] / "fixtures" / "published"
WORDS = {"case", "source", "tag", "why_tolerance", "tolerance_is", "quantity"}


class Row(SimpleNamespace):
    """One published value; its inputs are attributes, numbers where they are numbers, None where empty."""

    def __str__(self) -> str:
        return f"{self.case} {getattr(self, 'quantity', '')} {self.source}".replace("  ", " ")

    def agrees(self, value: Any) -> bool:
        """Tell whether a value lies within the row's tolerance of the published one."""
        limits = (
            {"rel": self.tolerance, "abs": 0.0} if self.tolerance_is == "rel" else {"abs": self.tolerance, "rel": 0.0}
        )
        return bool(float(value) == pytest.approx(self.value, **limits))


def published(name: str) -> list[Row]:
    """Return the rows of one table; a row without source or reason for its tolerance is an error."""
    with (FOLDER / f"{name}.csv").open(encoding="utf-8", newline="") as lines:
        rows = [Row(**{key: _cell(key, text) for key, text in row.items()}) for row in csv.DictReader(lines)]
    for row in rows:
        assert row.source, f"{name}: {row.case} names no source"
        assert row.why_tolerance, f"{name}: {row.case} does not say why it may differ"
    return rows


def _cell(key: str, text: str) -> Any:
    if key in WORDS:
        return text
    if text == "":
        return None
    try:
        return float(text)
    except ValueError:
        return text
