"""A plan as a checklist a person prints: figures with units, cautions at the step where they matter."""

from __future__ import annotations

from itertools import groupby
from textwrap import fill

from reduction.ground.constants import SECONDS_PER_HOUR, eer_from_cop
from reduction.ground.rounding import with_unit
from reduction.planning.plan_request import Caution, Plan, TargetPlan

WIDTH = 110
LABEL = 20
LEAST_SHARE = 0.01
STEPS = {
    "before": "Before anything is plugged in",
    "heaters": "Heaters",
    "unit": "The unit",
    "outdoor": "Outdoor side",
    "water": "Water",
    "run": "While it runs",
    "after": "Afterwards",
}


def plan_report(plan: Plan) -> str:
    """Lay out a plan: each condition in the order to run it, then the checklist of cautions by step."""
    blocks = [
        f"{len(plan.targets)} condition(s), about {plan.hours:.1f} h in all. ± is 95 %, as the engine will state it."
    ]
    blocks += [_target(number, target) for number, target in enumerate(plan.targets, start=1)]
    if plan.assumptions:
        blocks.append("\n".join(["Taken for want of better:", *(_item(each) for each in plan.assumptions)]))
    blocks.append(_checklist(plan.cautions))
    return "\n\n".join(blocks) + "\n"


def _target(number: int, target: TargetPlan) -> str:
    place = target.condition
    wet = "dry" if place.room_wet_bulb_c is None else f"{place.room_wet_bulb_c:.1f} °C wet bulb"
    named = f"{place.name}: room" if place.name else "Room"
    title = f"{number}. {named} {place.room_temp_c:.1f} °C ({wet}), outdoors {place.outdoor_temp_c:.1f} °C"
    rows = [*_expected(target), *_set_up(target), *_bought(target)]
    return "\n".join([title, "-" * len(title), *(_row(name, text) for name, text in rows)])


def _expected(target: TargetPlan) -> list[tuple[str, str]]:
    """What to expect: capacity, efficiency, time, how near to freezing."""
    cop = target.capacity_w / target.power_w
    capacity = with_unit(target.capacity_w, target.capacity_u95_w, "W")
    eer = with_unit(eer_from_cop(cop), target.eer_u95, "Btu/(W·h)")
    light, heavy = (time / SECONDS_PER_HOUR for time in target.time_to_steady_range_s)
    unsure = f", {light:.1f} to {heavy:.1f} h by what is not known of the walls" if heavy > light else ""
    reached = {None: "", True: " Reaches what is wanted.", False: " The wanted ± is not reached."}
    return [
        ("Capacity to expect", f"{capacity}.{reached[target.wanted_reached]}"),
        ("EER to expect", f"{eer}, at a power of {target.power_w:.0f} W"),
        (
            "Steady after",
            f"{target.time_to_steady_s / SECONDS_PER_HOUR:.1f} h{unsure} "
            f"(time constant of the air {target.time_constant_s / 60:.0f} min)",
        ),
        ("Then a window of", f"{target.window_s / 60:.0f} min"),
        ("Freezing", target.freezing.because),
    ]


def _set_up(target: TargetPlan) -> list[tuple[str, str]]:
    """Heaters, water, and what hangs on which circuit."""
    rows = [
        (
            "Heaters",
            f"{target.constant_w:.0f} W constant and {target.switched_w:.0f} W switched "
            f"(on {target.switched_duty:.0%} of the time)",
        )
    ]
    if target.water_kg_per_h:
        water = f"{target.water_kg_per_h:.2f} kg/h to the room, weighed, for its humidity to hold"
        rows.append(("Water", water))
    rows.append(("Circuits", f"{target.circuits_needed} needed. {target.circuits_because}"))
    for use in target.circuits:
        loads = ", ".join(f"{load.name} {load.power_w:.0f} W" for load in use.loads) or "nothing"
        rows.append(
            (f"  {use.circuit.name or 'circuit'}", f"{loads}: {use.current_a:.1f} of {use.circuit.limit_a:g} A")
        )
    return rows


def _bought(target: TargetPlan) -> list[tuple[str, str]]:
    """What leads the uncertainty, and what a longer window and each improvement would make of it."""
    rows = [("Largest doubts", "; ".join(f"{b.name} {_share(b.share)}" for b in target.budget[:4]))]
    lengths = (
        f"{each.window_s / 60:.0f} min: {_half_width(each.capacity_u95_w, 'W')}, EER ± {each.eer_u95:.2f}"
        for each in target.windows
    )
    rows.append(("By window", "; ".join(lengths)))
    for first, each in zip(["What would help", *[""] * 4], target.improvements[:5], strict=False):
        rows.append((first, f"{each.what}: {_half_width(each.capacity_u95_w, 'W')}"))
    return rows


def _share(part: float) -> str:
    return f"{part:.0%}" if part >= LEAST_SHARE else f"under {LEAST_SHARE:.0%}"


def _half_width(u95: float, quantity_unit: str) -> str:
    return f"± {u95:.0f} {quantity_unit}"


def _row(name: str, text: str) -> str:
    return fill(text, WIDTH, initial_indent=f"{name:<{LABEL}}", subsequent_indent=" " * LABEL)


def _checklist(cautions: tuple[Caution, ...]) -> str:
    lines = ["Checklist"]
    for step, group in groupby(cautions, key=lambda caution: caution.step):
        lines += ["", STEPS[step], *(_item(each.caution, "[ ] ") for each in group)]
    return "\n".join(lines)


def _item(text: str, mark: str = "- ") -> str:
    return fill(text, WIDTH, initial_indent=mark, subsequent_indent=" " * len(mark))
