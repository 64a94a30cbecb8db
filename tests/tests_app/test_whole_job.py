"""The tester's whole way through the pages, without JavaScript."""

from __future__ import annotations

import pytest
from django.test import Client
from django.urls import reverse

from tests import builders
from tests.tests_app import logs
from tests_app.models import Channel, Job, Point, Session
from units.models import Bench


def as_proposed(session: Session) -> dict[str, str]:
    """Return what the channels page posts where nothing is overruled."""
    said = {}
    for channel in Channel.objects.filter(file__session=session):
        fields = {"role": channel.role, "quantity_unit": channel.quantity_unit, "kind": channel.kind}
        said |= {f"{channel.pk.hex}-{name}": value for name, value in fields.items()}
    return said


@pytest.mark.django_db
def test_files_become_a_defended_capacity(bench: Bench, tester: Client) -> None:
    unit, room = builders.a_unit(bench=bench), builders.a_room(bench=bench)
    fields = {"name": "35 °C", "unit": unit.pk, "room": room.pk, "purpose": "cooling", "time_zone": "Europe/Madrid"}
    made = tester.post(reverse("session-new"), fields)
    session = Session.objects.get()
    assert made.url == reverse("files", args=[session.pk])

    read = tester.post(made.url, {"files": logs.both()}, follow=True).content.decode()
    assert "Power of the unit" in read
    confirmed = tester.post(reverse("channels", args=[session.pk]), as_proposed(session))
    assert confirmed.url == reverse("facts", args=[session.pk])
    tester.post(reverse("windows-propose", args=[session.pk]))
    window = session.windows.get()
    tester.post(reverse("window-decide", args=[session.pk, window.pk]), {"verb": "accept"})
    progress = tester.post(reverse("reduce", args=[session.pk]))
    assert Job.objects.get().state == Job.State.DONE
    result = tester.get(tester.get(progress.url).url).content.decode()

    point = Point.objects.get()
    # Heater 1701 W and UA 14 W/K over 9 K: 1827 W (hand sum of the balance's two terms that are not zero).
    assert point.capacity_w == pytest.approx(1827, abs=point.capacity_u95_w)
    assert point.power_w == pytest.approx(650.5, abs=1)
    assert point.unit == unit
    assert "sensible cooling, a lower bound of the total" in result
