"""The faults, one function each. A case hurts the running site, lets it recover, and counts what is left.

Only the driver's own process uses the models here; the site's processes are hurt from outside.
"""

from __future__ import annotations

import random
import threading
import time
from collections.abc import Iterable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from django.contrib.auth import BACKEND_SESSION_KEY, HASH_SESSION_KEY, SESSION_KEY
from django.contrib.sessions.backends.db import SessionStore
from django.core.files.base import ContentFile
from django.db import close_old_connections, connection
from django.test.client import BOUNDARY, MULTIPART_CONTENT, encode_multipart
from django.urls import reverse

from tests import builders, logs
from tests.faults.site import Site, until
from tests_app import tasks
from tests_app.actions import jobs, mapping, upload
from tests_app.models import Channel, Evidence, Job, Reduction, Session, SessionFile
from units.models import Bench, Person

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

    def __init__(self, site: Site, *, seed: int) -> None:
        self.site, self.random = site, random.Random(seed)

    @cached_property
    def bench(self) -> Bench:
        return builders.a_bench()

    @cached_property
    def people(self) -> list[Person]:
        return [builders.a_person(bench=self.bench, role="tester") for _ in range(2)]

    @cached_property
    def cookies(self) -> list[str]:
        return [_signed_in(person) for person in self.people]

    def sessions(self, count: int, *, with_logs: bool = True) -> list[Session]:
        unit, room = builders.a_unit(bench=self.bench), builders.a_room(bench=self.bench)
        return [self._session(unit, room, with_logs) for _ in range(count)]

    def _session(self, unit: Any, room: Any, with_logs: bool) -> Session:
        session = builders.a_session(bench=self.bench, unit=unit, room=room, reduction_settings=DRAWS)
        if with_logs:
            files = [ContentFile(logs.LOGS[name](), name=f"{name}.csv") for name in ("temperatures", "plugs")]
            upload.keep_files(session=session, files=files, by=self.people[0])
            channels = list(Channel.objects.filter(file__session=session))
            mapping.confirm(channels=channels, choices={one.pk: {} for one in channels}, by=self.people[0])
        return session

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


def _settled(asked: Iterable[Job]) -> bool:
    close_old_connections()
    keys = [job.pk for job in asked]
    return not Job.objects.filter(pk__in=keys, state__in=jobs.OPEN).exists()


def nothing_open() -> bool:
    """Wait until no job waits or runs; say whether that came to be."""
    return until(lambda: _settled(Job.objects.filter(state__in=jobs.OPEN)), SETTLE_S, step_s=0.5)


def _said(asked: Iterable[Job]) -> str:
    """Return how jobs ended that did not end well, in their own words."""
    bad = Job.objects.filter(pk__in=[job.pk for job in asked]).exclude(state=Job.State.DONE)
    return "; ".join(sorted({f"{job.state}: {job.message}" for job in bad}))


def _stored_once(sessions: list[Session]) -> int:
    return sum(session.reductions.count() == 1 and session.reductions.get().points.exists() for session in sessions)


def workers_killed(scene: Scene, count: int) -> Outcome:
    """Workers get SIGKILL at random instants while they reduce; every session ends with one result."""
    sessions = scene.sessions(count)
    asked = [tasks.queue_reduction(session=session, by=scene.people[0]) for session in sessions]
    scene.site.start_workers()
    kills = hits = 0
    end = time.monotonic() + SETTLE_S + 4.0 * count
    while kills < count // 2 and not _settled(asked) and time.monotonic() < end:
        until(lambda: Job.objects.filter(state=Job.State.RUNNING).exists(), 20.0, step_s=0.02)
        time.sleep(scene.random.uniform(0.0, 1.0))
        before = Reduction.objects.count()
        scene.site.kill_worker(scene.random.randrange(2))
        kills += 1
        hits += Job.objects.filter(state=Job.State.RUNNING).exists() and Reduction.objects.count() == before
    until(lambda: _settled(asked), SETTLE_S, step_s=0.5)
    given_up = Job.objects.filter(pk__in=[job.pk for job in asked], state=Job.State.FAILED, message=tasks.LOST)
    again = [tasks.queue_reduction(session=job.session, by=scene.people[0]) for job in given_up]
    until(lambda: _settled(again), SETTLE_S, step_s=0.5)
    scene.site.stop_workers()
    what = f"{kills} SIGKILL, {hits} of them in a reduction; {len(again)} given up with a sentence and asked for again"
    what += _said(again or asked)
    return Outcome("workers killed in reductions", count, _stored_once(sessions), what)


def web_killed(scene: Scene, count: int) -> Outcome:
    """The web processes get SIGKILL during uploads; who uploads sends the file again until it is taken."""
    sessions = scene.sessions(count, with_logs=False)
    is_over, kills = threading.Event(), []

    def hurt() -> None:
        while not is_over.wait(scene.random.uniform(0.5, 3.0)):
            scene.site.kill_web()
            scene.site.start_web()
            kills.append(1)

    def sent(number: int) -> int:
        content = logs.temperatures(90 + number)
        for attempt in range(1, 40):
            file = ContentFile(content, name="temperatures.csv")
            if scene.posted(reverse("files", args=[sessions[number].pk]), {"files": file}) == 302:
                return attempt
            time.sleep(0.3)
        return 0

    _ = scene.cookies
    thread = threading.Thread(target=hurt)
    thread.start()
    with ThreadPoolExecutor(4) as pool:
        attempts = list(pool.map(sent, range(count)))
    is_over.set()
    thread.join()
    kept = sum(session.files.count() == 1 for session in sessions)
    return Outcome("web killed in uploads", count, kept, f"{len(kills)} SIGKILL, {sum(attempts)} attempts")


def same_upload_at_once(scene: Scene, count: int) -> Outcome:
    """The same file comes many times at once; it is kept once, and each of them is told so."""
    (session,) = scene.sessions(1, with_logs=False)
    content, before = logs.temperatures(70), Evidence.objects.count()
    _ = scene.cookies

    def sent(_: int) -> int:
        file = ContentFile(content, name="temperatures.csv")
        return scene.posted(reverse("files", args=[session.pk]), {"files": file})

    with ThreadPoolExecutor(count) as pool:
        answers = list(pool.map(sent, range(count)))
    once = session.files.count() == 1 and Evidence.objects.count() == before + 1
    return Outcome(
        "the same upload at once", count, answers.count(302) if once else 0, f"answers {sorted(set(answers))}"
    )


def two_people_editing(scene: Scene, count: int) -> Outcome:
    """Two people describe, read into and reduce one session at once; what is kept is what one of them said."""
    (session,) = scene.sessions(1)
    room, unit = session.room_id, session.unit_id
    facts = {"purpose": "cooling", "room": str(room), "unit": str(unit)}
    zones = ("UTC", "Europe/Paris")
    _ = scene.cookies

    def edited(number: int) -> int:
        who = number % 2
        if number % 5 == 4:
            return scene.posted(reverse("reduce", args=[session.pk]), {}, who=who)
        said = facts | {"name": f"as {who} says", "time_zone": zones[who]}
        return scene.posted(reverse("session-edit", args=[session.pk]), said, who=who)

    with ThreadPoolExecutor(4) as pool:
        answers = list(pool.map(edited, range(count)))
    session.refresh_from_db()
    whole = (session.name, session.time_zone) in {(f"as {who} says", zones[who]) for who in (0, 1)}
    return Outcome(
        "two people edit one session", count, answers.count(302) if whole else 0, f"answers {sorted(set(answers))}"
    )


def database_restarted(scene: Scene, count: int) -> Outcome:
    """PostgreSQL stops at once and starts again while workers reduce and pages are asked for."""
    sessions = scene.sessions(count)
    asked = [tasks.queue_reduction(session=session, by=scene.people[0]) for session in sessions]
    scene.site.start_workers()
    stops = max(count // 5, 1)
    for _ in range(stops):
        until(lambda: Job.objects.filter(state=Job.State.RUNNING).exists(), 30.0)
        time.sleep(scene.random.uniform(0.0, 1.5))
        connection.close()
        scene.site.restart_database()
        until(lambda: scene.site.asked("/healthz/ready/") == 200, 30.0)
    until(lambda: _settled(asked), SETTLE_S, step_s=0.5)
    failed = Job.objects.filter(pk__in=[job.pk for job in asked], state=Job.State.FAILED)
    again = [tasks.queue_reduction(session=job.session, by=scene.people[0]) for job in failed]
    until(lambda: _settled(again), SETTLE_S, step_s=0.5)
    scene.site.stop_workers()
    what = f"{stops} stops in mode immediate; {len(again)} ended with a sentence and asked for again"
    what += _said(again or asked)
    return Outcome("PostgreSQL stopped and started", count, _stored_once(sessions), what)


def disk_full(scene: Scene, count: int) -> Outcome:
    """The store is full: uploads are refused with 507 and leave nothing; with room again they are taken."""
    sessions = scene.sessions(count, with_logs=False)
    content = logs.temperatures(3000)
    before = (Evidence.objects.count(), SessionFile.objects.count())
    scene.site.kill_web()
    with scene.site.small_disk() as (stated, how):
        scene.site.start_web(**stated)
        answers = [_sent_to(scene, session, content) for session in sessions]
        left_nothing = (Evidence.objects.count(), SessionFile.objects.count()) == before
        scene.site.kill_web()
    scene.site.start_web()
    later = [_sent_to(scene, session, content) for session in sessions]
    told = sum(pair == (507, 302) for pair in zip(answers, later, strict=True)) if left_nothing else 0
    return Outcome(
        "disk full in uploads", count, told, f"{how}; answers {sorted(set(answers))}, later {sorted(set(later))}"
    )


def _sent_to(scene: Scene, session: Session, content: bytes) -> int:
    file = ContentFile(content, name="long.csv")
    return scene.posted(reverse("files", args=[session.pk]), {"files": file})


# case: (function, tried in the whole run, tried in the short run)
CASES = {
    "workers": (workers_killed, 200, 6),
    "web": (web_killed, 100, 8),
    "same": (same_upload_at_once, 20, 20),
    "two": (two_people_editing, 60, 20),
    "database": (database_restarted, 25, 4),
    "disk": (disk_full, 10, 3),
}
