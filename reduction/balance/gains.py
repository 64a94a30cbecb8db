"""Heat that is put into the room: heaters and other loads, people, sun, and what heaters radiate outwards."""

from __future__ import annotations

from datetime import datetime
from math import isfinite

from reduction.align.timeline import mean_over
from reduction.balance.draft import Draft
from reduction.balance.loads import Load
from reduction.room.radiant import radiant_heater_term
from reduction.session import HeaterKind, Severity
from reduction.uncertainty.ledger import Quantity, total
from reduction.uncertainty.propagation import Input
from reduction.uncertainty.readings import enter_power

LEAST_KNOWN = 0.5
"""Of a window: a channel known for less cannot stand for it."""
WORTH_A_TERM_W = 0.05


def electric_power(draft: Draft, load: Load) -> Quantity:
    """Enter one load and say what is wrong with its record."""
    mean = mean_over(load.series, draft.start_s, draft.end_s)
    known = mean.known_fraction + mean.filled_fraction
    if known < LEAST_KNOWN:
        draft.say(
            "power_mostly_missing",
            Severity.SEVERE,
            f"{load.series.name} is known for {known:.0%} of the window; whatever it did in the rest, the mean lies "
            f"between {mean.low:.0f} and {mean.high:.0f} W.",
            subject=load.series.key,
            remedy="Choose a window without the gap, or add the counter of the same plug.",
        )
    if load.finding is not None:
        draft.findings.append(load.finding)
    return enter_power(draft.ledger, load.series, draft.start_s, draft.end_s)


def enter_electric(draft: Draft) -> float:
    """Enter heaters, other metered loads and fixed loads as terms; return the heaters' mean power. [W]"""
    heat_w = 0.0
    for what in ("heater", "other"):
        for load in draft.loads(what):
            if not isfinite(load.mean_w):
                _say_unknown(draft, load)
                continue
            quantity = electric_power(draft, load)
            draft.ledger.add_term(f"{what}: {load.series.name}", quantity, "metered, energy over time")
            heat_w += load.mean_w if what == "heater" else 0.0
    for fixed in draft.session.fixed_loads:
        item = Input(
            fixed.what, fixed.power_w, fixed.u95_w / 2.0, "W",
            shared_key=f"load:{draft.room_key}:{fixed.what}", source="as the tester states it",
        )  # fmt: skip
        draft.ledger.add_term(f"fixed load: {fixed.what}", draft.ledger.enter(item), "steady load, stated")
    return heat_w


def _say_unknown(draft: Draft, load: Load) -> None:
    draft.say(
        "power_missing",
        Severity.SEVERE,
        f"{load.series.name} holds nothing within the window, so the heat put into the room is unknown.",
        subject=load.series.key,
        remedy="Choose a window inside the log, or correct the clock of its file.",
    )


def unit_power(draft: Draft) -> Quantity | None:
    """Enter what the unit draws; None, with a finding, where that is unknown or nought."""
    loads = [x for x in draft.loads("unit") if isfinite(x.mean_w)]
    if not loads:
        draft.say(
            "no_unit_power",
            Severity.WARNING,
            "The unit's power is not logged in this window, so there is a capacity but no efficiency.",
            remedy="Add the log of the unit's plug, or give its channel the role unit_power.",
        )
        return None
    if sum(load.mean_w for load in loads) <= 0.0:
        draft.say(
            "zero_unit_power",
            Severity.SEVERE,
            "The unit's power reads zero over the whole window: it was off, or its plug did not log.",
            remedy="Check the unit's plug and which column it is.",
        )
        return None
    return total(*[electric_power(draft, load) for load in loads])


def _seconds(moment: datetime | None) -> float | None:
    return None if moment is None else moment.timestamp()


def enter_people(draft: Draft) -> float:
    """Enter the people's sensible heat; return the vapour they give. [kg/s]"""
    latent_w = 0.0
    for number, group in enumerate(draft.session.people):
        share = draft.overlap(_seconds(group.start_utc), _seconds(group.end_utc)) * group.count
        if share == 0.0:
            continue
        each = draft.ledger.enter(
            Input(
                f"people {number + 1}: heat of each", group.sensible_w_each, group.u95_w_each / 2.0, "W",
                shared_key=f"people:{draft.session.name}:{number}", source="stated, or handbook for seated people",
            )
        )  # fmt: skip
        draft.ledger.add_term(
            f"people {number + 1}", _times(each, share), f"{share:.2f} people on average, sensible heat only"
        )
        latent_w += share * group.latent_w_each
    return latent_w


def enter_solar(draft: Draft) -> None:
    """Enter the declared sun."""
    for number, sun in enumerate(draft.session.solar):
        share = draft.overlap(_seconds(sun.start_utc), _seconds(sun.end_utc))
        if share * sun.power_w + share * sun.u95_w > WORTH_A_TERM_W:
            power = draft.ledger.enter(
                Input(f"sun {number + 1}", sun.power_w, sun.u95_w / 2.0, "W",
                      shared_key=f"sun:{draft.session.name}:{number}", source="as the tester states it")
            )  # fmt: skip
            draft.ledger.add_term(f"sun {number + 1}", _times(power, share), f"{share:.0%} of the window")


def _times(quantity: Quantity, factor: float) -> Quantity:
    return lambda x: quantity(x) * factor


def enter_radiant(draft: Draft) -> None:
    """Enter what heaters radiate onto the envelope and out through it, by their kind."""
    kinds: dict[HeaterKind, float] = {}
    stated = {(c.file, c.column): c.heater_kind for c in draft.session.channels}
    for load in draft.loads("heater"):
        kind = stated.get((load.series.file, load.series.column)) or draft.session.heater_kind
        kinds[kind] = kinds.get(kind, 0.0) + (load.mean_w if isfinite(load.mean_w) else 0.0)
    if kinds.get(HeaterKind.UNKNOWN, 0.0) > 0.0:
        draft.say(
            "heater_kind_unknown",
            Severity.NOTE,
            "Nobody said what kind the heaters are; they are taken as mostly fan-forced. A glowing or panel heater "
            "warms the walls first, which would lower the capacity by some per cent.",
            remedy="State the kind of heater.",
        )
    for kind, heat_w in kinds.items():
        term = radiant_heater_term(heat_w, kind, draft.session.room)
        name = f"radiant share of heaters ({kind.value.replace('_', ' ')})"
        loss = draft.ledger.enter(
            Input(
                name, term.value_w, term.u_w, "W", shared_key=f"radiant:{draft.room_key}:{kind.value}", source=term.how
            )
        )
        draft.ledger.add_term(name, loss, term.how)
