"""Every address for every role. The table is the whole of who may do what; a new address must be entered here."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.db import transaction
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver, reverse

from tests import builders
from tests_app.models import Channel, Evidence, Job, PartialUpload, SessionFile, Window
from units import shelf
from units.actions import editions, handovers, invitations, reviews, shares, tokens
from units.models import (
    Bench,
    CalibrationRecord,
    Collection,
    Handover,
    Invitation,
    MakerComment,
    Membership,
    Person,
    Review,
    ShareLink,
)

ROLES = ("visitor", "stranger", "reader", "tester", "owner")
# Names that come with a package and are tested there.
FOREIGN: set[str] = set()

# name: (method, visitor, stranger, reader, tester, owner). Addresses with an id lead to a thing of the cast's bench;
# the stranger owns another bench. A verb is sent an empty form: 422 or 302 says that the role was enough to try.
TABLE: dict[str, tuple[str, int, int, int, int, int]] = {
    "catalogue": ("get", 200, 200, 200, 200, 200),
    "compare": ("get", 200, 200, 200, 200, 200),
    "chart": ("get", 404, 404, 200, 200, 200),
    "collection-keep": ("post", 302, 302, 403, 302, 302),
    "collection": ("get", 302, 404, 302, 302, 302),
    "collection-drop": ("post", 302, 404, 403, 302, 302),
    "method": ("get", 200, 200, 200, 200, 200),
    "plan": ("get", 200, 200, 200, 200, 200),
    "bench-home": ("get", 302, 200, 200, 200, 200),
    "bench-open": ("post", 302, 422, 422, 422, 422),
    "bench-choose": ("post", 302, 404, 302, 302, 302),
    "bench-archive": ("get", 302, 200, 403, 403, 200),
    "bench-download": ("post", 302, 200, 403, 403, 200),
    "export-begin": ("post", 302, 404, 404, 404, 404),  # who may ask for which kind: test_exports.py
    "export-file": ("get", 302, 404, 404, 404, 404),  # the scene's job is another kind of work
    "bench-delete": ("post", 302, 302, 403, 403, 302),
    "arrival-new": ("get", 302, 200, 200, 200, 200),
    "arrival": ("get", 302, 404, 403, 403, 404),  # the scene's job is of a bench, and another kind of work
    "arrival-drop": ("post", 302, 404, 404, 404, 404),  # likewise; the person's own: test_arrivals.py
    "people": ("get", 302, 200, 200, 200, 200),
    "person-dismiss": ("post", 302, 404, 403, 403, 302),
    "invite": ("post", 302, 422, 403, 403, 422),
    "invitation-revoke": ("post", 302, 404, 403, 403, 302),
    "invitation": ("get", 200, 200, 200, 200, 200),  # who holds the secret may join
    "hand-over": ("post", 302, 422, 403, 403, 422),
    "second-step-require": ("post", 302, 422, 403, 403, 422),
    "offer-withdraw": ("post", 302, 404, 403, 403, 302),
    "offer-answer": ("post", 302, 404, 404, 404, 404),  # the scene's offer is to somebody else
    "units": ("get", 302, 200, 200, 200, 200),
    "unit-new": ("get", 302, 200, 403, 200, 200),
    "units-import": ("get", 302, 200, 403, 200, 200),
    "units-export": ("get", 302, 200, 200, 200, 200),
    "units-export-workbook": ("get", 302, 200, 200, 200, 200),
    "unit": ("get", 404, 404, 200, 200, 200),
    "unit-edit": ("get", 302, 404, 403, 200, 200),
    "sessions": ("get", 302, 200, 200, 200, 200),
    "session-new": ("get", 302, 200, 403, 200, 200),
    "session-import": ("get", 302, 200, 403, 200, 200),
    "job-cancel": ("post", 302, 404, 403, 302, 302),
    "job": ("get", 302, 404, 200, 200, 200),
    "session": ("get", 302, 404, 302, 302, 302),
    "session-edit": ("get", 302, 404, 200, 200, 200),
    "session-remove": ("post", 302, 404, 403, 422, 422),
    "session-document": ("get", 302, 404, 200, 200, 200),
    "files": ("get", 302, 404, 200, 200, 200),
    "file-download": ("get", 302, 404, 200, 200, 200),
    "season": ("get", 302, 404, 200, 200, 200),
    "file-answer": ("post", 302, 404, 403, 422, 422),
    "file-read-as": ("post", 302, 404, 403, 302, 302),
    "file-clock": ("post", 302, 404, 403, 302, 302),
    "file-clock-take": ("post", 302, 404, 403, 422, 422),
    "file-remember": ("post", 302, 404, 403, 302, 302),
    "file-apply": ("post", 302, 404, 403, 404, 404),
    "file-remove": ("post", 302, 404, 403, 302, 302),
    "upload-begin": ("post", 302, 404, 403, 422, 422),
    "upload-part": ("post", 302, 404, 403, 422, 422),
    "upload-finish": ("post", 302, 404, 403, 409, 409),
    "channels": ("get", 302, 404, 200, 200, 200),
    "facts": ("get", 302, 404, 200, 200, 200),
    "decision": ("get", 302, 404, 200, 200, 200),
    "windows": ("get", 302, 404, 200, 200, 200),
    "windows-propose": ("post", 302, 404, 403, 302, 302),
    "window-add": ("post", 302, 404, 403, 422, 422),
    "window-decide": ("post", 302, 404, 403, 302, 302),
    "result": ("get", 302, 404, 200, 200, 200),
    "reduce": ("post", 302, 404, 403, 302, 302),
    "attach": ("post", 302, 404, 403, 404, 404),
    "reduction": ("get", 302, 404, 200, 200, 200),
    "reduction-json": ("get", 302, 404, 200, 200, 200),
    "reduction-document": ("get", 302, 404, 200, 200, 200),
    "rooms": ("get", 302, 200, 200, 200, 200),
    "room-new": ("get", 302, 200, 403, 200, 200),
    "room": ("get", 302, 404, 200, 200, 200),
    "room-edit": ("get", 302, 404, 403, 200, 200),
    "room-value-new": ("get", 302, 404, 403, 200, 200),
    "room-take": ("post", 302, 404, 403, 302, 302),
    "instruments": ("get", 302, 200, 200, 200, 200),
    "instrument-new": ("get", 302, 200, 403, 200, 200),
    "colocation": ("get", 302, 200, 200, 200, 200),
    "instrument": ("get", 302, 404, 200, 200, 200),
    "instrument-edit": ("get", 302, 404, 403, 200, 200),
    "instrument-calibrate": ("get", 302, 404, 403, 200, 200),
    "certificate": ("get", 302, 404, 200, 200, 200),
    "rereductions": ("get", 302, 200, 200, 200, 200),
    "rereduction-begin": ("post", 302, 302, 403, 302, 302),
    "rereduction": ("get", 302, 404, 404, 404, 404),  # the scene's job is another kind of work
    "reviews": ("get", 302, 200, 200, 200, 200),
    "review-new": ("get", 302, 200, 403, 200, 200),
    "review": ("get", 302, 404, 200, 200, 200),
    "review-points": ("post", 302, 404, 403, 302, 302),
    "review-newer": ("post", 302, 404, 403, 302, 302),
    "review-answer": ("post", 302, 404, 403, 302, 302),
    "review-contact": ("post", 302, 404, 403, 422, 422),
    "review-preview": ("get", 302, 404, 200, 200, 200),
    "review-publish": ("get", 302, 404, 403, 403, 200),
    "review-withdraw": ("get", 302, 404, 403, 403, 200),
    "review-share": ("post", 302, 404, 403, 403, 422),
    "share-revoke": ("post", 302, 404, 403, 403, 302),
    "comment-decide": ("post", 302, 404, 403, 403, 302),
    "published": ("get", 200, 200, 200, 200, 200),
    "feed": ("get", 200, 200, 200, 200, 200),
    "data-set": ("get", 200, 200, 200, 200, 200),
    "sitemap": ("get", 200, 200, 200, 200, 200),
    "health": ("get", 200, 200, 200, 200, 200),
    "health-live": ("get", 200, 200, 200, 200, 200),
    "health-ready": ("get", 200, 200, 200, 200, 200),
    "metrics": ("get", 404, 404, 404, 404, 404),  # only with the setting and its secret
    "robots": ("get", 200, 200, 200, 200, 200),
    "edition": ("get", 200, 200, 200, 200, 200),
    "edition-numbered": ("get", 200, 200, 200, 200, 200),
    "edition-json": ("get", 200, 200, 200, 200, 200),
    "edition-file": ("get", 200, 200, 200, 200, 200),
    "edition-csv": ("get", 200, 200, 200, 200, 200),
    "edition-raw": ("get", 404, 404, 404, 404, 404),  # nothing raw was published of it
    "edition-chart": ("get", 200, 200, 200, 200, 200),
    "edition-embed": ("get", 200, 200, 200, 200, 200),
    "shared": ("get", 200, 200, 200, 200, 200),  # who holds the secret reads the draft
    "shared-reply": ("get", 200, 200, 200, 200, 200),
    "sign-in": ("get", 200, 302, 302, 302, 302),
    "sign-in-code": ("get", 302, 302, 302, 302, 302),  # who has given no password is sent to do so
    "second-step": ("get", 302, 200, 200, 200, 200),
    "second-step-begin": ("post", 302, 200, 200, 200, 200),
    "second-step-confirm": ("post", 302, 422, 422, 422, 422),
    "second-step-codes": ("post", 302, 422, 422, 422, 422),
    "second-step-off": ("post", 302, 422, 422, 422, 422),
    "sign-out": ("post", 302, 302, 302, 302, 302),
    "password-change": ("get", 302, 200, 200, 200, 200),
    "display": ("post", 302, 302, 302, 302, 302),
    "tokens": ("get", 302, 200, 403, 403, 200),
    "token-revoke": ("post", 302, 404, 403, 403, 302),
    "api-plan": ("post", 401, 415, 415, 415, 415),  # it reads JSON only
    "api-units": ("get", 401, 200, 200, 200, 200),
    "api-unit": ("get", 401, 404, 200, 200, 200),
    "api-unit-season": ("post", 401, 404, 400, 400, 400),  # no price is stated
    "api-sessions": ("get", 401, 200, 200, 200, 200),
    "api-session": ("get", 401, 404, 200, 200, 200),
    "api-session-document": ("get", 401, 404, 200, 200, 200),
    "api-session-decision": ("get", 401, 404, 200, 200, 200),
    "api-session-file": ("get", 401, 404, 200, 200, 200),
    "api-session-reduce": ("post", 401, 404, 403, 202, 202),
    "api-job": ("get", 401, 404, 200, 200, 200),
    "api-reductions": ("get", 401, 200, 200, 200, 200),
    "api-reduction": ("get", 401, 404, 200, 200, 200),
    "api-points": ("get", 401, 200, 200, 200, 200),
    "api-published-points": ("get", 200, 200, 200, 200, 200),
    "api-published-units": ("get", 200, 200, 200, 200, 200),
    "api-published-comparison": ("get", 400, 400, 400, 400, 400),  # no unit is named
    "api-editions": ("get", 200, 200, 200, 200, 200),
    "api-openapi": ("get", 200, 200, 200, 200, 200),
    "api-schema-session": ("get", 200, 200, 200, 200, 200),
    "api-schema-result": ("get", 200, 200, 200, 200, 200),
}


def all_names(patterns: list[URLPattern | URLResolver] | None = None) -> Iterator[tuple[str, URLPattern]]:
    for pattern in get_resolver().url_patterns if patterns is None else patterns:
        if isinstance(pattern, URLResolver):
            yield from all_names(pattern.url_patterns)
        else:
            yield pattern.name or str(pattern.pattern), pattern


# An API address names its thing `pk`; the thing is the noun of the address's name.
API_THINGS = {"unit": "unit_id", "session": "session_id", "job": "job_id", "reduction": "reduction_id"}


def arguments_of(name: str, scene: dict[str, Any]) -> dict[str, Any]:
    thing = API_THINGS.get(name.removeprefix("api-").partition("-")[0], "")
    return {key: scene[thing if key == "pk" else key] for key in parameters_of(name)}


def parameters_of(name: str) -> list[str]:
    """Return the names of what an address is made with."""
    ((_, parameters), *_), *_ = get_resolver().reverse_dict.getlist(name)[0]
    return parameters


def published_and_shared(bench: Bench) -> tuple[Review, ShareLink, str]:
    """Publish a review of a second unit, so that the first stays the bench's own."""
    owner = builders.a_person(bench=bench, role="owner")
    other = builders.a_unit(bench=bench, claims={}, obtained="bought", afterwards="kept")
    builders.a_point(unit=other)
    review = reviews.begin(bench=bench, units=[other], by=owner)
    reviews.write(review=review, disclosure="Bought.", charts=["tested"], by=owner)
    editions.publish(review=review, by=owner)
    return review, *shares.share(review=review, label="maker", days=7, by=owner)


def invited_and_offered(bench: Bench, person: Person) -> tuple[Invitation, str, Handover]:
    """Invite somebody by a link, and offer the bench to a person."""
    giver = builders.a_person(bench=bench, role="owner")
    invitation, secret = invitations.invite(bench=bench, label="Nils", offered_role="reader", days=7, by=giver)
    return invitation, secret, handovers.offer(bench=bench, username=person.username, stays_as="reader", by=giver)


@pytest.fixture
def scene(bench: Bench) -> dict[str, Any]:
    """Return one of everything, by the name of the address's parameter."""
    unit = builders.a_unit(bench=bench)
    session = builders.a_session(bench=bench, unit=unit)
    reduction = builders.a_reduction(session=session)
    stored = default_storage.save("evidence/x", ContentFile(b"t,a\n"))
    evidence = Evidence.objects.create(bench=bench, sha256="0" * 64, size_bytes=4, stored_as=stored)
    file = SessionFile.objects.create(session=session, evidence=evidence, name="log.csv", reading={"fingerprint": "f"})
    Channel.objects.create(file=file, column="a", role="ignored", quantity_unit="W", kind="instant")
    window = Window.objects.create(session=session, label="A", start=builders.NOON, end=builders.NOON)
    instrument = builders.an_instrument(bench=bench)
    calibration = CalibrationRecord.objects.create(instrument=instrument, valid_from=builders.NOON.date(), how="ice")
    calibration.certificate.save("c.txt", ContentFile(b"ok"))
    person = builders.a_person()
    upload = PartialUpload.objects.create(session=session, name="b.csv", size_bytes=3, started_by=person)
    job = Job.objects.create(bench=bench, session=session, what="reduce")
    other = Membership.objects.create(bench=bench, person=person, role="reader")
    shelf.refresh([unit])
    review, link, secret = published_and_shared(bench)
    comment = MakerComment.objects.create(review=review, link=link, name="Maker", text="No.")
    token, _ = tokens.make(bench=bench, label="script", token_role="reader", days=7, by=person)
    invitation, invited, handover = invited_and_offered(bench, person)
    return {
        "collection_id": Collection.objects.create(bench=bench, name="set").pk,
        "unit_id": unit.pk, "session_id": session.pk, "reduction_id": reduction.pk, "file_id": file.pk,
        "window_id": window.pk, "room_id": session.room_id, "instrument_id": instrument.pk,
        "calibration_id": calibration.pk, "upload_id": upload.pk, "job_id": job.pk, "membership_id": other.pk,
        "bench_id": bench.pk, "name": "tested", "form": "svg", "review_id": review.pk, "link_id": link.pk,
        "comment_id": comment.pk, "slug": review.slug, "number": 1, "sha256": "0" * 64, "secret": secret,
        "token_id": token.pk, "invitation_id": invitation.pk, "handover_id": handover.pk, "invitation_secret": invited,
    }  # fmt: skip


def test_every_address_is_in_the_table() -> None:
    names = {name for name, _ in all_names()}
    assert names - FOREIGN - TABLE.keys() == set(), "enter who may do what"
    assert TABLE.keys() - names == set(), "no such address"


@pytest.mark.parametrize("name", sorted(TABLE))
def test_an_address_answers_each_role_as_the_table_says(
    name: str, scene: dict[str, Any], request: pytest.FixtureRequest
) -> None:
    method, *expected = TABLE[name]
    address = reverse(name, kwargs=arguments_of(name, scene))
    address += f"?unit={scene['unit_id']}" if name == "chart" else ""
    answered = {}
    for role in ROLES:
        client: Client = request.getfixturevalue(role)
        with transaction.atomic():
            answer = getattr(client, method)(address)
            answer.close()
            answered[role] = answer.status_code
            transaction.set_rollback(True)
    assert answered == dict(zip(ROLES, expected, strict=True))
