"""The result: what one reduction says, with everything needed to check it."""

from __future__ import annotations

from datetime import datetime
from enum import StrEnum
from typing import Literal

from pydantic import AwareDatetime, Field

from reduction.documents.decision import Verdict
from reduction.documents.ducts import DuctedPoint
from reduction.documents.room import SlowMass, Surface
from reduction.documents.words import Document, NonNegative, Prose, Role, SampleKind

RESULT_FORMAT = "cooling-ledger-result/1"


def _absent(value: object) -> bool:
    return value is None


class Severity(StrEnum):
    """How much a finding matters."""

    NOTE = "note"
    WARNING = "warning"
    SEVERE = "severe"


class Finding(Document):
    """Something the program noticed, with its evidence."""

    code: str = Field(description="Stable, snake_case: stuck_sensor, clock_offset, roles_guessed …")
    severity: Severity
    sentence: Prose = Field(description="One sentence a tester understands, with the numbers that are its evidence")
    subject: str = Field("", description="File, channel or window label it is about")
    remedy: Prose = ""


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
    source: Prose = ""
    shared_key: str | None = Field(None, description="Equal keys in two points mean the same error in both")
    evaluation: Literal["A", "B"] = "B"


class Term(Document):
    """One term of the heat balance, positive where it adds to the capacity."""

    name: str
    value_w: float
    u_w: NonNegative
    how: Prose = ""


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
    because: Prose
    coil_temp_c: tuple[float, float] | None = None
    projection_w: tuple[float, float] | None = Field(None, description="Interval of capacity at a warmer room")
    projection_because: Prose = ""


class CrossCheck(Document):
    """An independent look at the same number."""

    name: str
    value: float | None
    u95: NonNegative | None
    quantity_unit: str
    expected: Prose
    passed: bool | None
    because: Prose


class Evidence(Document):
    """One test that a window passed or failed: a quantity against its limit."""

    quantity: str
    value: float
    limit: float
    quantity_unit: str
    passed: bool
    source: Prose


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
    how: Prose


class Step(Document):
    """One step of the shortfall explained: claim to measured, in order, summing exactly."""

    name: str
    value_w: float
    u_w: NonNegative
    kind: Literal["claim", "measured", "modelled", "remainder"]
    because: Prose


class Point(Document):
    """One reduced result."""

    label: str
    start: AwareDatetime
    end: AwareDatetime
    usable: bool
    conditions: dict[str, Measured] = Field(
        description="room_temp_c, room_rh_percent, room_wet_bulb_c, outdoor_temp_c, condenser_inlet_temp_c …"
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
    ducted: DuctedPoint | None = Field(None, exclude_if=_absent, description="Of a portable whose ducts are stated")
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
    because: Prose
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
    residual_whiteness: Prose
    identifiable: bool
    because: Prose
    correlation: tuple[tuple[float, ...], ...] = ()
    parameter_names: tuple[str, ...] = ()
    course_w: tuple[tuple[float, float, float], ...] = Field((), description="Hours; heat given, accounted for [W]")


class Level(Document):
    """A plateau of unit power."""

    label: str
    start: AwareDatetime
    end: AwareDatetime
    power_w: float
    share_of_time: float


class SeasonInput(Document):
    """One input of a seasonal figure; where it was not measured, the middle of its bounds."""

    name: str
    value: float
    u: NonNegative
    quantity_unit: str
    measured: bool
    because: Prose


class SeasonFigure(Document):
    """A seasonal figure with U95 and everything it rests on."""

    name: str
    value: float
    u95: NonNegative
    quantity_unit: str
    inputs: tuple[SeasonInput, ...]
    because: Prose


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
    seasonal: tuple[SeasonFigure, ...] = ()
    room_fit: RoomFit | None = None
    findings: tuple[Finding, ...]
