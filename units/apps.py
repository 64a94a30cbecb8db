"""The catalogue's Django app."""

from typing import Any

from django.apps import AppConfig
from django.db.models.signals import post_migrate


class UnitsConfig(AppConfig):
    """People, benches, units, reviews."""

    name = "units"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        """Make exports and arrivals known as kinds of work, so that a lost one can be handed over again."""
        from tests_app import tasks
        from units.actions import arrivals, exports

        tasks.TASKS[exports.EXPORT] = exports.run_export
        tasks.TASKS |= {arrivals.LOOK: arrivals.run_look, arrivals.ARRIVAL: arrivals.run_arrival}
        post_migrate.connect(_renew_the_shelf, sender=self)


def _renew_the_shelf(apps: Any = None, plan: Any = None, **_: Any) -> None:
    """After an upgrade make anew what older code put on the shelf; a database half migrated, or emptied, has none."""
    from units import shelf

    if plan is not None and "pooledrow" in apps.all_models["units"]:
        shelf.renew()
