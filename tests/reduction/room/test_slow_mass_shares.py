"""What windows of one log, and sessions of one room, share of the slow mass's error."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest
from scipy.stats import binom

from reduction.compare import covariance_of
from reduction.room.slow_mass_shares import Share, joint
from reduction.run import choose_windows, reduce_windows
from reduction.session import Window
from tests.coverage.adapter import as_session
from tests.coverage.study import replicas

HOUR_S = 3600.0
RNG = np.random.default_rng(4)
WEIGHT = np.array([0.5, 0.3, 0.2])
MIDDLES_S = np.array([0.0, 1.0, 6.0]) * HOUR_S
AT = RNG.normal(size=(3, 3, 5)) * 10.0
PULL = 0.6 * AT
MEAN_W = RNG.normal(size=(3, 3)) * 8.0
NAMES = ("middle", "slow", "fast")


def _covariance(first: tuple[Share, ...], second: tuple[Share, ...]) -> float:
    keyed = {share.shared_key: share.contribution_w for share in second if share.shared_key}
    return sum(share.contribution_w * keyed.get(share.shared_key, 0.0) for share in first)


def test_the_parts_of_each_window_make_its_variance_and_common_parts_make_the_covariance() -> None:
    together = joint(MIDDLES_S, WEIGHT, MEAN_W, AT, PULL, NAMES)
    shares = together.shares("den", "monday", 0.0)
    for i, first in enumerate(shares):
        variance = sum(share.contribution_w**2 for share in first)
        assert variance == pytest.approx(together.covariance_w2[i, i])
        for j, second in enumerate(shares[:i]):
            bound = 0.02 * np.sqrt(together.covariance_w2[i, i] * together.covariance_w2[j, j])
            assert _covariance(first, second) == pytest.approx(together.covariance_w2[i, j], abs=bound)


def test_two_sessions_of_one_room_share_the_room_and_not_the_start() -> None:
    monday, friday = (
        joint(MIDDLES_S[:1], WEIGHT, MEAN_W[:, :1], AT[:, :1], PULL[:, :1], NAMES).shares("den", log, 0.0)[0]
        for log in ("monday", "friday")
    )
    # Own algebra: a window carries A·C of each of the room's coefficients; what is small stays its own.
    carried = np.einsum("c,cij->ij", WEIGHT, PULL[:, :1, :3])[0]
    assert _covariance(monday, friday) == pytest.approx(float(carried @ carried), rel=0.1)
    elsewhere = joint(MIDDLES_S[:1], WEIGHT, MEAN_W[:, :1], AT[:, :1], PULL[:, :1], NAMES).shares("attic", "x", 0.0)[0]
    assert _covariance(monday, elsewhere) == 0.0


def test_a_small_error_keeps_its_least_size_as_the_windows_own() -> None:
    (shares,) = joint(MIDDLES_S[:1], WEIGHT, 0.0 * MEAN_W[:, :1], 0.01 * AT[:, :1], 0.01 * PULL[:, :1], NAMES).shares(
        "den", "monday", 2.0
    )
    assert shares[-1].name == "this window alone"
    assert sum(share.contribution_w**2 for share in shares) == pytest.approx(4.0)


PAIRS_H = {"soon after the start": ((0.05, 0.75), (0.8, 1.5)), "hours apart": ((1.2, 2.2), (3.8, 4.8))}


@pytest.mark.parametrize("kind", ["steady", "drifting outdoor"])
@pytest.mark.parametrize("pair", PAIRS_H)
def test_the_difference_of_two_windows_of_a_log_is_known_far_better_than_either_and_honestly(
    kind: str, pair: str
) -> None:
    """Simulated rooms of nine stores whose true capacities are known; u of the difference against its error."""
    off, u, alone = [], [], []
    for one in replicas(kind, 25, seed=9):
        session, timeline = as_session(one)
        edges = [tuple(one.time_s[0] + hour * HOUR_S for hour in hours) for hours in PAIRS_H[pair]]
        windows = tuple(
            Window(
                label=label,
                start_utc=datetime.fromtimestamp(a, UTC),
                end_utc=datetime.fromtimestamp(b, UTC),
                reason=".",
            )
            for label, (a, b) in zip("ab", edges, strict=True)
        )
        session = session.model_copy(update={"windows": windows})
        points, _ = reduce_windows(timeline, session, choose_windows(timeline, session))
        true = [one.true_mean("sensible_w", p.start.timestamp(), p.end.timestamp()) for p in points]
        covariance = covariance_of(points)
        off.append(points[0].capacity_w - true[0] - points[1].capacity_w + true[1])
        u.append(np.sqrt(covariance[0, 0] + covariance[1, 1] - 2.0 * covariance[0, 1]))
        alone.append(np.hypot(points[0].capacity_u_w, points[1].capacity_u_w))
    assert np.median(u) < 0.35 * np.median(alone)
    apart = np.abs(np.array(off) / np.array(u))
    assert binom.cdf(np.sum(apart < 2.0), len(apart), 0.93) > 0.001
    assert np.median(apart) > 0.2
