"""What was read, in plain words."""

from __future__ import annotations

import pytest
from django.utils import timezone

from tests_app.templatetags import reading
from tests_app.words import role_label

COLUMN = {"log": "a.csv", "first": "2026-07-14T12:00:00+00:00", "last": "2026-07-14T16:00:00+00:00", "step_s": 10.0}


@pytest.mark.parametrize(
    ("seconds", "words"), [(10, "10 s"), (90, "90 s"), (300, "5 min"), (12600, "3.5 h"), (6 * 86400, "6 days")]
)
def test_a_span_of_time_is_said_as_a_person_says_it(seconds: float, words: str) -> None:
    assert reading.duration(seconds) == words


def test_a_log_is_told_with_shape_span_zone_and_pace() -> None:
    with timezone.override("America/Denver"):
        said = reading.in_words({"path": "a.csv", "shape": "wide table"}, {"columns": [COLUMN, COLUMN]})
    assert said == (
        "Read as a table with a column for each channel, 2 channels, "
        "from 14 Jul 2026 06:00:00 to 10:00:00 (4 h, MDT), a reading every 10 s."
    )


def test_a_log_without_a_dated_row_is_told() -> None:
    empty = COLUMN | {"first": None, "last": None, "step_s": None}
    said = reading.in_words({"path": "a.csv", "shape": "event log"}, {"columns": [empty]})
    assert said == "Read as a log of events, 1 channel, without a single row that has a time."


@pytest.mark.parametrize(
    ("role", "words"),
    [
        ("condenser_inlet_temp", "Condenser inlet temperature"),
        ("unit_power", "Power of the unit"),
        ("supply_rh", "Supply humidity"),
    ],
)
def test_a_role_is_said_in_words(role: str, words: str) -> None:
    assert role_label(role) == words


@pytest.mark.parametrize(("sure", "word"), [(1.0, "sure"), (0.7, "likely"), (0.4, "a guess"), (0.0, "unclear")])
def test_a_guess_says_how_sure_it_is(sure: float, word: str) -> None:
    assert reading.sure_words(sure) == word
