"""How a claim is to be judged, chosen before the run; each later change of mind; and what the rule said."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from reduction.documents.words import Document, Instant, NonNegative, Positive, Prose

Decision = Literal["probability", "guard_band", "simple_acceptance"]


class RuleChange(Document):
    """One change of the decision rule after the test's data, or its result, were there."""

    at: Instant
    by: str = Field("", max_length=10, description="The role of who changed it on its bench; never a name")
    before: str = Field(max_length=300, description="The rule until then, in words")
    now: str = Field(max_length=300, description="The rule from then on, in words")
    why: str
    after: Literal["data", "result"] = Field(description="What there was to be seen when it was changed")


class DecisionRule(Document):
    """The rule that turns a measurement and its uncertainty into the wording of a verdict."""

    rule: Decision = "probability"
    probability: Annotated[float, Field(gt=0.5, lt=1.0)] = Field(
        0.95, description="Least conformance probability of a wording, with `probability`"
    )
    guard_factor: Positive = Field(1.0, description="Guard band in U (95 %), with `guard_band`")
    tolerance_from: str = Field(
        "", description="A scheme of data/claim_tolerances.csv; empty: by the kind of unit; none: no tolerance"
    )
    chosen_at: Instant | None = Field(None, description="When it was first chosen; null: never, so the default")
    changes: tuple[RuleChange, ...] = ()


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
    because: Prose
    rule: str = Field("", description="The decision rule it was worded by; empty: not judged, or the default")
