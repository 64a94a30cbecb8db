"""The models and their migrations agree."""

import pytest
from django.core.management import call_command


@pytest.mark.django_db
def test_no_model_change_is_without_a_migration() -> None:
    call_command("makemigrations", "--check", "--dry-run")
