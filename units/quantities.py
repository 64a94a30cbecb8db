"""Numbers as a person reads them: value ± U, no more digits than U allows, °C or °F, W or Btu/h.

Display only. The values stay SI; what a reader chose is remembered in a cookie, so it works for visitors too.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

from reduction.ground.constants import BTU_PER_H_PER_W, FAHRENHEIT_PER_KELVIN, fahrenheit_from_celsius
from reduction.ground.rounding import rounded

if TYPE_CHECKING:
    from django.http import HttpRequest

COOKIE = "display"
NO_BREAK = "\N{NO-BREAK SPACE}"
MINUS = "\N{MINUS SIGN}"
NOT_MEASURED = "not measured"


@dataclass(frozen=True)
class Display:
    """What a reader chose."""

    temperature: Literal["C", "F"] = "C"
    power: Literal["W", "Btu/h"] = "W"
    theme: Literal["auto", "light", "dark"] = "auto"

    @property
    def cookie(self) -> str:
        """The choice as the cookie keeps it."""
        return f"{self.temperature}|{self.power}|{self.theme}"

    @property
    def temp_symbol(self) -> str:
        """°C or °F."""
        return f"°{self.temperature}"

    @property
    def power_factor(self) -> float:
        """From W to the chosen unit of cooling power."""
        return BTU_PER_H_PER_W if self.power == "Btu/h" else 1.0


METRIC = Display()
RATIO = "1"  # the unit of a plain number, which is not written
CHOICES = {"temperature": ("C", "F"), "power": ("W", "Btu/h"), "theme": ("auto", "light", "dark")}


def chosen(current: Display, **choice: str | None) -> Display:
    """Return `current` with the choices that are known words; others are ignored."""
    known = {name: value for name, value in choice.items() if value in CHOICES[name]}
    return replace(current, **known)


def display_of(request: HttpRequest | None) -> Display:
    """Return what this reader chose: by the cookie, else as the person's account keeps it, else °C and W."""
    if request is None:
        return Display()
    if COOKIE in request.COOKIES:
        parts = request.COOKIES[COOKIE].strip('"').split("|")
        return chosen(Display(), **dict(zip(CHOICES, parts, strict=False)))
    person = getattr(request, "user", None)
    if person is not None and person.is_authenticated:
        return chosen(Display(), temperature=person.temperature_unit, power=person.power_unit)
    return Display()


def number(value: float, decimals: int = 0) -> str:
    """Write a number with thousands separated and a true minus sign.

    >>> number(7863), number(-0.04, 1), number(-3.25, 1)
    ('7,863', '0.0', '−3.2')
    """
    return f"{round(value, decimals) + 0.0:,.{decimals}f}".replace("-", MINUS)  # + 0.0: never a minus zero


def with_uncertainty(value: float | None, u95: float | None = None, unit: str = "") -> str:
    """Write `value ± U unit`, both rounded to what U allows; without U, to three significant digits.

    >>> with_uncertainty(7863, 368, "W").replace(NO_BREAK, " ")
    '7,900 ± 400 W'
    """
    if value is None or not math.isfinite(value):
        return NOT_MEASURED
    known = u95 if u95 is not None and math.isfinite(u95) else None
    return (
        f"{rounded(value, known)} {'' if unit == RATIO else unit}".rstrip().replace("-", MINUS).replace(" ", NO_BREAK)
    )


def scaled(value: float | None, factor: float) -> float | None:
    """Multiply what is known; what is not stays unknown."""
    return None if value is None else value * factor


def temp(celsius: float | None, u95: float | None = None, display: Display = METRIC, *, decimals: int = 1) -> str:
    """Write a temperature in the chosen scale."""
    if celsius is None:
        return NOT_MEASURED
    fahrenheit = display.temperature == "F"
    value = fahrenheit_from_celsius(celsius) if fahrenheit else celsius
    if u95:
        return with_uncertainty(value, u95 * (FAHRENHEIT_PER_KELVIN if fahrenheit else 1.0), display.temp_symbol)
    return f"{number(value, decimals)}{NO_BREAK}{display.temp_symbol}"


def temp_difference(kelvin: float | None, u95: float | None = None, display: Display = METRIC) -> str:
    """Write a difference of temperatures, in K or in °F."""
    factor, symbol = (FAHRENHEIT_PER_KELVIN, "°F") if display.temperature == "F" else (1.0, "K")
    return with_uncertainty(scaled(kelvin, factor), scaled(u95, factor), symbol)


def cooling(watts: float | None, u95: float | None = None, display: Display = METRIC) -> str:
    """Write a cooling or heating power in the chosen unit."""
    factor = display.power_factor
    return with_uncertainty(scaled(watts, factor), scaled(u95, factor), display.power)


def electric(watts: float | None, u95: float | None = None) -> str:
    """Write an electric power, always in W."""
    return with_uncertainty(watts, u95, "W")


def eer(value: float | None, u95: float | None = None) -> str:
    """Write an EER with its unit, so that it is never taken for a COP."""
    return with_uncertainty(value, u95, "Btu/(W·h)")


def cop(value: float | None, u95: float | None = None) -> str:
    """Write a COP in W/W."""
    return with_uncertainty(value, u95, "W/W")


def percent(fraction: float | None, u95: float | None = None) -> str:
    """Write a fraction in per cent."""
    return with_uncertainty(scaled(fraction, 100.0), scaled(u95, 100.0), "%")


def heat_capacity(j_per_k: float | None, u95: float | None = None) -> str:
    """Write a heat capacity in kJ/K."""
    return with_uncertainty(scaled(j_per_k, 1e-3), scaled(u95, 1e-3), "kJ/K")
