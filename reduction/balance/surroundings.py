"""Heat from around the room: through each surface by its own temperature difference, and with air that leaks in."""

from __future__ import annotations

from collections.abc import Sequence
from math import hypot

from reduction.align.timeline import Series
from reduction.balance.draft import Draft
from reduction.balance.moisture import TYPICAL_RATIO, infiltration_m3_per_s
from reduction.ground.moist_air import heat_capacity_j_per_kg_k, specific_volume_m3_per_kg
from reduction.room.envelope import Conductance, conductances, told_apart
from reduction.session import Measured, Role, Severity
from reduction.uncertainty.ledger import Quantity, total
from reduction.uncertainty.propagation import Input
from reduction.uncertainty.readings import Temperature, enter_temperature, mean_value

RETURN_FOR_ROOM_U_C = 0.5
CONDENSER_FOR_OUTDOOR_U_C = 2.0
INDOORS_C = (18.0, 30.0)  # rest of a house, whatever the room is held at
OUTDOOR_UNKNOWN_U_K = 7.0
"""What a stand-in for a missing temperature costs, as standard uncertainties: common practice, no source."""
INDOORS_U_K = (INDOORS_C[1] - INDOORS_C[0]) / 12**0.5
OUTDOOR_MATTERS_W_PER_K = 0.5


def room_temperature(draft: Draft) -> Temperature | None:
    """Enter the room's temperature: its sensors, else the return air; None, with a finding, where neither is known."""
    room = known(draft, Role.ROOM_TEMP)
    if room:
        return enter_temperature(draft.ledger, "room", room, draft.start_s, draft.end_s, room=draft.room_key)
    returns = known(draft, Role.RETURN_TEMP)
    if not returns:
        draft.say(
            "no_room_temperature",
            Severity.SEVERE,
            "No room temperature is known in this window, so there is no balance.",
            remedy="Give at least one channel the role room_temp.",
        )
        return None
    draft.say(
        "return_air_for_room",
        Severity.WARNING,
        f"No room sensor: the return air stands in for the room's, within {2 * RETURN_FOR_ROOM_U_C:g} K.",
        remedy="Hang two or more sensors in the room, away from the heater and the supply air.",
    )
    return _stand_in(draft, "room", returns, RETURN_FOR_ROOM_U_C)


def known(draft: Draft, *roles: Role) -> tuple[Series, ...]:
    """Channels of these roles that hold anything in the window."""
    return tuple(s for s in draft.series(*roles) if mean_value(s, draft.start_s, draft.end_s) is not None)


def _stand_in(draft: Draft, name: str, group: Sequence[Series], u_c: float) -> Temperature:
    """Another place's temperature with the uncertainty of standing in."""
    found = enter_temperature(draft.ledger, name, group, draft.start_s, draft.end_s, room=draft.room_key)
    shift = draft.ledger.enter(
        Input(f"{name}: stands in for another place", 0.0, u_c, "K", shared_key=f"stand-in:{draft.room_key}:{name}")
    )
    quantity = found.quantity
    return Temperature(
        lambda x: quantity(x) + shift(x),
        Measured(value=found.measured.value, u=hypot(found.measured.u, u_c)),
        found.mean,
    )


def enter_envelope(draft: Draft, room: Temperature) -> dict[str, Temperature]:
    """Enter the gain through each surface; return the temperatures of the neighbours by their name."""
    neighbours: dict[str, Temperature] = {}
    surfaces = conductances(draft.session.room)
    for surface, ua in zip(surfaces, _enter_conductances(draft, surfaces), strict=True):
        outside = neighbours.get(surface.to) or _neighbour(draft, surface, room)
        neighbours[surface.to] = outside
        gain = _gain(ua, outside.quantity, room.quantity)
        draft.ledger.add_term(f"envelope to {surface.to}", gain, f"UA·ΔT; UA {surface.how}")
    return neighbours


def _enter_conductances(draft: Draft, surfaces: Sequence[Conductance]) -> list[Quantity]:
    """Enter each UA as what it shares with those before it, told by one run, and a part of its own."""
    factor = told_apart(surfaces)
    entered: list[Quantity] = []
    found: list[Quantity] = []
    for i, surface in enumerate(surfaces):
        shared = [(j, factor[i, j] * surface.u_w_per_k) for j in range(i) if factor[i, j] and surfaces[j].u_w_per_k]
        apart = f", apart from what {surfaces[shared[0][0]].to} shares with it" if shared else ""
        own = draft.ledger.enter(
            Input(
                f"UA to {surface.to}{apart}",
                surface.ua_w_per_k,
                float(factor[i, i] * surface.u_w_per_k),
                "W/K",
                source=surface.how,
                shared_key=f"room:{draft.room_key}:ua:{surface.to}",
            )
        )
        entered.append(own)
        parts = [
            _deviation(entered[j], surfaces[j].ua_w_per_k, part / (factor[j, j] * surfaces[j].u_w_per_k))
            for j, part in shared
        ]
        found.append(total(own, *parts))
    return found


def _deviation(quantity: Quantity, value: float, factor: float) -> Quantity:
    return lambda x: (quantity(x) - value) * factor


def _gain(ua: Quantity, outside: Quantity, inside: Quantity) -> Quantity:
    return lambda x: ua(x) * (outside(x) - inside(x))


def _neighbour(draft: Draft, surface: Conductance, room: Temperature) -> Temperature:
    if surface.to == "outdoor":
        return _outdoor(draft, surface, room)
    adjacent = known(draft, Role.ADJACENT_TEMP)
    named = tuple(s for s in adjacent if s.place == surface.to)
    places = {s.place for s in adjacent}
    if named or (adjacent and (len(places) == 1 or surface.assumed)):
        group = named or adjacent
        return enter_temperature(draft.ledger, surface.to, group, draft.start_s, draft.end_s, room=draft.room_key)
    draft.say(
        "neighbour_temperature_missing",
        Severity.WARNING,
        f"No temperature is known beyond the surface to {surface.to}; it is taken as an indoor space at "
        f"{INDOORS_C[0]:g} to {INDOORS_C[1]:g} °C, which makes its gain of {surface.ua_w_per_k:.0f} W/K uncertain by "
        f"{2 * INDOORS_U_K * surface.ua_w_per_k:.0f} W.",
        remedy=f"Log the temperature there and name the channel's place “{surface.to}”.",
    )
    middle = sum(INDOORS_C) / 2.0
    indoors = draft.ledger.enter(
        Input(
            f"{surface.to}: unknown temperature",
            middle,
            INDOORS_U_K,
            "°C",
            source="not measured",
            shared_key=f"stand-in:{draft.room_key}:{surface.to}",
            shape="rectangular",
        )
    )
    return Temperature(indoors, Measured(value=middle, u=INDOORS_U_K), room.mean)


def _outdoor(draft: Draft, surface: Conductance, room: Temperature) -> Temperature:
    outdoor = known(draft, Role.OUTDOOR_TEMP)
    if outdoor:
        return enter_temperature(draft.ledger, "outdoor", outdoor, draft.start_s, draft.end_s, room=draft.room_key)
    inlet = known(draft, Role.CONDENSER_INLET_TEMP)
    if inlet:
        draft.say(
            "condenser_inlet_for_outdoor",
            Severity.WARNING,
            "No outdoor sensor: the condenser's inlet stands in for the outdoor air, within "
            f"{2 * CONDENSER_FOR_OUTDOOR_U_C:g} K.",
            remedy="Hang a sensor outdoors, in the shade and out of the unit's discharge.",
        )
        return _stand_in(draft, "outdoor", inlet, CONDENSER_FOR_OUTDOOR_U_C)
    if surface.ua_w_per_k > OUTDOOR_MATTERS_W_PER_K:
        draft.say(
            "outdoor_temperature_missing",
            Severity.SEVERE,
            f"No outdoor temperature is known in this window, so the gain through {surface.ua_w_per_k:.0f} W/K to "
            "outdoors cannot be told.",
            remedy="Add a log of the outdoor or the condenser inlet temperature.",
        )
    return _guessed(draft, "outdoor", room, OUTDOOR_UNKNOWN_U_K)


def _guessed(draft: Draft, name: str, room: Temperature, u_k: float) -> Temperature:
    apart = draft.ledger.enter(
        Input(f"{name}: unknown temperature less the room's", 0.0, u_k, "K", source="not measured", shape="rectangular")
    )
    inside = room.quantity
    measured = Measured(value=room.measured.value, u=hypot(room.measured.u, u_k))
    return Temperature(lambda x: inside(x) + apart(x), measured, room.mean)


def enter_infiltration(draft: Draft, room: Temperature, neighbours: dict[str, Temperature]) -> None:
    """Enter the sensible heat of air that leaks in, where the surfaces' UA does not hold it already."""
    given = draft.session.room
    if given.surfaces_include_infiltration or not given.surfaces:
        return
    flow = _infiltration(draft)
    source = neighbours.get(given.infiltration_from) or _neighbour(
        draft, Conductance(given.infiltration_from, 1.0, 0.0, False, ""), room
    )
    dry_m3_per_kg = float(specific_volume_m3_per_kg(source.measured.value, TYPICAL_RATIO, draft.pressure_pa))
    per_k = float(heat_capacity_j_per_kg_k(TYPICAL_RATIO)) / dry_m3_per_kg
    outside, inside = source.quantity, room.quantity
    draft.ledger.add_term(
        f"infiltration from {given.infiltration_from}",
        lambda x: per_k * flow(x) * (outside(x) - inside(x)),
        "ρ·c·flow·ΔT, sensible part",
    )


def _infiltration(draft: Draft) -> Quantity:
    """Enter the flow of air that leaks in: the tester's, or a band by volume, which is said. [m³/s]"""
    value, u = infiltration_m3_per_s(draft.session.room)
    if draft.session.room.infiltration_m3_per_h is None:
        draft.say(
            "infiltration_assumed",
            Severity.NOTE,
            f"The surfaces' UA is stated without infiltration and no flow is given: {3600 * value:.0f} m³/h within "
            f"{2 * 3600 * u:.0f} is assumed for this volume.",
            remedy="Find UA with the air leaks in it, by a co-heating run in the same room.",
        )
    key = f"room:{draft.room_key}:infiltration"
    return draft.ledger.enter(Input("infiltration", value, u, "m³/s", shared_key=key, source="stated or by volume"))
