"""Every chart: drawn, said in a sentence, equal to its table, in both systems of units."""

from __future__ import annotations

import html
import json
import re
from collections.abc import Iterator
from pathlib import Path

import altair as alt
import numpy as np
import pandas as pd
import pytest
from django.contrib.staticfiles import finders

from units import drawing
from units.charts import PICTURES, draw
from units.charts.picture import MOST_MARKS, MOST_SERIES
from units.picture import Drawn
from units.quantities import METRIC, Display

US = Display(temperature="F", power="Btu/h")


def frames(units: int = 5, points: int = 3) -> dict[str, pd.DataFrame]:
    """Make the frames of some invented units."""
    draws = np.random.default_rng(7)
    line = units_frame(draws, [f"Quellmar W{n}" for n in range(units)])
    shared = ["unit", "kind", "capacity", "capacity_u95", "capacity_kind", "eer", "eer_u95", "claimed_capacity"]
    point = line.loc[line.index.repeat(points), shared].reset_index(drop=True)
    point["room_temp_c"] = draws.uniform(24, 28, len(point))
    point["room_wet_bulb_c"] = point["room_temp_c"] - draws.uniform(5, 9, len(point))
    point["outdoor_temp_c"] = draws.uniform(22, 41, len(point))
    matrix = [(name, band, int(draws.integers(0, 3))) for name in line["unit"] for band in ("25–30", "33–37")]
    point = point.assign(point="A, 14 Jul 2026", limit="at full speed")
    fitted = with_lines(point)
    return {
        "units": line,
        "points": point,
        "outdoor": fitted,
        "room": fitted,
        "wet_bulb": fitted,
        "matrix": pd.DataFrame(matrix, columns=["unit", "band", "count"]),
        "steps": steps_frame(line["unit"]),
        "costs": costs_frame(line),
    }


def with_lines(point: pd.DataFrame) -> pd.DataFrame:
    """Return the points and after them a line of three places for each unit."""
    line = point.groupby("unit", sort=False).head(1).assign(what="fit", point="fit of 3 points", limit="")
    stops = [line.assign(outdoor_temp_c=outdoor, room_temp_c=26.0) for outdoor in (27.0, 33.0, 39.0)]
    return pd.concat([point.assign(what="measured"), *stops], ignore_index=True)


def units_frame(draws: np.random.Generator, names: list[str]) -> pd.DataFrame:
    capacity, count = draws.uniform(1800, 3600, len(names)), len(names)
    line = pd.DataFrame({"unit": names, "kind": draws.choice(["Window", "Mini-split"], count), "capacity": capacity})
    line = line.assign(
        capacity_u95=capacity * 0.04, capacity_kind=draws.choice(["total", "sensible"], count), eer_u95=0.4,
        eer=draws.uniform(8, 12, count), claimed_capacity=capacity * draws.uniform(0.95, 1.3, count), n_points=2,
        claimed_eer=draws.uniform(9, 12, count), claimed_sound=draws.uniform(44, 60, count), basis="corrected",
        capacity_tolerance=0.05, eer_tolerance=0.05, group="A",
    )  # fmt: skip
    line["ratio"] = line["capacity"] / line["claimed_capacity"]
    return line.assign(ratio_u95=line["capacity_u95"] / line["claimed_capacity"])


def costs_frame(line: pd.DataFrame) -> pd.DataFrame:
    cost = pd.Series(np.linspace(40.0, 60.0, len(line)))
    return line[["unit", "kind"]].assign(
        cost=cost, cost_u=5.0, low=cost - 5, high=cost + 5, energy_kwh=cost / 0.3, efficiency=10.5, efficiency_u95=1.0,
        unmet_kwh=0.0,
    )  # fmt: skip


def steps_frame(names: pd.Series) -> pd.DataFrame:
    steps = (
        ("Claim", 0, 2400.0, 2400.0, 2400.0, "claim"),
        ("Room humidity", 1, -80.0, 2400.0, 2320.0, "modelled"),
        ("Remainder", 2, -50.0, 2320.0, 2270.0, "remainder"),
    )
    columns = ["unit", "step", "position", "value_w", "start_w", "end_w", "kind"]
    frame = pd.DataFrame([(name, *step) for name in names for step in steps], columns=columns)
    return frame.assign(u95_w=30.0, because="Because.")


@pytest.fixture(params=sorted(PICTURES))
def drawn(request) -> Drawn:
    return draw(request.param, frames())


def marks(chart: alt.TopLevelMixin) -> list[dict]:
    """Return all rows that a chart is drawn from."""
    return [row for rows in chart.to_dict()["datasets"].values() for row in rows]


def test_a_chart_is_drawn_as_one_image_that_says_what_it_shows(drawn):
    svg = drawn.svg
    assert svg.count("<svg") == 1
    said = re.search(r'<svg role="img" aria-label="([^"]+)"', svg)[1]
    assert said.startswith(drawn.picture.title)
    assert said.endswith(".")
    assert len(said) > len(drawn.picture.title) + 20


def test_a_chart_follows_the_pages_colours_and_its_file_does_not(drawn):
    inline, file = drawn.svg, drawn.file("svg").decode()
    assert not set(re.findall(r'"(#[0-9a-f]{6})"', inline)) & drawing.INKS.keys()
    assert "var(--" in inline
    assert "var(--" not in file


def test_every_number_of_the_table_is_a_number_of_the_chart(drawn):
    rows = marks(drawn.chart)
    columns = drawn.picture.columns(METRIC)
    shown = [{key: row[key] for key in columns if key in row} for row in rows if set(columns) & row.keys()]
    for record in json.loads(drawn.data.to_json(orient="records")):
        wanted = {key: record[key] for key, column in columns.items() if not column.text}
        assert any(all(row.get(key) == pytest.approx(value) for key, value in wanted.items()) for row in shown)


def test_the_table_has_a_row_for_each_mark_and_a_cell_for_each_heading(drawn):
    assert len(drawn.table) == len(drawn.data)
    assert {len(row) for row in drawn.table} == {len(drawn.headings)}


def axes(spec: object) -> Iterator[dict]:
    """Yield every x and y encoding of a quantity, however deep."""
    if isinstance(spec, dict):
        for key, value in spec.items():
            if key in ("x", "y") and isinstance(value, dict) and value.get("type") == "quantitative":
                yield value
            else:
                yield from axes(value)
    elif isinstance(spec, list):
        for value in spec:
            yield from axes(value)


def test_every_axis_of_a_quantity_names_its_unit(drawn):
    found = [axis.get("title") or axis.get("axis", {}).get("title") for axis in axes(drawn.chart.to_dict())]
    titles = {title for title in found if title}
    assert titles or drawn.picture.name == "tested"
    assert all(re.search(r"\((in the currency of the price|W|°C|Btu/\(W·h\)|dB\(A\)|%)\)$", title) for title in titles)


@pytest.mark.parametrize("form", ["svg", "png", "csv", "json"])
def test_a_chart_is_handed_out_as_a_file(drawn, form):
    begins = {"svg": b"<svg", "png": b"\x89PNG", "csv": b"unit,", "json": b'{"spec"'}
    assert drawn.file(form).startswith(begins[form])


def test_a_name_that_a_spreadsheet_would_run_is_made_harmless_in_the_file():
    odd = frames(2, 1)
    for frame in odd.values():
        frame["unit"] = frame["unit"].replace({"Quellmar W0": "=1+1"})
    assert b"'=1+1" in draw("capacity-claimed", odd).file("csv")


def test_the_columns_of_the_file_name_their_units():
    heading = draw("capacity-outdoor", frames(), US).file("csv").decode().splitlines()[0]
    assert "outdoor_temp [°F],room_temp [°F],wet_bulb_temp [°F],value [Btu/h],u95 [Btu/h]" in heading


def test_what_was_measured_in_watts_is_drawn_in_btu_per_hour_for_who_asked():
    watts, btu = (draw("capacity-outdoor", frames(), display) for display in (METRIC, US))
    # 1 W = 3.412142 Btu/h; °F = 1.8 °C + 32, by definition of the scales
    assert btu.data["value"].to_numpy() == pytest.approx(watts.data["value"].to_numpy() * 3.412142, rel=1e-6)
    assert btu.data["u95"].to_numpy() == pytest.approx(watts.data["u95"].to_numpy() * 3.412142, rel=1e-6)
    assert btu.data["outdoor_temp"].to_numpy() == pytest.approx(watts.data["outdoor_temp"].to_numpy() * 1.8 + 32)
    assert "°F" in btu.says


def test_the_ratios_in_the_chart_are_measured_over_claimed():
    units = frames()["units"]
    chart = draw("ratio", frames()).data.set_index("unit")["ratio"]
    by_hand = (units.set_index("unit")["capacity"] / units.set_index("unit")["claimed_capacity"]).sort_values(
        ascending=False
    )
    pd.testing.assert_series_equal(chart, by_hand, check_names=False)


def test_a_sensible_figure_below_the_claim_is_not_said_to_fall_short_of_it():
    units = frames(4)["units"].assign(claimed_capacity=2000.0, capacity_u95=50.0)
    units = units.assign(capacity=[1800.0, 1800.0, 2010.0, 2200.0], capacity_kind=["total", *["sensible"] * 2, "total"])
    said = draw("capacity-claimed", frames() | {"units": units}).says
    assert said == (
        "Capacity: 1 unit measured below the claim beyond the uncertainty; 1 unit above the claim; "
        "2 units known by the sensible part only, a lower bound that is not above the claim."
    )


def test_the_tolerance_band_is_drawn_only_where_all_claims_share_one():
    shared = frames()
    mixed = frames()
    mixed["units"].loc[0, "capacity_tolerance"] = 0.1
    areas = [json.dumps(draw("capacity-claimed", data).chart.to_dict()).count('"area"') for data in (shared, mixed)]
    assert areas == [1, 0]


def test_few_units_have_a_colour_each_and_many_share_that_of_their_kind():
    assert draw("capacity-outdoor", frames(MOST_SERIES)).data["series"].nunique() == MOST_SERIES
    assert set(draw("capacity-outdoor", frames(MOST_SERIES + 1)).data["series"]) <= {"Window", "Mini-split"}


def test_series_differ_in_shape_as_well_as_in_colour():
    spec = draw("capacity-outdoor", frames(MOST_SERIES)).chart.to_dict()["layer"][-1]["encoding"]
    for channel in ("shape", "stroke"):
        assert len(set(spec[channel]["scale"]["range"])) == MOST_SERIES


def test_beyond_two_thousand_marks_means_are_drawn_and_shipped():
    many = draw("capacity-outdoor", frames(300, 20))
    assert len(many.data) < MOST_MARKS
    assert len(many.file("json")) < 200_000


def test_nothing_is_drawn_of_nothing():
    empty = {name: frame.iloc[:0] for name, frame in frames().items()}
    assert [draw(name, empty) for name in PICTURES] == [None] * len(PICTURES)


def test_one_point_alone_can_be_drawn():
    one = frames(1, 1)
    for name in PICTURES:
        chart = draw(name, one)
        assert chart is None or chart.svg.startswith("<svg")


def test_a_chart_is_drawn_once_for_the_same_content(monkeypatch):
    first = draw("ratio", frames(3)).svg
    monkeypatch.setattr(drawing, "inline", lambda *args, **kwargs: pytest.fail("drawn again"))
    assert draw("ratio", frames(3)).svg == first


def luminance(ink: str) -> float:
    """Return the relative luminance of a colour. WCAG 2.2, definition of relative luminance (from memory)."""
    parts = [int(ink[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def tokens(css: str, block: str) -> dict[str, str]:
    return dict(re.findall(r"(--[\w-]+): (#[0-9a-f]{6})", css[css.index(block) : css.index("}", css.index(block))]))


@pytest.mark.parametrize("block", [":root {", ':root[data-theme="dark"] {'])
def test_every_series_stands_out_from_the_ground_in_light_and_in_dark(block):
    """WCAG 2.2, 1.4.11: graphics 3 : 1."""
    colours = tokens(Path(finders.find("units/ledger.css")).read_text(encoding="utf-8"), block)
    ground = luminance(colours["--sheet"])
    for n in range(1, 9):
        ink = luminance(colours[f"--series-{n}"])
        assert (max(ink, ground) + 0.05) / (min(ink, ground) + 0.05) >= 3.0


def test_the_marks_of_a_picture_say_which_row_unit_and_point_they_stand_for():
    drawn = draw("capacity-outdoor", frames(2, 3))
    found = set(re.findall(r'data-row="(\d+)" data-unit="([^"]+)" data-point="([^"]+)"', drawn.svg))
    measured = [(str(n), row["unit"], row["point"]) for n, row in enumerate(drawn.rows) if "fit" not in row["point"]]
    assert found == set(measured)
    assert "aria-label" not in drawn.svg.split(">", 1)[1]


def test_a_fitted_line_and_its_band_are_of_a_unit_and_of_no_single_point():
    drawn = draw("capacity-outdoor", frames(2, 3))
    assert len(re.findall(r'<path data-unit="[^"]+" d=', drawn.svg)) == 4  # two units: a band and a line each


def test_a_name_that_looks_like_markup_stays_a_name():
    odd = frames(2, 3)
    name = '"><script>1|2</script>'
    for frame in odd.values():
        frame["unit"] = frame["unit"].replace({"Quellmar W0": name})
    assert "<script" not in draw("capacity-outdoor", odd).svg
    assert f'data-unit="{html.escape(name)}"' in draw("capacity-outdoor", odd).svg


def test_a_picture_handed_out_as_a_file_carries_no_marks_for_a_script():
    assert "data-unit" not in draw("ratio", frames()).file("svg").decode()


def test_what_stands_for_a_unit_fades_in_the_browser_while_another_is_singled_out(drawn):
    spec = json.loads(drawn.file("json"))["spec"]
    tests = [each["encoding"]["opacity"]["condition"]["test"] for each in leaves(spec) if "opacity" in each["encoding"]]
    assert set(tests) == {drawing.SINGLED_OUT}
    assert {"single", "by"} <= {param["name"] for param in spec["params"]}
    assert all("description" not in each["encoding"] for each in leaves(spec))


def leaves(spec: object) -> Iterator[dict]:
    """Yield every single view with its encodings, however deep."""
    if isinstance(spec, dict):
        if "encoding" in spec:
            yield spec
        yield from (leaf for value in spec.values() for leaf in leaves(value))
    elif isinstance(spec, list):
        yield from (leaf for value in spec for leaf in leaves(value))
