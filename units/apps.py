"""The catalogue's Django app."""

from django.apps import AppConfig


class UnitsConfig(AppConfig):
    """People, benches, units, reviews."""

    name = "units"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        """Make the exports known as a kind of work, so that a lost one can be handed over again."""
        from tests_app import tasks
        from units.actions import exports

        tasks.TASKS[exports.EXPORT] = exports.run_export
