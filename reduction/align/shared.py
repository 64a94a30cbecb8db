"""What is worked out of times alone, once for all channels that hold the same array of them, as those of a table do."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import ParamSpec, TypeVar
from weakref import finalize

import numpy as np

P = ParamSpec("P")
T = TypeVar("T")


def once_for_arrays(function: Callable[P, T]) -> Callable[P, T]:
    """Let a pure function of arrays and numbers work once for the very same arrays; the answer lives as long as they.

    Nobody writes into the arrays or the answer, and the answer is no view of them.

    Examples
    --------
    >>> steps = once_for_arrays(np.diff)
    >>> time_s = np.array([0.0, 10.0, 20.0])
    >>> steps(time_s) is steps(time_s), steps(time_s.copy()).tolist()
    (True, [10.0, 10.0])
    """
    known: dict[tuple[object, ...], T] = {}

    @wraps(function)
    def once(*args: P.args, **kwargs: P.kwargs) -> T:
        arrays = [each for each in args if isinstance(each, np.ndarray)]
        key = (*(id(each) if isinstance(each, np.ndarray) else each for each in args), *kwargs.items())
        if key not in known:
            known[key] = function(*args, **kwargs)
            for each in arrays:
                finalize(each, known.pop, key, None).atexit = False
        return known[key]

    return once
