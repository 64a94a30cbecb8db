"""Forms of a bench that comes in: its archive, and by which of its names the person is known."""

from __future__ import annotations

from typing import Any

from django import forms

NOBODY = "None of them"


class ArchiveForm(forms.Form):
    """The file."""

    file = forms.FileField(
        label="Archive",
        allow_empty_file=True,
        widget=forms.ClearableFileInput(attrs={"accept": ".zip,application/zip"}),
        help_text="The .bench.zip that an export of a whole bench made, here or on another installation.",
        error_messages={"required": "Choose the archive."},
    )


class BringInForm(forms.Form):
    """Whose rows become those of the person who brings the bench in."""

    known_as = forms.ChoiceField(
        label="Which of these people are you?",
        required=False,
        help_text="What that person did there stands here under your name. The others are named, and cannot sign in.",
    )

    def __init__(self, *args: Any, people: list[str], username: str, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        field = self.fields["known_as"]
        field.choices = [("", NOBODY), *((name, name) for name in people)]
        field.initial = username if username in people else ""
