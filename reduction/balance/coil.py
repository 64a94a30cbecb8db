"""The indoor coil seen from its air: surface temperature by bypass factor, and where it stops condensing."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from reduction.ground.constants import LATENT_HEAT_J_PER_KG, STANDARD_PRESSURE_PA
from reduction.ground.moist_air import (
    heat_capacity_j_per_kg_k,
    humidity_ratio_from_wet_bulb,
    saturation_humidity_ratio,
    wet_bulb_c,
)
from reduction.session import Measured

LOWEST_SHR = 0.65  # sensible share of a room unit in a humid room, the default of public building simulation
TYPICAL_COIL_C = (4.0, 12.0)  # surface of a room unit's coil at its rating, common practice, no source


@dataclass(frozen=True)
class CoilTemp:
    """Interval of the coil's surface temperature [°C]: bypass factor unknown within its band, sensors within U95."""

    low_c: float
    high_c: float

    @property
    def middle_c(self) -> float:
        """Middle of the interval. [°C]"""
        return 0.5 * (self.low_c + self.high_c)

    def __str__(self) -> str:
        """Return `−0.6 to 5.6 °C`."""
        return f"{self.low_c:.1f} to {self.high_c:.1f} °C".replace("-", "−")


def coil_temp(
    supply_temp_c: float, return_temp_c: float, bypass_factor: tuple[float, float], u_c: float = 0.0
) -> CoilTemp:
    """Return the coil surface's temperature from the air that enters and leaves it.

    T_coil = T_ret − (T_ret − T_sup) / (1 − BF), at both ends of the bypass factor's band, widened by 2 u.

    Raises
    ------
    ValueError
        If the bypass factor is not within 0 ≤ low ≤ high < 1.

    References
    ----------
    Bypass-factor (apparatus dew point) model of a cooling coil, handbook usage; band 0.05–0.30 unless known, common
    practice, no source.

    Examples
    --------
    >>> print(coil_temp(6.5, 22.0, (0.05, 0.30)))
    −0.1 to 5.7 °C
    """
    low, high = bypass_factor
    if not 0.0 <= low <= high < 1.0:
        raise ValueError(f"bypass factor {bypass_factor}: expected 0 ≤ low ≤ high < 1")
    ends = sorted(return_temp_c - (return_temp_c - supply_temp_c) / (1.0 - factor) for factor in (low, high))
    return CoilTemp(ends[0] - 2.0 * u_c, ends[1] + 2.0 * u_c)


def dry_wet_bulb_c(room_temp_c: float, coil_temp_c: float, pressure_pa: float = STANDARD_PRESSURE_PA) -> float:
    """Return the room wet bulb [°C] at which a coil just stops condensing: dew point equal to the coil's surface.

    Below it capacity no longer follows the wet bulb, so published maps are entered with this value.

    Examples
    --------
    >>> round(dry_wet_bulb_c(22.0, 5.0), 1)
    12.8
    """
    if coil_temp_c >= room_temp_c:
        return room_temp_c
    return float(wet_bulb_c(room_temp_c, float(saturation_humidity_ratio(coil_temp_c, pressure_pa)), pressure_pa))


def working_wet_bulb_c(
    room_temp_c: float,
    room_wet_bulb_c: float | None,
    coil: CoilTemp | None,
    pressure_pa: float = STANDARD_PRESSURE_PA,
) -> tuple[float, float]:
    """Return the interval of wet bulb [°C] to enter a map with: the room's, or the dry-coil value where that is higher.

    An unknown room humidity spans from a dry coil to a saturated room.

    Examples
    --------
    >>> tuple(round(edge, 1) for edge in working_wet_bulb_c(22.0, 11.7, CoilTemp(2.0, 6.0)))
    (11.7, 13.1)
    """
    edges = (coil.low_c, coil.high_c) if coil else TYPICAL_COIL_C
    if room_wet_bulb_c is None:
        return dry_wet_bulb_c(room_temp_c, edges[0], pressure_pa), room_temp_c
    ratio = humidity_ratio_from_wet_bulb(room_temp_c, room_wet_bulb_c, pressure_pa)
    low, high = (
        room_wet_bulb_c  # the coil condenses: no need to solve for where it stops
        if ratio >= _saturated(edge, pressure_pa)
        else max(dry_wet_bulb_c(room_temp_c, edge, pressure_pa), room_wet_bulb_c)
        for edge in edges
    )
    return low, high


@lru_cache(maxsize=256)
def _saturated(coil_temp_c: float, pressure_pa: float) -> float:
    """Return the humidity ratio [kg/kg] at a coil's surface; most points share the usual two temperatures."""
    return float(saturation_humidity_ratio(coil_temp_c, pressure_pa))


def unseen_latent_w(
    sensible_w: float,
    room_ratio: float | None,
    coil: CoilTemp | None,
    entering_temp_c: float,
    pressure_pa: float = STANDARD_PRESSURE_PA,
    at_most_kg_per_s: float = float("inf"),
) -> Measured:
    """Return the latent capacity [W] that a balance without any weighing of water may have missed.

    Sensible and latent heat change by the same 1 − BF, so their ratio is K1 (W − W_s(T_coil)) / (c (T − T_coil)) at
    both ends of the coil's interval; any place between is as likely as another. Without the room's humidity ratio
    [kg/kg] or the coil the interval reaches from nothing to a sensible share of LOWEST_SHR. What leaks and the room
    itself can have given, `at_most_kg_per_s`, bounds it too.

    Examples
    --------
    >>> unseen_latent_w(1700.0, 0.0043, CoilTemp(-2.0, 4.5), 22.1).value < 120.0
    True
    """
    if room_ratio is None or coil is None or coil.high_c >= entering_temp_c:
        shares = [0.0, 1.0 / LOWEST_SHR - 1.0]
    else:
        wetter = [
            max(0.0, room_ratio - float(saturation_humidity_ratio(t, pressure_pa))) for t in (coil.high_c, coil.low_c)
        ]
        carried = [heat_capacity_j_per_kg_k(room_ratio) * (entering_temp_c - t) for t in (coil.high_c, coil.low_c)]
        shares = [LATENT_HEAT_J_PER_KG * w / c for w, c in zip(wetter, carried, strict=True)]
    bound = max(0.0, LATENT_HEAT_J_PER_KG * at_most_kg_per_s)
    low, high = (min(max(0.0, sensible_w) * share, bound) for share in (min(shares), max(shares)))
    return Measured(value=0.5 * (low + high), u=(high - low) / 12.0**0.5)
