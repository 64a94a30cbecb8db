"""The Django app of test sessions."""

from django.apps import AppConfig


class TestsAppConfig(AppConfig):
    """Sessions, evidence, reductions, points."""

    __test__ = False
    name = "tests_app"
    verbose_name = "test sessions"
    default_auto_field = "django.db.models.BigAutoField"
