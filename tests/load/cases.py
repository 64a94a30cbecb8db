"""The loads, one function each: what is asked of the site at once, and how much of it was answered and kept."""

from __future__ import annotations

import multiprocessing
import os
import threading
import time
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from statistics import median

from django.core.files.base import ContentFile
from django.db import connection
from django.urls import reverse

from tests import builders, logs
from tests.faults.scene import SETTLE_S, Outcome, Scene, said, settled, stored_once
from tests.faults.site import HOST, until
from tests.load.visitors import Seen, visit
from tests_app import tasks
from tests_app.actions import reduce
from tests_app.models import Job, Session
from units import shelf
from units.actions import editions, reviews
from units.models import PublishedPoint, Unit

TESTERS, A_FEW = 20, 3
OF_A_UNIT = 5  # sessions: what pools them holds their unit, so two workers on one unit go one after the other
PATIENT_S = "60"  # as in production: a worker on a full machine is slow, not dead
PAUSE_S = (1.0, 6.0)  # between a tester's steps
SAMPLE_EVERY_S = 1.0
GROWTH, SLACK_MB = 1.10, 8.0  # what counts as flat; common practice, no source
SETTLED_AFTER_S, FIRST_USE_MB = 120, 150.0  # until then each process still takes up what its first uploads need
WANTED_RATIO = 1.8


def published(scene: Scene) -> list[str]:
    """Return the addresses that visitors read, of reviews that are published for the purpose once."""
    scene.site.addresses = scene.site.addresses or _published(scene)
    return scene.site.addresses


def _published(scene: Scene) -> list[str]:
    bench, owner = scene.bench, scene.people[0]
    addresses = [reverse(name) for name in ("catalogue", "published", "method", "feed", "sitemap", "robots", "plan")]
    for _ in range(3):
        unit = scene.a_unit(claims={}, obtained="bought", afterwards="kept")
        for session in scene.sessions(2, unit=unit):
            reduce.run_and_store(session=session, by=owner)
        review = reviews.begin(bench=bench, units=[unit], by=owner)
        reviews.write(review=review, disclosure="Bought.", charts=["tested"], by=owner)
        slug = editions.publish(review=review, by=owner).review.slug
        addresses += [reverse("edition", args=[slug])]
        addresses += [reverse(name, args=[slug, 1]) for name in ("edition-numbered", "edition-json", "edition-csv")]
        addresses += [reverse("edition-chart", args=[slug, 1, "tested", "svg"])]
    units = list(Unit.objects.filter(pk__in=PublishedPoint.objects.values("unit")))
    shelf.refresh(units)
    compared = "&".join(f"unit={unit.pk}" for unit in units)
    return [*addresses, f"{reverse('compare')}?{compared}", *(reverse("unit", args=[unit.pk]) for unit in units)]


def visitors_and_testers(scene: Scene, seconds: int) -> tuple[Outcome, Outcome]:
    """Visitors read at the highest rate while twenty testers upload and reduce; nobody sees an error."""
    seen, told = _busy(Scene(scene.site, seed=1, people=TESTERS), seconds)
    begun = [session for one in told for session in one.sessions]
    answers = sum((one.answers for one in told), start=Counter())
    bad = {status: count for status, count in answers.items() if status not in (200, 302)}
    said_of_them = said(Job.objects.filter(session__in=begun))
    testers_said = f"{TESTERS} testers; answers that were errors: {bad or 'none'}{said_of_them}"
    return (
        Outcome("visitors at the highest rate", seen.statuses.total(), seen.good, _rate(seen, seconds)),
        Outcome("sessions of testers meanwhile", len(begun), 0 if bad else stored_once(begun), testers_said),
    )


def memory_stays_flat(scene: Scene, seconds: int) -> Outcome:
    """Visitors read and a few testers work for long; what the web processes hold is the same late as early."""
    held_mb: list[float] = []
    seen, told = _busy(Scene(scene.site, seed=2, people=A_FEW), seconds, held_mb)
    fifth = max(len(held_mb) // 5, 1)
    early, late = median(held_mb[fifth : 2 * fifth]), median(held_mb[-fifth:])
    flat = late <= GROWTH * early + (SLACK_MB if seconds >= SETTLED_AFTER_S else FIRST_USE_MB)
    uploads = sum(len(one.sessions) for one in told)
    what = (
        f"{early:.0f} MB early, {late:.0f} MB late over {seconds} s; {seen.statuses.total()} pages, {uploads} sessions"
    )
    return Outcome("memory of the web processes", 1, int(flat and seen.good == seen.statuses.total()), what)


def _busy(crowd: Scene, seconds: int, held_mb: list[float] | None = None) -> tuple[Seen, list[_Told]]:
    """Let visitors read at the highest rate while everybody of the scene tests; sample memory where asked."""
    addresses, _ = published(crowd), crowd.cookies
    crowd.site.restart_web(JOB_SILENT_S=PATIENT_S)
    _warm(crowd, addresses)
    crowd.site.start_workers(JOB_SILENT_S=PATIENT_S)
    is_over, end, told = threading.Event(), time.monotonic() + seconds, [_Told() for _ in crowd.people]

    def sample() -> None:
        while held_mb is not None and not is_over.wait(SAMPLE_EVERY_S):
            held_mb.append(_resident_mb(crowd.site.web.pid))

    threads = [threading.Thread(target=_test_away, args=(crowd, who, end, one)) for who, one in enumerate(told)]
    threads.append(threading.Thread(target=sample))
    for thread in threads:
        thread.start()
    seen = _visited(crowd, addresses, seconds)
    is_over.set()
    for thread in threads:
        thread.join()
    until(lambda: settled(Job.objects.all()), SETTLE_S, step_s=0.5)
    crowd.site.stop_workers()
    return seen, told


def two_workers_against_one(scene: Scene, count: int) -> Outcome:
    """The same queue, done by one worker and by two; the ratio is of the middle of each, so that no start counts."""
    rates, stored, load = [], 0, os.getloadavg()[0]
    for workers in (1, 2):
        sessions = [
            one for first in range(0, count, OF_A_UNIT) for one in scene.sessions(min(OF_A_UNIT, count - first))
        ]
        asked = [tasks.queue_reduction(session=session, by=scene.people[0]) for session in sessions]
        scene.site.start_workers(workers, JOB_SILENT_S=PATIENT_S)
        until(lambda: settled(asked), SETTLE_S + 6.0 * count, step_s=1.0)  # noqa: B023 - called before the next round
        scene.site.stop_workers()
        stored += stored_once(sessions)
        ends = sorted(Job.objects.filter(pk__in=[job.pk for job in asked]).values_list("finished_at", flat=True))
        first, last = ends[count // 10], ends[-1 - count // 10]
        rates.append((count - 1 - 2 * (count // 10)) / (last - first).total_seconds())
    ratio = rates[1] / rates[0]
    what = (
        f"{rates[0]:.2f}/s by one, {rates[1]:.2f}/s by two: {ratio:.2f} times ({WANTED_RATIO} wanted of two free cores)"
    )
    return Outcome("sessions queued for 1 and 2 workers", 2 * count, stored, f"{what}; load average {load:.1f} before")


class _Told:
    """What one tester began, and how the site answered."""

    def __init__(self) -> None:
        self.sessions: list[Session] = []
        self.answers: Counter[int] = Counter()


def _test_away(scene: Scene, who: int, end: float, told: _Told) -> None:
    """Upload two logs into a new session, have it reduced, wait for the result, pause, and do it again."""
    unit, room = scene.a_unit(), builders.a_room(bench=scene.bench)
    while time.monotonic() < end:
        (session,) = scene.sessions(1, with_logs=False, unit=unit, room=room)
        told.sessions.append(session)
        for name in ("temperatures", "plugs"):
            file = ContentFile(logs.LOGS[name](), name=f"{name}.csv")
            told.answers[scene.posted(reverse("files", args=[session.pk]), {"files": file}, who=who)] += 1
            time.sleep(scene.random.uniform(*PAUSE_S))
        told.answers[scene.posted(reverse("reduce", args=[session.pk]), {}, who=who)] += 1
        job = session.jobs.get()
        until(lambda: scene.got(reverse("job", args=[job.pk]), who=who) == 302 or settled([job]), SETTLE_S, step_s=1.0)  # noqa: B023 - called at once
        told.answers[scene.got(reverse("result", args=[session.pk]), who=who)] += 1
        time.sleep(scene.random.uniform(*PAUSE_S))
    connection.close()


def _visited(scene: Scene, addresses: list[str], seconds: float) -> Seen:
    headers = {"Host": HOST, "X-Forwarded-Proto": "https"}
    with ProcessPoolExecutor(1, mp_context=multiprocessing.get_context("spawn")) as apart:
        return apart.submit(visit, scene.site.port, headers, addresses, seconds, scene.random.randrange(1000)).result()


def _warm(scene: Scene, addresses: list[str]) -> None:
    """Read each address some times first: charts are drawn once, and what is drawn is kept."""
    for _ in range(4):
        for address in addresses:
            assert scene.site.asked(address) == 200, address


def _rate(seen: Seen, seconds: float) -> str:
    percentiles = f"p50 {seen.percentile_ms(50):.0f} ms, p99 {seen.percentile_ms(99):.0f} ms"
    wrong = {status: count for status, count in seen.statuses.items() if status not in (200, 304)}
    return f"{seen.statuses.total() / seconds:.0f}/s, {percentiles}{f', {wrong}' if wrong else ''}"


def _resident_mb(master: int) -> float:
    """Return what the children of gunicorn's master hold in memory."""
    children = Path(f"/proc/{master}/task/{master}/children").read_text().split()
    pages = sum(int(Path(f"/proc/{child}/statm").read_text().split()[1]) for child in children)
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6
