"""A session of the bench in each state of its work."""

from __future__ import annotations

import pytest
from django.test import Client

from tests import builders
from tests.tests_app import logs
from tests_app.actions import mapping, reduce, upload
from tests_app.models import Channel, Reduction, Session
from units.models import Bench


@pytest.fixture
def session(bench: Bench) -> Session:
    """Return a session without a file."""
    return builders.a_session(bench=bench, name="At 35 °C")


@pytest.fixture
def read_session(session: Session, tester: Client) -> Session:
    """Return a session whose two files were read."""
    taken = upload.keep_files(session=session, files=logs.both(), by=tester.person)
    assert [str(error) for error in taken.refused] == []
    return session


@pytest.fixture
def confirmed_session(read_session: Session, tester: Client) -> Session:
    """Return a session whose channels are confirmed as proposed."""
    channels = list(Channel.objects.filter(file__session=read_session))
    mapping.confirm(channels=channels, choices={channel.pk: {} for channel in channels}, by=tester.person)
    return read_session


@pytest.fixture
def reduction(confirmed_session: Session, tester: Client) -> Reduction:
    """Return the standing reduction of that session."""
    return reduce.run_and_store(session=confirmed_session, by=tester.person)
