"""Set up everything and start it with an invented bench."""

from __future__ import annotations

import os
import secrets
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError, CommandParser

from units.management import demo_bench, worker

PASSWORD_BYTES = 9


class Command(BaseCommand):
    """`manage.py demo`: migrate, build the demo where it is missing, say how to sign in, serve."""

    help = "Set up the database, build the synthetic demo, print address and password, and serve on 127.0.0.1."

    def add_arguments(self, parser: CommandParser) -> None:
        """Add where to serve, or whether at all."""
        parser.add_argument("--port", type=int, default=8000, help="port on 127.0.0.1 (default 8000)")
        parser.add_argument("--no-serve", action="store_true", help="stop when everything is set up")

    def handle(self, *args: Any, port: int, no_serve: bool, **options: Any) -> None:
        """Do it in order, saying each step."""
        if settings.PRODUCTION:
            raise CommandError("The demo is not for production: its people share one password.")
        self._say("Setting up the database …")
        call_command("migrate", verbosity=0)
        self._say("Building the demo: invented makers, models and people, synthetic logs …")
        password = self._password()
        demo_bench.build(password=password, tell=self._say)
        self._say(f"\nOpen     http://127.0.0.1:{port}/")
        self._say(f"Sign in  odile (owner), tomas (tester) or rhea (reader), password {password}\n")
        if not no_serve:
            self._say("Stop with Ctrl+C; start again with the same command, nothing is lost.")
            os.environ["DJANGO_RUNSERVER_HIDE_WARNING"] = "true"  # one person on 127.0.0.1 is what it is made for
            worker.work_beside()
            call_command("runserver", f"127.0.0.1:{port}", use_reloader=False, skip_checks=True)

    def _say(self, text: str, ending: str = "\n") -> None:
        self.stdout.write(text, ending=ending)
        self.stdout.flush()

    def _password(self) -> str:
        """Return the password made at the first start, kept beside the data for this machine's user only."""
        kept = Path(settings.DATA_DIR) / "demo_password"
        if not kept.exists():
            kept.touch(mode=0o600)
            kept.write_text(secrets.token_urlsafe(PASSWORD_BYTES), encoding="ascii")
        return kept.read_text(encoding="ascii")
