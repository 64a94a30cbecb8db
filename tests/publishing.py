"""A review that is ready to be published, full of things that must not be told."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from reduction import session as doc
from tests import builders
from tests_app.models import Reduction
from units.actions import editions, reviews
from units.models import Bench, Claim, Edition, Person, Review, Unit

SERIAL = "QX-7731-B"
FILES = ("attic_plug7.csv", "hall probes 2026.csv")
COLUMN = "Wi-Fi Larks nest plug"
INSTRUMENT = "plug seven"
ROOM = "Aunt Mabel's box room"
SESSION = "Monday behind the curtain"
NOTE = "The neighbour complained about the noise at nine."
PERSON = "odalys.fenwick"
PRIVATE = (SERIAL, *FILES, "attic_plug7", COLUMN, INSTRUMENT, ROOM, SESSION, NOTE, PERSON)

DOCUMENT: dict[str, Any] = {
    "name": SESSION,
    "files": [{"path": name} for name in FILES],
    "channels": [{"file": FILES[0], "column": COLUMN, "role": "heater_constant_power"}],
    "instruments": [{"id": INSTRUMENT, "quantity": "power"}],
    "room": {"name": ROOM, "volume_m3": 34.0, "construction": "light"},
    "events": [{"what": NOTE, "kind": "note"}],
    "notes": NOTE,
    "settings": {},
}
TELLING = doc.Finding(
    code="stuck_sensor",
    severity=doc.Severity.WARNING,
    sentence=f"{COLUMN} of {FILES[0]} stood still for 4 min on {INSTRUMENT} in {ROOM} ({SESSION}).",
    subject=COLUMN,
)


def a_telling_point(**fields: Any) -> doc.Point:
    """Return a point whose sentences name files, columns, instruments and rooms, as those of a reduction do."""
    budget = doc.Component(
        name=f"gain of {INSTRUMENT}",
        value=1.0,
        quantity_unit="W/W",
        u=0.01,
        sensitivity=-2300.0,
        contribution_w=30.0,
        share=1.0,
        source=f"reading of {COLUMN}",
        shared_key=f"instrument:{INSTRUMENT}:gain",
    )
    term = doc.Term(name=f"heater: {COLUMN}", value_w=fields.get("capacity_w", 2300.0), u_w=30.0, how=f"in {FILES[0]}")
    return builders.a_result_point(
        **{"budget": (budget,), "terms": (term,), "findings": (TELLING,), "capacity_kind": "total"} | fields
    )


def a_told_unit(bench: Bench, **fields: Any) -> Unit:
    """Return a unit of which everything is known that a reader must be told, and some that no reader is."""
    known = {
        "obtained": "bought",
        "afterwards": "kept",
        "obtained_detail": "In a shop",
        "serial": SERIAL,
        "notes": NOTE,
    }
    unit = builders.a_unit(bench=bench, **known | fields)
    Claim.objects.filter(unit=unit).update(
        stated_in="Leaflet, March 2026", condition_name="Room unit test", outdoor_temp_c=35.0
    )
    return unit


def a_telling_reduction(unit: Unit, *points: doc.Point, **fields: Any) -> Reduction:
    """Return a reduction of a session whose document names all that is private."""
    session = builders.a_session(bench=unit.bench, unit=unit, name=SESSION, notes=NOTE)
    return builders.a_reduction(session=session, points=points or (a_telling_point(),), document=DOCUMENT, **fields)


def a_ready_review(bench: Bench, by: Person, *points: doc.Point, **fields: Any) -> Review:
    """Return a review that lacks nothing for publication."""
    unit = a_told_unit(bench)
    a_telling_reduction(unit, *points)
    review = reviews.begin(bench=bench, units=[unit], title="A window unit at 35 °C", by=by)
    written = {"disclosure": "Bought by the bench. No ties to the maker.", "body": "It removed {{ P1 capacity }}."}
    return reviews.write(review=review, by=by, **written | fields)


def a_published_review(bench: Bench, by: Person, *points: doc.Point, **fields: Any) -> Edition:
    """Return the first edition of such a review."""
    return editions.publish(review=a_ready_review(bench, by, *points, **fields), by=by)


def reduced_again(review: Review, **fields: Any) -> Reduction:
    """Supersede the reduction behind a review's first point by one with other figures."""
    before = review.points.first().reduction
    return builders.a_reduction(
        session=before.session,
        points=(a_telling_point(**fields),),
        document=DOCUMENT,
        supersedes=before,
        reduced_at=before.reduced_at + timedelta(days=1),
    )
