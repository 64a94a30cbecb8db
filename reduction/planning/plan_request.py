"""What a tester asks of a plan, and what the plan answers."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from reduction.documents.room import Room
from reduction.documents.stated import Condition, Instrument, UnitUnderTest
from reduction.documents.words import Document, HeaterKind, NonNegative, Positive
from reduction.planning.circuits import Circuit, CircuitUse

PLAN_FORMAT = "cooling-ledger-plan/1"
LONGEST_WINDOW_S = 86_400.0  # a day: nothing holds still for longer


class Equipment(Document):
    """What is measured with; the limits are those of `Instrument`."""

    heater_meter: Instrument = Instrument(
        id="heater plugs", quantity="power", offset_limit=1.0, gain_limit=0.015, resolution=1.0
    )
    unit_meter: Instrument = Instrument(
        id="unit's plug", quantity="power", offset_limit=1.0, gain_limit=0.015, resolution=1.0
    )
    thermometer: Instrument = Instrument(id="thermometers", quantity="temperature", offset_limit=0.3, resolution=0.1)
    room_sensors: Annotated[int, Field(ge=1, le=20)] = 2
    placement_u_c: NonNegative = 0.2
    logs_supply_and_return: bool = True
    heater_kind: HeaterKind = HeaterKind.FAN_FORCED


class PlanRequest(Document):
    """A test to be planned: unit, room, target conditions, circuits and equipment."""

    unit: UnitUnderTest
    room: Room
    targets: Annotated[tuple[Condition, ...], Field(max_length=6)] = Field(
        (), description="Room and outdoor conditions wanted; empty: the claim's own. Rooms without a wet bulb stay dry"
    )
    adjacent_temp_c: float | None = Field(None, description="Of the rooms around; unknown: that of the first target")
    start_room_temp_c: float | None = Field(None, description="Before the test; unknown: as the rooms around")
    outdoor_drift_k_per_h: Annotated[float, Field(ge=0, le=10)] = Field(
        0.0, description="By how much outdoors will change in an hour"
    )
    circuits: Annotated[tuple[Circuit, ...], Field(min_length=1, max_length=20)] = (Circuit(name="one 15 A circuit"),)
    other_loads_w: NonNegative = 60.0
    people: Annotated[int, Field(ge=0, le=20)] = 0
    window_s: Annotated[float, Field(gt=0, le=LONGEST_WINDOW_S)] = 3600.0
    wanted_u95_w: Positive | None = None
    equipment: Equipment = Equipment()


class BudgetLine(Document):
    """What one cause is expected to contribute. [W]"""

    name: str
    u_w: NonNegative
    share: float


class Improvement(Document):
    """What one change would buy: U95 with it."""

    what: str
    capacity_u95_w: NonNegative
    saves_w: float


class WindowForecast(Document):
    """Expected U95 of capacity and EER for one length of window."""

    window_s: Positive
    capacity_u95_w: NonNegative
    eer_u95: NonNegative


class Freezing(Document):
    """How near to freezing the coil is expected to come, and whether the rated capacity can show."""

    coil_temp_c: tuple[float, float]
    near_freezing: bool
    can_show_rated_capacity: bool
    most_w: float
    because: str


class Caution(Document):
    """A caution at the step where it matters."""

    step: str
    caution: str
    source: str


class TargetPlan(Document):
    """The plan for one condition."""

    condition: Condition
    capacity_w: float
    power_w: float
    envelope_gain_w: float
    heat_w: float = Field(description="To install: expected heat and a margin for a unit better than claimed")
    constant_w: float
    switched_w: float
    switched_duty: float
    water_kg_per_h: float = Field(description="To give to the room for its humidity to hold; 0 in a dry room")
    freezing: Freezing
    circuits: tuple[CircuitUse, ...]
    circuits_needed: int
    fits_circuits: bool
    circuits_because: str
    time_constant_s: float
    time_to_steady_s: float
    time_to_steady_range_s: tuple[float, float] = Field(description="In a lighter and a heavier room, four in five")
    mass_release_w: float = Field(description="What walls and furniture are expected to give still when steady")
    windows: tuple[WindowForecast, ...]
    window_s: Positive
    capacity_u95_w: NonNegative
    eer_u95: NonNegative
    wanted_reached: bool | None
    budget: tuple[BudgetLine, ...]
    improvements: tuple[Improvement, ...]


class Plan(Document):
    """A plan: conditions in the order that takes the fewest hours, each with its loads, times and expected U95."""

    targets: tuple[TargetPlan, ...]
    hours: float
    cautions: tuple[Caution, ...]
    assumptions: tuple[str, ...]
