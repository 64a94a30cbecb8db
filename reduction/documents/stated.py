"""The session document: one test of one unit in one room, as a tester states it.

Everything is SI unless a field says otherwise; a `u95` is an expanded uncertainty (95 %), a `u` a standard
uncertainty, a `limit` the half-width of a rectangular distribution.
"""

from __future__ import annotations

from datetime import date
from typing import Annotated, Literal

from pydantic import Field, model_validator

from reduction.documents.decision import DecisionRule
from reduction.documents.ducts import Ducts
from reduction.documents.room import Room
from reduction.documents.words import (
    Compressor,
    Distribution,
    Document,
    HeaterKind,
    Instant,
    NonNegative,
    Positive,
    Role,
    SampleKind,
    UnitKind,
)

SESSION_FORMAT = "cooling-ledger-session/1"


class Condition(Document):
    """The condition a figure is stated at or was measured at."""

    name: str = ""
    room_temp_c: float | None = None
    room_wet_bulb_c: float | None = None
    outdoor_temp_c: float | None = None
    outdoor_wet_bulb_c: float | None = None


class Claim(Document):
    """A figure the maker states for the model."""

    quantity: Literal[
        "capacity", "power", "eer", "cop", "ceer", "seer", "sacc",
        "sound", "air_flow", "current", "moisture_removal"
    ]  # fmt: skip
    value: Positive
    quantity_unit: str = Field(description="As stated: W, Btu/h, Btu/(W·h), W/W, dB(A), m³/h, cfm, A, L/h …")
    condition: Condition | None = None
    basis: str = Field("", description="The procedure it is stated by, and whether net of duct and infiltration")
    stated_in: str = Field("", description="Where: nameplate, leaflet, data sheet, with its date")


class UnitUnderTest(Document):
    """The air conditioner: one physical sample of a model."""

    maker: str = ""
    model: str
    kind: UnitKind
    compressor: Compressor = Compressor.UNKNOWN
    refrigerant: str = ""
    claims: tuple[Claim, ...] = ()
    claimed_air_flow_m3_per_h: Positive | None = None
    measured_air_flow_m3_per_h: Positive | None = None
    measured_air_flow_u95_m3_per_h: NonNegative | None = None
    bypass_factor: tuple[float, float] = (0.05, 0.30)
    ducts: Ducts = Field(Ducts(), exclude_if=Ducts().__eq__, description="Of a portable; what its SACC asks")

    @model_validator(mode="after")
    def _bypass_factors_are_a_band(self) -> UnitUnderTest:
        low, high = self.bypass_factor
        if not 0.0 <= low <= high < 1.0:
            raise ValueError("two bypass factors, 0 ≤ low ≤ high < 1")
        return self


class Instrument(Document):
    """A sensor, plug or logger channel with what its maker or a calibration says."""

    id: str
    model: str = ""
    quantity: str = Field("", description="temperature, humidity, power, energy, mass, …")
    offset_limit: NonNegative = Field(0.0, description="In the SI unit of the quantity (K, %, W, kg)")
    gain_limit: NonNegative = Field(0.0, description="As a fraction of the reading")
    resolution: NonNegative = Field(0.0, description="Step of the display, in the SI unit of the quantity")
    distribution: Distribution = Distribution.RECTANGULAR
    noise: NonNegative = 0.0
    time_constant_s: NonNegative = 0.0
    offset_correction: float = Field(0.0, description="Known error (reading − true), subtracted from readings")
    offset_correction_u: NonNegative | None = Field(
        None, description="Standard uncertainty of the correction; replaces offset_limit where given"
    )
    gain_correction: float = Field(1.0, description="Known gain, readings are divided by it")
    gain_correction_u: NonNegative | None = None
    calibrated_on: date | None = None
    calibration_due: date | None = None


class Profile(Document):
    """How to read a file; every field left out is detected, shown and can be overruled here."""

    encoding: str | None = None
    delimiter: str | None = None
    decimal: Literal[".", ","] | None = None
    time_zone: str | None = Field(None, description="IANA name or fixed offset, for stamps without one")
    date_order: Literal["year_first", "day_first", "month_first"] | None = None
    time_column: str | None = None
    name_column: str | None = None
    value_column: str | None = None
    stamp: Literal["instant", "interval_start", "interval_end"] | None = None
    start_utc: Instant | None = Field(None, description="For files that count elapsed seconds")
    declared_date: date | None = Field(None, description="For files that hold times of day only")
    sheet: str | None = None
    units: dict[str, str] = Field({}, description="Unit of a column whose heading states none or a wrong one")


class ClockCorrection(Document):
    """A correction of one file's clock: true = logged + offset + drift × (logged − reference)."""

    offset_s: float = 0.0
    offset_u_s: NonNegative = 0.0
    drift_ppm: float = 0.0
    reference_utc: Instant | None = None
    reason: str = ""


class LogFile(Document):
    """One uploaded file of a session."""

    path: str = Field(description="Relative to the session document")
    sha256: str | None = None
    profile: Profile = Profile()
    clock: ClockCorrection = ClockCorrection()


class Channel(Document):
    """One column or one logged name, as the tester confirmed it."""

    file: str = Field(description="Path of the file, as in `files`")
    column: str = Field(description="Heading of the column, or the logged name of an event log")
    role: Role
    quantity_unit: str | None = Field(
        None, description="As logged: °C, °F, W, kW, Wh, kWh, %, g, …; overrules the file"
    )
    kind: SampleKind | None = None
    instrument: str | None = Field(None, description="An id in `instruments`")
    place: str = Field("", description="Where it hangs; for adjacent_temp the name a surface refers to")
    placement_u_c: NonNegative = Field(0.0, description="Standard uncertainty of what the place stands for")
    heater_kind: HeaterKind | None = None
    is_difference: bool = False
    stale_after_s: Positive | None = None


class FixedLoad(Document):
    """A steady electric load in the room that has no log of its own."""

    what: str
    power_w: NonNegative
    u95_w: NonNegative


class People(Document):
    """People in the room while it was measured."""

    count: NonNegative
    sensible_w_each: NonNegative = 70.0
    latent_w_each: NonNegative = 45.0
    u95_w_each: NonNegative = 30.0
    start_utc: Instant | None = None
    end_utc: Instant | None = None


class Solar(Document):
    """Sun that entered the room, as declared by the tester."""

    power_w: NonNegative
    u95_w: NonNegative
    start_utc: Instant | None = None
    end_utc: Instant | None = None


class Weighing(Document):
    """Water weighed by hand over a time: what the unit condensed or what was given to the room."""

    what: Literal["condensate", "water_supply"]
    mass_kg: NonNegative
    u95_kg: NonNegative
    start_utc: Instant
    end_utc: Instant


class Moisture(Document):
    """What is known about water in the room."""

    condensate_leaves_room: bool = Field(False, description="False: it drains to a vessel in the room or outdoors cold")
    water_supply_temp_c: float | None = None
    condensate_temp_c: float | None = None
    humidifier: Literal["none", "evaporative", "ultrasonic", "boiling"] = "none"
    condensate_on_condenser: bool | None = Field(None, description="Thrown there by a slinger: the bucket reads low")
    weighings: tuple[Weighing, ...] = ()


class Event(Document):
    """Something that happened, with its instant or span."""

    time_utc: Instant
    end_utc: Instant | None = None
    what: str
    kind: Literal["note", "door", "sun", "fan", "frost", "set_point", "heater", "exclude"] = "note"


class Window(Document):
    """A time span that is averaged, chosen by the tester."""

    label: str = ""
    start_utc: Instant
    end_utc: Instant
    reason: str = Field("", description="Why, where the window is not steady by the limits")
    snap_to_cycles: bool = True

    @model_validator(mode="after")
    def _ends_after_start(self) -> Window:
        if self.end_utc <= self.start_utc:
            raise ValueError("a window must end after it starts")
        return self


class Settings(Document):
    """Choices of the reduction that are not facts of the test."""

    grid_s: Positive = 10.0
    stale_after_s: Positive = 900.0
    min_window_s: Positive = 1800.0
    pressure_pa: Positive | None = None
    altitude_m: float = 0.0
    set_room_temp_c: float | None = None
    fan_step: str = ""
    monte_carlo_draws: Annotated[int, Field(ge=0, le=1_000_000)] = 10_000
    seed: int = 1
    rating_conditions: tuple[str, ...] = Field((), description="Names of data/rating_conditions.csv; empty: by kind")


class Session(Document):
    """SESSION.json: one test of one unit in one room."""

    format: Literal["cooling-ledger-session/1"] = SESSION_FORMAT  # type: ignore[assignment]
    name: str
    synthetic: bool = False
    purpose: Literal["cooling", "characterisation", "side_by_side"] = "cooling"
    time_zone: str = Field("UTC", description="IANA name; for stamps that carry no zone")
    unit: UnitUnderTest
    room: Room
    instruments: tuple[Instrument, ...] = ()
    files: tuple[LogFile, ...]
    channels: tuple[Channel, ...] = Field((), description="Empty: the reader's proposals are used, and said")
    fixed_loads: tuple[FixedLoad, ...] = ()
    people: tuple[People, ...] = ()
    solar: tuple[Solar, ...] = ()
    moisture: Moisture = Moisture()
    heater_kind: HeaterKind = HeaterKind.UNKNOWN
    events: tuple[Event, ...] = ()
    windows: tuple[Window, ...] = Field((), description="Empty: the program proposes steady windows")
    settings: Settings = Settings()
    decision: DecisionRule = Field(DecisionRule(), exclude_if=DecisionRule().__eq__)  # unstated: documents stay alike
    notes: str = ""
