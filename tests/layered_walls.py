"""Rooms of layered walls by exact conduction: what they take up after the air's temperature steps by one kelvin.

Conductivity [W/(m·K)], density [kg/m³] and heat capacity [J/(kg·K)] as ISO 10456 tabulates them (from memory);
each surface by its own film, the other side of a partition just as warm, that of an outer wall behind insulation.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
Layer = tuple[tuple[float, float, float], float]  # material, thickness [m]
Wall = tuple[float, tuple[Layer, ...], float, float]  # area [m²], layers, film [W/(m²·K)], resistance behind, 0: none

CELL_M = 0.004
GYPSUM, PLASTER, BRICK = (0.25, 900.0, 1000.0), (0.5, 1200.0, 1000.0), (0.6, 1700.0, 900.0)
CONCRETE, SCREED, BLOCK = (1.7, 2300.0, 1000.0), (1.4, 2000.0, 1000.0), (0.15, 600.0, 1000.0)
CHIPBOARD, CARPET = (0.13, 650.0, 1700.0), (0.06, 200.0, 1300.0)
FLOOR_M2 = 12.0  # of 2.5 m height: 30 m³
BOARD = ((GYPSUM, 0.0125),)
CEILING: Wall = (FLOOR_M2, BOARD, 2.5, 0.0)
OUTER = (PLASTER, 0.012)

ROOMS: dict[str, tuple[Wall, ...]] = {
    "very_light": (
        (FLOOR_M2, ((CARPET, 0.008), (CHIPBOARD, 0.022)), 2.5, 0.0), CEILING, (22.0, BOARD, 3.0, 0.0),
        (10.0, BOARD, 3.0, 3.0),
    ),
    "light": (
        (FLOOR_M2, ((CHIPBOARD, 0.022),), 3.0, 0.0), CEILING, (22.0, ((GYPSUM, 0.025),), 3.0, 0.0),
        (10.0, ((GYPSUM, 0.0125), (BLOCK, 0.1)), 3.0, 2.0),
    ),
    "medium": (
        (FLOOR_M2, ((CARPET, 0.006), (SCREED, 0.05)), 2.5, 0.5), CEILING,
        (12.0, (OUTER, (BLOCK, 0.05)), 3.0, 0.0), (10.0, BOARD, 3.0, 0.0), (10.0, (OUTER, (BRICK, 0.1)), 3.0, 2.0),
    ),
    "heavy": (
        (FLOOR_M2, ((SCREED, 0.06),), 3.0, 0.5), (FLOOR_M2, ((PLASTER, 0.005), (CONCRETE, 0.05)), 2.5, 0.0),
        (12.0, (OUTER, (BRICK, 0.05)), 3.0, 0.0), (10.0, BOARD, 3.0, 0.0), (10.0, (OUTER, (BRICK, 0.1)), 3.0, 2.0),
    ),
}  # fmt: skip


def _uptake(wall: Wall, time_s: FloatArray) -> FloatArray:
    """Heat flow [W/K] into one wall beyond what goes through it in the end, by the eigenvalues of its cells."""
    area, layers, film, behind = wall
    cells = [(thickness / n, *material) for material, thickness in layers for n in [max(3, round(thickness / CELL_M))]
             for _ in range(n)]  # fmt: skip
    width, conductivity, density, heat = np.array(cells).T
    half, store = width / conductivity / 2.0, width * density * heat
    between = 1.0 / (half[1:] + half[:-1])
    inner, outer = 1.0 / (1.0 / film + half[0]), 1.0 / (behind + half[-1]) if behind else 0.0
    lost = np.append(between, outer) + np.insert(between, 0, inner)
    root = np.sqrt(store)
    a = (np.diag(between, 1) + np.diag(between, -1) - np.diag(lost)) / np.outer(root, root)
    value, vector = np.linalg.eigh(a)
    push = vector[0] * inner / root[0]
    return area * np.exp(np.outer(time_s, value)) @ (push**2 / -value)


def uptake_w_per_k(construction: str, time_s: FloatArray) -> FloatArray:
    """Heat flow into all walls of a room [W/K] at each time after the step."""
    return np.asarray(sum(_uptake(wall, time_s) for wall in ROOMS[construction]))
