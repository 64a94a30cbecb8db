"""What a room that was never characterised costs a point, and what a run with the unit off would buy."""

from __future__ import annotations

from math import hypot, sqrt

from reduction.session import Component, Finding, Severity
from reduction.uncertainty.propagation import Propagated

WORTH_SAYING = 0.05
"""Share of the variance below which an assumed band is not worth a finding."""
RUNS = (
    ("two hours with the unit off, one of them held warm by metered heaters", 0.25),
    ("a night held warm so, then some hours without heat", 0.16),
)
"""Standard uncertainty of ΣUA, as a share of it, after such a run: half the median U95 of simulated rooms of nine
stores through the program's own characterisation. Everything off from the start tells none: heat must flow."""


def assumed(result: Propagated, label: str, output: int) -> tuple[Finding, ...]:
    """Say what an uncharacterised room costs, the share of the variance its bands make, and what would narrow them.

    Parameters
    ----------
    result
        The propagated balance.
    output
        Which of its outputs is the capacity.
    """
    bands = [line for line in result.budget(output) if _is_band(line)]
    share = sum(line.share for line in bands)
    if share < WORTH_SAYING:
        return ()
    k, u = result.interval_k(output), result.u(output)
    without = k * u * sqrt(max(0.0, 1.0 - share))
    bought = "; after ".join(f"{what}, it would be about ±{k * _after(bands, u, r):.0f} W" for what, r in RUNS)
    return (
        Finding(
            code="room_not_characterised",
            severity=Severity.WARNING,
            sentence=f"No run has told the room's {_listed(bands)}; the bands that stand in for it make {share:.0%} "
            f"of the variance: ±{k * u:.0f} W would be about ±{without:.0f} W with a room that is known.",
            subject=label,
            remedy=f"Characterise the room, 8 K or more warmer than what is around it. After {bought}.",
        ),
    )


def _listed(bands: list[Component]) -> str:
    """Name what the bands stand for, the greatest part first."""
    parts = sorted(bands, key=lambda line: abs(line.contribution_w), reverse=True)
    *most, last = dict.fromkeys(line.name for line in parts)
    return f"{', '.join(most)} and {last}" if most else last


def _is_band(line: Component) -> bool:
    return "not characterised" in line.source and (line.shared_key or "").startswith("room:")


def _after(bands: list[Component], u_w: float, relative: float) -> float:
    """Standard uncertainty [W] once the conductances are known to a share of their gains; other bands stay."""
    of_ua = [line for line in bands if line.name.startswith("UA to")]
    gain_w = sum(abs(line.sensitivity * line.value) for line in of_ua)
    rest = u_w**2 - sum(line.contribution_w**2 for line in of_ua)
    return min(u_w, hypot(sqrt(max(rest, 0.0)), relative * gain_w))
