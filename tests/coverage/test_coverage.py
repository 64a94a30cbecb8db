"""Coverage in short: the long study's table, with as many replicas as a test may take."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache

import numpy as np
import pytest
from scipy.stats import binom, chi2

from fixtures.replicas.sessions import KINDS
from tests.coverage import study
from tests.coverage.study import Outcome, Row, outcome, replicas, row_of

REPLICAS = 20
CLAIMED = (0.93, 0.97)  # of intervals, that hold the truth; the long study shows it, with enough replicas to tell
CHANCE = 0.001
WIDEST_SCATTER = (0.88, 1.15)  # errors over their stated u, root mean square: what the claim leaves room for
USEFUL_U95_W = {"large envelope": 110.0, "set-point change": 150.0, "radiant heater": 200.0}  # calm kinds: 65 W


@cache
def outcomes_of(kind: str) -> tuple[Outcome, ...]:
    return tuple(outcome(one) for one in replicas(kind, REPLICAS, seed=11))


def scatter(outcomes: Sequence[Outcome]) -> float:
    return float(np.sqrt(np.mean([(2.0 * (one.capacity_w - one.true_w) / one.u95_w) ** 2 for one in outcomes])))


def scatter_limits(count: int) -> tuple[float, float]:
    """What chance may make of the widest scatter of so many normal errors."""
    low, high = np.sqrt(chi2.ppf([CHANCE, 1.0 - CHANCE], count) / count)
    return WIDEST_SCATTER[0] * float(low), WIDEST_SCATTER[1] * float(high)


@pytest.mark.parametrize("kind", KINDS)
def test_intervals_hold_the_truth_as_often_as_chance_allows(kind: str) -> None:
    assert binom.cdf(sum(one.held for one in outcomes_of(kind)), REPLICAS, CLAIMED[0]) > CHANCE


@pytest.mark.parametrize("kind", KINDS)
def test_errors_are_neither_larger_nor_smaller_than_the_intervals_say(kind: str) -> None:
    low, high = scatter_limits(REPLICAS)
    assert low < scatter(outcomes_of(kind)) < high


def test_over_all_kinds_intervals_are_as_wide_as_the_errors_call_for() -> None:
    found = [one for kind in KINDS for one in outcomes_of(kind)]
    low, high = scatter_limits(len(found))
    assert low < scatter(found) < high
    held = sum(one.held for one in found)
    assert binom.cdf(held, len(found), CLAIMED[0]) > CHANCE
    assert binom.sf(held - 1, len(found), CLAIMED[1]) > CHANCE


@pytest.mark.parametrize("kind", KINDS)
def test_the_mean_error_is_small_beside_the_interval(kind: str) -> None:
    row = row_of(kind, outcomes_of(kind))
    chance = 3.0 * row.error_sd_w / np.sqrt(REPLICAS)
    assert abs(row.bias_w) < row.mean_u95_w / 10.0 + chance


@pytest.mark.parametrize("kind", KINDS)
def test_intervals_are_narrow_enough_to_be_of_use(kind: str) -> None:
    assert row_of(kind, outcomes_of(kind)).median_u95_w < USEFUL_U95_W.get(kind, 65.0)


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
