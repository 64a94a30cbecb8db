"""Build the demo's bench: its people, rooms, instruments and units, then every session by the doors a person uses."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import ExitStack
from datetime import date
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.files import File

from fixtures.demo.document import claims, instrument, known_room
from fixtures.demo.generate import make, scenario
from fixtures.demo.room import Fabric
from reduction import session as doc
from reduction.judge.claims import claim_in_si
from tests_app.actions import mapping, reduce, sessions, upload, windows
from tests_app.models import Reduction, Session
from units.actions import instruments, people, rooms
from units.actions import units as unit_actions
from units.forms.unit import parse_tags
from units.management import demo_reviews
from units.models import Bench, Claim, Instrument, Membership, Person, Room, RoomValue, Unit

Spec = dict[str, Any]
Tell = Callable[[str], None]
FACTS = ("fixed_loads", "moisture", "events", "heater_kind", "notes")


def build(*, password: str, tell: Tell) -> Bench:
    """Build what is missing of the demo; what is there already, a person's changes included, stays."""
    world = scenario()
    owner = _people(world, password)
    bench = _bench(world, owner)
    its_rooms = {key: _room(bench, world, key, owner) for key in world["rooms"]}
    probes = {one["id"]: _instrument(bench, one, owner) for one in world["instruments"]}
    plans = [(unit, plan) for unit in world["units"] for plan in unit["sessions"]]
    for number, (spec, plan) in enumerate(plans, start=1):
        unit = _unit(bench, world, spec, owner)
        if unit.sessions.filter(name=plan["name"], reductions__isnull=False).exists():
            continue
        tell(f"[{number:2}/{len(plans)}] {unit}: {plan['name']} … ", ending="")
        made = make(world, spec, plan, Path(settings.DATA_DIR) / "demo")
        reduction = _session(bench, unit, its_rooms[plan["room"]], probes, made.document, made.folder, owner)
        tell(_figures(reduction))
    for review in demo_reviews.publish_all(bench=bench, by=owner):
        number = review.editions.count()
        tell(f"Review: {review.title}, {f'edition {number}' if number else 'a draft'}")
    return bench


def _people(world: Spec, password: str) -> Person:
    """Return the owner; everybody of the demo signs in with the one password that was made for it."""
    for spec in world["people"]:
        person, is_new = Person.objects.get_or_create(
            username=spec["username"], defaults={"first_name": spec["first_name"], "last_name": spec["last_name"]}
        )
        if is_new:
            person.set_password(password)
            person.save(update_fields=["password"])
    return Person.objects.get(username=next(spec["username"] for spec in world["people"] if spec["role"] == "owner"))


def _bench(world: Spec, owner: Person) -> Bench:
    spec = world["bench"]
    bench = Bench.objects.filter(slug=spec["slug"], is_synthetic=True).first()
    if bench is None:
        bench = people.open_bench(name=spec["name"], about=spec["about"], by=owner)
        bench.slug, bench.is_synthetic = spec["slug"], True
        bench.save(update_fields=["slug", "is_synthetic"])
    for one in world["people"]:
        if not Membership.objects.filter(bench=bench, person__username=one["username"]).exists():
            people.admit(bench=bench, username=one["username"], role=one["role"], by=owner)
    return bench


def _room(bench: Bench, world: Spec, key: str, by: Person) -> Room:
    spec = world["rooms"][key]
    there = bench.rooms.filter(name=spec["name"]).first()
    if there is not None:
        return there
    known = known_room(world, key, Fabric(**spec["truth"]))
    fields = {name: known[name] for name in ("name", "volume_m3", "floor_m2", "construction")}
    room = rooms.record(room=Room(**fields), bench=bench, by=by)
    value = RoomValue(
        valid_from=date.fromisoformat(spec["valid_from"]),
        c_eff_j_per_k=known["c_eff_j_per_k"],
        c_eff_u95_j_per_k=known["c_eff_u95_j_per_k"],
        includes_infiltration=known["surfaces_include_infiltration"],
        found_by=known["found_by"],
    )
    rooms.record_value(room=room, value=value, surfaces=known["surfaces"], by=by)
    return room


def _instrument(bench: Bench, spec: Spec, by: Person) -> Instrument:
    there = bench.instruments.filter(name=spec["id"]).first()
    if there is not None:
        return there
    stated = instrument(spec)
    return instruments.record(instrument=Instrument(name=stated.pop("id"), **stated), bench=bench, by=by)


def _unit(bench: Bench, world: Spec, spec: Spec, by: Person) -> Unit:
    there = bench.units.filter(maker=spec["maker"], model=spec["model"]).first()
    if there is not None:
        return there
    same = ("maker", "model", "kind", "compressor", "refrigerant", "serial", "obtained", "obtained_detail")
    more = ("afterwards", "price", "claimed_air_flow_m3_per_h", "notes")
    fields = {name: spec[name] for name in same + more if name in spec}
    unit = Unit(price_currency="USD", voltage_v=120.0, is_synthetic=True, **fields)
    tags = parse_tags(", ".join(spec["tags"]))
    return unit_actions.record(unit=unit, bench=bench, tags=tags, claims=list(_claims(world, spec)), by=by)


def _claims(world: Spec, spec: Spec) -> Iterator[Claim]:
    for stated in claims(world, spec):
        condition = dict(stated.pop("condition"))
        value_si = claim_in_si(doc.Claim(**stated))
        yield Claim(value_si=value_si, condition_name=condition.pop("name"), **stated, **condition)


def _session(
    bench: Bench, unit: Unit, room: Room, probes: dict[str, Instrument], document: Spec, folder: Path, by: Person
) -> Reduction:
    """Make one session as a tester would: describe it, drop its files, confirm what was read, reduce."""
    for broken_off in unit.sessions.filter(name=document["name"], reductions__isnull=True):
        sessions.remove(session=broken_off, by=by)
    facts = {name: document[name] for name in FACTS} | {"reduction_settings": document["settings"]}
    facts |= {"unit_facts": {"ducts": document["unit"]["ducts"]}} if "ducts" in document["unit"] else {}
    described = {name: document[name] for name in ("name", "purpose", "time_zone")}
    session = sessions.create(bench=bench, unit=unit, room=room, rule=doc.DecisionRule(), by=by, **described)
    sessions.state_facts(session=session, facts=facts, by=by)
    _drop(session, [folder / log["path"] for log in document["files"]], by)
    for log in document["files"]:
        said = [channel for channel in document["channels"] if channel["file"] == log["path"]]
        _confirm(session, log, said, probes, by)
    proposed = windows.propose(session=session, by=by) if session.purpose == "cooling" else []
    for window in proposed:
        windows.accept(window=window, by=by)
    return reduce.run_and_store(session=session, by=by)


def _drop(session: Session, paths: list[Path], by: Person) -> None:
    """Drop the session's files, all at once."""
    with ExitStack() as stack:
        files = [File(stack.enter_context(path.open("rb")), name=path.name) for path in paths]
        outcome = upload.keep_files(session=session, files=files, by=by)
    for error in outcome.refused:
        raise error


def _confirm(session: Session, log: Spec, said: list[Spec], probes: dict[str, Instrument], by: Person) -> None:
    """Say how one file's stamps are meant, and confirm each of its channels."""
    file = session.files.get(name=log["path"])
    if "profile" in log:
        mapping.read_as(file=file, profile=log["profile"], by=by)
    if "clock" in log:
        mapping.set_clock(file=file, clock=log["clock"], by=by)
    rows = {row.column: row for row in file.channels.order_by("position")}
    choices = {rows[channel["column"]].pk: _choice(channel, probes) for channel in said}
    mapping.confirm(channels=list(rows.values()), choices=choices, by=by)


def _choice(channel: Spec, probes: dict[str, Instrument]) -> Spec:
    same = ("role", "quantity_unit", "kind", "place", "placement_u_c", "heater_kind")
    choice = {name: channel[name] for name in same if name in channel}
    return choice | {"instrument": probes[channel["instrument"]]}


def _figures(reduction: Reduction) -> str:
    """Return the figures of a reduction in a line."""
    fit = reduction.result["room_fit"]
    if fit is not None:
        return " and ".join(f"{each['ua_w_per_k']:.1f} W/K to {each['to']}" for each in fit["surfaces"])
    points = [
        f"{point.capacity_w:.0f} ± {point.capacity_u95_w:.0f} W" for point in reduction.points.filter(usable=True)
    ]
    return ", ".join(points) or "no usable point"
