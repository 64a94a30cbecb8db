"""Sensors that hung together: offsets recovered within their u, what spoils the check refused in words."""

from __future__ import annotations

import re

import numpy as np
import pytest

from reduction.align.timeline import Timeline, align
from reduction.errors import NothingToReduce
from reduction.examine.colocation import PLACE_U_K, co_locate
from reduction.session import Instrument, Role
from tests.reduction.signals import NOON_S, a_series

TRUE_K = {"room a": 0.31, "room b": -0.18, "supply": 0.02, "return": -0.15}
ROLES = {"room a": Role.ROOM_TEMP, "room b": Role.ROOM_TEMP, "supply": Role.SUPPLY_TEMP, "return": Role.RETURN_TEMP}


def hung(*, minutes=90, drift_k_per_h=0.1, noise_k=0.02, seed=1, unit_w=None, limit_k=0.3, **true_k) -> Timeline:
    time = NOON_S + 60.0 * np.arange(minutes)
    draws = np.random.default_rng(seed)
    air = 22.0 + drift_k_per_h * (time - NOON_S) / 3600.0
    series = [
        a_series(
            time, np.round(air + offset + draws.normal(0, noise_k, minutes), 2), role=ROLES[name], key=name,
            column=name,
            instrument=Instrument(id=name, quantity="temperature", offset_limit=limit_k, resolution=0.01),
        )
        for name, offset in (TRUE_K | true_k).items()
    ]  # fmt: skip
    if unit_w is not None:
        series.append(a_series(time, np.full(minutes, unit_w), role=Role.UNIT_POWER, key="unit", column="unit"))
    return align(tuple(series))


def whole(timeline: Timeline, **more):
    return co_locate(timeline, timeline.start_s, timeline.end_s, **more)


def test_offsets_from_the_mean_are_those_that_were_put_in_less_their_mean():
    found = whole(hung())
    middle = np.mean(list(TRUE_K.values()))
    assert {each.key: each.offset_k for each in found.offsets} == pytest.approx(
        {name: offset - middle for name, offset in TRUE_K.items()}, abs=0.01
    )
    assert found.slope_k_per_h == pytest.approx(0.1, abs=0.02)


def test_the_mean_of_four_sensors_is_known_twice_as_well_as_one():
    """JCGM 100:2008, 4.3.7: a limit of 0.3 K is u = 0.3/√3 K; four independent ones leave half of it in their mean."""
    assert whole(hung()).common_u_k == pytest.approx(0.3 / np.sqrt(3) / 2)


def test_offsets_lie_within_their_u95_in_most_of_two_hundred_replicas():
    """True offsets drawn from the makers' limits, the mean of all as reference: 95 % ask for 190 of 200 or so."""
    draws = np.random.default_rng(5)
    inside = total = 0
    for seed in range(200):
        true_k = dict(zip(TRUE_K, draws.uniform(-0.3, 0.3, len(TRUE_K)), strict=True))
        for each in whole(hung(minutes=40, seed=seed, **true_k)).offsets:
            total += 1
            inside += abs(each.offset_k - true_k[each.key]) <= each.u95_k
    assert 0.93 <= inside / total <= 1.0


def test_a_reference_with_a_certificate_sets_the_truth_and_its_u():
    known = {"supply": Instrument(id="supply", offset_correction=0.02, offset_correction_u=0.03)}
    found = whole(hung(), reference="supply", known=known)
    assert {each.key: each.offset_k for each in found.offsets} == pytest.approx(
        {name: offset for name, offset in TRUE_K.items() if name != "supply"}, abs=0.01
    )
    assert found.common_u_k == 0.03
    assert found.offsets[0].u_k == pytest.approx(np.hypot(0.03, PLACE_U_K), rel=0.02)


def test_a_sensor_beyond_its_makers_limit_is_pointed_out():
    remarks = {each.key: each.remark for each in whole(hung(**{"room a": 2.5}), reference="return").offsets}
    assert "beyond its maker's ±0.3 K" in remarks["room a"]
    assert remarks["supply"] == ""


def test_columns_that_share_an_instrument_are_marked():
    timeline = hung()
    for key in ("room a", "room b"):
        object.__setattr__(timeline.series[key], "instrument", Instrument(id="one"))
    assert [each.shared for each in whole(timeline).offsets] == [True, True, False, False]


def test_noise_that_remembers_itself_widens_the_u():
    calm, noisy = (whole(hung(noise_k=noise)).offsets[0].u_k for noise in (0.02, 0.5))
    assert noisy > calm


@pytest.mark.parametrize(
    ("timeline", "sentence"),
    [
        (hung(minutes=20), "19 min"),
        (hung(drift_k_per_h=3.0), "drifts by +3.0 K/h"),
        (hung(supply=-6.0), "room a 6.3 K above supply"),
        (hung(unit_w=700.0), "a unit that draws 700 W"),
        (align((a_series(NOON_S + 60.0 * np.arange(90), np.full(90, 22.0)),)), "1 temperature sensors"),
    ],
)
def test_what_spoils_the_check_is_refused_in_words(timeline, sentence):
    with pytest.raises(NothingToReduce, match=re.escape(sentence)):
        whole(timeline)
