"""What every case works with: a bench with people, how their browsers ask, how work ends, and how it is counted."""

from __future__ import annotations

import random
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from django.contrib.auth import BACKEND_SESSION_KEY, HASH_SESSION_KEY, SESSION_KEY
from django.contrib.sessions.backends.db import SessionStore
from django.core.files.base import ContentFile
from django.db import close_old_connections
from django.test.client import BOUNDARY, MULTIPART_CONTENT, encode_multipart

from tests import builders, logs
from tests.faults.site import Site, until
from tests_app import tasks
from tests_app.actions import jobs, mapping, upload
from tests_app.models import Channel, Job, Session
from units import shelf
from units.models import Bench, Person, Room, Unit

DRAWS = {"monte_carlo_draws": 2000}
CSRF = "a" * 32
SETTLE_S = 240.0


@dataclass(frozen=True)
class Outcome:
    """What a case tried, what came through, what is lost, and what it did to the site."""

    case: str
    tried: int
    survived: int
    what: str

    @property
    def lost(self) -> int:
        return self.tried - self.survived


class Scene:
    """A bench with people, and how their browsers ask."""

    def __init__(self, site: Site, *, seed: int, people: int = 2) -> None:
        self.site, self.random, self._people = site, random.Random(seed), people

    @cached_property
    def bench(self) -> Bench:
        return builders.a_bench()

    @cached_property
    def people(self) -> list[Person]:
        return [builders.a_person(bench=self.bench, role="tester") for _ in range(self._people)]

    @cached_property
    def cookies(self) -> list[str]:
        return [_signed_in(person) for person in self.people]

    def a_unit(self, **fields: Any) -> Unit:
        """Make a unit that stands on the catalogue's shelf, as one that a person enters does."""
        unit = builders.a_unit(bench=self.bench, **fields)
        shelf.refresh([unit])
        return unit

    def sessions(
        self, count: int, *, with_logs: bool = True, unit: Unit | None = None, room: Room | None = None
    ) -> list[Session]:
        unit = unit or self.a_unit()
        room = room or builders.a_room(bench=self.bench)
        return [self._session(unit, room, with_logs) for _ in range(count)]

    def _session(self, unit: Unit, room: Room, with_logs: bool) -> Session:
        session = builders.a_session(bench=self.bench, unit=unit, room=room, reduction_settings=DRAWS)
        if with_logs:
            files = [ContentFile(logs.LOGS[name](), name=f"{name}.csv") for name in ("temperatures", "plugs")]
            upload.keep_files(session=session, files=files, by=self.people[0])
            channels = list(Channel.objects.filter(file__session=session))
            mapping.confirm(channels=channels, choices={one.pk: {} for one in channels}, by=self.people[0])
        return session

    def got(self, address: str, *, who: int = 0) -> int:
        return self.site.asked(address, Cookie=self.cookies[who])

    def posted(self, address: str, data: dict[str, Any], *, who: int = 0) -> int:
        body = encode_multipart(BOUNDARY, data | {"csrfmiddlewaretoken": CSRF})
        cookie = f"{self.cookies[who]}; csrftoken={CSRF}"
        return self.site.asked(address, method="POST", body=body, Content_Type=MULTIPART_CONTENT, Cookie=cookie)


def _signed_in(person: Person) -> str:
    store = SessionStore()
    store[SESSION_KEY], store[HASH_SESSION_KEY] = str(person.pk), person.get_session_auth_hash()
    store[BACKEND_SESSION_KEY] = "django.contrib.auth.backends.ModelBackend"
    store.save()
    return f"sessionid={store.session_key}"


def settled(asked: Iterable[Job]) -> bool:
    close_old_connections()
    keys = [job.pk for job in asked]
    return not Job.objects.filter(pk__in=keys, state__in=jobs.OPEN).exists()


def running(asked: Iterable[Job]) -> bool:
    """Say whether a worker is at one of these jobs; others may be left over from an earlier case."""
    close_old_connections()
    return Job.objects.filter(pk__in=[job.pk for job in asked], state=Job.State.RUNNING).exists()


def nothing_open() -> bool:
    """Wait until no job waits or runs; say whether that came to be."""
    return until(lambda: settled(Job.objects.filter(state__in=jobs.OPEN)), SETTLE_S, step_s=0.5)


def said(asked: Iterable[Job]) -> str:
    """Return how jobs ended that did not end well, in their own words."""
    bad = Job.objects.filter(pk__in=[job.pk for job in asked]).exclude(state=Job.State.DONE)
    return "; ".join(sorted({f"{job.state}: {job.message}" for job in bad}))


def stored_once(sessions: list[Session]) -> int:
    return sum(session.reductions.count() == 1 and session.reductions.get().points.exists() for session in sessions)


def asked_again(scene: Scene, asked: Iterable[Job]) -> list[Job]:
    """Ask again for what was given up with a sentence, as a person would, and wait for it."""
    given_up = Job.objects.filter(pk__in=[job.pk for job in asked], state=Job.State.FAILED)
    again = [tasks.queue_reduction(session=job.session, by=scene.people[0]) for job in given_up]
    until(lambda: settled(again), SETTLE_S, step_s=0.5)
    return again
