"""The decision rule as a tester chooses it."""

from __future__ import annotations

from typing import Any

from django import forms

from reduction import session as doc
from reduction.judge.decision import NO_TOLERANCE, schemes

RULES = {
    "probability": "Probability: a word is given where it is at least so probable",
    "guard_band": "Guard band: the measured value must clear the line by a multiple of its ±",
    "simple_acceptance": "Simple acceptance: the measured value alone decides",
}
BY_KIND = "the scheme for the kind of unit"
DEFAULT = doc.DecisionRule()


class RuleForm(forms.Form):
    """Rule, its figure, and whose tolerance counts; `why` is asked once there are data."""

    rule = forms.ChoiceField(label="Decision rule", choices=RULES.items(), required=False, widget=forms.RadioSelect)
    probability_percent = forms.FloatField(
        label="Probability (%)", min_value=50.1, max_value=99.99, required=False, help_text="With a probability rule"
    )
    guard_factor = forms.FloatField(
        label="Guard band (× U)", min_value=0.1, max_value=3.0, required=False, help_text="With a guard band"
    )
    tolerance_from = forms.ChoiceField(label="Tolerance from", required=False)
    why = forms.CharField(
        label="Why it changes now",
        max_length=500,
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text="Kept for good, and printed with every result that is published of this session.",
    )

    def __init__(
        self, *args: Any, standing: doc.DecisionRule = DEFAULT, is_change: bool = False, **kwargs: Any
    ) -> None:
        given = {
            "rule": standing.rule,
            "probability_percent": f"{100.0 * standing.probability:g}",
            "guard_factor": f"{standing.guard_factor:g}",
            "tolerance_from": standing.tolerance_from,
        }
        super().__init__(*args, initial=given, **kwargs)
        named = [(name, name) for name in schemes()]
        self.fields["tolerance_from"].choices = [("", BY_KIND), *named, (NO_TOLERANCE, "none: the claim as it stands")]
        if not is_change:
            del self.fields["why"]

    def chosen(self) -> doc.DecisionRule:
        """Return the rule as filled in; a figure that was left empty is the usual one."""
        data = self.cleaned_data
        percent = data["probability_percent"]
        return doc.DecisionRule(
            rule=data["rule"] or DEFAULT.rule,
            probability=DEFAULT.probability if percent is None else percent / 100.0,
            guard_factor=data["guard_factor"] or DEFAULT.guard_factor,
            tolerance_from=data["tolerance_from"],
        )
