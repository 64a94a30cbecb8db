"""What a program asks of a unit's season, and what it is told."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from units.compare.season import CLIMATES

MOST_TEXT = 4 << 20  # an EPW year has about 1.6 MB


class SeasonRequestSerializer(serializers.Serializer):
    """Climate, load of the room, price; temperatures in °C, powers in W."""

    climate = serializers.ChoiceField(list(CLIMATES), default="eu_cooling")
    table = serializers.CharField(
        default="", allow_blank=True, max_length=MOST_TEXT, trim_whitespace=False,
        help_text="Text of an EPW or TMY file, or lines of temp_c,hours; goes before `climate`",
    )  # fmt: skip
    no_load_c = serializers.FloatField(default=20.0, min_value=-20, max_value=60, help_text="Outdoors, no load [°C]")
    full_load_c = serializers.FloatField(default=35.0, min_value=-20, max_value=60, help_text="Outdoors [°C]")
    full_load_w = serializers.FloatField(default=2000.0, min_value=100, max_value=30_000, help_text="Load then [W]")
    room_wet_bulb_c = serializers.FloatField(default=19.0, min_value=5, max_value=30, help_text="Of the room [°C]")
    price_per_kwh = serializers.FloatField(min_value=0, max_value=1000)
    standby_hours = serializers.FloatField(default=0.0, min_value=0, max_value=8784, help_text="A year [h]")

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """Refuse a load that does not rise."""
        if attrs["no_load_c"] >= attrs["full_load_c"]:
            raise serializers.ValidationError({"full_load_c": "It must be warmer than where cooling begins."})
        return attrs


class SeasonInputSerializer(serializers.Serializer):
    """One input of a figure; where it was not measured, the middle of its bounds."""

    name = serializers.CharField()
    value = serializers.FloatField()
    u = serializers.FloatField(help_text="Standard uncertainty")
    quantity_unit = serializers.CharField()
    measured = serializers.BooleanField()
    because = serializers.CharField()


class SeasonFigureSerializer(serializers.Serializer):
    """A seasonal figure under its procedure's own name, with U95 and what it rests on."""

    name = serializers.CharField()
    value = serializers.FloatField()
    u95 = serializers.FloatField()
    quantity_unit = serializers.CharField()
    inputs = SeasonInputSerializer(many=True)
    because = serializers.CharField()


class SeasonSerializer(serializers.Serializer):
    """The season asked for, and figures by published procedures for climates and loads of their own."""

    efficiency = SeasonFigureSerializer()
    cooling_kwh = serializers.FloatField()
    energy_kwh = serializers.FloatField()
    unmet_kwh = serializers.FloatField(help_text="Of the load, more than the unit can carry")
    standby_kwh = serializers.FloatField()
    price_per_kwh = serializers.FloatField()
    cost = serializers.FloatField()
    cost_low = serializers.FloatField()
    cost_high = serializers.FloatField()
    published = SeasonFigureSerializer(many=True)

    def to_representation(self, instance: Any) -> dict[str, Any]:
        """Take it from a `UnitSeasons`."""
        return super().to_representation(instance.as_data())
