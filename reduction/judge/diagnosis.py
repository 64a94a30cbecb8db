"""What the points mean: each with its limit, cross-checks, ratings, shortfall and verdicts, in the light of all."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from math import hypot, isfinite

from reduction.align.timeline import Timeline, group_cells, group_mean, slope_over
from reduction.balance.coil import unseen_latent_w
from reduction.balance.moisture import Air, net_gain
from reduction.balance.water import scale_rate, weighed_rate
from reduction.ground.moist_air import humidity_ratio
from reduction.judge.air_facts import air_side_of, pressure_of
from reduction.judge.airside import across_windows, cross_checks
from reduction.judge.claims import Claimed, claimed_figures, default_condition, named_condition
from reduction.judge.ducted import ducted_point, exhaust_check
from reduction.judge.explain import Shown, shortfall
from reduction.judge.limits import OtherWindow, SeenLevel, WindowFacts, full_speed_power_w, what_limited
from reduction.judge.rated_point import RatedPoint, shared_errors
from reduction.judge.rating import rating_correction
from reduction.judge.verdict import verdicts
from reduction.session import DuctedPoint, Limit, Measured, Point, Role, Session, WindowResult
from reduction.windows.cycles import Cycle, cycles_in, cycles_within, unit_cycle
from reduction.windows.plateaus import levels

CLEARLY = 2.0  # times a limit of steadiness: the state of the unit itself is then in doubt
OF_THE_UNIT = ("variation of unit power", "levels of unit power", "disturbances declared or seen")
NOT_OF_THE_STATE = ("length of the window", "time without data", "mean heat that a cut heater cycle may shift")
NEIGHBOURHOOD_S = 3600.0  # on either side of a window, in which the unit's own cycle shows
NO_POWER = Limit(verdict="cannot tell", because="The unit's power was not logged in this window.")


def diagnose(points: Sequence[Point], timeline: Timeline, session: Session) -> tuple[Point, ...]:
    """Complete the points of one session: limits first, then what rests on them.

    Parameters
    ----------
    points
        As propagated; their limits are not looked at.
    timeline
        Gives cycles of the unit, single room sensors, counters beside logs.

    Returns
    -------
    tuple[Point, ...]
        The same points, in order, with limit, cross-checks, ratings, shortfall and verdicts filled in.
    """
    claimed = claimed_figures(session.unit)
    seen = _levels_seen(timeline)
    facts = [_facts(point, points, timeline, session, seen) for point in points]
    unseen = [
        _unseen(point, fact, timeline, session) if fact and point.capacity_kind == "sensible" else None
        for point, fact in zip(points, facts, strict=True)
    ]
    limits, rated = _limited(points, facts, unseen, claimed)
    airs = [air_side_of(point, timeline, session, claimed) for point in points]
    running = {
        p.label: air for p, air, limit in zip(points, airs, limits, strict=True) if air and limit.verdict != "unit off"
    }
    together = across_windows(running)
    completed = []
    for point, fact, limit, air, each, hidden in zip(points, facts, limits, airs, rated, unseen, strict=True):
        runs = point.label in running
        ducted = _ducted(point, fact, timeline, session) if fact and runs else None
        checks = (*(cross_checks(air, running=runs) if air else ()), *(together if runs else ()))
        checks = (*checks, *exhaust_check(ducted, session.unit.kind))
        concluded = _conclusions(point, fact, each, hidden, session, claimed) if each and fact else {}
        found = {"limit": limit, "cross_checks": checks, "ducted": ducted, **concluded}
        completed.append(point.model_copy(update=found))
    return tuple(completed)


def _limited(
    points: Sequence[Point],
    facts: Sequence[WindowFacts | None],
    unseen: Sequence[Measured | None],
    claimed: Claimed,
) -> tuple[list[Limit], list[RatedPoint | None]]:
    """Limits of all points and what each offers to a correction; points at full speed narrow the others' projection."""
    limits = [_limit(fact, claimed) for fact in facts]
    rated = [_rated(*each) for each in zip(points, facts, limits, unseen, strict=True)]
    top = _full_speed([each for each in rated if each and each.limit.verdict == "at full speed"], claimed)
    limits = [_limit(fact, claimed, top) for fact in facts]
    return limits, [replace(each, limit=limit) if each else None for each, limit in zip(rated, limits, strict=True)]


def _conclusions(
    point: Point, facts: WindowFacts, rated: RatedPoint, unseen: Measured | None, session: Session, claimed: Claimed
) -> dict[str, object]:
    """Ratings, verdicts and the shortfall of a point that cooled at a known condition."""
    conditions = [named_condition(name) for name in session.settings.rating_conditions]
    corrections = [rating_correction([rated], each) for each in conditions or [default_condition(session.unit.kind)]]
    found: dict[str, object] = {
        "ratings": tuple(each for each in corrections if each),
        "verdicts": verdicts(rated, session.unit, session.decision),
    }
    if rated.limit.verdict not in ("unit off", "not steady"):
        expected = full_speed_power_w(facts, claimed)
        shown = Shown(_capacity(point), unseen, (expected[0], expected[2]) if expected else None, facts.on_share)
        found["shortfall"] = shortfall(rated, claimed, shown)
    return found


def _limit(facts: WindowFacts | None, claimed: Claimed, full_speed_w: tuple[float, float] | None = None) -> Limit:
    return NO_POWER if facts is None else what_limited(facts, claimed, full_speed_w)


def _facts(
    point: Point, points: Sequence[Point], timeline: Timeline, session: Session, seen: tuple[SeenLevel, ...]
) -> WindowFacts | None:
    room, known = point.conditions.get("room_temp_c"), {name: m.value for name, m in point.conditions.items()}
    if room is None or point.cop is None:
        return None
    outdoor, cycle = _outdoor(point), _cycle(point.window, timeline)
    entering = point.conditions.get("return_temp_c", room)
    return WindowFacts(
        kind=session.unit.kind,
        compressor=session.unit.compressor,
        bypass_factor=session.unit.bypass_factor,
        power_w=point.power_w,
        power_u_w=point.power_u95_w / 2.0,
        capacity_w=point.capacity_w,
        capacity_u_w=point.capacity_u_w,
        room_temp_c=room.value,
        room_wet_bulb_c=known.get("room_wet_bulb_c"),
        outdoor_temp_c=outdoor.value if outdoor else None,
        supply_temp_c=known.get("supply_temp_c"),
        return_temp_c=entering.value,
        split_u_c=hypot(point.conditions.get("supply_temp_c", entering).u, entering.u),
        unit_cycles=cycles_in(cycle, point.start.timestamp(), point.end.timestamp()) if cycle else 0.0,
        on_share=cycle.duty if cycle else None,
        unsteady_because="" if cycle else _unsteady(point.window),
        set_room_temp_c=session.settings.set_room_temp_c,
        pressure_pa=pressure_of(session),
        others=tuple(_other(each) for each in points if each is not point and each.usable and _outdoor(each)),
        levels=seen,
    )


def _levels_seen(timeline: Timeline) -> tuple[SeenLevel, ...]:
    """Plateaus of power with the temperatures they worked between; none where those are not logged."""
    outdoor = timeline.of(Role.CONDENSER_INLET_TEMP) or timeline.of(Role.OUTDOOR_TEMP)
    room = timeline.of(Role.ROOM_TEMP) or timeline.of(Role.RETURN_TEMP)
    found = []
    for level in levels(timeline):
        span = level.start.timestamp(), level.end.timestamp()
        inside, outside = (group_mean(group, *span).value for group in (room, outdoor))
        if isfinite(inside) and isfinite(outside):
            found.append(SeenLevel(level.power_w, inside, outside))
    return tuple(found)


def _other(point: Point) -> OtherWindow:
    outdoor = _outdoor(point)
    return OtherWindow(
        power_w=point.power_w,
        capacity_w=point.capacity_w,
        capacity_u_w=point.capacity_u_w,
        room_temp_c=point.conditions["room_temp_c"].value,
        outdoor_temp_c=outdoor.value if outdoor else 0.0,
    )


def _outdoor(point: Point) -> Measured | None:
    """Air at the condenser inlet, else outdoors: the condition that counts is what the unit breathes."""
    return point.conditions.get("condenser_inlet_temp_c") or point.conditions.get("outdoor_temp_c")


def _cycle(window: WindowResult, timeline: Timeline) -> Cycle | None:
    start, end = window.start.timestamp(), window.end.timestamp()
    return cycles_within(unit_cycle(timeline, start - NEIGHBOURHOOD_S, end + NEIGHBOURHOOD_S), start, end)


def _unsteady(window: WindowResult) -> str:
    """Say what makes the state of the unit doubtful; small excesses of the room alone do not."""
    failed = [
        row
        for row in window.evidence
        if not row.passed
        and row.quantity not in NOT_OF_THE_STATE
        and (row.quantity in OF_THE_UNIT or row.value > CLEARLY * row.limit)
    ]
    said = (f"{row.quantity} {row.value:.2g} {row.quantity_unit} (limit {row.limit:g})" for row in failed)
    return "; ".join(said) + "." if failed else ""


def _capacity(point: Point) -> Measured:
    return Measured(value=point.capacity_w, u=point.capacity_u_w)


def _unseen(point: Point, facts: WindowFacts, timeline: Timeline, session: Session) -> Measured:
    """Latent heat a dry balance may have missed; without humidifier and people only leaks and the room can feed it."""
    rh = point.conditions.get("room_rh_percent")
    ratio = float(humidity_ratio(facts.room_temp_c, rh.value, facts.pressure_pa)) if rh else None
    entering = facts.room_temp_c if facts.return_temp_c is None else facts.return_temp_c
    most = float("inf")
    if rh and ratio is not None and session.moisture.humidifier == "none" and not session.people:
        cells = group_cells(timeline, Role.ROOM_RH)
        slope = slope_over(timeline, cells, point.start.timestamp(), point.end.timestamp()).per_s
        drying = slope * ratio / rh.value if isfinite(slope) and rh.value else 0.0
        of_u = rh.u / rh.value * ratio if rh.value else 0.0
        air = Air(facts.room_temp_c, ratio, of_u, drying, None, facts.coil, entering, facts.pressure_pa)
        gain = net_gain(session, air, 0.0)
        most = gain.kg_per_s + 2.0 * gain.u_kg_per_s
    return unseen_latent_w(point.capacity_w, ratio, facts.coil, entering, facts.pressure_pa, most)


def _rated(point: Point, facts: WindowFacts | None, limit: Limit, unseen: Measured | None) -> RatedPoint | None:
    """Return what a correction needs; None where nothing was cooled, or the condition is not known."""
    outdoor = _outdoor(point)
    if facts is None or outdoor is None or not point.usable or point.capacity_w <= point.capacity_u95_w:
        return None
    capacity = _capacity(point)
    if unseen is not None:
        capacity = Measured(value=capacity.value + unseen.value, u=hypot(capacity.u, unseen.u))
    return RatedPoint(
        kind=facts.kind,
        capacity=capacity,
        power=Measured(value=point.power_w, u=point.power_u95_w / 2.0),
        room_temp_c=point.conditions["room_temp_c"],
        room_wet_bulb_c=point.conditions.get("room_wet_bulb_c"),
        outdoor_temp_c=outdoor,
        limit=limit,
        coil=facts.coil,
        supply_temp_c=facts.supply_temp_c,
        pressure_pa=facts.pressure_pa,
        common=shared_errors(point, capacity.value),
    )


def _ducted(point: Point, facts: WindowFacts, timeline: Timeline, session: Session) -> DuctedPoint | None:
    """A portable's machine by itself; water counts as condensed unless the unit throws it on its condenser."""
    start, end = point.start.timestamp(), point.end.timestamp()
    rates = (scale_rate(scale, start, end) for scale in timeline.of(Role.CONDENSATE_MASS))
    condensed = next((rate for rate in rates if rate), None)
    condensed = condensed or weighed_rate(session.moisture.weighings, "condensate", start, end)
    return ducted_point(
        point,
        session.unit,
        coil=facts.coil,
        condensed=None if session.moisture.condensate_on_condenser else condensed,
        pressure_pa=facts.pressure_pa,
    )


def _full_speed(at_top: Sequence[RatedPoint], claimed: Claimed) -> tuple[float, float] | None:
    """Capacity interval [W] at the claim's condition from all points of the session at full speed."""
    correction = rating_correction(at_top, claimed.condition)
    if correction is None:
        return None
    return correction.capacity_w - correction.capacity_u95_w, correction.capacity_w + correction.capacity_u95_w
