"""From a balance to a point: value, U and budget by the GUM, confirmed by Monte Carlo."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from math import isfinite
from typing import Any

from reduction.balance.heat_balance import OUTPUTS, Balance
from reduction.ground.constants import BTU_PER_H_PER_W
from reduction.judge.assumed_room import assumed
from reduction.session import Finding, Limit, Point, Settings, Severity, Term, WindowResult
from reduction.uncertainty.montecarlo import Draws, Trial, confirms, monte_carlo
from reduction.uncertainty.propagation import Propagated, propagate

CAPACITY, SENSIBLE, LATENT, POWER, COP = range(len(OUTPUTS))
UNDECIDED = Limit(verdict="cannot tell", because="Not judged.")


@dataclass(frozen=True)
class Reduced:
    """One window through the engine: its balance, the propagated outputs and the Monte Carlo trial of the capacity."""

    balance: Balance
    result: Propagated
    trial: Trial | None

    @cached_property
    def confirmed(self) -> bool:
        """Whether Monte Carlo agrees with the GUM interval, or was not asked."""
        return self.trial is None or confirms(self.result, self.trial)

    @cached_property
    def interval_w(self) -> tuple[float, float]:
        """The interval of the capacity that is reported. [W]"""
        if self.trial is not None and not self.confirmed:
            return self.trial.low, self.trial.high
        return self.result.interval(CAPACITY)


def reduce_balance(balance: Balance, settings: Settings, draws: Draws | None = None) -> Reduced:
    """Propagate one balance and confirm it by Monte Carlo, with random numbers that other windows may share.

    References
    ----------
    JCGM 100:2008, 5; JCGM 101:2008, 8.
    """
    result = propagate(balance.ledger.inputs, balance.model)
    trial = None
    if settings.monte_carlo_draws:
        trials = monte_carlo(
            balance.ledger.inputs,
            lambda x: balance.ledger.capacity(x)[None, :],
            draws=settings.monte_carlo_draws,
            seed=settings.seed,
            shared=draws,
        )
        trial = trials[0]
    return Reduced(balance, result, trial)


def point_of(reduced: Reduced, window: WindowResult, findings: tuple[Finding, ...] = ()) -> Point:
    """State one point: the figures, every term, both budgets and what was found; the limit is judged later."""
    balance, result = reduced.balance, reduced.result
    dof, k = result.dof(CAPACITY), result.interval_k(CAPACITY)
    return Point(
        label=window.label,
        start=window.start,
        end=window.end,
        usable=balance.usable and not any(f.severity is Severity.SEVERE for f in findings),
        conditions=balance.conditions,
        capacity_w=float(result.values[CAPACITY]),
        capacity_kind=balance.kind,
        capacity_u_w=result.u(CAPACITY),
        capacity_u95_w=k * result.u(CAPACITY),
        sensible_w=float(result.values[SENSIBLE]),
        sensible_u95_w=result.expanded(SENSIBLE),
        **_latent(reduced),
        **_efficiency(reduced),
        k=k,
        dof=dof if isfinite(dof) else None,
        interval_w=reduced.interval_w,
        interval_from="GUM" if reduced.confirmed else "Monte Carlo",
        terms=_terms(reduced),
        budget=result.budget(CAPACITY),
        limit=UNDECIDED,
        findings=(*balance.findings, *findings, *assumed(result, balance.label, CAPACITY), *_disagreement(reduced)),
        window=window,
    )


def _latent(reduced: Reduced) -> dict[str, Any]:
    """The latent part and the sensible heat ratio; None where the moisture is not known."""
    if reduced.balance.latent is None:
        return {"latent_w": None, "latent_u95_w": None, "shr": None}
    value = reduced.result.values
    return {
        "latent_w": float(value[LATENT]),
        "latent_u95_w": reduced.result.expanded(LATENT),
        "shr": float(value[SENSIBLE] / value[CAPACITY]) if value[CAPACITY] > 0 else None,
    }


def _efficiency(reduced: Reduced) -> dict[str, Any]:
    """Power, COP and EER with their U; no efficiency where the power is not known."""
    if reduced.balance.power is None:
        return {
            "power_w": 0.0,
            "power_u95_w": 0.0,
            "cop": None,
            "cop_u95": None,
            "eer_btu_per_wh": None,
            "eer_u95": None,
        }
    result = reduced.result
    cop, u95 = float(result.values[COP]), result.expanded(COP)
    return {
        "power_w": float(result.values[POWER]),
        "power_u95_w": result.expanded(POWER),
        "cop": cop,
        "cop_u95": u95,
        "eer_btu_per_wh": cop * BTU_PER_H_PER_W,
        "eer_u95": u95 * BTU_PER_H_PER_W,
        "eer_budget": result.budget(COP, BTU_PER_H_PER_W),
    }


def _terms(reduced: Reduced) -> tuple[Term, ...]:
    first = len(OUTPUTS)
    return tuple(
        Term(
            name=term.name,
            value_w=float(reduced.result.values[first + i]),
            u_w=reduced.result.u(first + i),
            how=term.how,
        )
        for i, term in enumerate(reduced.balance.ledger.terms)
    )


def _disagreement(reduced: Reduced) -> tuple[Finding, ...]:
    if reduced.confirmed or reduced.trial is None:
        return ()
    return (
        Finding(
            code="monte_carlo_reported",
            severity=Severity.NOTE,
            sentence=f"Linear propagation gives u = {reduced.result.u(CAPACITY):.1f} W and Monte Carlo "
            f"{reduced.trial.u:.1f} W; their intervals differ by more than the numerical tolerance, so that of Monte "
            "Carlo is reported.",
            subject=reduced.balance.label,
        ),
    )
