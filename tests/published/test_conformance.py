"""Conformance probability against the examples of JCGM 106."""

from __future__ import annotations

import pytest

from reduction.judge.decision import Belief
from tests.published.rows import Row, published


@pytest.mark.parametrize("row", published("conformance"), ids=lambda row: row.source)
def test_conformance_probability_is_that_of_the_guide(row: Row) -> None:
    belief = Belief(row.estimate, row.estimate, row.u)
    above = belief.probability_above(row.limit)
    between = above - belief.probability_above(row.upper_limit or row.limit)
    assert row.agrees({"lower": above, "upper": 1.0 - above, "between": between}[row.side])
