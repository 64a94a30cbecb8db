"""What is published, as data; every field that is a quantity has its unit in its name or in `quantity_unit`."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from units.api.serializers import CONDITION, TagsField
from units.models import CatalogueEntry, Claim, Edition, Unit


class PublicClaimSerializer(serializers.ModelSerializer):
    """A stated figure with its condition and where it is stated."""

    class Meta:
        model = Claim
        fields = ("quantity", "value", "quantity_unit", "value_si", "condition_name", *CONDITION, "basis", "stated_in",
                  "stated_on")  # fmt: skip
        read_only_fields = fields


class PublishedUnitSerializer(serializers.ModelSerializer):
    """A unit as the catalogue shows it; serial, notes and files stay on its bench."""

    id = serializers.UUIDField(source="unit_id", read_only=True)
    maker = serializers.CharField(source="unit.maker", read_only=True)
    model = serializers.CharField(source="unit.model", read_only=True)
    kind = serializers.ChoiceField(Unit.Kind.choices, read_only=True)
    voltage_v = serializers.FloatField(source="unit.voltage_v", read_only=True, allow_null=True)
    price = serializers.DecimalField(
        source="unit.price", max_digits=10, decimal_places=2, read_only=True, allow_null=True
    )
    price_currency = serializers.CharField(source="unit.price_currency", read_only=True)
    tags = TagsField(source="unit.tags", read_only=True)
    claims = PublicClaimSerializer(source="unit.claims", many=True, read_only=True)
    eer_btu_per_wh = serializers.FloatField(source="eer", read_only=True, allow_null=True)

    class Meta:
        model = CatalogueEntry
        fields = ("id", "maker", "model", "kind", "compressor", "refrigerant", "voltage_v", "obtained", "price",
                  "price_currency", "tags", "claims", "capacity_w", "capacity_u95_w", "capacity_kind",
                  "eer_btu_per_wh", "eer_u95", "claimed_capacity_w", "ratio", "ratio_u95", "room_temp_c",
                  "outdoor_temp_c", "corrected", "comparable", "point_count", "is_synthetic")  # fmt: skip
        read_only_fields = fields


class ComparedSerializer(serializers.Serializer):
    """A unit's published figures on one basis, pooled, beside its claims; ± at 95 %, W and Btu/(W·h)."""

    id = serializers.UUIDField(source="key")
    unit = serializers.CharField()
    kind = serializers.CharField()
    capacity_w = serializers.FloatField(source="capacity")
    capacity_u95_w = serializers.FloatField(source="capacity_u95")
    capacity_kind = serializers.CharField()
    eer_btu_per_wh = serializers.FloatField(source="eer", allow_null=True)
    eer_u95 = serializers.FloatField(allow_null=True)
    claimed_capacity_w = serializers.FloatField(source="claimed_capacity", allow_null=True)
    claimed_eer = serializers.FloatField(allow_null=True)
    claimed_sound_dba = serializers.FloatField(source="claimed_sound", allow_null=True)
    ratio = serializers.FloatField(allow_null=True, help_text="Measured capacity to claimed")
    ratio_u95 = serializers.FloatField(allow_null=True)
    basis = serializers.CharField()
    group = serializers.CharField(allow_null=True, help_text="Units of one letter cannot be told apart by their ratio")
    points = serializers.IntegerField(source="n_points")


class EditionSerializer(serializers.ModelSerializer):
    """A published edition; its document is at `document`, under the digest."""

    review = serializers.SlugField(source="review.slug", read_only=True)
    is_latest = serializers.SerializerMethodField()
    document = serializers.SerializerMethodField(help_text="Where the frozen document is")

    class Meta:
        model = Edition
        fields = ("id", "review", "number", "is_latest", "published_at", "sha256", "erratum", "document")
        read_only_fields = fields

    def get_is_latest(self, edition: Any) -> bool:
        """Say whether no later edition corrects it."""
        return not hasattr(edition, "superseded_by")

    def get_document(self, edition: Any) -> str:
        """Return the document's address on this site."""
        return f"/published/{edition.review.slug}/{edition.number}/edition.json"
