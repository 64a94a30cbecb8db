"""Coverage in short: the long study's table, with as many replicas as a test may take."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import binom

from fixtures.replicas.sessions import KINDS
from tests.coverage import study
from tests.coverage.study import Outcome, Row, outcome, replicas, row_of

REPLICAS = 16
USEFUL_U95_W = {"large envelope": 130.0, "set-point change": 130.0, "radiant heater": 200.0}  # calm kinds: 75 W


@pytest.fixture(scope="module", params=KINDS)
def kind(request: pytest.FixtureRequest) -> tuple[str, list[Outcome]]:
    return request.param, [outcome(one) for one in replicas(request.param, REPLICAS, seed=11)]


def test_intervals_hold_the_truth_as_often_as_chance_allows(kind: tuple[str, list[Outcome]]) -> None:
    name, found = kind
    held = sum(one.held for one in found)
    assert binom.cdf(held, REPLICAS, 0.95) > 0.001, name


def test_the_mean_error_is_small_beside_the_interval(kind: tuple[str, list[Outcome]]) -> None:
    name, found = kind
    row = row_of(name, found)
    chance = 3.0 * row.error_sd_w / np.sqrt(REPLICAS)
    assert abs(row.bias_w) < row.mean_u95_w / 10.0 + chance, name


def test_intervals_are_narrow_enough_to_be_of_use(kind: tuple[str, list[Outcome]]) -> None:
    name, found = kind
    assert row_of(name, found).median_u95_w < USEFUL_U95_W.get(name, 75.0)


def test_intervals_are_not_wider_than_the_errors_call_for(kind: tuple[str, list[Outcome]]) -> None:
    name, found = kind
    ratio = [2.0 * (one.capacity_w - one.true_w) / one.u95_w for one in found]
    assert np.sqrt(np.mean(np.square(ratio))) > 0.4, name


def test_replicas_are_the_same_for_the_same_seed_and_others_for_another() -> None:
    def first(seed: int) -> np.ndarray:
        return next(iter(replicas("steady", 2, seed))).logs[0].values

    assert np.array_equal(first(1), first(1))
    assert not np.array_equal(first(1), first(2))


def test_a_row_counts_what_it_is_given() -> None:
    outcomes = [
        Outcome(1010.0, 20.0, 990.0, 1030.0, 1000.0, 0.0, 5.0),
        Outcome(1050.0, 20.0, 1030.0, 1070.0, 1000.0, 0.0, 5.0),
    ]
    row = row_of("two", outcomes)
    assert (row.coverage, row.bias_w, row.median_u95_w) == (0.5, 30.0, 20.0)


def test_the_command_prints_a_row_for_each_kind(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(
        study, "study", lambda count, kinds, seed: [Row(k, count, 0.95, 1.0, 20.0, 40.0, 41.0) for k in kinds]
    )
    assert study.main(["--replicas", "500"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert [line.split("  ")[0] for line in lines[1:]] == list(KINDS)
    assert "95.0 %" in lines[1]
