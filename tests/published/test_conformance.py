"""Conformance probability against the examples of JCGM 106."""

from __future__ import annotations

import pytest

from reduction.judge.decision import Belief
from tests.published.rows import Row, published


@pytest.mark.parametrize("row", published("conformance"), ids=lambda row: row.source)
def test_conformance_probability_is_that_of_the_guide(row: Row) -> None:
    above = Belief(row.estimate, row.estimate, row.u).probability_above(row.limit)
    assert row.agrees(above if row.side == "lower" else 1.0 - above)
