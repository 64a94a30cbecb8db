"""Published performance maps: how capacity and input follow the room's wet bulb and the outdoor temperature."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from reduction.ground.constants import N, fahrenheit_from_celsius
from reduction.ground.tables import table
from reduction.session import UnitKind

RATING_WET_BULB_C = 19.4444  # US room unit test, 67 °F: what the published maps are normalised near
RATING_OUTDOOR_C = 35.0  # US room unit test, 95 °F


@dataclass(frozen=True)
class Biquadratic:
    """f = c1 + c2 x + c3 x² + c4 y + c5 y² + c6 x y; x indoor wet bulb, y outdoor dry bulb, °C or °F as fitted."""

    coefficients: tuple[float, float, float, float, float, float]
    in_fahrenheit: bool

    def __call__(self, wet_bulb_c: N, outdoor_temp_c: N) -> N:
        """Return the ratio to the rated value, unnormalised as published."""
        x, y = wet_bulb_c, outdoor_temp_c
        if self.in_fahrenheit:
            x, y = fahrenheit_from_celsius(x), fahrenheit_from_celsius(y)
        c1, c2, c3, c4, c5, c6 = self.coefficients
        return c1 + c2 * x + c3 * x**2 + c4 * y + c5 * y**2 + c6 * x * y


@dataclass(frozen=True)
class PerformanceMap:
    """Capacity and energy-input-ratio surfaces of one tested or generic unit, with the range they hold in."""

    name: str
    title: str
    capacity: Biquadratic
    eir: Biquadratic
    wet_bulb_range_c: tuple[float, float]
    outdoor_range_c: tuple[float, float]
    kinds: frozenset[str]
    source: str

    def relative_capacity(self, wet_bulb_c: float, outdoor_temp_c: float) -> float:
        """Return capacity over that at 19.44 °C wet bulb and 35 °C; outside its range the map is held at the edge."""
        return self._normalised(self.capacity, wet_bulb_c, outdoor_temp_c)

    def relative_power(self, wet_bulb_c: float, outdoor_temp_c: float) -> float:
        """Return power over that at 19.44 °C wet bulb and 35 °C: capacity × energy input ratio."""
        eir = self._normalised(self.eir, wet_bulb_c, outdoor_temp_c)
        return eir * self.relative_capacity(wet_bulb_c, outdoor_temp_c)

    def outside_k(self, wet_bulb_c: float, outdoor_temp_c: float) -> float:
        """Return how far a condition lies outside the map's range [K], 0 inside."""
        sides = ((wet_bulb_c, self.wet_bulb_range_c), (outdoor_temp_c, self.outdoor_range_c))
        return max(max(low - value, value - high, 0.0) for value, (low, high) in sides)

    def _normalised(self, surface: Biquadratic, wet_bulb_c: float, outdoor_temp_c: float) -> float:
        x = min(max(wet_bulb_c, self.wet_bulb_range_c[0]), self.wet_bulb_range_c[1])
        y = min(max(outdoor_temp_c, self.outdoor_range_c[0]), self.outdoor_range_c[1])
        return surface(x, y) / surface(RATING_WET_BULB_C, RATING_OUTDOOR_C)


@cache
def performance_maps() -> dict[str, PerformanceMap]:
    """Return every published map by name, from `data/capacity_surfaces.csv`.

    Examples
    --------
    >>> lab = performance_maps()["window_lab"]
    >>> round(lab.capacity(19.4444, 35.0), 5), round(lab.eir(19.4444, 35.0), 5)
    (0.99467, 0.99904)
    """
    rows = {(row["name"], row["quantity"]): row for row in table("capacity_surfaces")}
    return {name: _map(row, rows[name, "eir"]) for (name, quantity), row in rows.items() if quantity == "capacity"}


def modifier(map_name: str, quantity: str, ratio: float) -> float:
    """Return a map's quadratic for `capacity_flow` or `eir_flow` (of flow over rated), or `part_load` (of load ratio).

    Part load: PLF = steady EER kept while cycling at a load ratio.

    Examples
    --------
    >>> round(modifier("window_generic", "part_load", 0.5), 3)
    0.925
    """
    rows = {(row["name"], row["quantity"]): row for row in table("surface_modifiers")}
    row = rows[map_name, quantity]
    return sum(float(row[f"c{i}"]) * ratio**i for i in range(3))


def maps_for(kind: UnitKind) -> tuple[PerformanceMap, ...]:
    """Return the published maps that speak for a kind of unit.

    Examples
    --------
    >>> [each.name for each in maps_for(UnitKind.WINDOW)]
    ['window_lab', 'window_generic']
    """
    return tuple(each for each in performance_maps().values() if kind.value in each.kinds)


def _map(capacity: dict[str, str], eir: dict[str, str]) -> PerformanceMap:
    return PerformanceMap(
        name=capacity["name"],
        title=capacity["title"],
        capacity=_surface(capacity),
        eir=_surface(eir),
        wet_bulb_range_c=(float(capacity["wet_bulb_min_c"]), float(capacity["wet_bulb_max_c"])),
        outdoor_range_c=(float(capacity["outdoor_min_c"]), float(capacity["outdoor_max_c"])),
        kinds=frozenset(capacity["kinds"].split()),
        source=capacity["source"],
    )


def _surface(row: dict[str, str]) -> Biquadratic:
    c1, c2, c3, c4, c5, c6 = (float(row[f"c{i}"]) for i in range(1, 7))
    return Biquadratic((c1, c2, c3, c4, c5, c6), row["temperature_unit"] == "F")
