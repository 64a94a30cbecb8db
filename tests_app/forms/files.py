"""Forms of files: several at once, how one is read, its clock."""

from __future__ import annotations

from typing import Any

from django import forms

from tests_app.forms.sessions import Instant, ZoneField

MOST_DOCUMENT_BYTES = 5_000_000


class SeveralFiles(forms.ClearableFileInput):
    """A file input that takes several files."""

    allow_multiple_selected = True


class SeveralFilesField(forms.FileField):
    """Several files, each checked like one; empty files pass, so that they get a sentence of their own."""

    widget = SeveralFiles

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(allow_empty_file=True, **kwargs)

    def clean(self, data: Any, initial: Any = None) -> list[Any]:
        """Return the list of files."""
        files = data if isinstance(data, list | tuple) else [data]
        return [super(SeveralFilesField, self).clean(file, initial) for file in files or [None]]


class UploadForm(forms.Form):
    """Files as a logger wrote them."""

    files = SeveralFilesField(
        label="Log files",
        help_text="CSV and other text tables, Excel, ODS, Parquet, JSON; packed as zip, tar, gz, bz2 or xz; as many "
        "loggers as there were.",
        error_messages={"required": "Choose at least one file."},
    )


class ImportForm(forms.Form):
    """A session document and the files it lists."""

    document = forms.FileField(
        label="Session document",
        allow_empty_file=True,
        widget=forms.ClearableFileInput(attrs={"accept": ".json,application/json"}),
        help_text="SESSION.json, as another bench or the command line wrote it.",
    )
    files = SeveralFilesField(label="Its log files", help_text="All that the document lists.")

    def clean_document(self) -> Any:
        """Refuse a file that is no document by its size, before it is read into memory."""
        document = self.cleaned_data["document"]
        if document.size > MOST_DOCUMENT_BYTES:
            raise forms.ValidationError(
                "This file is larger than 5 MB, which no session document is. Choose SESSION.json."
            )
        return document


class BeginUploadForm(forms.Form):
    """The file that will come in parts."""

    name = forms.CharField(max_length=400)
    size_bytes = forms.IntegerField(min_value=1)


class ProfileForm(forms.Form):
    """How a file is to be read; what is left empty is detected."""

    time_zone = ZoneField(label="Time zone", required=False)
    date_order = forms.ChoiceField(
        label="Date order",
        required=False,
        choices=[
            ("", "As detected"),
            ("year_first", "Year first (2026-07-14)"),
            ("day_first", "Day first (14.07.2026)"),
            ("month_first", "Month first (07/14/2026)"),
        ],
    )
    stamp = forms.ChoiceField(
        label="A time stamp marks",
        required=False,
        choices=[
            ("", "As detected"),
            ("instant", "the instant of the reading"),
            ("interval_start", "the start of the interval"),
            ("interval_end", "the end of the interval"),
        ],
    )
    decimal = forms.ChoiceField(
        label="Decimal mark", required=False, choices=[("", "As detected"), (".", "point"), (",", "comma")]
    )
    delimiter = forms.ChoiceField(
        label="Columns are parted by",
        required=False,
        choices=[("", "As detected"), (",", "comma"), (";", "semicolon"), ("\t", "tab"), ("|", "bar")],
    )
    start_utc = Instant(label="Start, for files that count elapsed time", required=False)
    declared_date = forms.DateField(
        label="Date, for files with times of day only", required=False, widget=forms.DateInput(attrs={"type": "date"})
    )
    sheet = forms.CharField(label="Sheet of a workbook", required=False, max_length=80)


class ClockForm(forms.Form):
    """A correction of one logger's clock."""

    offset_s = forms.FloatField(
        label="Add to its times (s)", required=False, help_text="Positive where the logger runs behind."
    )
    offset_u_s = forms.FloatField(label="Standard uncertainty (s)", required=False, min_value=0)
    drift_ppm = forms.FloatField(label="Drift (ppm)", required=False)
    reference_utc = Instant(label="Drift counts from", required=False)
    reason = forms.CharField(label="What showed it", required=False, max_length=300)

    def clean(self) -> dict[str, Any]:
        """Leave out what is empty, so that the document's own defaults hold."""
        return {name: value for name, value in super().clean().items() if value not in (None, "")}
