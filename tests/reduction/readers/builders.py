"""Logs in a line: columns with given courses, for tests of what is proposed from them."""

from __future__ import annotations

import numpy as np

from reduction.readers.table import Column, FloatArray, Guess, Log
from reduction.readers.vocabulary import find_unit
from reduction.session import Profile, Role, SampleKind

GUESS = Guess("", "", "given by the test", 1.0)


def a_column(name: str, values: FloatArray, unit: str, step_s: float = 10.0) -> Column:
    time_s = 1.784e9 + step_s * np.arange(len(values))
    found = find_unit(unit)
    quantity = found.quantity if found else ""
    return Column(name, time_s, np.asarray(values, dtype=float), quantity, unit, GUESS, SampleKind.INSTANT, GUESS,
        Role.IGNORED, GUESS)  # fmt: skip


def a_log(path: str, *columns: Column) -> Log:
    return Log(path, "0" * 64, 1, "wide table", columns, Profile())
