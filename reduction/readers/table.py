"""What a reader hands on: columns with their own times, and every guess with its reason."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from reduction.session import Profile, Role, SampleKind

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Guess:
    """A guess with its evidence; whoever confirms or overrules it sees both."""

    what: str
    value: str
    because: str
    sure: float


@dataclass(frozen=True)
class Question:
    """Something the file cannot settle; the first option is not taken unless a person says so."""

    what: str
    options: tuple[str, ...]
    because: str


@dataclass(frozen=True)
class Fault:
    """Rows that were repaired or skipped: how many, where first, and what was done."""

    code: str
    count: int
    first_row: int | None
    column: str | None
    sentence: str


@dataclass(frozen=True)
class Column:
    """One logged quantity on its own times.

    `time_s` is Unix time in UTC [s], increasing; `values` in `quantity_unit` as logged, NaN where missing.
    Both have shape (n,). Columns of a wide table share one `time_s` array. `in_file` is the heading as the file has it,
    where `name` was taken from elsewhere.
    """

    name: str
    time_s: FloatArray
    values: FloatArray
    quantity: str
    quantity_unit: str
    unit_guess: Guess
    kind: SampleKind
    kind_guess: Guess
    role: Role
    role_guess: Guess
    is_difference: bool = False
    in_file: str = ""


@dataclass(frozen=True)
class Log:
    """A file as read. Nothing in it was guessed without an entry in `guesses`."""

    path: str
    sha256: str
    size_bytes: int
    shape: str
    columns: tuple[Column, ...]
    profile: Profile
    guesses: tuple[Guess, ...] = ()
    questions: tuple[Question, ...] = ()
    faults: tuple[Fault, ...] = ()
    preview: tuple[tuple[str, ...], ...] = field(default=(), repr=False)
