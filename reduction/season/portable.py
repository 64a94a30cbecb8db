"""Seasonal figures of a portable by the US procedure: adjusted capacity and CEER from its machine and its ducts."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from math import hypot, sqrt

from reduction.ground.constants import (
    BTU_PER_H_PER_W,
    CFM_M3_PER_S,
    SECONDS_PER_HOUR,
)
from reduction.judge.claims import named_condition
from reduction.judge.duct_facts import ducts_of, flow_of
from reduction.season.ceer import (
    COOLING_H,
    PORTABLE_INACTIVE_H,
    PORTABLE_OFF_CYCLE_H,
    PORTABLE_WEIGHTS,
    portable_ceer,
    sacc_btu_per_h,
)
from reduction.season.duct_costs import CONDITIONS, Adjusted, Ducted, adjusted
from reduction.session import (
    Compressor,
    RatingCorrection,
    SeasonFigure,
    SeasonInput,
    UnitKind,
)

OFF_CYCLE_BOUNDS_W = (1.0, 60.0)  # at the set point with the fan stopped or running, common practice, no source
SOURCE = "10 CFR 430 Subpart B Appendix CC (2016), from memory"


def portable_figures(
    points: Sequence[Ducted], kind: UnitKind, standby: SeasonInput, compressor: Compressor = Compressor.UNKNOWN
) -> tuple[SeasonFigure, ...]:
    """Return SACC [W] and CEER [Btu/(W·h)] of a portable; none without a point at full speed whose ducts are stated.

    A variable-speed unit is rated from tests at several speeds, which are not known here: none either.

    References
    ----------
    10 CFR 430 Subpart B Appendix CC (2016), 4.1, 5.1 to 5.4, from memory; constants in `season.ceer`.
    """
    full = [point for point in points if point.machine.limit.verdict == "at full speed"]
    if kind not in CONDITIONS or not full or compressor is Compressor.VARIABLE_SPEED:
        return ()
    tests = {outdoor_f: adjusted(full, kind, outdoor_f) for outdoor_f in PORTABLE_WEIGHTS}
    known = {outdoor_f: test for outdoor_f, test in tests.items() if test is not None}
    if len(known) < len(tests):
        return ()
    idle = (_off_cycle(full), standby)
    return (_sacc(known, _inputs(full, known, kind), full, kind), _ceer(known, idle, full, kind))


def _sacc(
    tests: dict[int, Adjusted], inputs: tuple[SeasonInput, ...], points: Sequence[Ducted], kind: UnitKind
) -> SeasonFigure:
    value = sacc_btu_per_h(tests[95].capacity_w, tests[83].capacity_w)  # linear: W in, W out
    machine_u = sum(weight * tests[f].test.capacity_u95_w / 2.0 for f, weight in PORTABLE_WEIGHTS.items())
    u = hypot(machine_u, *_weighted(tests, lambda outdoor_f: 1.0))
    btu = f"{value * BTU_PER_H_PER_W:,.0f} Btu/h"
    return SeasonFigure(
        name="SACC", value=value, u95=2.0 * u, quantity_unit="W", inputs=inputs,
        because=f"{SOURCE}: {btu}, the machine's capacity at 80 °F and 67 °F wet bulb less duct heat and drawn-in air, "
        f"a fifth at 95 °F and four fifths at 83 °F outdoors. {_from(points, tests, kind)}",
    )  # fmt: skip


def _ceer(
    tests: dict[int, Adjusted], idle: tuple[SeasonInput, SeasonInput], points: Sequence[Ducted], kind: UnitKind
) -> SeasonFigure:
    off_cycle, standby = idle
    power = {f: test.test.power_w for f, test in tests.items()}

    def ceer(adjusted_w: dict[int, float], power_w: dict[int, float], off_cycle_w: float, standby_w: float) -> float:
        heat = {f: watts * BTU_PER_H_PER_W for f, watts in adjusted_w.items()}
        return portable_ceer(heat, power_w, off_cycle_w, standby_w)

    cooled = {f: test.capacity_w for f, test in tests.items()}
    value = ceer(cooled, power, off_cycle.value, standby.value)
    stronger = {f: test.capacity_w + test.test.capacity_u95_w / 2.0 for f, test in tests.items()}
    hungrier = {f: test.test.power_w + test.test.power_u95_w / 2.0 for f, test in tests.items()}
    moved = [
        ceer(stronger, power, off_cycle.value, standby.value) - value,
        ceer(cooled, hungrier, off_cycle.value, standby.value) - value,
        ceer(cooled, power, off_cycle.value + off_cycle.u, standby.value) - value,
        ceer(cooled, power, off_cycle.value, standby.value + standby.u) - value,
    ]
    idle_w = (off_cycle.value * PORTABLE_OFF_CYCLE_H + standby.value * PORTABLE_INACTIVE_H) / COOLING_H
    per_w = _weighted(tests, lambda outdoor_f: BTU_PER_H_PER_W / (power[outdoor_f] + idle_w))
    return SeasonFigure(
        name="CEER", value=value, u95=2.0 * hypot(*moved, *per_w), quantity_unit="Btu/(W·h)",
        inputs=(*_adjusted_inputs(tests), *idle),
        because=f"{SOURCE}: adjusted capacity over the power of {COOLING_H:.0f} h of cooling, "
        f"{PORTABLE_OFF_CYCLE_H:.0f} h at the set point and {PORTABLE_INACTIVE_H:.0f} h of waiting. "
        f"{_from(points, tests, kind)}",
    )  # fmt: skip


def _weighted(tests: dict[int, Adjusted], factor: Callable[[int], float]) -> list[float]:
    """Return by named error what it makes of a sum over the tests with the procedure's weights."""
    names = sorted({name for test in tests.values() for name in test.errors})
    return [
        sum(weight * factor(f) * tests[f].errors.get(name, 0.0) for f, weight in PORTABLE_WEIGHTS.items())
        for name in names
    ]


def _from(points: Sequence[Ducted], tests: dict[int, Adjusted], kind: UnitKind) -> str:
    """Say which points it is from, and how far they were brought."""
    conditions = {name: named_condition(name) for name in CONDITIONS[kind].values()}
    asked = " and ".join(f"{each.outdoor_temp_c:.1f}" for each in conditions.values())
    tested = ", ".join(
        f"{point.machine.wet_bulb.value:.1f} and {point.machine.outdoor_temp_c.value:.1f} °C" for point in points
    )
    model = max(test.test.model_u95_fraction for test in tests.values())
    return (
        f"{len(points)} window{'s' if len(points) != 1 else ''} at full speed, at a wet bulb and a condenser inlet of "
        f"{tested}, brought by published maps to 19.4 °C and {asked} °C, which leaves {100.0 * model:.0f} % open."
    )


def _inputs(points: Sequence[Ducted], tests: dict[int, Adjusted], kind: UnitKind) -> tuple[SeasonInput, ...]:
    """Return what was measured and stated, and what it comes to at each outdoor temperature."""
    found = [row for f, each in tests.items() for row in _machine(points, each.test, kind, f)]
    for which in ducts_of(kind):
        flow = max((flow_of(point.ducts.stated, which) for point in points), key=lambda each: each.u)
        hourly = SECONDS_PER_HOUR
        because = f"as the tester states it, {flow.value / CFM_M3_PER_S:.0f} cfm"
        found.append(_input(f"{which} air flow", hourly * flow.value, hourly * flow.u, "m³/h", because))
    for f, each in tests.items():
        of_air = "dry air of exhaust less intake, at the state the procedure gives outdoor and room air"
        of_duct = "3 Btu/(h·ft²·°F), surfaces as far between room and duct air as in the test"
        found += [
            _input(f"drawn-in air at {f} °F", each.infiltration.value, each.infiltration.u, "W", of_air),
            _input(f"duct heat at {f} °F", each.duct.value, each.duct.u, "W", of_duct),
        ]
    return tuple(found)


def _machine(points: Sequence[Ducted], test: RatingCorrection, kind: UnitKind, outdoor_f: int) -> list[SeasonInput]:
    """Return the machine's figures at a test; with one duct both outdoor temperatures have the same."""
    if kind is UnitKind.SINGLE_DUCT_PORTABLE and outdoor_f != min(PORTABLE_WEIGHTS):
        return []
    at = f" at {outdoor_f} °F" if kind is UnitKind.DUAL_DUCT_PORTABLE else ""
    several = f"{len(points)} net effects with duct heat and drawn-in air put back"
    because = several if len(points) > 1 else points[0].ducts.because
    return [
        _input(f"machine's capacity{at}", test.capacity_w, test.capacity_u95_w / 2.0, "W", because),
        _input(f"machine's power{at}", test.power_w, test.power_u95_w / 2.0, "W", "logged, and brought there likewise"),
    ]


def _adjusted_inputs(tests: dict[int, Adjusted]) -> tuple[SeasonInput, ...]:
    """Return what the CEER weighs: adjusted capacity and power at each outdoor temperature."""
    rows = []
    for f, each in tests.items():
        u = hypot(each.test.capacity_u95_w / 2.0, *each.errors.values())
        rows.append(_input(f"adjusted capacity at {f} °F", each.capacity_w, u, "W", "as in the SACC"))
        power = each.test
        rows.append(_input(f"power at {f} °F", power.power_w, power.power_u95_w / 2.0, "W", "brought there likewise"))
    return tuple(rows)


def _off_cycle(points: Sequence[Ducted]) -> SeasonInput:
    for point in points:
        stated = point.ducts.stated
        if stated.off_cycle_power_w is not None:
            u95 = stated.off_cycle_power_u95_w
            u = 0.05 * stated.off_cycle_power_w if u95 is None else u95 / 2.0
            return _input("power at the set point", stated.off_cycle_power_w, u, "W", "as the tester states it")
    low, high = OFF_CYCLE_BOUNDS_W
    because = f"not measured: {low:g} to {high:g} W, with the fan stopped or running"
    middle, u = (low + high) / 2.0, (high - low) / sqrt(12.0)
    return _input("power at the set point", middle, u, "W", because, measured=False)


def _input(
    name: str, value: float, u: float, quantity_unit: str, because: str, *, measured: bool = True
) -> SeasonInput:
    return SeasonInput(name=name, value=value, u=u, quantity_unit=quantity_unit, measured=measured, because=because)
