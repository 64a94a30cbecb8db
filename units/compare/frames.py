"""From units and points to the tables that charts read; SI, one meaning a column."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING, Any

import pandas as pd

from units.compare.words import band_short
from units.pooled import BANDS, headline
from units.quantities import METRIC, Display

if TYPE_CHECKING:
    from units.compare.points import UnitRow

POINT_COLUMNS = [
    "unit", "kind", "point", "capacity", "capacity_u95", "capacity_kind", "eer", "eer_u95", "room_temp_c",
    "room_wet_bulb_c", "outdoor_temp_c", "limit", "claimed_capacity",
]  # fmt: skip
MAYBE_EMPTY = ("eer", "eer_u95", "room_temp_c", "room_wet_bulb_c", "outdoor_temp_c", "claimed_capacity")
STEP_COLUMNS = ["unit", "step", "position", "value_w", "u95_w", "start_w", "end_w", "kind", "because"]
U95_PER_U = 2.0  # the steps' standard uncertainties at 95 %, many degrees of freedom: JCGM 100, G.6.6


def names(rows: list[UnitRow]) -> dict[Any, str]:
    """Return a name for each unit that no other of them has: two samples of a model are numbered."""
    repeated = Counter(str(row.unit) for row in rows)
    seen: Counter[str] = Counter()
    found = {}
    for row in rows:
        name = str(row.unit)
        seen[name] += 1
        found[row.unit.pk] = f"{name} (sample {seen[name]})" if repeated[name] > 1 else name
    return found


def points_frame(rows: list[UnitRow]) -> pd.DataFrame:
    """Return one row a point, as tested."""
    named = names(rows)
    kinds = {row.unit.pk: row.unit.get_kind_display() for row in rows}
    return pd.DataFrame(
        [
            {
                "unit": named[row.unit.pk],
                "kind": kinds[row.unit.pk],
                "point": point.title,
                "capacity": point.capacity_w,
                "capacity_u95": point.capacity_u95_w,
                "capacity_kind": point.capacity_kind,
                "eer": point.eer_btu_per_wh,
                "eer_u95": point.eer_u95,
                "room_temp_c": point.room_temp_c,
                "room_wet_bulb_c": point.room_wet_bulb_c,
                "outdoor_temp_c": point.outdoor_temp_c,
                "limit": point.limit,
                "claimed_capacity": row.claimed("capacity"),
            }
            for row in rows
            for point in row.points
        ],
        columns=POINT_COLUMNS,
    ).astype(dict.fromkeys(MAYBE_EMPTY, float))


def matrix_frame(rows: list[UnitRow], display: Display = METRIC) -> pd.DataFrame:
    """Return one row a unit and band: how many points there are, none included."""
    named = names(rows)
    cells = [
        {"unit": named[row.unit.pk], "band": band_short(band.key, display), "count": counts[band.key]}
        for row in rows
        for counts in [Counter(point.band for point in row.points)]
        for band in BANDS
    ]
    return pd.DataFrame(cells, columns=["unit", "band", "count"])


def steps_frame(rows: list[UnitRow]) -> pd.DataFrame:
    """Return the steps from claim to measurement of each unit's headline point, each from where the last one ended."""
    named = names(rows)
    found = []
    for row in rows:
        point = headline(row.points, row.rating)
        steps = (point.detail.get("shortfall") or []) if point else []
        at = 0.0
        for position, step in enumerate(steps):
            end = step["value_w"] if step["kind"] == "claim" else at + step["value_w"]
            found.append(
                {
                    "unit": named[row.unit.pk],
                    "step": step["name"],
                    "position": position,
                    "value_w": step["value_w"],
                    "u95_w": step["u_w"] * U95_PER_U,
                    "start_w": end if step["kind"] == "claim" else at,
                    "end_w": end,
                    "kind": step["kind"],
                    "because": step["because"],
                }
            )
            at = end
    return pd.DataFrame(found, columns=STEP_COLUMNS)
