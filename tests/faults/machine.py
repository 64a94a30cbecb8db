"""The machine itself is at fault: its disk is full, its clock steps back."""

from __future__ import annotations

import time

from django.core.files.base import ContentFile
from django.db import connection
from django.urls import reverse

from tests import logs
from tests.faults.scene import SETTLE_S, Outcome, Scene, asked_again, running, said, settled, stored_once
from tests.faults.site import until
from tests_app import tasks
from tests_app.models import Evidence, Job, Session, SessionFile

FULL_S = 8.0
AN_HOUR_S, A_DAY_S = 3600.0, 86_400.0


def disk_full_in_uploads(scene: Scene, count: int) -> Outcome:
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


def disk_full_in_reductions(scene: Scene, count: int) -> Outcome:
    """The disk under database, store and scratch files fills up while workers reduce; with room again all is done."""
    sessions = scene.sessions(count)
    asked = [tasks.queue_reduction(session=session, by=scene.people[0]) for session in sessions]
    scene.site.start_workers(hurtable=True)
    until(lambda: running(asked), 30.0, step_s=0.02)
    connection.close()
    with scene.site.full_disk() as how:
        time.sleep(FULL_S)
    scene.site.ensure_database()
    until(lambda: scene.site.asked("/healthz/ready/") == 200, 30.0)
    until(lambda: settled(asked), SETTLE_S, step_s=0.5)
    told = sorted({job.message for job in Job.objects.filter(pk__in=[one.pk for one in asked], state="failed")})
    retried = Job.objects.filter(pk__in=[one.pk for one in asked], attempts__gt=1).count()
    again = asked_again(scene, asked)
    scene.site.stop_workers()
    unclear = [message for message in told if message not in (tasks.NO_ROOM, tasks.LOST)]
    what = f"{how} for {FULL_S:.0f} s; {len(again)} told so and asked for again, {retried} taken up again"
    what += f"; unclear: {unclear}" if unclear else said(again or asked)
    proves = not unclear and (again or retried)  # where nothing was hurt, nothing is proved
    return Outcome("disk full in reductions", count, stored_once(sessions) if proves else 0, what)


def clock_stepped_back(scene: Scene, count: int) -> Outcome:
    """The clock of web and workers steps back by an hour and by a day, while workers reduce and one of them dies."""
    sessions = scene.sessions(count)
    site = scene.site
    site.kill_web()
    site.start_web(hurtable=True)
    asked = [tasks.queue_reduction(session=session, by=scene.people[0]) for session in sessions[: count // 2]]
    site.start_workers(hurtable=True)
    until(lambda: running(asked), 30.0, step_s=0.02)
    site.step_clock(-AN_HOUR_S)
    site.kill_worker(0, hurtable=True)  # what it had in work was last heard of an hour from now
    answers = [scene.posted(reverse("reduce", args=[session.pk]), {}) for session in sessions[count // 2 :]]
    until(lambda: settled(asked), SETTLE_S, step_s=0.5)
    site.step_clock(-A_DAY_S)
    first = sessions[0]  # once more, described otherwise, by a clock before its first result
    facts = {"name": "again", "purpose": "cooling", "unit": str(first.unit_id), "room": str(first.room_id)}
    answers.append(scene.posted(reverse("session-edit", args=[first.pk]), facts | {"time_zone": "UTC"}))
    answers.append(scene.posted(reverse("reduce", args=[first.pk]), {}))
    asked = list(Job.objects.filter(session__in=sessions))
    until(lambda: settled(asked), SETTLE_S, step_s=0.5)
    asked_again(scene, asked)
    site.stop_workers()
    site.step_clock(0.0)
    site.kill_web()
    site.start_web()
    whole = stored_once(sessions[1:]) + _is_chained(sessions[0])
    what = f"an hour, then a day, 1 SIGKILL; answers {sorted(set(answers))}{said(asked)}"
    return Outcome("clock stepped back", count, whole if set(answers) == {302} else 0, what)


def _is_chained(session: Session) -> bool:
    """Say whether the session's second result stands over its first, though the clock says it came before."""
    rows = list(session.reductions.all())
    standing = [row for row in rows if not hasattr(row, "superseded_by")]
    return len(rows) == 2 and len(standing) == 1 and standing[0] == min(rows, key=lambda row: row.reduced_at)


def _sent_to(scene: Scene, session: Session, content: bytes) -> int:
    file = ContentFile(content, name="long.csv")
    return scene.posted(reverse("files", args=[session.pk]), {"files": file})
