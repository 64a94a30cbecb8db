"""A season from measured figures: bins, load line, cycling, standby and cost.

One vectorised engine serves the published seasons (EU SEER, ISO 16358 CSPF, AHRI 210/240 SEER) and a reader's own
climate: capacity and power of one or more levels per bin, the load, and what cycling costs.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from reduction.ground.tables import table

FloatArray = NDArray[np.float64]
Curve = Callable[[FloatArray], FloatArray]

CYCLING_LOSS = 0.25  # C_D where it was not measured: ISO 16358-1, AHRI 210/240 and Regulation (EU) 206/2012 default
ISO_CAPACITY_29 = 1.077  # Q(29 °C)/Q(35 °C) of a fixed-speed unit, ISO 16358-1:2013 default
ISO_POWER_29 = 0.914  # P(29 °C)/P(35 °C), ISO 16358-1:2013 default
ISO_NO_LOAD_C, ISO_FULL_LOAD_C = 20.0, 35.0  # ISO 16358-1:2013 load line
EU_NO_LOAD_C, EU_DESIGN_C = 16.0, 35.0  # Regulation (EU) 206/2012: pl = (T − 16)/(35 − 16)
AHRI_OVERSIZE = 1.1  # AHRI 210/240-2017, Appendix M: BL = (T − 65 °F)/30 × Q(95 °F)/1.1
AHRI_NO_LOAD_C, AHRI_RATED_C = 18.333333, 35.0


@dataclass(frozen=True, eq=False)
class Bins:
    """Hours (or fractions of them) by outdoor temperature, both of shape (n,). [°C, h]"""

    outdoor_temp_c: FloatArray
    hours: FloatArray


@dataclass(frozen=True, eq=False)
class Season:
    """What a unit delivers and draws over a season; `unmet_kwh` of the load it could not carry."""

    cooling_kwh: float
    energy_kwh: float
    unmet_kwh: float

    @property
    def ratio(self) -> float:
        """Seasonal efficiency [W/W]: heat removed over energy drawn."""
        return self.cooling_kwh / self.energy_kwh if self.energy_kwh else float("nan")


@dataclass(frozen=True)
class Cost:
    """Energy and money of a season, with the price and the hours they rest on."""

    cooling_energy_kwh: float
    standby_energy_kwh: float
    price_per_kwh: float
    standby_hours: float

    @property
    def total(self) -> float:
        """Cost in the currency of the price."""
        return (self.cooling_energy_kwh + self.standby_energy_kwh) * self.price_per_kwh


def published_bins(name: str) -> Bins:
    """Return a published table of bins: `eu_cooling`, `iso_16358` or `ahri_210_240`.

    Examples
    --------
    >>> int(published_bins("eu_cooling").hours.sum())
    2602
    """
    rows = [row for row in table("bins") if row["name"] == name]
    if not rows:
        raise ValueError(
            f"no bins named {name}: expected one of " + ", ".join(sorted({r["name"] for r in table("bins")}))
        )
    return Bins(*(np.array([float(row[key]) for row in rows]) for key in ("outdoor_temp_c", "hours")))


def load_line(outdoor_temp_c: ArrayLike, no_load_c: float, full_load_c: float, full_load_w: float) -> FloatArray:
    """Return a room's cooling load [W], straight from nothing at one outdoor temperature to its design load at another.

    Examples
    --------
    >>> load_line([16.0, 25.5, 35.0], 16.0, 35.0, 3500.0).tolist()
    [0.0, 1750.0, 3500.0]
    """
    share = (np.asarray(outdoor_temp_c, dtype=np.float64) - no_load_c) / (full_load_c - no_load_c)
    return np.asarray(np.maximum(share, 0.0) * full_load_w)


def bin_season(
    bins: Bins, load_w: FloatArray, capacity_w: ArrayLike, power_w: ArrayLike, cycling_loss: float = CYCLING_LOSS
) -> Season:
    """Run a unit through the bins of a season.

    Between two levels the unit is taken to spend its time on both, so power is linear in load; below the lowest level
    it cycles, PLF = 1 − C_D (1 − load/capacity); above the highest the rest of the load is not met.

    Parameters
    ----------
    load_w
        Shape (n,). [W]
    capacity_w, power_w
        Of each level, lowest first, in each bin; shape (levels, n), or (n,) for one level. [W]
    cycling_loss
        C_D of the lowest level. [1]

    References
    ----------
    Bin method of ISO 16358-1 and AHRI 210/240 (degradation coefficient). For variable units ISO 16358-1:2013
    interpolates the efficiency between the temperatures at which a level just meets the load instead.
    """
    capacity, power = (np.atleast_2d(np.asarray(each, dtype=np.float64)) for each in (capacity_w, power_w))
    met = np.minimum(load_w, capacity[-1])
    ratio = np.minimum(met / capacity[0], 1.0)
    drawn = ratio * power[0] / (1.0 - cycling_loss * (1.0 - ratio))
    for low in range(len(capacity) - 1):
        span = capacity[low + 1] - capacity[low]
        share = np.clip((met - capacity[low]) / np.where(span > 0.0, span, np.inf), 0.0, 1.0)
        drawn = np.where(met > capacity[low], (1.0 - share) * power[low] + share * power[low + 1], drawn)
    kwh = bins.hours / 1000.0
    return Season(float(met @ kwh), float(drawn @ kwh), float((load_w - met) @ kwh))


def eu_seer_on(eer: Curve, bins: Bins | None = None) -> float:
    """Return SEERon [W/W] from the efficiency at part load by outdoor temperature: load over energy of all bins.

    References
    ----------
    Regulation (EU) 206/2012 consolidated 2017, Annex II: bins of Table 1, pl = (Tj − 16)/(35 − 16).
    """
    bins = bins or published_bins("eu_cooling")
    load = load_line(bins.outdoor_temp_c, EU_NO_LOAD_C, EU_DESIGN_C, 1.0) * bins.hours
    return float(load.sum() / (load / eer(bins.outdoor_temp_c)).sum())


def eu_seer(
    design_w: float,
    seer_on: float,
    *,
    thermostat_off_w: float = 0.0,
    standby_w: float = 0.0,
    off_w: float = 0.0,
    crankcase_w: float = 0.0,
    reversible: bool = False,
) -> tuple[float, float]:
    """Return yearly energy [kWh] and SEER [W/W] with what the unit draws while it does not cool.

    References
    ----------
    Regulation (EU) 206/2012 consolidated 2017, Annex I definitions 19–23 and hours of Annex II.

    Examples
    --------
    >>> energy, seer = eu_seer(3500.0, 4.0, thermostat_off_w=10.0, standby_w=2.0, off_w=1.0)
    >>> round(energy, 3), round(seer, 5)
    (317.832, 3.85424)
    """
    name = "eu_reversible" if reversible else "eu_cooling_only"
    hours = next(row for row in table("season_hours") if row["name"] == name)
    demand_kwh = design_w * float(hours["cooling"]) / 1000.0
    idle = {"thermostat_off": thermostat_off_w, "standby": standby_w, "off": off_w, "crankcase": crankcase_w}
    idle_kwh = sum(float(hours[mode]) * watts / 1000.0 for mode, watts in idle.items())
    energy_kwh = demand_kwh / seer_on + idle_kwh
    return energy_kwh, demand_kwh / energy_kwh


def iso_cspf(capacity_35_w: float, power_35_w: float) -> float:
    """Return CSPF [W/W] of a fixed-speed unit from its 35 °C test and the standard's default slopes.

    References
    ----------
    ISO 16358-1:2013, T1 bins, default slopes and C_D; CSPF/EER = 1.062 agrees with what is quoted of it.

    Examples
    --------
    >>> round(iso_cspf(3500.0, 1000.0), 5)
    3.71666
    """
    bins = published_bins("iso_16358")
    colder = (ISO_FULL_LOAD_C - bins.outdoor_temp_c) / (ISO_FULL_LOAD_C - 29.0)
    capacity = capacity_35_w * (1.0 + (ISO_CAPACITY_29 - 1.0) * colder)
    power = power_35_w * (1.0 + (ISO_POWER_29 - 1.0) * colder)
    load = load_line(bins.outdoor_temp_c, ISO_NO_LOAD_C, ISO_FULL_LOAD_C, capacity_35_w)
    return bin_season(bins, load, capacity, power).ratio


def ahri_seer(capacity: Curve, power: Curve, cycling_loss: float = CYCLING_LOSS) -> float:
    """Return the bin SEER [unit of capacity per W] of a single-speed system from its curves over outdoor °C.

    References
    ----------
    AHRI 210/240, bins of Table 19 and load line of Appendix M (2017).
    """
    bins = published_bins("ahri_210_240")
    rated = float(capacity(np.array([AHRI_RATED_C]))[0])
    load = load_line(bins.outdoor_temp_c, AHRI_NO_LOAD_C, AHRI_RATED_C, rated / AHRI_OVERSIZE)
    return bin_season(bins, load, capacity(bins.outdoor_temp_c), power(bins.outdoor_temp_c), cycling_loss).ratio


def seasonal_cost(season: Season, price_per_kwh: float, standby_w: float = 0.0, standby_hours: float = 0.0) -> Cost:
    """Return the cost of a season: what cooling draws and what standby adds, at one price.

    Raises
    ------
    ValueError
        If price, standby power or hours are negative.

    Examples
    --------
    >>> seasonal_cost(Season(1000.0, 300.0, 0.0), 0.20, standby_w=1.0, standby_hours=5000.0).total
    61.0
    """
    if min(price_per_kwh, standby_w, standby_hours) < 0.0:
        raise ValueError("price, standby power and standby hours cannot be negative")
    return Cost(season.energy_kwh, standby_w * standby_hours / 1000.0, price_per_kwh, standby_hours)
