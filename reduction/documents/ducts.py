"""A portable's ducts: what a tester states of them, and what they make of one window."""

from __future__ import annotations

from pydantic import Field

from reduction.documents.words import Document, NonNegative, Positive, Prose


class Ducts(Document):
    """What the federal procedure asks of a portable beside its capacity: moved air, warm surfaces, idle power.

    A flow is of the air at its own temperature in the duct; a surface is the duct's outer one, its temperature the mean
    along it over the test. A figure without its ± gets a usual one, which the result names.
    """

    exhaust_flow_m3_per_h: Positive | None = Field(None, description="Air that leaves through the exhaust duct")
    exhaust_flow_u95_m3_per_h: NonNegative | None = None
    exhaust_area_m2: Positive | None = Field(
        None, description="Outer surface of the exhaust duct, π × diameter × length"
    )
    exhaust_area_u95_m2: NonNegative | None = None
    exhaust_surface_temp_c: float | None = None
    exhaust_surface_u95_c: NonNegative | None = None
    intake_flow_m3_per_h: Positive | None = Field(None, description="Outdoor air that a second duct brings in")
    intake_flow_u95_m3_per_h: NonNegative | None = None
    intake_area_m2: Positive | None = None
    intake_area_u95_m2: NonNegative | None = None
    intake_surface_temp_c: float | None = None
    intake_surface_u95_c: NonNegative | None = None
    off_cycle_power_w: NonNegative | None = Field(None, description="Drawn at the set point, compressor stopped")
    off_cycle_power_u95_w: NonNegative | None = None


class DuctedPoint(Document):
    """A portable's machine by itself in one window: its net effect in the room with what its ducts cost put back.

    `added_w` holds what each stated figure's standard uncertainty makes of the capacity, with its sign; `capacity_u_w`
    is everything else.
    """

    capacity_w: float
    capacity_u_w: NonNegative
    added_w: dict[str, float]
    duct_heat_w: float
    drawn_in_w: float = Field(description="Sensible heat of the air that the exhaust draws into the room")
    latent_w: float = Field(description="Heat of what the coil condensed")
    power_w: float
    inlet_temp_c: float = Field(description="Air that the condenser breathes")
    inlet_temp_u_c: NonNegative
    exhaust_temp_c: float
    room_temp_c: float
    room_ratio: float = Field(description="Water in the room's air, kg/kg")
    pressure_pa: Positive
    stated: Ducts
    because: Prose
