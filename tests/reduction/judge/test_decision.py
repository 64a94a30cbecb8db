"""The decision rule: what each of the three says of the same measurement, and which tolerance counts."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from reduction.align.intake import session_digest
from reduction.errors import InvalidSession
from reduction.judge.decision import Belief, decided, in_words, schemes, tolerance_by
from reduction.judge.verdict import verdicts
from reduction.session import DecisionRule, LogFile, Room, Session, UnitKind, UnitUnderTest
from tests.reduction.judge.test_rating import _capacity, _point, _unit

SIMPLE, GUARDED = DecisionRule(rule="simple_acceptance"), DecisionRule(rule="guard_band")


@pytest.mark.parametrize(("speed", "fined"), [(107.0, True), (106.0, None)])
def test_the_guides_speed_trap_decides_as_the_guide_does(speed: float, fined: bool | None) -> None:
    """JCGM 106:2012, 8.3.3 example: limit 100 km/h, u = 2 % of the reading, 99.9 %: from 107 km/h on. From memory."""
    rule = DecisionRule(probability=0.999)
    assert decided(Belief(speed, speed, 0.02 * speed), 100.0, rule) is fined


@given(st.floats(0.2, 2.0), st.floats(-6.0, 6.0))
def test_a_guard_band_is_a_probability_by_another_name(factor: float, distance: float) -> None:
    """A distance of r·U from the line is a conformance probability of Φ(2r) for a normal belief with U = 2u."""
    belief, sure = Belief(100.0 + distance, 100.0 + distance, 1.0), float(norm.cdf(2.0 * factor))
    by_band = decided(belief, 100.0, DecisionRule(rule="guard_band", guard_factor=factor))
    if abs(abs(distance) - 2.0 * factor) > 1e-6:
        assert by_band is decided(belief, 100.0, DecisionRule(probability=min(sure, 1.0 - 1e-12)))


def test_an_interval_decides_only_where_both_its_ends_do() -> None:
    wide = Belief(95.0, 105.0, 0.1)
    assert [decided(wide, line, SIMPLE) for line in (94.0, 100.0, 106.0)] == [True, None, False]


@pytest.mark.parametrize(
    ("btu_per_h", "default", "guarded", "simple"),
    [
        (8000.0, "meets", "meets", "meets"),
        (9000.0, "meets within tolerance", "cannot tell", "meets within tolerance"),
        (9400.0, "cannot tell", "cannot tell", "falls short"),
        (9600.0, "falls short", "cannot tell", "falls short"),
    ],
)
def test_each_rule_words_the_same_measurement_in_its_own_way(
    btu_per_h: float, default: str, guarded: str, simple: str
) -> None:
    found = [verdicts(_point(), _unit(_capacity(btu_per_h)), rule)[0] for rule in (DecisionRule(), GUARDED, SIMPLE)]
    assert [verdict.words for verdict in found] == [default, guarded, simple]
    assert len({verdict.measured for verdict in found}) == len({verdict.probability_meets for verdict in found}) == 1
    assert [verdict.rule for verdict in found] == [in_words(rule) for rule in (DecisionRule(), GUARDED, SIMPLE)]


def test_simple_acceptance_says_that_it_ignores_the_uncertainty_where_that_decides() -> None:
    near, clear = (verdicts(_point(), _unit(_capacity(claimed)), SIMPLE)[0] for claimed in (9400.0, 7000.0))
    assert near.because.endswith(
        "The line lies inside the uncertainty, which the session's rule leaves out of account."
    )
    assert "leaves out" not in clear.because


def test_the_tolerance_is_that_of_the_scheme_that_was_chosen() -> None:
    chosen = [DecisionRule(tolerance_from=name) for name in ("", "none", "EU market surveillance")]
    assert [tolerance_by(rule, UnitKind.MINI_SPLIT, "eer")[0] for rule in chosen] == [0.10, 0.0, 0.10]
    assert tolerance_by(chosen[2], UnitKind.WINDOW, "eer") == (
        0.0,
        "no tolerance: EU market surveillance states none for it",
    )
    strict = verdicts(_point(), _unit(_capacity(9000.0)), chosen[1])[0]
    assert (strict.words, strict.tolerance) == ("cannot tell", 0.0)


def test_an_unknown_scheme_is_refused_with_the_known_ones() -> None:
    with pytest.raises(InvalidSession, match=schemes()[0]):
        tolerance_by(DecisionRule(tolerance_from="my own"), UnitKind.WINDOW, "capacity")


def test_a_document_without_a_rule_is_written_and_hashed_as_before_there_were_any() -> None:
    unit = UnitUnderTest(model="Quellmar W8", kind=UnitKind.WINDOW)
    plain = Session(name="A", unit=unit, room=Room(volume_m3=30.0), files=(LogFile(path="a.csv"),))
    assert "decision" not in plain.model_dump(mode="json")
    assert plain.decision == DecisionRule()
    ruled = plain.model_copy(update={"decision": GUARDED})
    assert ruled.model_dump(mode="json")["decision"]["rule"] == "guard_band"
    assert session_digest(ruled) != session_digest(plain)
    assert Session.model_validate_json(ruled.model_dump_json()) == ruled
