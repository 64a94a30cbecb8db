"""An open table of rated machines through import, catalogue, comparison and charts, against plain pandas on the table.

Source: `hplib_database.csv` of the Python package hplib 1.9 (MIT licence), made from the public certificates of the
European heat pump certification; its rows with a cooling rating: capacity and power at 35 °C outdoors, sound level,
and a regression of each machine's certified points, whose mean absolute error is given. Those are air-to-water
machines: the figures serve here as numbers from outside, not as room air conditioners. Claims are the ratings, points
are the regression at the rating condition with twice its mean error as U. Makers and models stay in the package: they
are numbered before anything is kept.
"""

from __future__ import annotations

import importlib.metadata
import io

import numpy as np
import pandas as pd
import pytest
from django.test import Client

from tests import builders
from units import shelf
from units.models import Claim, Unit

pytestmark = pytest.mark.django_db
BTU_PER_H_PER_W = 3.412142  # Btu/(W·h), 1 / 0.293071, common conversion table
PLACES = 6e-6  # the import keeps six significant digits of a cell; a CSV of a chart writes as many


@pytest.fixture(scope="module")
def source() -> pd.DataFrame:
    """Return the rows with a cooling rating, makers and models by number, with each machine's modelled point."""
    (path,) = [file.locate() for file in importlib.metadata.files("hplib") or () if file.name == "hplib_database.csv"]
    table = pd.read_csv(path)
    table = table[table["P_th_c_ref [W]"].notna()].reset_index(drop=True)
    outdoor, water = 35.0, 7.0

    def modelled(quantity: str, unit: str) -> pd.Series:
        terms = [table[f"p{n}_{quantity} [{'-' if n == 3 or quantity == 'EER' else unit}]"] for n in range(1, 5)]
        return terms[0] * outdoor + terms[1] * water + terms[2] + terms[3] * outdoor

    power = modelled("P_el_c", "1/°C") * table["P_el_c_ref [W]"]
    return pd.DataFrame(
        {
            "maker": "Maker " + (pd.factorize(table["Manufacturer"])[0] + 1).astype(str),
            "model": [f"M{n:02}" for n in range(len(table))],
            "claimed_w": table["P_th_c_ref [W]"].astype(float),
            "claimed_eer": (table["P_th_c_ref [W]"] / table["P_el_c_ref [W]"] * BTU_PER_H_PER_W).round(3),
            "sound": table["SPL indoor [dBA]"],
            "capacity_w": modelled("EER", "") * power,
            "power_w": power,
            "eer": modelled("EER", "") * BTU_PER_H_PER_W,
            "u95_w": 2.0 * table["MAPE_Pdc"] / 100.0 * table["P_th_c_ref [W]"],
        }
    )


@pytest.fixture
def units(source: pd.DataFrame, tester: Client) -> list[Unit]:
    """Import the claims as a list through the page, and publish each machine's point."""
    listed = source[["maker", "model"]].assign(
        **{"kind": "mini_split", "capacity [W]": source["claimed_w"], "EER [Btu/(W·h)]": source["claimed_eer"],
           "sound [dB(A)]": source["sound"]}
    )  # fmt: skip
    answer = tester.post("/units/import/", {"text": listed.to_csv(index=False), "keep": "1"})
    assert answer.status_code == 302, answer.text
    kept = list(Unit.objects.order_by("model"))
    for unit, row in zip(kept, source.itertuples(), strict=True):
        builders.a_published_point(
            unit=unit, capacity_w=row.capacity_w, capacity_u95_w=row.u95_w, capacity_kind="total", room_temp_c=27.0,
            outdoor_temp_c=35.0, power_w=row.power_w, eer_btu_per_wh=row.eer, eer_u95=0.05 * row.eer,
        )  # fmt: skip
    shelf.refresh(kept)
    return kept


def chart_of(visitor: Client, name: str, units: list[Unit]) -> pd.DataFrame:
    answer = visitor.get(f"/charts/{name}.csv?" + "&".join(f"unit={unit.pk}" for unit in units))
    frame = pd.read_csv(io.StringIO(answer.text))
    return frame.assign(model=frame["unit"].str.extract(r"(M\d\d)$")[0]).set_index("model").sort_index()


def test_the_table_is_what_it_is_taken_for(source: pd.DataFrame) -> None:
    """Guards the check itself: a table that changed its meaning would make the others empty."""
    assert len(source) == 37
    assert (source["capacity_w"] / source["claimed_w"]).median() == pytest.approx(1.0, abs=0.1)
    assert source["claimed_eer"].between(8.0, 15.0).all()


def test_imported_claims_add_up_to_the_tables(source: pd.DataFrame, units: list[Unit]) -> None:
    kept = pd.DataFrame(Claim.objects.values("quantity", "value_si")).groupby("quantity")["value_si"]
    for quantity, column in (("capacity", "claimed_w"), ("eer", "claimed_eer"), ("sound", "sound")):
        assert kept.count()[quantity] == source[column].count()
        assert kept.sum()[quantity] == pytest.approx(source[column].sum(), rel=PLACES)


def test_the_chart_of_measured_against_claimed_holds_the_tables_figures(
    source: pd.DataFrame, units: list[Unit], visitor: Client
) -> None:
    drawn = chart_of(visitor, "capacity-claimed", units)
    plain = source.set_index("model").assign(high=source.set_index("model").eval("capacity_w + u95_w"))
    for ours, theirs in (("measured", "capacity_w"), ("claimed", "claimed_w"), ("high", "high")):
        np.testing.assert_allclose(drawn[ours], plain[theirs], rtol=PLACES)
    answer = visitor.get("/charts/capacity-claimed.html?" + "&".join(f"unit={unit.pk}" for unit in units))
    below = int((plain["capacity_w"] + plain["u95_w"] < plain["claimed_w"]).sum())
    above = int((plain["capacity_w"] - plain["u95_w"] > plain["claimed_w"]).sum())
    for count, words in ((below, "measured below the claim"), (len(plain) - below - above, "whose interval holds")):
        if count:
            assert f"{count} unit{'' if count == 1 else 's'} {words}" in answer.text


def test_the_ranking_is_the_tables_by_ratio(source: pd.DataFrame, units: list[Unit], visitor: Client) -> None:
    drawn = chart_of(visitor, "ratio", units)
    plain = source.set_index("model")
    ratio = plain["capacity_w"] / plain["claimed_w"]
    np.testing.assert_allclose(drawn["ratio"], ratio, rtol=PLACES)
    np.testing.assert_allclose(drawn["u95"], plain["u95_w"] / plain["claimed_w"], rtol=PLACES)
    for letter, group in drawn.groupby("group"):
        worst, lower = group["ratio"].min(), drawn.loc[drawn["group"] > letter, "ratio"]
        assert (lower < worst).all(), "a group stands wholly above the next"


def test_the_chart_of_sound_holds_the_tables_levels(source: pd.DataFrame, units: list[Unit], visitor: Client) -> None:
    drawn = chart_of(visitor, "sound", units)
    plain = source.set_index("model")
    plain = plain[plain["sound"].notna()]
    assert (drawn["sound"].min(), drawn["sound"].max()) == (plain["sound"].min(), plain["sound"].max())
    assert drawn["sound"].mean() == pytest.approx(plain["sound"].mean(), rel=PLACES)


def test_the_catalogue_sorts_and_counts_as_pandas_does(
    source: pd.DataFrame, units: list[Unit], visitor: Client
) -> None:
    plain = source.assign(ratio=source["capacity_w"] / source["claimed_w"])
    answer = visitor.get("/?sort=ratio&capacity=5300-").text
    top = plain[plain["claimed_w"] >= 5300.0].sort_values("ratio", ascending=False)
    assert f"<strong>{len(top)}</strong> units match" in answer
    shown = pd.Series(answer).str.findall(r'">(Maker \d+ M\d\d)</a>')[0]
    ratios = plain.set_index(plain["maker"] + " " + plain["model"])["ratio"]
    np.testing.assert_allclose(ratios[shown], top["ratio"].head(25))


def test_what_programs_read_has_the_tables_medians(source: pd.DataFrame, units: list[Unit], visitor: Client) -> None:
    read = pd.DataFrame(visitor.get("/api/published-units/?page_size=500").json()["results"])
    assert read["capacity_w"].median() == pytest.approx(source["capacity_w"].median(), rel=PLACES)
    assert read["ratio"].quantile(0.9) == pytest.approx(
        (source["capacity_w"] / source["claimed_w"]).quantile(0.9), rel=PLACES
    )
