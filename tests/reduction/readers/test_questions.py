"""What a file cannot settle is asked; a stated answer settles it, and a question outlives a change of process."""

from __future__ import annotations

import pickle
from pathlib import Path

import pytest

from reduction.errors import ReductionError, UnreadableValue
from reduction.readers import read_log
from reduction.session import Profile

FOLDER = Path(__file__).parents[3] / "fixtures" / "logs"


@pytest.mark.parametrize("name", ["ambiguous_dates.csv", "semicolon_point_ambiguous.csv"])
def test_a_question_travels_between_processes(name: str) -> None:
    with pytest.raises(ReductionError) as raised:
        read_log(FOLDER / name)
    there = pickle.loads(pickle.dumps(raised.value))
    assert (str(there), there.question) == (str(raised.value), raised.value.question)


def test_a_stated_unit_that_nobody_knows_is_named_with_its_column() -> None:
    profile = Profile(declared_date="2026-07-14", units={"temperature_C": "furlong"})
    with pytest.raises(UnreadableValue, match=r"column “temperature_C”: found “furlong”, expected a unit such as °C"):
        read_log(FOLDER / "heading_that_lies.csv", profile=profile)
