"""The room as a tester knows it: its envelope, what follows its air, and the slow mass behind."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from reduction.documents.words import Document, NonNegative, Positive


def _nothing(value: tuple[float, ...]) -> bool:
    return not value


class Surface(Document):
    """Part of the room's envelope: a conductance to one neighbour."""

    to: str = Field(description="`outdoor`, or the `place` of a channel with role adjacent_temp (any name)")
    ua_w_per_k: NonNegative
    u95_w_per_k: NonNegative
    correlation: tuple[Annotated[float, Field(ge=-1, le=1)], ...] = Field(
        (),
        description="With the surfaces before it in the list, where one run told them together; empty: none",
        exclude_if=_nothing,
    )


class SlowMass(Document):
    """Walls and furniture behind the room's fast store, where a characterisation found them."""

    conductance_w_per_k: Positive = Field(description="Between the room's fast store and the slow mass")
    conductance_u95_w_per_k: NonNegative
    capacity_j_per_k: Positive
    capacity_u95_j_per_k: NonNegative


class Room(Document):
    """The room as the tester knows it; what is missing gets a stated default band and a finding."""

    name: str = ""
    volume_m3: Positive
    floor_m2: Positive | None = None
    construction: Literal["very_light", "light", "medium", "heavy", "unknown"] = "unknown"
    surfaces: tuple[Surface, ...] = ()
    c_eff_j_per_k: Positive | None = None
    c_eff_u95_j_per_k: NonNegative | None = None
    slow_mass: SlowMass | None = None
    surfaces_include_infiltration: bool = True
    infiltration_m3_per_h: NonNegative | None = None
    infiltration_u95_m3_per_h: NonNegative | None = None
    infiltration_from: str = "outdoor"
    found_by: str = Field("", description="Co-heating run, off run, decay, estimate; with its date")
