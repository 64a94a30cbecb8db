"""JSON documents from a file or text, SESSION.json first, with every fault of them in the words of `errors`."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from reduction.errors import InvalidSession, Place, UnreadableFile
from reduction.session import SESSION_FORMAT, Session

Document = TypeVar("Document", bound=BaseModel)

SHOWN = 3
LONGEST_FOUND = 60
SCHEMA_HINT = "`python -m reduction schema session` prints what may stand there."


def read_json(path: Path, what: str, remedy: str) -> Any:
    """Parse the JSON document in a file.

    Parameters
    ----------
    path
        The file; a byte order mark at its start is skipped.
    what, remedy
        What is expected in it and what to do without, for the sentence of an error.

    Raises
    ------
    UnreadableFile
        If there is no such file, or it is no text or no JSON.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (UnicodeDecodeError, OSError) as error:
        binary = isinstance(error, UnicodeDecodeError)
        raise UnreadableFile(
            place=Place(str(path)),
            found="no text" if binary else getattr(error, "strerror", None) or "nothing",
            expected=f"{what} in JSON",
            remedy=remedy,
        ) from error
    return json_of(text, str(path))


def json_of(text: str, name: str) -> Any:
    """Parse a JSON document given as text.

    Raises
    ------
    UnreadableFile
        With the row and the character at which it stops being JSON.

    Examples
    --------
    >>> json_of("{", "PLAN.json")
    Traceback (most recent call last):
    ...
    reduction.errors.UnreadableFile: PLAN.json, row 1: found “{”, expected JSON. Expecting property name enclosed \
in double quotes at character 2; mend it there.
    """
    try:
        return json.loads(text)
    except (json.JSONDecodeError, RecursionError) as error:
        row = getattr(error, "lineno", 1)
        lines = text.splitlines() or [""]
        raise UnreadableFile(
            place=Place(name, row=row),
            found=_short(lines[min(row, len(lines)) - 1].strip()) or "nothing",
            expected="JSON",
            remedy=f"{getattr(error, 'msg', 'Nested too deeply')} at character {getattr(error, 'colno', 1)}; mend it "
            "there.",
        ) from error


def checked(model: type[Document], found: Any, name: str, hint: str) -> Document:
    """Return a parsed document as its model.

    Raises
    ------
    InvalidSession
        If it breaks the schema: the worst three faults in words, the rest counted.
    """
    try:
        return model.model_validate(found)
    except ValidationError as error:
        raise as_invalid_session(error, name, hint) from error


def load_session(path: Path) -> Session:
    """Read and check a session document.

    Raises
    ------
    UnreadableFile
        If there is no such file, or it is no JSON.
    InvalidSession
        If it breaks the schema.
    """
    remedy = "Give the path of a SESSION.json; log files alone are looked at with `python -m reduction check`."
    return session_from_document(read_json(path, "a session document", remedy), str(path))


def session_from_json(text: str, name: str = "SESSION.json") -> Session:
    """Check a session document given as text.

    Raises
    ------
    UnreadableFile, InvalidSession
        As `load_session`.
    """
    return session_from_document(json_of(text, name), name)


def session_from_document(found: Any, name: str = "SESSION.json") -> Session:
    """Check a session document that is already parsed."""
    if not isinstance(found, Mapping):
        raise InvalidSession(
            place=Place(name),
            found=type(found).__name__,
            expected="an object with the fields of a session",
            remedy=SCHEMA_HINT,
        )
    if found.get("format", SESSION_FORMAT) != SESSION_FORMAT:
        raise InvalidSession(
            place=Place(name, column="format"),
            found=_short(str(found["format"])),
            expected=SESSION_FORMAT,
            remedy="This is another kind of document, or one of a later version.",
        )
    return checked(Session, found, name, SCHEMA_HINT)


def as_invalid_session(error: ValidationError, name: str, hint: str) -> InvalidSession:
    """Put a schema error in our words: the JSON path as column, what was found, what was expected."""
    faults = error.errors(include_url=False)
    worded = [f"{_path(fault)}: {_expected(fault)}" for fault in faults[1:SHOWN]]
    more = f" Also {'; '.join(worded)}." if worded else ""
    rest = f" And {len(faults) - SHOWN} more." if len(faults) > SHOWN else ""
    first = faults[0]
    return InvalidSession(
        place=Place(name, column=_path(first)),
        found=_found(first),
        expected=_expected(first),
        remedy=f"{hint}{more}{rest}",
    )


def _path(fault: Mapping[str, Any]) -> str:
    path = "".join(f"[{step}]" if isinstance(step, int) else f".{step}" for step in fault["loc"])
    return path.lstrip(".") or "document"


def _found(fault: Mapping[str, Any]) -> str:
    if fault["type"] == "missing":
        return "nothing"
    if fault["type"] == "extra_forbidden":
        return str(fault["loc"][-1])
    return _short(json.dumps(fault.get("input"), ensure_ascii=False, default=str).strip('"'))


def _expected(fault: Mapping[str, Any]) -> str:
    if fault["type"] == "missing":
        return "a value"
    if fault["type"] == "extra_forbidden":
        return "no such field"
    message = str(fault["msg"]).removeprefix("Input should be ").removeprefix("Value error, ")
    return message[:1].lower() + message[1:]


def _short(text: str) -> str:
    return text if len(text) <= LONGEST_FOUND else f"{text[: LONGEST_FOUND - 1]}…"
