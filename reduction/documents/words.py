"""Words of the trade, and the base of every document: frozen, and an unknown field is an error."""

from __future__ import annotations

from datetime import UTC, datetime
from enum import StrEnum
from typing import Annotated

from pydantic import AfterValidator, AwareDatetime, BaseModel, ConfigDict, Field

from reduction.ground.rounding import true_minus

Prose = Annotated[str, AfterValidator(true_minus)]
"""A sentence a person reads: its negative numbers carry a minus sign, not a hyphen."""


def _in_utc(instant: datetime) -> datetime:
    try:
        instant.astimezone(UTC)
    except OverflowError as fault:
        raise ValueError("an instant lies within the years 1 to 9999 in UTC too") from fault
    return instant


Instant = Annotated[AwareDatetime, AfterValidator(_in_utc)]
NonNegative = Annotated[float, Field(ge=0)]
Positive = Annotated[float, Field(gt=0)]


class Document(BaseModel):
    """Base of every model here: frozen, and an unknown field is an error."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class Role(StrEnum):
    """What a channel measures in the test."""

    UNIT_POWER = "unit_power"
    UNIT_ENERGY = "unit_energy"
    HEATER_CONSTANT_POWER = "heater_constant_power"
    HEATER_CYCLING_POWER = "heater_cycling_power"
    HEATER_ENERGY = "heater_energy"
    OTHER_POWER = "other_power"
    OTHER_ENERGY = "other_energy"
    ROOM_TEMP = "room_temp"
    ROOM_RH = "room_rh"
    ROOM_WET_BULB = "room_wet_bulb"
    SUPPLY_TEMP = "supply_temp"
    SUPPLY_RH = "supply_rh"
    RETURN_TEMP = "return_temp"
    RETURN_RH = "return_rh"
    CONDENSER_INLET_TEMP = "condenser_inlet_temp"
    CONDENSER_OUTLET_TEMP = "condenser_outlet_temp"
    OUTDOOR_TEMP = "outdoor_temp"
    OUTDOOR_RH = "outdoor_rh"
    ADJACENT_TEMP = "adjacent_temp"
    ADJACENT_RH = "adjacent_rh"
    MAKEUP_AIR_TEMP = "makeup_air_temp"
    SURFACE_TEMP = "surface_temp"
    CONDENSATE_MASS = "condensate_mass"
    WATER_SUPPLY_MASS = "water_supply_mass"
    AIR_FLOW = "air_flow"
    SOLAR_IRRADIANCE = "solar_irradiance"
    SOUND_LEVEL = "sound_level"
    VOLTAGE = "voltage"
    RELAY_STATE = "relay_state"
    IGNORED = "ignored"


class SampleKind(StrEnum):
    """What one row of a channel stands for."""

    INSTANT = "instant"
    HELD = "held"
    INTERVAL_MEAN = "interval_mean"
    COUNTER = "counter"
    TOTAL = "total"
    STATE = "state"


class UnitKind(StrEnum):
    """How the air conditioner is built."""

    WINDOW = "window"
    THROUGH_WALL = "through_wall"
    SINGLE_DUCT_PORTABLE = "single_duct_portable"
    DUAL_DUCT_PORTABLE = "dual_duct_portable"
    MINI_SPLIT = "mini_split"


class Compressor(StrEnum):
    """How the compressor is driven."""

    FIXED_SPEED = "fixed_speed"
    VARIABLE_SPEED = "variable_speed"
    UNKNOWN = "unknown"


class HeaterKind(StrEnum):
    """How a heater gives its heat to the room, which sets its radiant share."""

    FAN_FORCED = "fan_forced"
    CONVECTOR = "convector"
    RADIANT = "radiant"
    OIL_FILLED = "oil_filled"
    UNKNOWN = "unknown"


class Distribution(StrEnum):
    """Of a limit given without one: rectangular unless the maker says otherwise (JCGM 100, 4.3.7)."""

    RECTANGULAR = "rectangular"
    TRIANGULAR = "triangular"
    NORMAL_95 = "normal_95"
