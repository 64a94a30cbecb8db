"""An instrument's specification and its calibrations."""

from __future__ import annotations

from typing import Any

from django import forms

from reduction.session import Distribution
from units.forms.fields import date_picker
from units.models import CalibrationRecord, Instrument

SI_UNITS = {
    "temperature": "K",
    "humidity": "%",
    "power": "W",
    "energy": "Wh",
    "mass": "kg",
    "air_flow": "m³/h",
    "sound": "dB",
    "irradiance": "W/m²",
    "voltage": "V",
}
DISTRIBUTIONS = {
    Distribution.RECTANGULAR: "a limit never exceeded (rectangular)",
    Distribution.TRIANGULAR: "a limit, small errors likelier (triangular)",
    Distribution.NORMAL_95: "95 % of instruments are within it (normal)",
}
CERTIFICATE_BYTES = 5 * 1024 * 1024


class InstrumentForm(forms.ModelForm):
    """As its maker specifies it."""

    quantity = forms.ChoiceField(choices=[(name, name.replace("_", " ").capitalize()) for name in SI_UNITS])
    distribution = forms.ChoiceField(choices=DISTRIBUTIONS.items(), label="The accuracy is")
    gain_percent = forms.FloatField(label="Accuracy, of reading (± %)", min_value=0, max_value=50, initial=0)

    class Meta:
        model = Instrument
        fields = [
            "name", "model", "serial", "quantity", "offset_limit", "gain_percent", "distribution", "resolution",
            "noise", "time_constant_s", "calibration_interval_days", "notes",
        ]  # fmt: skip
        labels = {
            "offset_limit": "Accuracy, fixed part (±)",
            "noise": "Noise (standard deviation)",
            "time_constant_s": "Time constant (s)",
            "calibration_interval_days": "Calibrate every (days)",
        }
        help_texts = {
            "name": "What it is called on the bench, as “plug 2”.",
            "serial": "Never leaves the bench.",
            "offset_limit": "In K, %, W, kg …: the SI unit of the quantity.",
            "resolution": "Smallest step of the display.",
        }
        widgets = {"notes": forms.Textarea(attrs={"rows": 2})}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.initial["gain_percent"] = round(self.instance.gain_limit * 100, 6)

    def clean(self) -> dict[str, Any]:
        """Keep the gain as a fraction; refuse limits below zero and a name twice."""
        cleaned = super().clean()
        self.instance.gain_limit = (cleaned.get("gain_percent") or 0.0) / 100
        for name in ("offset_limit", "resolution", "noise", "time_constant_s"):
            if (cleaned.get(name) or 0) < 0:
                self.add_error(name, "It cannot be negative.")
        return cleaned

    def _get_validation_exclusions(self) -> set[str]:
        """Let the constraint on bench and name be checked: the view sets the bench before validation."""
        return super()._get_validation_exclusions() - {"bench"}


class CalibrationForm(forms.ModelForm):
    """A correction found on a day."""

    class Meta:
        model = CalibrationRecord
        fields = [
            "valid_from", "due_on", "how", "offset_correction", "offset_correction_u", "gain_correction",
            "gain_correction_u", "certificate", "done_by", "notes",
        ]  # fmt: skip
        labels = {
            "due_on": "Due again on",
            "how": "How",
            "offset_correction": "Offset: reading − true",
            "offset_correction_u": "Standard uncertainty of the offset",
            "gain_correction": "Gain: reading ÷ true",
            "gain_correction_u": "Standard uncertainty of the gain",
        }
        help_texts = {"offset_correction": "In the SI unit of the quantity. It is subtracted from every later reading."}
        widgets = {"valid_from": date_picker(), "due_on": date_picker(), "notes": forms.Textarea(attrs={"rows": 2})}

    def clean(self) -> dict[str, Any]:
        """Refuse a gain of nothing, a date before the record, uncertainties below zero."""
        cleaned = super().clean()
        gain = cleaned.get("gain_correction")
        if gain is not None and not 0.5 <= gain <= 2:  # beyond this the instrument is broken
            self.add_error("gain_correction", f"A gain of {gain:g} is a broken instrument; 0.5 to 2 can be corrected.")
        start, due = cleaned.get("valid_from"), cleaned.get("due_on")
        if start and due and due <= start:
            self.add_error("due_on", "It is due after it was done.")
        for name in ("offset_correction_u", "gain_correction_u"):
            if (cleaned.get(name) or 0) < 0:
                self.add_error(name, "It cannot be negative.")
        certificate = cleaned.get("certificate")
        if certificate and certificate.size > CERTIFICATE_BYTES:
            self.add_error("certificate", "The certificate is larger than 5 MB; keep a smaller scan.")
        return cleaned
