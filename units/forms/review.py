"""The review's text, disclosure and choices; publishing; sharing; the maker's answer."""

from __future__ import annotations

from typing import Any

from django import forms

from units.actions.shares import LONGEST_DAYS
from units.charts import PICTURES
from units.editions.document import LICENCES
from units.editions.figures import FIGURES
from units.forms.fields import date_picker
from units.models import MakerComment, Review, Unit

LONGEST_BODY = 100_000


class BeginForm(forms.Form):
    """Which units a new review is about."""

    title = forms.CharField(max_length=160, required=False, help_text="Empty: the units' names.")
    units = forms.ModelMultipleChoiceField(Unit.objects.none(), widget=forms.CheckboxSelectMultiple)

    def __init__(self, *args: Any, units: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["units"].queryset = units


class ReviewForm(forms.ModelForm):
    """What the reviewer writes and chooses."""

    charts = forms.MultipleChoiceField(
        choices=[(name, picture.title) for name, picture in PICTURES.items()],
        required=False,
        widget=forms.CheckboxSelectMultiple,
        help_text="None chosen: a useful few. A chart set into the text with {{ chart name }} stands there.",
    )
    licence = forms.ChoiceField(choices=[(name, name) for name in LICENCES])
    body = forms.CharField(
        label="Text",
        required=False,
        max_length=LONGEST_BODY,
        strip=False,
        widget=forms.Textarea(attrs={"rows": 22, "spellcheck": "true"}),
        help_text="Markdown. {{ P1 capacity }} writes a figure of point P1 with its ±; also "
        + ", ".join(name for name in FIGURES if name != "capacity")
        + ". {{ chart ratio }} and {{ table points }} on a line of their own set a chart or a table.",
    )

    disclosure = forms.CharField(
        max_length=10_000,
        widget=forms.Textarea(attrs={"rows": 4}),
        help_text="Who chose and paid for each unit, what ties there are to the maker, what happens to it. "
        "It stands near the top of the page and cannot be left out.",
    )

    class Meta:
        model = Review
        fields = ["title", "summary", "disclosure", "body", "charts", "embargo", "licence", "publish_raw"]
        labels = {"embargo": "Agreed before publishing", "publish_raw": "Publish the logged data too"}
        help_texts = {
            "summary": "One or two sentences; shown in lists, feeds and link previews.",
            "embargo": "Dates or conditions agreed with the maker; published as written. Empty: none.",
            "publish_raw": "One table a session, on one clock, named by what was measured; file, column and "
            "instrument names are left out.",
        }
        widgets = {
            "summary": forms.Textarea(attrs={"rows": 2}),
            "embargo": forms.Textarea(attrs={"rows": 2}),
        }


class PublishForm(forms.Form):
    """The last step: what is corrected, and that it was read."""

    erratum = forms.CharField(
        label="What this edition corrects",
        required=False,
        max_length=2000,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text="Say what was wrong and what is right now. Old and new figures are listed beside it.",
    )
    read = forms.BooleanField(label="I have read the preview. An edition cannot be changed or deleted.")

    def __init__(self, *args: Any, is_correction: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if is_correction:
            self.fields["erratum"].required = True
        else:
            del self.fields["erratum"]


class WithdrawForm(forms.Form):
    """Why a review no longer stands."""

    reason = forms.CharField(max_length=4000, widget=forms.Textarea(attrs={"rows": 3}))


class ContactForm(forms.Form):
    """An attempt to reach the maker."""

    on = forms.DateField(label="On", widget=date_picker())
    at = forms.TimeField(
        label="At", required=False, widget=forms.TimeInput(attrs={"type": "time"}), help_text="Your time of day"
    )
    how = forms.CharField(label="How", max_length=120, help_text="Letter, e-mail to the press office; no names.")
    outcome = forms.CharField(label="Outcome", max_length=400, help_text="What was asked, and what came of it.")


class ShareForm(forms.Form):
    """A private link to the draft."""

    label = forms.CharField(max_length=80, label="For whom")
    days = forms.IntegerField(min_value=1, max_value=LONGEST_DAYS, initial=14, label="Days it lives")
    may_comment = forms.BooleanField(required=False, initial=True, label="They may answer through it")


class CommentForm(forms.ModelForm):
    """A maker's answer."""

    class Meta:
        model = MakerComment
        fields = ["name", "text"]
        labels = {"name": "Name and company, as to be printed", "text": "Your answer"}
        help_texts = {"text": "The reviewer alone sees it. Where it is accepted it is printed in full."}
        widgets = {"text": forms.Textarea(attrs={"rows": 6, "maxlength": 8000})}
