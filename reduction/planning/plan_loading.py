"""PLAN.json from a file, with every fault of it in the words of `errors`."""

from __future__ import annotations

from pathlib import Path

from pydantic import ValidationError

from reduction.errors import Place, UnreadableFile
from reduction.loading import as_invalid_session
from reduction.planning.plan_request import PlanRequest

HINT = "`python -m reduction schema plan` prints what may stand there."


def load_plan_request(path: Path) -> PlanRequest:
    """Read and check a request for a plan.

    Raises
    ------
    UnreadableFile
        If there is no such file, or it is no text.
    InvalidSession
        If it breaks the schema.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (UnicodeDecodeError, OSError) as error:
        raise UnreadableFile(
            place=Place(str(path)),
            found="no text" if isinstance(error, UnicodeDecodeError) else error.strerror or "nothing",
            expected="a request for a plan in JSON",
            remedy=f"Give the path of a PLAN.json. {HINT}",
        ) from error
    try:
        return PlanRequest.model_validate_json(text)
    except ValidationError as error:
        raise as_invalid_session(error, str(path), HINT) from error
