"""A plan as a checklist a person prints: figures with units, cautions at the step where they matter."""

from __future__ import annotations

from itertools import groupby
from textwrap import fill

from reduction.ground.constants import SECONDS_PER_HOUR
from reduction.ground.rounding import with_unit
from reduction.planning.plan_request import Caution, Plan, TargetPlan

WIDTH = 110
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
    title = f"{number}. Room {place.room_temp_c:.1f} °C ({wet}), outdoors {place.outdoor_temp_c:.1f} °C"
    light, heavy = (time / SECONDS_PER_HOUR for time in target.time_to_steady_range_s)
    lines = [
        title,
        "-" * len(title),
        f"Capacity to expect {with_unit(target.capacity_w, target.capacity_u95_w, 'W')}, power {target.power_w:.0f} W",
        f"Heaters            {target.constant_w:.0f} W constant and {target.switched_w:.0f} W switched "
        f"(on {target.switched_duty:.0%} of the time)",
        f"Circuits           {target.circuits_needed} needed. {target.circuits_because}",
        f"Steady after       {target.time_to_steady_s / SECONDS_PER_HOUR:.1f} h, {light:.1f} to {heavy:.1f} h by "
        f"what is not known of the walls (time constant of the room {target.time_constant_s / 60:.0f} min), then a "
        f"window of {target.window_s / 60:.0f} min",
        f"Freezing           {target.freezing.because}",
    ]
    if target.water_kg_per_h:
        lines.append(
            f"Water              {target.water_kg_per_h:.2f} kg/h to the room, weighed, for its humidity to hold"
        )
    for use in target.circuits:
        loads = ", ".join(f"{load.name} {load.power_w:.0f} W" for load in use.loads) or "nothing"
        lines.append(f"  {use.circuit.name or 'circuit'}: {loads}: {use.current_a:.1f} of {use.circuit.limit_a:g} A")
    lines.append("Largest doubts     " + "; ".join(f"{b.name} {b.share:.0%}" for b in target.budget[:4]))
    lines += [f"  {each.what}: ± {each.capacity_u95_w:.0f} W" for each in target.improvements[:5]]
    return "\n".join(lines)


def _checklist(cautions: tuple[Caution, ...]) -> str:
    lines = ["Checklist"]
    for step, group in groupby(cautions, key=lambda caution: caution.step):
        lines += ["", STEPS[step], *(_item(each.caution, "[ ] ") for each in group)]
    return "\n".join(lines)


def _item(text: str, mark: str = "- ") -> str:
    return fill(text, WIDTH, initial_indent=mark, subsequent_indent=" " * len(mark))
