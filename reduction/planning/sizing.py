"""The consumer sizing table and the heat of people: the trade's rules beside a measured output."""

from __future__ import annotations

from typing import Literal

from reduction.ground.tables import table

SUN = {"shaded": 0.9, "ordinary": 1.0, "sunny": 1.1}  # −10 % shaded, +10 % sunny: the table's own notes
PER_EXTRA_PERSON_BTU_PER_H = 600.0  # beyond two: the table's own note
KITCHEN_BTU_PER_H = 4000.0  # the table's note as quoted by a public reference page


def room_size_btu_per_h(
    floor_ft2: float,
    *,
    sun: Literal["shaded", "ordinary", "sunny"] = "ordinary",
    people: int = 2,
    kitchen: bool = False,
) -> float:
    """Return the capacity the consumer table gives a room; a floor on a boundary takes the larger unit.

    Raises
    ------
    ValueError
        If the floor lies outside the table.

    References
    ----------
    `data/sizing.csv`.

    Examples
    --------
    >>> room_size_btu_per_h(300), room_size_btu_per_h(200, sun="sunny", people=3)
    (8000.0, 7200.0)
    """
    rows = table("sizing")
    row = next((r for r in rows if float(r["from_ft2"]) <= floor_ft2 < float(r["below_ft2"])), None)
    if row is None:
        raise ValueError(f"{floor_ft2:g} ft²: the table covers {rows[0]['from_ft2']} to {rows[-1]['below_ft2']} ft²")
    extra = PER_EXTRA_PERSON_BTU_PER_H * max(0, people - 2) + KITCHEN_BTU_PER_H * kitchen
    return round(float(row["btu_per_h"]) * SUN[sun] + extra, 6)


def people_heat_w(count: int, activity: str = "seated, very light work") -> tuple[float, float]:
    """Return sensible and latent heat [W] of people in a room.

    Raises
    ------
    ValueError
        If the activity is not in the table.

    References
    ----------
    ASHRAE Handbook Fundamentals ch. 18 Table 1, as `data/heat_of_people.csv` has it.

    Examples
    --------
    >>> people_heat_w(2)
    (140.0, 90.0)
    """
    rows = {row["activity"]: row for row in table("heat_of_people")}
    if activity not in rows:
        raise ValueError(f"activity {activity}: expected one of " + ", ".join(rows))
    row = rows[activity]
    return count * float(row["sensible_w"]), count * float(row["latent_w"])
