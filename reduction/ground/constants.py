"""Constants and conversion factors, each with its source beside it."""

from __future__ import annotations

from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
N = TypeVar("N", float, FloatArray)

BTU_J = 1055.05585262  # J, International Table Btu: 2326 J/kg × 0.45359237 kg, exact by definition
BTU_PER_H_PER_W = 3600.0 / BTU_J  # Btu/(W·h); also EER per COP; exact by definition, 3.412141633
TON_W = 12_000.0 / BTU_PER_H_PER_W  # W, a ton of refrigeration is 12 000 Btu/h by definition

POUND_KG = 0.45359237  # kg, exact by definition (international pound, 1959)
FOOT_M = 0.3048  # m, exact by definition (international foot, 1959)
US_PINT_M3 = 473.176473e-6  # m³, exact: 231 in³ / 8
CFM_M3_PER_S = FOOT_M**3 / 60.0  # m³/s, exact by definition
SECONDS_PER_HOUR = 3600.0
KELVIN_OFFSET = 273.15  # K, exact: definition of the Celsius temperature
FAHRENHEIT_PER_KELVIN = 1.8  # exact: definition of the Fahrenheit scale
FAHRENHEIT_ZERO = 32.0  # °F at 0 °C, exact: definition of the Fahrenheit scale

STANDARD_PRESSURE_PA = 101_325.0  # Pa, standard atmosphere, exact by definition
LATENT_HEAT_J_PER_KG = 2.460e6  # J/kg, K1 of the latent capacity, ISO 5151 room calorimeter annex (from memory)


def fahrenheit_from_celsius(temp_c: N) -> N:
    """Return a temperature in °F from °C (never a difference).

    Examples
    --------
    >>> fahrenheit_from_celsius(35.0)
    95.0
    """
    return temp_c * FAHRENHEIT_PER_KELVIN + FAHRENHEIT_ZERO


def celsius_from_fahrenheit(temp_f: float) -> float:
    """Return a temperature in °C from °F (never a difference).

    Examples
    --------
    >>> celsius_from_fahrenheit(95.0)
    35.0
    """
    return (temp_f - FAHRENHEIT_ZERO) / FAHRENHEIT_PER_KELVIN


def eer_from_cop(cop: float) -> float:
    """Return the energy efficiency ratio [Btu/(W·h)] of a coefficient of performance [W/W].

    Examples
    --------
    >>> round(eer_from_cop(3.13586), 3)
    10.7
    """
    return cop * BTU_PER_H_PER_W
