"""Processes are killed, the database goes, people do the same at once: one function each.

A case hurts the running site, lets it recover, and counts what is left. Only the driver's own process uses the models
here; the site's processes are hurt from outside.
"""

from __future__ import annotations

import threading
import time
from concurrent.futures import ThreadPoolExecutor

from django.core.files.base import ContentFile
from django.db import connection
from django.urls import reverse

from tests import logs
from tests.faults.scene import SETTLE_S, Outcome, Scene, asked_again, running, said, settled, stored_once
from tests.faults.site import until
from tests_app import tasks
from tests_app.models import Evidence, Reduction


def workers_killed(scene: Scene, count: int) -> Outcome:
    """Workers get SIGKILL at random instants while they reduce; every session ends with one result."""
    sessions = scene.sessions(count)
    asked = [tasks.queue_reduction(session=session, by=scene.people[0]) for session in sessions]
    scene.site.start_workers()
    kills = hits = 0
    end = time.monotonic() + SETTLE_S + 4.0 * count
    while kills < count // 2 and not settled(asked) and time.monotonic() < end:
        until(lambda: running(asked), 20.0, step_s=0.02)
        time.sleep(scene.random.uniform(0.0, 1.0))
        before = Reduction.objects.count()
        scene.site.kill_worker(scene.random.randrange(2))
        kills += 1
        hits += running(asked) and Reduction.objects.count() == before
    until(lambda: settled(asked), SETTLE_S, step_s=0.5)
    again = asked_again(scene, asked)
    scene.site.stop_workers()
    what = f"{kills} SIGKILL, {hits} of them in a reduction; {len(again)} given up with a sentence and asked for again"
    what += said(again or asked)
    return Outcome("workers killed in reductions", count, stored_once(sessions), what)


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
        until(lambda: running(asked), 30.0)
        time.sleep(scene.random.uniform(0.0, 1.5))
        connection.close()
        scene.site.restart_database()
        until(lambda: scene.site.asked("/healthz/ready/") == 200, 30.0)
    until(lambda: settled(asked), SETTLE_S, step_s=0.5)
    again = asked_again(scene, asked)
    scene.site.stop_workers()
    what = f"{stops} stops in mode immediate; {len(again)} ended with a sentence and asked for again"
    what += said(again or asked)
    return Outcome("PostgreSQL stopped and started", count, stored_once(sessions), what)
