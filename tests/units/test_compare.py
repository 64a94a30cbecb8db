"""Units side by side: what is read, what is pooled, what is told apart, what is never filled in."""

from __future__ import annotations

from datetime import timedelta

import numpy as np
import pandas as pd
import pytest
from django.contrib.auth.models import AnonymousUser
from django.urls import reverse

from reduction import session as doc
from tests import builders
from units import shelf
from units.compare.comparison import compare
from units.compare.points import public_detail, units_with_points
from units.models import CatalogueEntry, PooledRow
from units.pooled import BASES

pytestmark = pytest.mark.django_db

RATED = {"room_temp_c": doc.Measured(value=26.7, u=0.1), "outdoor_temp_c": doc.Measured(value=35.0, u=0.1)}


def at(outdoor: float, room: float = 26.7) -> dict[str, doc.Measured]:
    return {"room_temp_c": doc.Measured(value=room, u=0.1), "outdoor_temp_c": doc.Measured(value=outdoor, u=0.1)}


def budget(*lines: tuple[str | None, float]) -> tuple[doc.Component, ...]:
    return tuple(
        doc.Component(
            name="plug", value=1.0, quantity_unit="W", u=w, sensitivity=1.0, contribution_w=w, share=0.5, shared_key=key
        )
        for key, w in lines
    )


@pytest.fixture
def unit(bench):
    return builders.a_unit(bench=bench)


def line_of(person, *units, **kwargs):
    frame = compare(person, [unit.pk for unit in units], **kwargs).units_frame
    return frame.set_index("unit")


def test_a_visitor_compares_published_points_only(bench, unit, visitor):
    builders.a_point(unit=unit, capacity_w=2100.0)
    builders.a_published_point(unit=unit, capacity_w=2300.0)
    (row,) = units_with_points(AnonymousUser(), [unit.pk])
    assert [point.capacity_w for point in row.points] == [2300.0]


def test_a_person_of_the_bench_compares_the_standing_points_and_none_twice(unit, reader):
    session = builders.a_session(bench=unit.bench, unit=unit)
    first = builders.a_reduction(session=session, points=(builders.a_result_point(capacity_w=2000.0),))
    builders.a_reduction(session=session, points=(builders.a_result_point(capacity_w=2100.0),), supersedes=first)
    builders.a_published_point(unit=unit, capacity_w=2000.0)
    (row,) = units_with_points(reader.person, [unit.pk])
    assert [point.capacity_w for point in row.points] == [2100.0]


def test_a_unit_that_is_not_readable_is_left_out_without_a_word(unit, stranger):
    builders.a_point(unit=unit)
    assert compare(stranger.person, [unit.pk]).rows == ()


def test_unusable_points_are_not_compared(unit, reader):
    builders.a_point(unit=unit, usable=False)
    assert compare(reader.person, [unit.pk]).units_frame.empty


def test_two_repeats_pool_by_what_each_knows(unit, reader):
    for capacity, u in ((2300.0, 30.0), (2360.0, 60.0)):
        builders.a_point(
            unit=unit, capacity_w=capacity, capacity_u95_w=2 * u, capacity_kind="total", budget=budget((None, u))
        )
    line = line_of(reader.person, unit).iloc[0]
    # inverse-variance weights 4:1, worked by hand
    assert line.capacity == pytest.approx(2312.0)
    assert line.capacity_u95 == pytest.approx(2 / np.sqrt(1 / 30**2 + 1 / 60**2))
    assert line.n_points == 2


def test_repeats_that_disagree_widen_the_figure_and_say_so(unit, reader):
    for capacity in (2000.0, 2400.0):
        builders.a_point(unit=unit, capacity_w=capacity, capacity_u95_w=60.0, capacity_kind="total")
    line = line_of(reader.person, unit).iloc[0]
    assert line.capacity_u95 == pytest.approx(400.0)  # Birge: half the spread is one u of the mean of two
    assert "repeats differ by more than they know" in line.basis


def test_an_error_that_two_units_share_does_not_blur_their_difference(bench, reader):
    """One plug measured both: 50 W in common, 5 W of each one's own; 40 W apart is sure."""
    units = [builders.a_unit(bench=bench, model=name) for name in ("A", "B")]
    for unit, capacity in zip(units, (2340.0, 2300.0), strict=True):
        builders.a_point(
            unit=unit, capacity_w=capacity, capacity_u95_w=2 * np.hypot(50, 5), capacity_kind="total",
            budget=budget(("instrument:plug", 50.0), (None, 5.0)),
        )  # fmt: skip
    assert list(line_of(reader.person, *units)["group"]) == ["A", "B"]


def test_without_a_shared_error_the_same_units_stand_in_one_group(bench, reader):
    units = [builders.a_unit(bench=bench, model=name) for name in ("A", "B")]
    for unit, capacity in zip(units, (2340.0, 2300.0), strict=True):
        builders.a_point(
            unit=unit, capacity_w=capacity, capacity_u95_w=100.5, capacity_kind="total", budget=budget((None, 50.25))
        )
    assert list(line_of(reader.person, *units)["group"]) == ["A", "A"]


def test_plugs_of_one_name_on_two_benches_are_two_plugs(bench, reader):
    other = builders.a_bench()
    builders.Membership.objects.create(bench=other, person=reader.person, role="reader")
    units = [builders.a_unit(bench=bench, model="A"), builders.a_unit(bench=other, model="B")]
    for unit, capacity in zip(units, (2340.0, 2300.0), strict=True):
        builders.a_point(
            unit=unit, capacity_w=capacity, capacity_u95_w=100.5, capacity_kind="total",
            budget=budget(("instrument:plug", 50.0), (None, 5.0)),
        )  # fmt: skip
    assert list(line_of(reader.person, *units)["group"]) == ["A", "A"]


def test_a_sensible_figure_is_shown_against_the_claim_but_never_put_in_order(bench, reader):
    units = [builders.a_unit(bench=bench, model=name) for name in "ABC"]
    for unit, kind in zip(units, ("total", "total", "sensible"), strict=True):
        builders.a_point(unit=unit, capacity_kind=kind)
    lines = line_of(reader.person, *units)
    assert lines["ratio"].notna().all()
    assert list(lines["group"].isna()) == [False, False, True]


def test_total_and_sensible_repeats_are_not_pooled(unit, reader):
    builders.a_point(unit=unit, capacity_w=2300.0, capacity_kind="total")
    builders.a_point(unit=unit, capacity_w=1700.0, capacity_kind="sensible")
    line = line_of(reader.person, unit).iloc[0]
    assert (line.capacity, line.capacity_kind, line.n_points) == (2300.0, "total", 1)


def test_a_point_the_unit_held_back_in_does_not_stand_against_the_claim(unit, reader):
    builders.a_point(unit=unit, capacity_w=1200.0, limit=doc.Limit(verdict="reduced speed", because="Power is low."))
    assert compare(reader.person, [unit.pk]).units_frame.empty


def test_a_point_away_from_the_claims_condition_is_not_compared_with_it(unit, reader):
    builders.a_point(unit=unit, conditions=at(28.0))
    comparison = compare(reader.person, [unit.pk])
    assert comparison.units_frame.empty
    assert comparison.without_figure == list(comparison.rows)
    band = line_of(reader.person, unit, at="25-30").iloc[0]
    assert band.capacity == 2300.0
    assert np.isnan(band.ratio)
    assert np.isnan(band.claimed_capacity)


def test_a_corrected_figure_says_so_and_carries_the_corrections_uncertainty(unit, reader):
    rated = doc.RatingCorrection(
        condition="US room unit test 1 (95 °F outdoors)", capacity_w=2200.0, capacity_u95_w=180.0, power_w=700.0,
        power_u95_w=20.0, eer_btu_per_wh=10.7, eer_u95=0.9, factor=0.96, model_u95_fraction=0.07, how="published maps",
    )  # fmt: skip
    builders.a_point(unit=unit, conditions=at(31.0), ratings=(rated,))
    line = line_of(reader.person, unit).iloc[0]
    assert (line.capacity, line.capacity_u95, line.eer_u95) == pytest.approx((2200.0, 180.0, 0.9))
    assert line.basis == "corrected to US room unit test 1 (95 °F outdoors)"


def test_what_a_correction_leaves_open_does_not_average_out_over_points_brought_by_the_same_maps(unit, reader):
    """Each knows 30 W of its own and the maps leave 80 W open: of four, 15 W and still 80 W. JCGM 100, F.1.2.3."""
    for day in range(4):
        rated = doc.RatingCorrection(
            condition="US room unit test 1 (95 °F outdoors)", capacity_w=2200.0, capacity_u95_w=2 * np.hypot(30, 80),
            power_w=700.0, power_u95_w=20.0, eer_btu_per_wh=10.7, eer_u95=0.9, factor=1.0, model_u95_fraction=0.07,
            how="published maps",
        )  # fmt: skip
        noon = builders.NOON + timedelta(days=day)
        builders.a_point(
            unit=unit, conditions=at(31.0), ratings=(rated,), capacity_w=2200.0, capacity_u95_w=60.0, start=noon,
            end=noon + timedelta(hours=1), capacity_kind="total", budget=budget((None, 30.0)),
        )  # fmt: skip
    line = line_of(reader.person, unit).iloc[0]
    assert line.n_points == 4
    assert line.capacity_u95 == pytest.approx(2 * np.hypot(15, 80))


def test_the_matrix_counts_the_points_of_each_band_and_fills_in_none(bench, reader):
    units = [builders.a_unit(bench=bench, model=name) for name in "AB"]
    for outdoor in (24.9, 25.0, 35.0):
        builders.a_point(unit=units[0], conditions=at(outdoor))
    cells = (
        compare(reader.person, [unit.pk for unit in units])
        .frames["matrix"]
        .pivot(index="unit", columns="band", values="count")
    )
    assert cells.loc["Quellmar A"].to_dict() == {"< 25": 1, "25–30": 1, "30–33": 0, "33–37": 1, "≥ 37": 0}
    assert cells.loc["Quellmar B"].sum() == 0


def test_all_units_that_a_filter_leaves_can_be_compared(bench, visitor):
    for model, kind in (("A", "window"), ("B", "window"), ("C", "mini_split")):
        builders.a_published_point(unit=(unit := builders.a_unit(bench=bench, model=model, kind=kind)))
        shelf.refresh([unit])
    text = visitor.get(reverse("compare") + "?kind=window").text
    assert [model in text for model in ("Quellmar A", "Quellmar B", "Quellmar C")] == [True, True, False]


def test_a_set_of_units_is_kept_compared_again_and_forgotten(bench, tester, reader):
    units = [builders.a_unit(bench=bench, model=model) for model in "AB"]
    tester.post(reverse("collection-keep"), {"name": "Small ones", "unit": [unit.pk for unit in units]})
    kept = bench.collections.get()
    assert set(kept.units.all()) == set(units)
    assert "2 units side by side" in reader.get(reverse("collection", args=[kept.pk]), follow=True).text
    tester.post(reverse("collection-drop", args=[kept.pk]))
    assert not bench.collections.exists()


def test_a_set_holds_no_unit_that_the_person_may_not_read(bench, tester):
    other = builders.a_unit(bench=builders.a_bench())
    tester.post(reverse("collection-keep"), {"name": "All", "unit": [other.pk, builders.a_unit(bench=bench).pk]})
    assert other not in bench.collections.get().units.all()


def test_two_samples_of_a_model_keep_apart_by_name(bench, reader):
    units = [builders.a_unit(bench=bench, model="W9") for _ in range(2)]
    for unit in units:
        builders.a_point(unit=unit, capacity_kind="total")
    assert list(line_of(reader.person, *units).index) == ["Quellmar W9 (sample 1)", "Quellmar W9 (sample 2)"]


def test_what_is_published_of_a_point_names_no_instrument_and_no_place(unit):
    point = builders.a_result_point(budget=budget(("instrument:plug 3 serial 8842", 30.0)))
    public = str(public_detail(point.model_dump(mode="json")))
    assert "8842" not in public
    assert "plug 3" not in public


def test_a_comparison_reads_from_the_shelf_what_it_would_work_out(bench, reader):
    """Shared and own errors, corrections, part load, several bands: kept figures and groups are the same numbers."""
    rated = doc.RatingCorrection(
        condition="elsewhere", capacity_w=2200.0, capacity_u95_w=180.0, power_w=700.0, power_u95_w=20.0,
        eer_btu_per_wh=10.7, eer_u95=0.9, factor=0.96, model_u95_fraction=0.07, how="published maps",
    )  # fmt: skip
    units = [builders.a_unit(bench=bench, model=name) for name in "ABC"]
    for n, unit in enumerate(units):
        for m, outdoor in enumerate((35.0, 34.6, 31.0, 28.0)):
            builders.a_point(
                unit=unit, conditions=at(outdoor), capacity_kind="total", capacity_w=2300.0 - 60 * n + 7 * m,
                ratings=(rated,) if outdoor == 31.0 else (), budget=budget(("plug", 20.0 + m), (f"own {n}", 9.0)),
                start=builders.NOON + timedelta(days=m), end=builders.NOON + timedelta(days=m, hours=1),
            )  # fmt: skip
    keys = [unit.pk for unit in units]
    for basis in BASES:
        worked_out = compare(reader.person, keys, basis)
        assert all(row.entry is None for row in worked_out.rows)
        shelf.refresh(units)
        kept = compare(reader.person, keys, basis)
        assert all(row.entry is not None for row in kept.rows)
        pd.testing.assert_frame_equal(kept.units_frame, worked_out.units_frame, check_exact=True)
        assert (kept.capacity.covariance == worked_out.capacity.covariance).all()
        CatalogueEntry.objects.all().delete()


def test_a_row_that_older_code_pooled_is_not_read(unit, reader):
    builders.a_point(unit=unit, capacity_w=2300.0, capacity_kind="total")
    shelf.refresh([unit])
    CatalogueEntry.objects.update(pooling=0)
    PooledRow.objects.update(capacity_w=1.0)
    assert line_of(reader.person, unit).iloc[0].capacity == 2300.0


def with_many(bench, count):
    units = [builders.a_unit(bench=bench) for _ in range(count)]
    for unit in units:
        builders.a_point(
            unit=unit, start=builders.NOON + timedelta(days=1), end=builders.NOON + timedelta(days=1, hours=1)
        )
        builders.a_published_point(unit=unit)
    shelf.refresh(units)
    return units


@pytest.mark.parametrize("who", ["visitor", "reader"])
@pytest.mark.parametrize("page", ["catalogue", "compare"])
def test_a_page_asks_the_database_as_often_for_nine_units_as_for_two(
    request, who, page, bench, django_assert_max_num_queries
):
    client = request.getfixturevalue(who)
    counts = []
    for count in (2, 7):
        units = with_many(bench, count)
        address = reverse(page) + "?" + "&".join(f"unit={unit.pk}" for unit in units)
        with django_assert_max_num_queries(10) as captured:
            assert client.get(address).status_code == 200
        counts.append(len(captured))
    assert counts[0] == counts[1]
