"""PLAN.json from a file, with every fault of it in the words of `errors`."""

from __future__ import annotations

from pathlib import Path

from reduction.loading import checked, read_json
from reduction.planning.plan_request import PlanRequest

HINT = "`python -m reduction schema plan` prints what may stand there."


def load_plan_request(path: Path) -> PlanRequest:
    """Read and check a request for a plan.

    Raises
    ------
    UnreadableFile
        If there is no such file, or it is no JSON.
    InvalidSession
        If it breaks the schema.
    """
    found = read_json(path, "a request for a plan", f"Give the path of a PLAN.json. {HINT}")
    return checked(PlanRequest, found, str(path), HINT)
