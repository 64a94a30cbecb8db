"""The heat balance of the room over one window: equation (1) of the method, term by term."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from reduction.align.timeline import Timeline
from reduction.balance.draft import Draft
from reduction.balance.gains import enter_electric, enter_people, enter_radiant, enter_solar, unit_power
from reduction.balance.moisture import PORTABLE, enter_moisture
from reduction.balance.room_air import air_of, note_conditions
from reduction.balance.scatter import enter_repeatability
from reduction.balance.storage import enter_slow_mass, enter_storage
from reduction.balance.surroundings import enter_envelope, enter_infiltration, room_temperature
from reduction.balance.water import WaterRate, scale_rate, weighed_rate
from reduction.ground.moist_air import vaporisation_heat_j_per_kg
from reduction.room.slow_mass import SlowMassRelease
from reduction.session import Finding, Measured, Moisture, Role, Session, Severity
from reduction.uncertainty.ledger import Ledger, Quantity, constant
from reduction.windows.span import Span

FloatArray = NDArray[np.float64]

SHORTEST_S = 300.0  # common practice, no source

OUTPUTS = ("capacity", "sensible", "latent", "power", "cop")


@dataclass(frozen=True)
class Balance:
    """The balance of one window as a measurement model, with what was noticed while it was drawn up.

    `model` maps inputs (k, n) to the rows of `OUTPUTS` followed by one row per term. `latent_known` and
    `power_known` say which rows mean something; `usable` is false after a severe finding.
    """

    label: str
    ledger: Ledger
    kind: Literal["total", "sensible"]
    latent: Quantity | None
    power: Quantity | None
    conditions: dict[str, Measured]
    findings: tuple[Finding, ...]
    moisture_how: str

    @property
    def usable(self) -> bool:
        """Whether nothing severe was found."""
        return not any(finding.severity is Severity.SEVERE for finding in self.findings)

    def model(self, x: FloatArray) -> FloatArray:
        """Evaluate outputs and terms at inputs, shape (k, n) to (5 + terms, n)."""
        terms = np.stack([term.quantity(x) for term in self.ledger.terms])
        capacity = terms.sum(axis=0)
        latent = (self.latent or constant(0.0))(x)
        power = (self.power or constant(1.0))(x)
        return np.vstack([capacity, capacity - latent, latent, power, capacity / power, terms])


def heat_balance(timeline: Timeline, session: Session, span: Span, slow: SlowMassRelease) -> Balance:
    """Draw up the heat balance of the room over one window.

    Q = ΣP + people + ΣUA·(T_neighbour − T_room) + sun + infiltration + slow mass + moisture − C·dT/dt, each term
    positive where it adds to what the unit must have removed.

    Parameters
    ----------
    timeline
        All channels on one clock.
    session
        What the tester knows of room, loads and instruments.
    span
        The window.
    slow
        Heat from walls and furniture over it.

    Returns
    -------
    Balance
        A measurement model with its inputs; findings say what was missing.

    References
    ----------
    Method §1, equation (1); room side of the room calorimeter balance, ISO 5151 (from memory).
    """
    draft = Draft(session, timeline, span)
    _say_too_short(draft)
    heat_w = enter_electric(draft)
    latent_people_w = enter_people(draft)
    enter_solar(draft)
    room = room_temperature(draft)
    if room is not None:
        neighbours = enter_envelope(draft, room)
        enter_infiltration(draft, room, neighbours)
        note_conditions(draft, room)
        enter_storage(draft)
        enter_slow_mass(draft, slow)
    enter_radiant(draft)
    enter_repeatability(draft)
    _say_without_heat(draft, heat_w)
    _say_net_effect(draft)
    kind, latent, how = _moisture(draft, latent_people_w) if room is not None else ("sensible", None, "")
    return Balance(
        label=span.label,
        ledger=draft.ledger,
        kind=kind,
        latent=latent,
        power=unit_power(draft),
        conditions=draft.conditions,
        findings=tuple(draft.findings),
        moisture_how=how,
    )


def _moisture(draft: Draft, latent_people_w: float) -> tuple[Literal["total", "sensible"], Quantity | None, str]:
    air = air_of(draft)
    estimate = np.array([[item.value] for item in draft.ledger.inputs])
    terms = enter_moisture(
        draft.ledger,
        draft.session,
        air,
        condensate=_condensate(draft),
        supply=_rate(draft, "water_supply", Role.WATER_SUPPLY_MASS),
        people_kg_per_s=latent_people_w / float(vaporisation_heat_j_per_kg(air.room_temp_c)),
        dry_capacity_w=float(draft.ledger.capacity(estimate)[0]),
    )
    draft.findings.extend(found.model_copy(update={"subject": draft.span.label}) for found in terms.findings)
    return terms.kind, terms.latent, terms.how


def _rate(draft: Draft, what: Literal["condensate", "water_supply"], role: Role) -> WaterRate | None:
    for scale in draft.series(role):
        found = scale_rate(scale, draft.start_s, draft.end_s)
        if found is not None:
            return found
    return weighed_rate(draft.session.moisture.weighings, what, draft.start_s, draft.end_s)


def _condensate(draft: Draft) -> WaterRate | None:
    rate = _rate(draft, "condensate", Role.CONDENSATE_MASS)
    moisture: Moisture = draft.session.moisture
    if rate is not None and moisture.condensate_on_condenser:
        draft.say(
            "condensate_on_condenser",
            Severity.WARNING,
            "The unit throws condensate on its condenser, so the weighed condensate is too little and is not used.",
            remedy="Drain the pan to a vessel for a moisture test, or weigh the water given to the room.",
        )
        return None
    return rate


def _say_too_short(draft: Draft) -> None:
    heater = draft.span.heater
    least = max(SHORTEST_S, heater.period_s if heater else 0.0)
    if draft.span.length_s >= least:
        return
    why = "one cycle of the heater" if least > SHORTEST_S else "the time a room takes to answer"
    draft.say(
        "window_too_short",
        Severity.SEVERE,
        f"The window is {draft.span.length_s:.0f} s long and {why} is {least:.0f} s, so its mean stands for nothing.",
        remedy="Choose a window of several cycles, half an hour at least.",
    )


def _say_net_effect(draft: Draft) -> None:
    kind = draft.session.unit.kind
    if kind not in PORTABLE:
        return
    draws = ", of its ducts and of the warm air it draws into the room" if kind is PORTABLE[0] else " and of its ducts"
    draft.say(
        "net_effect",
        Severity.NOTE,
        f"A portable stands in the room: this is its net effect there, the heat of its case{draws} already taken off, "
        "and it holds for air as it was next door.",
    )


def _say_without_heat(draft: Draft, heat_w: float) -> None:
    if heat_w <= 0.0:
        draft.say(
            "no_heat",
            Severity.NOTE,
            "No heater ran in this window, so the whole result rests on the envelope and the storage.",
            remedy="For a capacity, hold the room with metered heaters.",
        )
