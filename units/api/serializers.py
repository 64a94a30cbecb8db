"""Rows as data; every field that is a quantity has its unit in its name."""

from __future__ import annotations

from typing import Any, get_args

from rest_framework import serializers

from reduction import session as doc
from reduction.errors import ReductionError
from reduction.judge.claims import claim_in_si
from reduction.judge.decision import NO_TOLERANCE, schemes
from tests_app.models import Job, Point, Reduction, Session, SessionFile
from units.forms.unit import MOST_TAGS
from units.models import Claim, PublishedPoint, Unit

CONDITION = ("room_temp_c", "room_wet_bulb_c", "outdoor_temp_c", "outdoor_wet_bulb_c")
FIGURES = (
    "label", "room_temp_c", "room_wet_bulb_c", "room_rh_percent", "outdoor_temp_c", "capacity_w", "capacity_u95_w",
    "capacity_kind", "power_w", "power_u95_w", "cop", "cop_u95", "eer_btu_per_wh", "eer_u95", "limit",
)  # fmt: skip


class ClaimSerializer(serializers.ModelSerializer):
    """A stated figure with its condition and where it is stated."""

    class Meta:
        model = Claim
        fields = ("id", "quantity", "value", "quantity_unit", "value_si", "condition_name", *CONDITION, "basis",
                  "stated_in", "stated_on")  # fmt: skip
        read_only_fields = ("id", "value_si")

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """Bring the value to SI, which also checks its unit against its quantity."""
        try:
            stated = doc.Claim(**{name: attrs[name] for name in ("quantity", "value", "quantity_unit")})
            return attrs | {"value_si": claim_in_si(stated)}
        except ReductionError as error:
            raise serializers.ValidationError({"quantity_unit": str(error)}) from error
        except ValueError as error:
            raise serializers.ValidationError({"value": "State a number above zero."}) from error


class TagsField(serializers.ListField):
    """Words on a unit, free or key:value."""

    child = serializers.CharField(max_length=80)

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(max_length=MOST_TAGS, help_text="Free words, or key:value", **kwargs)

    def to_representation(self, data: Any) -> list[str]:
        """Write a unit's tags as words."""
        return [str(tag) for tag in data.all()]


class UnitSerializer(serializers.ModelSerializer):
    """A unit with its claims and tags."""

    claims = ClaimSerializer(many=True, required=False)
    tags = TagsField(required=False)

    class Meta:
        model = Unit
        fields = ("id", "maker", "model", "kind", "compressor", "refrigerant", "voltage_v", "serial", "obtained",
                  "obtained_detail", "afterwards", "price", "price_currency", "claimed_air_flow_m3_per_h", "notes",
                  "is_synthetic", "is_reference", "tags", "claims", "created_at", "updated_at")  # fmt: skip
        read_only_fields = ("id", "created_at", "updated_at")


class FileSerializer(serializers.ModelSerializer):
    """A file of a session, with the digest of its bytes."""

    sha256 = serializers.CharField(source="evidence.sha256", read_only=True)
    size_bytes = serializers.IntegerField(source="evidence.size_bytes", read_only=True)

    class Meta:
        model = SessionFile
        fields = ("id", "name", "sha256", "size_bytes", "profile", "clock", "added_at")
        read_only_fields = fields


class SessionSerializer(serializers.ModelSerializer):
    """A session in a list; its document and files have addresses of their own."""

    files = FileSerializer(many=True, read_only=True)

    class Meta:
        model = Session
        fields = ("id", "bench", "unit", "room", "name", "purpose", "time_zone", "is_synthetic", "files", "created_at",
                  "updated_at")  # fmt: skip
        read_only_fields = fields


class SessionArrivalSerializer(serializers.Serializer):
    """A session document with the files that it lists."""

    document = serializers.CharField(help_text="SESSION.json as text; `/api/schema/session.json` describes it")
    files = serializers.ListField(child=serializers.FileField(), allow_empty=True, max_length=100)
    bench = serializers.UUIDField(required=False, help_text="Where you may work on several benches")


class RuleChangeSerializer(serializers.Serializer):
    """A change of the decision rule after there were data."""

    at = serializers.DateTimeField(read_only=True)
    by = serializers.CharField(read_only=True, help_text="The role of who changed it on the bench")
    before = serializers.CharField(read_only=True)
    now = serializers.CharField(read_only=True)
    why = serializers.CharField(read_only=True)
    after = serializers.ChoiceField(["data", "result"], read_only=True)


class DecisionSerializer(serializers.Serializer):
    """How a session's claims are judged; `why` must be sent once its log files are there."""

    rule = serializers.ChoiceField(get_args(doc.Decision), default="probability")
    probability = serializers.FloatField(min_value=0.501, max_value=0.9999, default=0.95)
    guard_factor = serializers.FloatField(min_value=0.1, max_value=3.0, default=1.0, help_text="Guard band in U (95 %)")
    tolerance_from = serializers.ChoiceField(
        ["", *schemes(), NO_TOLERANCE], default="", allow_blank=True, help_text="Empty: by the kind of unit"
    )
    why = serializers.CharField(write_only=True, max_length=500, default="", allow_blank=True)
    chosen_at = serializers.DateTimeField(read_only=True, allow_null=True)
    changes = RuleChangeSerializer(many=True, read_only=True)


class JobSerializer(serializers.ModelSerializer):
    """How far long work is."""

    class Meta:
        model = Job
        fields = ("id", "session", "what", "state", "done_steps", "total_steps", "message", "reduction", "asked_at",
                  "finished_at")  # fmt: skip
        read_only_fields = fields


class ReductionSerializer(serializers.ModelSerializer):
    """A reduction in a list."""

    class Meta:
        model = Reduction
        fields = ("id", "session", "supersedes", "method_version", "input_sha256", "reduced_at")
        read_only_fields = fields


class ReductionDetailSerializer(ReductionSerializer):
    """A reduction with the document it was made from and everything it says."""

    class Meta(ReductionSerializer.Meta):
        fields = (*ReductionSerializer.Meta.fields, "document", "result")
        read_only_fields = fields


class PointSerializer(serializers.ModelSerializer):
    """A reduced result: capacity, power and efficiency with their expanded uncertainties (95 %)."""

    class Meta:
        model = Point
        fields = ("id", "unit", "reduction", "start", "end", "usable", *FIGURES)
        read_only_fields = fields


class PublishedPointSerializer(serializers.ModelSerializer):
    """A published point with the unit it is of; open to all."""

    maker = serializers.CharField(source="unit.maker", read_only=True)
    model = serializers.CharField(source="unit.model", read_only=True)
    kind = serializers.CharField(source="unit.kind", read_only=True)
    compressor = serializers.CharField(source="unit.compressor", read_only=True)
    is_synthetic = serializers.BooleanField(source="unit.is_synthetic", read_only=True)
    review = serializers.SlugField(source="edition.review.slug", read_only=True)
    edition = serializers.IntegerField(source="edition.number", read_only=True)

    class Meta:
        model = PublishedPoint
        fields = ("id", "unit", "maker", "model", "kind", "compressor", "is_synthetic", "review", "edition",
                  "measured_at", *FIGURES, "rated_capacity_w", "rated_capacity_u95_w", "rated_eer_btu_per_wh",
                  "rated_eer_u95")  # fmt: skip
        read_only_fields = fields
