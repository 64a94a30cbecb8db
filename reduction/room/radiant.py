"""Heat that a heater sends straight to the surfaces, part of which leaves without ever warming the air."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from reduction.session import HeaterKind, Room

# Radiant share of the heat, least and most: 20 to 80 % for glowing and panel heaters (Method §1), the others from
# handbook practice, from memory.
RADIANT_SHARE = {
    HeaterKind.FAN_FORCED: (0.0, 0.10),
    HeaterKind.CONVECTOR: (0.10, 0.35),
    HeaterKind.OIL_FILLED: (0.15, 0.50),
    HeaterKind.RADIANT: (0.20, 0.80),
    HeaterKind.UNKNOWN: (0.0, 0.10),  # as fan-forced, the most usual; common practice, no source; asked for
}
ENVELOPE_SHARE = (0.5, 1.0)  # of the radiant heat: what does not land on the envelope lands on furniture
SURFACE_FILM_W_PER_M2_K = (2.5, 8.0)  # surface to room: convection alone, up to convection and radiation (ISO 6946)
INNER_SURFACE_PER_VOLUME = 6.1  # area = 6.1 V^(2/3)
DRAWS = 4000


@dataclass(frozen=True)
class RadiantTerm:
    """A term of the heat balance: negative, because that heat never reached the unit."""

    value_w: float
    u_w: float
    how: str


def radiant_heater_term(heater_w: float, kind: HeaterKind, room: Room) -> RadiantTerm:
    """Heat of a heater that goes out through the envelope beyond UA·ΔT of the air.

    A surface that takes up radiant heat P_r divides it between the room, through its film h·A, and the other side,
    through what lies behind; with UA = h·A·K/(h·A + K) the part that leaves is UA/(h·A). Summed over surfaces that
    get it by area, the loss is P_r·ΣUA/(h·A_total).

    Parameters
    ----------
    heater_w
        Mean power of the heaters in the window. [W]
    kind
        How they give their heat.
    room
        For volume and ΣUA; without surfaces the loss is not estimated and only its u is given.

    Returns
    -------
    RadiantTerm
        `value_w` ≤ 0; `u_w` the standard deviation over share, landing and film.

    References
    ----------
    Method §1 "Radiant heaters"; ISO 6946 for the range of the film.

    Examples
    --------
    >>> room = Room(volume_m3=30.0, surfaces=({"to": "outdoor", "ua_w_per_k": 35.0, "u95_w_per_k": 5.0},))
    >>> term = radiant_heater_term(1500.0, HeaterKind.RADIANT, room)
    >>> round(term.value_w, -1), round(term.u_w, -1)
    (-70.0, 40.0)
    """
    rng = np.random.default_rng(0)
    share = rng.uniform(*RADIANT_SHARE[kind], DRAWS)
    film = rng.uniform(*SURFACE_FILM_W_PER_M2_K, DRAWS) * INNER_SURFACE_PER_VOLUME * room.volume_m3 ** (2.0 / 3.0)
    ua = sum(s.ua_w_per_k for s in room.surfaces) or room.volume_m3
    loss = heater_w * share * rng.uniform(*ENVELOPE_SHARE, DRAWS) * np.minimum(ua / film, 0.5)
    low, high = RADIANT_SHARE[kind]
    how = (
        f"Heaters of kind {kind.value.replace('_', ' ')}: {100 * low:.0f} to {100 * high:.0f} % of their heat taken as "
        f"radiant; of what lands on the envelope about {100 * float(np.mean(np.minimum(ua / film, 0.5))):.0f} % leaves "
        "through it. A fan-forced heater makes this small."
    )
    return RadiantTerm(-float(loss.mean()), float(loss.std()), how)
