"""Moist air and water, on whole arrays: humidity, wet bulb, dew point, enthalpy, volume.

Real gas: the enhancement factor is in, so humidity ratio and enthalpy agree with the virial model of the
handbooks within 0.05 % from −10 to 60 °C and 80 to 110 kPa (the ideal-gas formulas are 0.5 % low). Enthalpy is per
kg of dry air, zero for dry air at 0 °C and standard pressure and for liquid water at its triple point. Below 0 °C
saturation is over ice. Every function takes and returns a float or an array of any shape.
"""

from __future__ import annotations

from typing import Any, cast

import numpy as np

from reduction.ground.constants import KELVIN_OFFSET, STANDARD_PRESSURE_PA, N

WATER_TO_AIR_MOLAR_MASS = 0.621945  # ASHRAE Handbook Fundamentals 2017, ch. 1 eq. 20: 18.015268 / 28.966
DRY_AIR_GAS_CONSTANT = 287.042  # J/(kg·K), ASHRAE Handbook Fundamentals 2017, ch. 1 eq. 1
TRIPLE_POINT_K = 273.16
NEWTON_STEPS = 8  # each solver below converges to 1e-9 K in five from its start
NEWTON_DONE_K = 1e-7

# Fitted here to the real-gas moist-air model of ASHRAE RP-1485 as CoolProp 8.0.0 computes it (HAPropsSI), −10…60 °C,
# 80…110 kPa: largest residual 0.01 % of the humidity ratio, 0.046 % of the enthalpy, 0.028 % of the volume.
ENHANCEMENT = (0.0541081183594305, -4.2954236325172e-4, -0.0501929255936906, 4.000231361376e-4, -6.707826985e-8)
DRY_AIR_HEAT_J = (1005.5445692795855, 0.017874425454891707)  # J/(kg·K), J/(kg·K²)
DRY_AIR_PRESSURE_J = -278.67227761739065  # J/kg per standard atmosphere above one
VAPOUR_HEAT_J = (2499327.8663136866, 1838.7340696713022)  # J/kg, J/(kg·K)
COMPRESSIBILITY = (-5.818499992382e-4, 1.084807879739e-5, -8.417320129417e-3)
# Fitted here to IAPWS-95 (CoolProp 8.0.0) on the saturation line, 0…60 °C, within 22 J/kg.
LIQUID_HEAT_J = (7.64403069e-3, -8.59117889e-1, 4.21092968e3, -19.7692969)
VAPORISATION_HEAT_J = (-1.37422896e-2, 6.55875855e-1, -2.37781560e3, 2.50092110e6)


def station_pressure_pa(altitude_m: float) -> float:
    """Return the standard atmosphere's pressure [Pa] at an altitude [m].

    References
    ----------
    ASHRAE Handbook Fundamentals, SI, ch. 1 eq. 3 (checked against its Table 1).

    Examples
    --------
    >>> print(round(station_pressure_pa(1000.0)))
    89875
    """
    return float(STANDARD_PRESSURE_PA * (1.0 - 2.25577e-5 * altitude_m) ** 5.2559)


def saturation_pressure_pa(temp_c: N) -> N:
    """Return the vapour pressure of pure water [Pa] at a temperature [°C]: over ice below 0.01 °C.

    References
    ----------
    IAPWS SR1-86(1992) eq. 1 over liquid, IAPWS R14-08(2011) eq. 6 over ice (coefficients from memory, checked
    against CoolProp within 0.01 %).

    Examples
    --------
    >>> print(round(saturation_pressure_pa(25.0)))
    3170
    """
    kelvin = np.asarray(temp_c, dtype=np.float64) + KELVIN_OFFSET
    tau = 1.0 - kelvin / 647.096
    powers = tau * (-7.85951783 + 1.84408259 * tau**0.5 - 11.7866497 * tau**2)
    powers = powers + tau**3.5 * (22.6807411 - 15.9618719 * tau**0.5) + 1.80122502 * tau**7.5
    found: Any = 22.064e6 * np.exp(647.096 / kelvin * powers)
    if np.any(kelvin < TRIPLE_POINT_K):
        theta = kelvin / TRIPLE_POINT_K
        powers = -21.2144006 * theta**0.00333333333 + 27.3203819 * theta**1.20666667 - 6.10598130 * theta**1.70333333
        found = np.where(kelvin >= TRIPLE_POINT_K, found, 611.657 * np.exp(powers / theta))
    return cast("N", found[()])


def enhancement_factor(temp_c: N, pressure_pa: float = STANDARD_PRESSURE_PA) -> N:
    """Return by how much air [at °C and Pa] raises the saturation pressure of water over that of water alone.

    Examples
    --------
    >>> print(round(enhancement_factor(25.0), 4))
    1.0043
    """
    return _enhancement(temp_c, saturation_pressure_pa(temp_c), pressure_pa)


def _enhancement(temp_c: N, vapour_pa: N, pressure_pa: float) -> N:
    first = (pressure_pa - vapour_pa) / STANDARD_PRESSURE_PA
    second = first * (pressure_pa - vapour_pa) / pressure_pa
    a, b, c, d, e = ENHANCEMENT
    return 1.0 + first * (a + b * temp_c) + second * (c + d * temp_c + e * temp_c**2)


def _saturated_vapour_pa(temp_c: N, pressure_pa: float) -> N:
    vapour_pa = saturation_pressure_pa(temp_c)
    return _enhancement(temp_c, vapour_pa, pressure_pa) * vapour_pa


def _ratio_from_vapour(vapour_pa: N, pressure_pa: float) -> N:
    return WATER_TO_AIR_MOLAR_MASS * vapour_pa / (pressure_pa - vapour_pa)


def humidity_ratio(temp_c: N, rh_percent: N, pressure_pa: float = STANDARD_PRESSURE_PA) -> N:
    """Return the humidity ratio [kg/kg of dry air] of air [°C] at a relative humidity [%].

    References
    ----------
    ASHRAE Handbook Fundamentals, SI, ch. 1: definitions of relative humidity and humidity ratio.

    Examples
    --------
    >>> print(round(humidity_ratio(25.0, 100.0), 5))
    0.02017
    """
    vapour_pa = rh_percent / 100.0 * _saturated_vapour_pa(temp_c, pressure_pa)
    return _ratio_from_vapour(vapour_pa, pressure_pa)


def saturation_humidity_ratio(temp_c: N, pressure_pa: float = STANDARD_PRESSURE_PA) -> N:
    """Return the humidity ratio [kg/kg] of saturated air [°C].

    Examples
    --------
    >>> print(round(saturation_humidity_ratio(30.0), 5))
    0.02733
    """
    return _ratio_from_vapour(_saturated_vapour_pa(temp_c, pressure_pa), pressure_pa)


def relative_humidity_percent(temp_c: N, ratio: N, pressure_pa: float = STANDARD_PRESSURE_PA) -> N:
    """Return the relative humidity [%] of air [°C] with a humidity ratio [kg/kg].

    Examples
    --------
    >>> print(round(relative_humidity_percent(25.0, 0.020173), 1))
    100.0
    """
    vapour_pa = pressure_pa * ratio / (WATER_TO_AIR_MOLAR_MASS + ratio)
    return 100.0 * vapour_pa / _saturated_vapour_pa(temp_c, pressure_pa)


def enthalpy_j_per_kg(temp_c: N, ratio: N, pressure_pa: float = STANDARD_PRESSURE_PA) -> N:
    """Return the enthalpy of moist air [J/kg of dry air] at a temperature [°C] and humidity ratio [kg/kg].

    Examples
    --------
    >>> print(round(enthalpy_j_per_kg(30.0, 0.02) / 1000, 1))
    81.3
    """
    first, second = DRY_AIR_HEAT_J
    dry = temp_c * (first + second * temp_c) + DRY_AIR_PRESSURE_J * (pressure_pa / STANDARD_PRESSURE_PA - 1.0)
    return dry + ratio * vapour_enthalpy_j_per_kg(temp_c)


def vapour_enthalpy_j_per_kg(temp_c: N) -> N:
    """Return the enthalpy of the vapour in moist air [J/kg of water] at a temperature [°C]."""
    return VAPOUR_HEAT_J[0] + VAPOUR_HEAT_J[1] * temp_c


def heat_capacity_j_per_kg_k(ratio: N) -> N:
    """Return the heat capacity of moist air [J/(K·kg of dry air)] with a humidity ratio [kg/kg].

    Examples
    --------
    >>> print(round(heat_capacity_j_per_kg_k(0.01)))
    1024
    """
    return DRY_AIR_HEAT_J[0] + VAPOUR_HEAT_J[1] * ratio


def water_enthalpy_j_per_kg(temp_c: N) -> N:
    """Return the enthalpy of liquid water [J/kg] at a temperature [°C].

    Examples
    --------
    >>> print(round(water_enthalpy_j_per_kg(25.0) / 1000, 1))
    104.8
    """
    return cast("N", np.polyval(LIQUID_HEAT_J, temp_c))


def vaporisation_heat_j_per_kg(temp_c: N) -> N:
    """Return the heat that turns a kilogram of water into vapour [J/kg] at a temperature [°C].

    Examples
    --------
    >>> print(round(vaporisation_heat_j_per_kg(25.0) / 1000, 1))
    2441.7
    """
    return cast("N", np.polyval(VAPORISATION_HEAT_J, temp_c))


def specific_volume_m3_per_kg(temp_c: N, ratio: N, pressure_pa: float = STANDARD_PRESSURE_PA) -> N:
    """Return the volume of moist air per kg of its dry air [m³/kg].

    Examples
    --------
    >>> print(round(specific_volume_m3_per_kg(25.0, 0.020173), 4))
    0.8716
    """
    atmospheres = pressure_pa / STANDARD_PRESSURE_PA
    a, b, c = COMPRESSIBILITY
    ideal = DRY_AIR_GAS_CONSTANT * (temp_c + KELVIN_OFFSET) * (1.0 + ratio / WATER_TO_AIR_MOLAR_MASS) / pressure_pa
    return ideal * (1.0 + atmospheres * (a + b * temp_c + c * ratio))


def density_kg_per_m3(temp_c: N, ratio: N, pressure_pa: float = STANDARD_PRESSURE_PA) -> N:
    """Return the density of moist air, vapour included [kg/m³].

    Examples
    --------
    >>> print(round(density_kg_per_m3(20.0, 0.0), 3))
    1.205
    """
    return (1.0 + ratio) / specific_volume_m3_per_kg(temp_c, ratio, pressure_pa)


def humidity_ratio_from_wet_bulb(temp_c: N, wet_bulb_temp_c: N, pressure_pa: float = STANDARD_PRESSURE_PA) -> N:
    """Return the humidity ratio [kg/kg] of air [°C] with a thermodynamic wet bulb [°C] over liquid water.

    References
    ----------
    ASHRAE Handbook Fundamentals, SI, ch. 1: adiabatic saturation, h + (W_s* − W) h_w* = h_s*.

    Examples
    --------
    >>> print(round(humidity_ratio_from_wet_bulb(40.0, 20.0), 4))
    0.0065
    """
    saturated = saturation_humidity_ratio(wet_bulb_temp_c, pressure_pa)
    water = water_enthalpy_j_per_kg(wet_bulb_temp_c)
    surplus = enthalpy_j_per_kg(wet_bulb_temp_c, saturated, pressure_pa) - saturated * water
    dry = enthalpy_j_per_kg(temp_c, temp_c * 0.0, pressure_pa)
    return (surplus - dry) / (vapour_enthalpy_j_per_kg(temp_c) - water)


def wet_bulb_c(temp_c: N, ratio: N, pressure_pa: float = STANDARD_PRESSURE_PA) -> N:
    """Return the thermodynamic wet bulb [°C] of air [°C] with a humidity ratio [kg/kg].

    Examples
    --------
    >>> print(round(wet_bulb_c(26.6667, 0.011224), 2))
    19.44
    """
    guess: Any = np.asarray(temp_c, dtype=np.float64) * 0.7
    for _ in range(NEWTON_STEPS):
        near = np.stack([guess - 0.005, guess + 0.005])
        low, high = humidity_ratio_from_wet_bulb(temp_c + 0.0 * guess, near, pressure_pa)
        step = (0.5 * (low + high) - ratio) * 0.01 / (high - low)
        guess = guess - step
        if np.max(np.abs(step), initial=0.0) < NEWTON_DONE_K:
            break
    return cast("N", guess[()])


def dew_point_c(ratio: N, pressure_pa: float = STANDARD_PRESSURE_PA) -> N:
    """Return the dew point (below 0.01 °C the frost point) [°C] of air with a humidity ratio [kg/kg]; NaN for none.

    Examples
    --------
    >>> print(round(dew_point_c(0.011224), 1))
    15.7
    """
    known = np.where(np.asarray(ratio) > 0.0, ratio, np.nan)
    wanted = np.log(pressure_pa * known / (WATER_TO_AIR_MOLAR_MASS + known))
    guess: Any = np.asarray(243.04 * (wanted - 6.4149) / (24.04 - wanted))  # inverse of the Magnus form, to start from
    for _ in range(NEWTON_STEPS):
        low, high = np.log(_saturated_vapour_pa(np.stack([guess - 0.005, guess + 0.005]), pressure_pa))
        guess = guess - (0.5 * (low + high) - wanted) * 0.01 / (high - low)
    return cast("N", guess[()])
