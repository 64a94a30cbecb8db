"""Forms about a bench and its people."""

from django import forms

from units.actions.tokens import LONGEST_DAYS
from units.models import Bench, Role


class BenchForm(forms.ModelForm):
    """Name a new bench."""

    class Meta:
        model = Bench
        fields = ["name", "about"]
        widgets = {"about": forms.Textarea(attrs={"rows": 2})}


class AdmitForm(forms.Form):
    """Give a person a role."""

    username = forms.CharField(max_length=150, label="User name", widget=forms.TextInput(attrs={"autocomplete": "off"}))
    role = forms.ChoiceField(choices=Role, help_text="A reader looks, a tester edits, an owner publishes.")


class TokenForm(forms.Form):
    """A key for a program."""

    label = forms.CharField(max_length=80, help_text="What will use it, so that you know it again")
    token_role = forms.ChoiceField(label="Role", choices=Role, initial=Role.READER)
    days = forms.IntegerField(label="Days it lasts", min_value=1, max_value=LONGEST_DAYS, initial=90)
