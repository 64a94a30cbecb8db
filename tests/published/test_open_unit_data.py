"""Charts against an open table of rated units: imported as claims and points, summed up again by pandas alone.

Source: `hplib_database.csv` of the package hplib 1.9 (MIT), made by its authors from the public Heat Pump Keymark data:
rated cooling capacity, power and sound, and a fitted line of cooling capacity over outdoor temperature. Its units
cool water and no room; as figures that others published they serve all the same.
"""

from __future__ import annotations

import re
from importlib.metadata import files

import pandas as pd
import pytest
from django.contrib.auth.models import AnonymousUser
from django.urls import reverse

from tests import builders
from units import shelf
from units.charts import draw
from units.compare.catalogue import Asked, catalogue_page
from units.compare.comparison import compare
from units.models import Unit
from units.picture import Drawn

pytestmark = pytest.mark.django_db

OUTDOOR_C = (25.0, 30.0, 35.0)
WATER_C = 7.0
BTU_PER_WH = 3.412142  # 1 W·h in Btu; NIST SP 811, appendix B.8 (from memory)
U95 = 0.05  # of each point, ours: the source states none


def source() -> pd.DataFrame:
    """Return the rows of the table that rate cooling, each with its line's values at the outdoor temperatures."""
    (path,) = (file for file in files("hplib") or () if file.name == "hplib_database.csv")
    rows = pd.read_csv(path.locate()).dropna(subset=["P_th_c_ref [W]", "p1_Pdc [1/°C]"]).reset_index(drop=True)
    for outdoor in OUTDOOR_C:
        line = (
            rows["p1_Pdc [1/°C]"] * outdoor + rows["p2_Pdc [1/°C]"] * WATER_C + rows["p3_Pdc [-]"]
            + rows["p4_Pdc [1/°C]"] * outdoor
        )  # fmt: skip
        rows[f"at {outdoor:g}"] = line * rows["P_th_c_ref [W]"]
    rows["name"] = [f"U{n:02}" for n in rows.index]  # whose they are does not matter here
    return rows


@pytest.fixture
def table(bench, tester) -> pd.DataFrame:
    """Import the table through the page a reviewer imports by, and publish its line's values as points."""
    rows = source()
    listed = pd.DataFrame(
        {
            "maker": "Source", "model": rows["name"], "kind": "mini_split", "refrigerant": rows["Refrigerant"],
            "capacity [W]": rows["P_th_c_ref [W]"], "sound [dB(A)]": rows["SPL outdoor [dBA]"],
            "eer [Btu/(W·h)]": rows["P_th_c_ref [W]"] / rows["P_el_c_ref [W]"] * BTU_PER_WH,
        }
    ).assign(condition="ISO 5151 T1")  # fmt: skip
    answer = tester.post(reverse("units-import"), {"text": listed.to_csv(index=False), "keep": "1"})
    assert answer.status_code == 302
    units = {unit.model: unit for unit in Unit.objects.all()}
    for row in rows.to_dict("records"):
        for outdoor in OUTDOOR_C:
            capacity = row[f"at {outdoor:g}"]
            builders.a_published_point(
                unit=units[row["name"]], label=f"{outdoor:g}", outdoor_temp_c=outdoor, room_temp_c=27.0,
                capacity_w=capacity, capacity_u95_w=U95 * capacity, capacity_kind="total",
                eer_btu_per_wh=capacity / row["P_el_c_ref [W]"] * BTU_PER_WH, eer_u95=0.3,
            )  # fmt: skip
    shelf.refresh(units.values())
    return rows


def drawn(name: str) -> Drawn:
    """Return a chart of all units, as a visitor is shown it."""
    found = draw(name, compare(AnonymousUser(), Unit.objects.values_list("pk", flat=True)).frames)
    assert found is not None
    return found


def test_the_table_is_as_long_as_it_was_when_this_was_written():
    assert len(source()) > 25


def test_measured_against_claimed(table):
    chart = drawn("capacity-claimed")
    rated, measured = table["P_th_c_ref [W]"], table["at 35"]
    assert chart.data["claimed"].sum() == pytest.approx(rated.sum())
    assert chart.data["measured"].describe().to_dict() == pytest.approx(measured.describe().to_dict())
    below = int((measured * (1 + U95) < rated).sum())
    above = int((measured * (1 - U95) > rated).sum())
    counted = dict.fromkeys(("below", "holds", "above"), 0) | {
        word: int(count) for count, word in re.findall(r"(\d+) units? .*?(below|holds|above)", chart.says)
    }
    assert counted == {"below": below, "holds": len(table) - below - above, "above": above}


def test_share_of_the_claim_in_order(table):
    by_pandas = (table["at 35"] / table["P_th_c_ref [W]"]).sort_values(ascending=False)
    assert drawn("ratio").data["ratio"].to_list() == pytest.approx(by_pandas.to_list())


def test_the_catalogue_puts_the_units_in_the_same_order_by_share(table):
    listed = [entry.ratio for entry in catalogue_page(AnonymousUser(), Asked((), {}, "ratio", 1)).entries]
    by_pandas = (table["at 35"] / table["P_th_c_ref [W]"]).sort_values(ascending=False)
    assert listed == pytest.approx(by_pandas.head(len(listed)).to_list())


def test_efficiency_against_claimed_and_against_load(table):
    claimed = table["P_th_c_ref [W]"] / table["P_el_c_ref [W]"] * BTU_PER_WH
    assert drawn("eer-claimed").data["claimed"].mean() == pytest.approx(claimed.mean())
    load = pd.concat([table[f"at {outdoor:g}"] / table["P_th_c_ref [W]"] for outdoor in OUTDOOR_C])
    assert drawn("eer-load").data["load"].describe().to_dict() == pytest.approx(load.describe().to_dict())


def test_capacity_against_outdoor_temperature(table):
    data = drawn("capacity-outdoor").data
    means = data[data["what"] == "measured"].groupby("outdoor_temp")["value"].mean()
    assert means.to_dict() == pytest.approx({outdoor: table[f"at {outdoor:g}"].mean() for outdoor in OUTDOOR_C})


def test_sound_against_capacity(table):
    loud = table.dropna(subset=["SPL outdoor [dBA]"])
    data = drawn("sound").data
    assert data["sound"].to_list() == loud["SPL outdoor [dBA]"].to_list()
    assert data["capacity"].to_list() == pytest.approx(loud["at 35"].to_list())


def test_which_units_were_tested_where(table):
    cells = drawn("tested").data.groupby("band")["count"].sum()
    assert cells.to_dict() == {"< 25": 0, "25–30": len(table), "30–33": len(table), "33–37": len(table), "≥ 37": 0}
