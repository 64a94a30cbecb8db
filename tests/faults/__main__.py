"""Hurt a running site, load it, and count what is left.

python -m tests.faults            # all cases as often as is claimed, then check_ledger; about an hour and a half
python -m tests.faults --short    # each case a few times; some minutes
python -m tests.faults --only workers web
"""

from __future__ import annotations

import argparse
import os
import signal
import sys
import time

import django

from tests.faults.site import Site, running

HEAD = f"{'case':<36} {'tried':>6} {'survived':>9} {'lost':>5}  what was done"


def main(arguments: list[str]) -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.faults", description=__doc__.splitlines()[0])
    parser.add_argument("--short", action="store_true", help="each case a few times")
    parser.add_argument("--only", nargs="+", metavar="CASE", help="these cases; see tests/faults/cases.py")
    parser.add_argument("--seed", type=int, default=1, help="of the random instants")
    asked = parser.parse_args(arguments)
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(1))  # leave no process behind
    with running() as site:
        os.environ.update(site.environment)
        os.environ["PRODUCTION"] = "false"  # this process only prepares and counts
        django.setup()
        return hurt(site, asked)


def hurt(site: Site, asked: argparse.Namespace) -> int:
    """Run the cases; models can be imported only now that Django knows the site's database."""
    from tests.faults.cases import CASES
    from tests.faults.scene import Scene, nothing_open
    from units.actions import ledger

    site.start_web()
    say(HEAD)
    lost = 0
    for name in asked.only or CASES:
        case, whole, short = CASES[name]
        began = time.monotonic()
        outcomes = case(Scene(site, seed=asked.seed), short if asked.short else whole)
        for outcome in outcomes if isinstance(outcomes, tuple) else (outcomes,):
            lost += outcome.lost
            counts = f"{outcome.case:<36} {outcome.tried:>6} {outcome.survived:>9} {outcome.lost:>5}"
            say(f"{counts}  {outcome.what}; {time.monotonic() - began:.0f} s")
    site.start_workers()  # what the last case left in work is taken up again, as where workers go on running
    if not nothing_open():
        say("some work is still open")
    site.stop_workers()
    looked = list(ledger.check())
    faults = [f"{one.invariant}: {fault}" for one in looked for fault in one.faults]
    counts = f"{sum(one.looked_at for one in looked)} looked at, {len(faults)} faults"
    say(f"check_ledger: {counts}; {len(ledger.left_over())} left over in the store")
    for fault in faults:
        say(f"  {fault}")
    traces = site.traces()
    for trace in traces:
        say(f"  the site's log: {trace}")
    return 1 if lost or faults else 0


def say(line: str) -> None:
    sys.stdout.write(f"{line}\n")
    sys.stdout.flush()


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
