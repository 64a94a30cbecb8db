"""Builders with defaults: a test names only what it is about."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from typing import Any

from django.core.files.base import ContentFile

from reduction import session as doc
from reduction.method import METHOD_VERSION
from tests import logs
from tests_app.actions import upload
from tests_app.models import Point, Reduction, Session
from units.models import Bench, Claim, Instrument, Membership, Person, PublishedPoint, Review, Room, RoomValue, Unit
from units.models import Edition as EditionRow

NOON = datetime(2026, 7, 14, 12, tzinfo=UTC)
_number = itertools.count(1)


def a_bench(**fields: Any) -> Bench:
    number = next(_number)
    return Bench.objects.create(**{"name": f"Bench {number}", "slug": f"bench-{number}"} | fields)


def a_person(*, bench: Bench | None = None, role: str = "", **fields: Any) -> Person:
    person = Person.objects.create_user(**{"username": f"person{next(_number)}"} | fields)
    if bench is not None:
        Membership.objects.create(bench=bench, person=person, role=role or "reader")
    return person


def a_unit(*, bench: Bench, claims: dict[str, tuple[float, str, float]] | None = None, **fields: Any) -> Unit:
    """Make a unit; `claims` maps a quantity to (value, unit of the value, value in SI)."""
    defaults = {"maker": "Quellmar", "model": f"W{next(_number)}", "kind": "window", "compressor": "fixed_speed"}
    unit = Unit.objects.create(bench=bench, **defaults | fields)
    stated = {"capacity": (8000.0, "Btu/h", 2344.6)} if claims is None else claims
    for quantity, (value, quantity_unit, value_si) in stated.items():
        Claim.objects.create(unit=unit, quantity=quantity, value=value, quantity_unit=quantity_unit, value_si=value_si)
    return unit


def a_room(*, bench: Bench, characterised: bool = True, **fields: Any) -> Room:
    defaults = {"name": f"Room {next(_number)}", "volume_m3": 34.0, "construction": "light"}
    room = Room.objects.create(bench=bench, **defaults | fields)
    if characterised:
        RoomValue.objects.create(
            room=room,
            valid_from=(NOON - timedelta(days=60)).date(),
            surfaces=[{"to": "outdoor", "ua_w_per_k": 14.0, "u95_w_per_k": 2.0}],
            c_eff_j_per_k=400_000.0,
            c_eff_u95_j_per_k=90_000.0,
            found_by="co-heating run",
        )
    return room


def an_instrument(*, bench: Bench, **fields: Any) -> Instrument:
    defaults = {"name": f"plug {next(_number)}", "quantity": "power", "gain_limit": 0.015, "offset_limit": 1.0}
    return Instrument.objects.create(bench=bench, **defaults | fields)


def a_session(
    *, bench: Bench, unit: Unit | None = None, room: Room | None = None, with_logs: Sequence[str] = (), **fields: Any
) -> Session:
    """Make a session; `with_logs` names files of `tests/logs.py` that are uploaded into it."""
    unit = unit or a_unit(bench=bench)
    room = room or a_room(bench=bench)
    session = Session.objects.create(bench=bench, unit=unit, room=room, **{"name": f"Session {next(_number)}"} | fields)
    if with_logs:
        files = [ContentFile(logs.LOGS[name](), name=f"{name}.csv") for name in with_logs]
        outcome = upload.keep_files(session=session, files=files, by=a_person(bench=bench, role="tester"))
        assert outcome.refused == []
    return session


RESULT_FACTS: dict[str, Any] = {
    "label": "A",
    "usable": True,
    "conditions": {"room_temp_c": doc.Measured(value=26.7, u=0.1), "outdoor_temp_c": doc.Measured(value=35.0, u=0.1)},
    "capacity_kind": "sensible",
    "capacity_u_w": 30.0,
    "capacity_u95_w": 60.0,
    "sensible_u95_w": 60.0,
    "latent_w": None,
    "latent_u95_w": None,
    "shr": None,
    "power_u95_w": 8.0,
    "cop_u95": 0.1,
    "eer_u95": 0.3,
    "k": 2.0,
    "dof": None,
    "limit": doc.Limit(verdict="at full speed", because="Power is at the highest level seen."),
}
HEATER_LINE: dict[str, Any] = {"name": "heater plug gain", "quantity_unit": "W", "u": 30.0, "contribution_w": 30.0}


def a_result_point(*, capacity_w: float = 2300.0, power_w: float = 700.0, **fields: Any) -> doc.Point:
    """Make the typed result of one window, consistent in itself."""
    span = {"start": fields.get("start", NOON)}
    span["end"] = fields.get("end", span["start"] + timedelta(hours=1))
    budget = doc.Component(value=capacity_w, sensitivity=1.0, share=1.0, **HEATER_LINE)
    figures = {
        "capacity_w": capacity_w,
        "sensible_w": capacity_w,
        "power_w": power_w,
        "cop": capacity_w / power_w,
        "eer_btu_per_wh": capacity_w / power_w * 3.412142,
        "interval_w": (capacity_w - 60.0, capacity_w + 60.0),
        "terms": (doc.Term(name="heaters", value_w=capacity_w, u_w=30.0),),
        "budget": (budget,),
        "window": doc.WindowResult(label="A", proposed=True, steady=True, **span),
    }
    return doc.Point(**RESULT_FACTS | span | figures | fields)


def a_reduction(*, session: Session, points: tuple[doc.Point, ...] | None = None, **fields: Any) -> Reduction:
    """Make a stored reduction with its points, as if a reduction had run."""
    points = (a_result_point(),) if points is None else points
    result = doc.Result(
        method_version=METHOD_VERSION,
        session_name=session.name,
        synthetic=session.is_synthetic,
        session_sha256="0" * 64,
        files=(),
        channels=(),
        points=points,
        findings=(),
    )
    defaults = {
        "method_version": METHOD_VERSION,
        "input_sha256": f"{next(_number):064x}",
        "document": {},
        "result": result.model_dump(mode="json"),
        "reduced_at": NOON + timedelta(hours=3),
    }
    reduction = Reduction.objects.create(session=session, **defaults | fields)
    for position, point in enumerate(points):
        _stored_point(reduction, position, point)
    return reduction


def _stored_point(reduction: Reduction, position: int, point: doc.Point) -> Point:
    same = (
        "label start end usable capacity_w capacity_u95_w capacity_kind power_w power_u95_w "
        "cop cop_u95 eer_btu_per_wh eer_u95"
    )
    conditions = {name: measured.value for name, measured in point.conditions.items()}
    return Point.objects.create(
        reduction=reduction,
        unit=reduction.session.unit,
        position=position,
        limit=point.limit.verdict,
        detail=point.model_dump(mode="json"),
        **{
            name: conditions.get(name)
            for name in ("room_temp_c", "room_wet_bulb_c", "room_rh_percent", "outdoor_temp_c")
        },
        **{name: getattr(point, name) for name in same.split()},
    )


def a_point(*, unit: Unit, **fields: Any) -> Point:
    """Make one stored point of a unit, with the session and reduction it came from."""
    session = a_session(bench=unit.bench, unit=unit, is_synthetic=unit.is_synthetic)
    return a_reduction(session=session, points=(a_result_point(**fields),)).points.get()


def a_review(*, bench: Bench, units: tuple[Unit, ...] = (), **fields: Any) -> Review:
    number = next(_number)
    review = Review.objects.create(bench=bench, **{"slug": f"review-{number}", "title": f"Review {number}"} | fields)
    review.units.set(units)
    return review


def a_published_point(*, unit: Unit, **fields: Any) -> PublishedPoint:
    """Make a row of the public table with an edition behind it."""
    review = fields.pop("review", None) or a_review(bench=unit.bench, units=(unit,))
    edition = fields.pop("edition", None) or EditionRow.objects.create(
        review=review, number=1, document="{}", sha256="0" * 64, html="<p>Edition</p>", published_at=NOON
    )
    defaults = {
        "label": "A",
        "room_temp_c": 26.7,
        "outdoor_temp_c": 35.0,
        "capacity_w": 2300.0,
        "capacity_u95_w": 60.0,
        "capacity_kind": "sensible",
        "power_w": 700.0,
        "power_u95_w": 8.0,
        "eer_btu_per_wh": 11.2,
        "eer_u95": 0.3,
        "cop": 3.29,
        "cop_u95": 0.1,
        "limit": "at full speed",
        "measured_at": NOON,
    }
    return PublishedPoint.objects.create(edition=edition, unit=unit, **defaults | fields)
