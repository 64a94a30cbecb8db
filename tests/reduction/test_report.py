"""The table a person reads: units, sensible digits, uncertainties."""

from __future__ import annotations

import re
from datetime import UTC, datetime

import pytest

from reduction.judge.point import point_of, reduce_balance
from reduction.report import report
from reduction.session import FileDigest, Finding, Point, Result, Room, Settings, Severity, WindowResult
from tests.reduction.bench_room import a_balance, a_timeline
from tests.reduction.signals import NOON_S


def a_point(**changes: object) -> Point:
    start, end = (datetime.fromtimestamp(NOON_S + s, UTC) for s in (0, 7200))
    window = WindowResult(label="afternoon", start=start, end=end, proposed=False, steady=True)
    return point_of(reduce_balance(a_balance(**changes), Settings(monte_carlo_draws=0)), window)  # type: ignore[arg-type]


def a_result(*points: Point, findings: tuple[Finding, ...] = (), synthetic: bool = False) -> Result:
    files = (FileDigest(path="log.csv", sha256="ab" * 32, bytes=12_345),)
    return Result(
        method_version="1.0", session_name="bench", synthetic=synthetic, session_sha256="cd" * 32,
        files=files, channels=(), points=points, findings=findings,
    )  # fmt: skip


def test_capacity_is_shown_in_both_units_and_no_finer_than_it_is_known() -> None:
    (line,) = [row for row in report(a_result(a_point())).splitlines() if "Cooling capacity" in row]
    w, w_u, btu, btu_u = (float(x.replace(",", "")) for x in re.findall(r"[\d,]+(?:\.\d+)?", line.split(")", 1)[1]))
    assert w == pytest.approx(2660.0, abs=30.0)
    assert btu == pytest.approx(w * 3.412, abs=btu_u)
    assert w % 10 == 0
    assert w_u % 10 == 0


def test_the_balance_shows_every_term_with_its_sign() -> None:
    point = a_point()
    table = report(a_result(point))
    for term in point.terms:
        assert f"{term.value_w:+9.1f}".replace("-", "−") in table


def test_an_unusable_point_says_so_before_its_figures() -> None:
    lines = report(a_result(a_point(timeline=a_timeline(without=("outside",))))).splitlines()
    said = next(i for i, line in enumerate(lines) if "NOT USABLE" in line)
    assert said < next(i for i, line in enumerate(lines) if "Cooling capacity" in line)


def test_a_point_without_power_says_that_its_efficiency_is_not_known() -> None:
    table = report(a_result(a_point(timeline=a_timeline(without=("unit",)))))
    assert "not known: no usable power" in table
    assert "EER" not in table


def test_findings_stand_with_the_worst_first() -> None:
    note, severe = (
        Finding(code=s.value, severity=s, sentence=f"A {s.value}.") for s in (Severity.NOTE, Severity.SEVERE)
    )
    table = report(a_result(findings=(note, severe)))
    assert table.index("SEVERE: A severe.") < table.index("note: A note.")


def test_synthetic_data_is_labelled_and_digests_are_shown() -> None:
    table = report(a_result(synthetic=True))
    assert "Synthetic data" in table
    assert "ab" * 32 in table
    assert "12,345 bytes" in table


def test_the_budget_sums_up_what_it_does_not_list() -> None:
    table = report(a_result(a_point(room=Room(volume_m3=30.0))))
    assert re.search(r"\d+ smaller ones", table)
