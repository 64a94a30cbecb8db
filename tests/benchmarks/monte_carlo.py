"""Monte Carlo of a budget of twenty components: `python -m tests.benchmarks.monte_carlo` prints its time."""

from __future__ import annotations

import sys

from reduction.uncertainty.montecarlo import monte_carlo
from reduction.uncertainty.propagation import Input
from tests.benchmarks.reduce_session import seconds_of

DRAWS, COMPONENTS, LIMIT_S = 100_000, 20, 0.15


def main() -> None:
    """Print the time of one run."""
    shapes = ("normal", "rectangular")
    inputs = [Input(str(i), 100.0, 3.0, shape=shapes[i % 2]) for i in range(COMPONENTS)]  # type: ignore[arg-type]
    took = seconds_of(lambda: monte_carlo(inputs, lambda x: x.sum(axis=0)[None, :], draws=DRAWS))
    sys.stdout.write(f"{DRAWS:,} draws × {COMPONENTS} components: {took:.3f} s (limit {LIMIT_S:g})\n")


if __name__ == "__main__":
    main()
