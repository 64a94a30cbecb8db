"""Every chart's numbers, its table's and its file's, against pandas by hand on the rows in the database."""

from __future__ import annotations

import html
import io
import re

import numpy as np
import pandas as pd
import pytest
from django.contrib.auth.models import AnonymousUser
from django.urls import reverse

from reduction.season.seasonal import published_bins
from tests import builders
from units.charts import PICTURES, draw
from units.compare.comparison import compare
from units.models import Claim, PublishedPoint, Unit
from units.picture import Drawn
from units.quantities import number, with_uncertainty

pytestmark = pytest.mark.django_db

CLAIMED_W, CLAIMED_EER = 2344.57, 10.9
TESTED = ((27.0, 26.6, 2390.0, 11.9), (35.0, 26.7, 2280.0, 10.8), (35.2, 26.8, 2300.0, 10.7), (40.0, 26.6, 2140.0, 9.6))


@pytest.fixture
def rows(bench) -> pd.DataFrame:
    """Publish four points of each of three units; return them as pandas reads them from the database."""
    for n in range(3):
        unit = builders.a_unit(bench=bench, model=f"W{n}")
        unit.claims.all().delete()
        stated = {"room_temp_c": 26.67, "room_wet_bulb_c": 19.44, "outdoor_temp_c": 35.0}
        for quantity, value in (("capacity", CLAIMED_W), ("eer", CLAIMED_EER), ("sound", 48.0 + n)):
            Claim.objects.create(unit=unit, quantity=quantity, value=value, quantity_unit="W", value_si=value, **stated)
        for k, (outdoor, room, capacity, eer) in enumerate(TESTED):
            builders.a_published_point(
                unit=unit, label=f"run {k}", outdoor_temp_c=outdoor, room_temp_c=room, room_wet_bulb_c=19.0 + k / 4,
                room_rh_percent=50.0, capacity_w=capacity * (1 - 0.1 * n), capacity_u95_w=60.0 + 10 * k, eer_u95=0.4,
                power_w=capacity / eer * 3.412142, eer_btu_per_wh=eer, capacity_kind="total", detail=detail(n, k),
            )  # fmt: skip
    found = pd.DataFrame(PublishedPoint.objects.values())
    return found.merge(pd.DataFrame(Unit.objects.values("id", "model")), left_on="unit_id", right_on="id")


def detail(n: int, k: int) -> dict:
    """Return a point's way from claim to measurement; that of run 1, the best known at the claim, is to be shown."""
    steps = (("Claim", "claim", CLAIMED_W), ("Humidity", "modelled", -20.0 - k), ("Remainder", "remainder", -30.0 * n))
    return {"shortfall": [{"name": name, "kind": kind, "value_w": value, "u_w": 15.0, "because": "So."}
                          for name, kind, value in steps]}  # fmt: skip


def drawn(name: str) -> Drawn:
    found = draw(name, compare(AnonymousUser(), Unit.objects.order_by("model").values_list("pk", flat=True)).frames)
    assert found is not None
    return found


def pooled(rows: pd.DataFrame, value: str, u95: str) -> pd.DataFrame:
    """Return the mean of the runs at the claim's condition, weighted by the inverse of each variance, by unit."""
    near = rows[(rows["outdoor_temp_c"] - 35.0).abs() < 1.5].assign(weight=lambda near: 1 / (near[u95] / 2) ** 2)
    sums = near.assign(weighted=near["weight"] * near[value]).groupby("model")[["weight", "weighted"]].sum()
    return pd.DataFrame({"value": sums["weighted"] / sums["weight"], "u95": 2 / np.sqrt(sums["weight"])})


@pytest.mark.parametrize(
    ("chart", "quantity", "claimed"),
    [("capacity-claimed", "capacity_w", CLAIMED_W), ("eer-claimed", "eer_btu_per_wh", CLAIMED_EER)],
)
def test_measured_against_claimed(rows, chart, quantity, claimed):
    by_hand = pooled(rows, quantity, {"capacity_w": "capacity_u95_w", "eer_btu_per_wh": "eer_u95"}[quantity])
    data = drawn(chart).data
    assert data["measured"].to_list() == pytest.approx(by_hand["value"].to_list())
    assert data["u95"].to_list() == pytest.approx(by_hand["u95"].to_list())
    assert data["claimed"].to_list() == [claimed] * 3


def test_share_of_the_claim(rows):
    by_hand = (pooled(rows, "capacity_w", "capacity_u95_w") / CLAIMED_W).sort_values("value", ascending=False)
    data = drawn("ratio").data
    assert data["ratio"].to_list() == pytest.approx(by_hand["value"].to_list())
    assert data["ratio_u95"].to_list() == pytest.approx(by_hand["u95"].to_list())
    assert data["group"].to_list() == ["A", "B", "C"]  # 10 % apart, each known to 2 %


@pytest.mark.parametrize("place", ["outdoor", "room", "wet-bulb"])
@pytest.mark.parametrize(("quantity", "column"), [("capacity", "capacity_w"), ("eer", "eer_btu_per_wh")])
def test_against_a_condition(rows, quantity, place, column):
    data = drawn(f"{quantity}-{place}").data
    measured = data[data["what"] == "measured"]
    where = {"outdoor": "outdoor_temp_c", "room": "room_temp_c", "wet-bulb": "room_wet_bulb_c"}[place]
    ordered = rows.sort_values(["model", "label"])
    assert measured["value"].to_list() == pytest.approx(ordered[column].to_list())
    assert measured[f"{place.replace('-', '_')}_temp"].to_list() == pytest.approx(ordered[where].to_list())


def test_against_load(rows):
    ordered = rows.sort_values(["model", "label"])
    data = drawn("eer-load").data
    assert data["load"].to_list() == pytest.approx((ordered["capacity_w"] / CLAIMED_W).to_list())
    assert data["value"].to_list() == pytest.approx(ordered["eer_btu_per_wh"].to_list())


def test_tested_where(rows):
    names = ["< 25", "25–30", "30–33", "33–37", "≥ 37"]
    bands = pd.cut(rows["outdoor_temp_c"], [-np.inf, 25, 30, 33, 37, np.inf], right=False, labels=names)
    by_hand = rows.groupby(["model", bands], observed=False).size()
    data = drawn("tested").data
    assert data["count"].to_list() == by_hand.to_list()
    assert data["band"].to_list() == names * 3


def test_from_the_claim_to_the_measurement(rows):
    head = rows[rows["label"] == "run 1"].sort_values("model")
    steps = pd.concat([pd.DataFrame(each["shortfall"]).assign(model=model)
                       for model, each in zip(head["model"], head["detail"], strict=True)])  # fmt: skip
    data = drawn("shortfall").data
    assert data["value"].to_list() == pytest.approx(steps["value_w"].to_list())
    assert data["end"].to_list() == pytest.approx(steps.groupby("model")["value_w"].cumsum().to_list())
    assert data["u95"].to_list() == pytest.approx((2 * steps["u_w"]).to_list())


def test_sound(rows):
    data = drawn("sound").data
    assert data["sound"].to_list() == [48.0, 49.0, 50.0]
    assert data["capacity"].to_list() == pytest.approx(pooled(rows, "capacity_w", "capacity_u95_w")["value"].to_list())


def test_cost_of_a_season(rows):
    """Bins, load line and price by hand; how capacity and power run between the tested temperatures is the line's."""
    bins = published_bins("eu_cooling")
    hours = bins.hours / bins.hours.sum() * 1000.0
    load = np.clip((bins.outdoor_temp_c - 20.0) / (35.0 - 20.0), 0.0, None) * 2000.0  # nothing at 20 °C: ISO 16358-1
    data = drawn("cost").data.set_index("unit")
    assert (data["cost"] / data["energy_kwh"]).to_list() == pytest.approx([0.30] * 3)
    met = load @ hours / 1000.0 - data["unmet_kwh"]
    assert data["efficiency"].to_list() == pytest.approx((3.412142 * met / data["energy_kwh"]).to_list())
    assert (data["low"] < data["cost"]).all()
    assert (data["cost"] < data["high"]).all()


def body(page: str) -> list[list[str]]:
    """Return the cells of the one table on a page, row by row."""
    (rows,) = re.findall(r"<tbody>(.*?)</tbody>", page, re.DOTALL)
    lines = re.findall(r"<tr.*?</tr>", rows, re.DOTALL)
    return [[html.unescape(cell) for cell in re.findall(r"<t[hd][^>]*>(.*?)</t[hd]>", line)] for line in lines]


@pytest.mark.parametrize("name", sorted(PICTURES))
def test_page_table_and_file_hold_the_charts_numbers(rows, visitor, name):
    chart = drawn(name)
    query = "&".join(f"unit={key}" for key in Unit.objects.order_by("model").values_list("pk", flat=True))
    file = pd.read_csv(io.BytesIO(visitor.get(f"{reverse('chart', args=[name, 'csv'])}?{query}").content))
    shown = body(visitor.get(f"{reverse('chart', args=[name, 'html'])}?{query}").text)
    for place, (key, column) in enumerate(chart.picture.columns(chart.display).items()):
        cells = [row[place] for row in shown]
        if column.text:
            assert cells == chart.data[key].fillna("").astype(str).to_list()
            continue
        name = f"{key} [{column.unit}]" if column.unit else key
        assert file[name].to_numpy() == pytest.approx(chart.data[key].to_numpy(dtype=float), rel=1e-5)
        written = [
            f"{number(row[key], column.decimals)} {column.unit}".rstrip() if column.decimals is not None
            else with_uncertainty(row[key], row[column.u95] if column.u95 else None, column.unit)
            for row in chart.data.to_dict("records")
        ]  # fmt: skip
        assert [" ".join(cell.split()) for cell in cells] == [" ".join(cell.split()) for cell in written]
