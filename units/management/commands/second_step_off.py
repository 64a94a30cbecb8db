"""Take the second step off an account whose phone and recovery codes are lost."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from units.actions import second_step
from units.models import Person


class Command(BaseCommand):
    """`manage.py second_step_off USER`: signing in then asks for the password alone."""

    help = "Take the second step at sign-in off an account; first make sure who asks for it."

    def add_arguments(self, parser: CommandParser) -> None:
        """Add whose."""
        parser.add_argument("user", help="user name")

    def handle(self, *args: Any, user: str, **options: Any) -> None:
        """Take it off and say so."""
        person = Person.objects.filter(username=user).first()
        if person is None:
            raise CommandError(f"Nobody here has the user name “{user}”.")
        was_on = second_step.turn_off(person=person, by=None)
        self.stdout.write(f"{person}: {'the second step is off' if was_on else 'there was no second step'}.")
