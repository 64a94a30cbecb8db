"""The catalogue's Django app."""

from django.apps import AppConfig


class UnitsConfig(AppConfig):
    """People, benches, units, reviews."""

    name = "units"
    default_auto_field = "django.db.models.BigAutoField"
