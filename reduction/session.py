"""The session document and the result: every input and output of a reduction, typed.

The same models validate SESSION.json, give its JSON Schema and travel through the stages. Everything is
SI unless a field says otherwise; a `u95` is an expanded uncertainty (95 %), a `u` a standard uncertainty,
a `limit` the half-width of a rectangular distribution.
"""

from __future__ import annotations

from datetime import date, datetime
from enum import StrEnum
from typing import Annotated, Literal

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field, model_validator

SESSION_FORMAT = "cooling-ledger-session/1"
RESULT_FORMAT = "cooling-ledger-result/1"

NonNegative = Annotated[float, Field(ge=0)]
Positive = Annotated[float, Field(gt=0)]


class Document(BaseModel):
    """Base of every model here: frozen, and an unknown field is an error."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


# --- words of the trade ------------------------------------------------------------------------------


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


# --- the session document ----------------------------------------------------------------------------


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
        "capacity",
        "power",
        "eer",
        "cop",
        "ceer",
        "seer",
        "sacc",
        "sound",
        "air_flow",
        "current",
        "moisture_removal",
    ]
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


class Surface(Document):
    """Part of the room's envelope: a conductance to one neighbour."""

    to: str = Field(description="`outdoor`, or the `place` of a channel with role adjacent_temp (any name)")
    ua_w_per_k: NonNegative
    u95_w_per_k: NonNegative


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
    start_utc: AwareDatetime | None = Field(None, description="For files that count elapsed seconds")
    declared_date: date | None = Field(None, description="For files that hold times of day only")
    sheet: str | None = None


class ClockCorrection(Document):
    """A correction of one file's clock: true = logged + offset + drift × (logged − reference)."""

    offset_s: float = 0.0
    offset_u_s: NonNegative = 0.0
    drift_ppm: float = 0.0
    reference_utc: AwareDatetime | None = None
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
    start_utc: AwareDatetime | None = None
    end_utc: AwareDatetime | None = None


class Solar(Document):
    """Sun that entered the room, as declared by the tester."""

    power_w: NonNegative
    u95_w: NonNegative
    start_utc: AwareDatetime | None = None
    end_utc: AwareDatetime | None = None


class Weighing(Document):
    """Water weighed by hand over a time: what the unit condensed or what was given to the room."""

    what: Literal["condensate", "water_supply"]
    mass_kg: NonNegative
    u95_kg: NonNegative
    start_utc: AwareDatetime
    end_utc: AwareDatetime


class Moisture(Document):
    """What is known about water in the room."""

    condensate_leaves_room: bool = Field(False, description="False: it drains to a vessel in the room or outdoors cold")
    water_supply_temp_c: float | None = None
    condensate_temp_c: float | None = None
    humidifier: Literal["none", "evaporative", "ultrasonic", "boiling"] = "none"
    condensate_on_condenser: bool | None = Field(
        None, description="A slinger throws it on the condenser: bucket reads low"
    )
    weighings: tuple[Weighing, ...] = ()


class Event(Document):
    """Something that happened, with its instant or span."""

    time_utc: AwareDatetime
    end_utc: AwareDatetime | None = None
    what: str
    kind: Literal["note", "door", "sun", "fan", "frost", "set_point", "heater", "exclude"] = "note"


class Window(Document):
    """A time span that is averaged, chosen by the tester."""

    label: str = ""
    start_utc: AwareDatetime
    end_utc: AwareDatetime
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
    monte_carlo_draws: Annotated[int, Field(ge=0, le=1_000_000)] = 20_000
    seed: int = 1
    rating_conditions: tuple[str, ...] = Field((), description="Names of data/rating_conditions.csv; empty: by kind")


class Session(Document):
    """SESSION.json: one test of one unit in one room."""

    format: Literal["cooling-ledger-session/1"] = SESSION_FORMAT  # type: ignore[assignment]
    name: str
    synthetic: bool = False
    purpose: Literal["cooling", "characterisation"] = "cooling"
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
    notes: str = ""


# --- the result ----------------------------------------------------------------------------------------


class Severity(StrEnum):
    """How much a finding matters."""

    NOTE = "note"
    WARNING = "warning"
    SEVERE = "severe"


class Finding(Document):
    """Something the program noticed, with its evidence."""

    code: str = Field(description="Stable, snake_case: stuck_sensor, clock_offset, roles_guessed …")
    severity: Severity
    sentence: str = Field(description="One sentence a tester understands, with the numbers that are its evidence")
    subject: str = Field("", description="File, channel or window label it is about")
    remedy: str = ""


class Measured(Document):
    """A value with its standard uncertainty."""

    value: float
    u: NonNegative


class Component(Document):
    """One line of a budget: u² of the point is the sum of contributions² plus twice the covariances."""

    name: str
    value: float
    quantity_unit: str
    u: NonNegative
    sensitivity: float
    contribution_w: float = Field(description="Sensitivity × u, in the unit of the budget's quantity")
    share: float = Field(description="Of the variance, 0…1; may be negative where covariance is shared out")
    dof: float | None = Field(None, description="Degrees of freedom; null: infinite")
    source: str = ""
    shared_key: str | None = Field(None, description="Equal keys in two points mean the same error in both")
    evaluation: Literal["A", "B"] = "B"


class Term(Document):
    """One term of the heat balance, positive where it adds to the capacity."""

    name: str
    value_w: float
    u_w: NonNegative
    how: str = ""


class Limit(Document):
    """What limited the unit in this window, with the sentence of evidence."""

    verdict: Literal[
        "at full speed",
        "coil near freezing",
        "reduced speed",
        "cycling",
        "not steady",
        "unit off",
        "cannot tell",
    ]
    because: str
    coil_temp_c: tuple[float, float] | None = None
    projection_w: tuple[float, float] | None = Field(None, description="Interval of capacity at a warmer room")
    projection_because: str = ""


class CrossCheck(Document):
    """An independent look at the same number."""

    name: str
    value: float | None
    u95: NonNegative | None
    quantity_unit: str
    expected: str
    passed: bool | None
    because: str


class Evidence(Document):
    """One test that a window passed or failed: a quantity against its limit."""

    quantity: str
    value: float
    limit: float
    quantity_unit: str
    passed: bool
    source: str


class WindowResult(Document):
    """A window as used, with the evidence that it is steady or the reason why it is used all the same."""

    label: str
    start: AwareDatetime
    end: AwareDatetime
    asked_start: AwareDatetime | None = None
    asked_end: AwareDatetime | None = None
    proposed: bool
    steady: bool
    cycles: float | None = None
    missing_fraction: float = 0.0
    evidence: tuple[Evidence, ...] = ()
    reason: str = ""


class RatingCorrection(Document):
    """The point brought to a rating condition, with what that added to its uncertainty."""

    condition: str
    capacity_w: float
    capacity_u95_w: NonNegative
    power_w: float
    power_u95_w: NonNegative
    eer_btu_per_wh: float
    eer_u95: NonNegative
    factor: float
    model_u95_fraction: NonNegative
    how: str


class Step(Document):
    """One step of the shortfall explained: claim to measured, in order, summing exactly."""

    name: str
    value_w: float
    u_w: NonNegative
    kind: Literal["claim", "measured", "modelled", "remainder"]
    because: str


class Verdict(Document):
    """The claim against the measurement, by JCGM 106."""

    claim: str
    quantity: Literal["capacity", "eer", "power"]
    claimed: float
    measured: float
    measured_u95: NonNegative
    quantity_unit: str
    probability_meets: float
    probability_within_tolerance: float
    tolerance: float
    scheme: str
    words: Literal["meets", "meets within tolerance", "falls short", "cannot tell", "not comparable"]
    because: str


class Point(Document):
    """One reduced result."""

    label: str
    start: AwareDatetime
    end: AwareDatetime
    usable: bool
    conditions: dict[str, Measured] = Field(
        description="room_temp_c, room_rh_percent, room_wet_bulb_c, outdoor_temp_c, condenser_inlet_temp_c, supply_temp_c …"
    )
    capacity_w: float
    capacity_kind: Literal["total", "sensible"]
    capacity_u_w: NonNegative
    capacity_u95_w: NonNegative
    sensible_w: float
    sensible_u95_w: NonNegative
    latent_w: float | None
    latent_u95_w: NonNegative | None
    shr: float | None
    power_w: float
    power_u95_w: NonNegative
    cop: float | None
    cop_u95: NonNegative | None
    eer_btu_per_wh: float | None
    eer_u95: NonNegative | None
    k: float
    dof: float | None
    interval_w: tuple[float, float] = Field(description="95 % interval of the capacity that is reported")
    interval_from: Literal["GUM", "Monte Carlo"] = "GUM"
    terms: tuple[Term, ...]
    budget: tuple[Component, ...]
    eer_budget: tuple[Component, ...] = ()
    limit: Limit
    cross_checks: tuple[CrossCheck, ...] = ()
    ratings: tuple[RatingCorrection, ...] = ()
    shortfall: tuple[Step, ...] = ()
    verdicts: tuple[Verdict, ...] = ()
    findings: tuple[Finding, ...] = ()
    window: WindowResult


class FileDigest(Document):
    """Which bytes a result came from."""

    path: str
    sha256: str
    bytes: int


class ChannelRead(Document):
    """A channel as it was read: what the program took it for and why."""

    file: str
    column: str
    role: Role
    quantity_unit: str
    kind: SampleKind
    guessed: bool
    because: str
    sure: float
    samples: int
    first: AwareDatetime | None
    last: AwareDatetime | None


class RoomFit(Document):
    """A room characterised from this session (co-heating, off run)."""

    model: str
    surfaces: tuple[Surface, ...]
    c_eff_j_per_k: float
    c_eff_u95_j_per_k: NonNegative
    slow_mass: SlowMass | None
    time_constants_h: tuple[float, ...]
    residual_rms_c: float
    residual_whiteness: str
    identifiable: bool
    because: str
    correlation: tuple[tuple[float, ...], ...] = ()
    parameter_names: tuple[str, ...] = ()


class Level(Document):
    """A plateau of unit power."""

    label: str
    start: AwareDatetime
    end: AwareDatetime
    power_w: float
    share_of_time: float


class Result(Document):
    """What one reduction says: points, windows, findings, and the digests that prove its inputs."""

    format: Literal["cooling-ledger-result/1"] = RESULT_FORMAT  # type: ignore[assignment]
    method_version: str
    session_name: str
    synthetic: bool
    session_sha256: str
    files: tuple[FileDigest, ...]
    reduced_at: datetime | None = None
    channels: tuple[ChannelRead, ...]
    points: tuple[Point, ...]
    capacity_covariance_w2: tuple[tuple[float, ...], ...] = Field(
        (),
        description="Between the points' capacities, in their order; from errors of shared instruments and room",
    )
    levels: tuple[Level, ...] = ()
    room_fit: RoomFit | None = None
    findings: tuple[Finding, ...]
