"""Forms about a bench and its people."""

from django import forms
from django.contrib.auth.forms import BaseUserCreationForm

from units.actions.invitations import LONGEST_DAYS as MOST_DAYS_INVITED
from units.actions.tokens import LONGEST_DAYS
from units.models import Bench, Person, Role


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


class InviteForm(forms.Form):
    """Invite a person by a link."""

    label = forms.CharField(max_length=80, label="For whom", help_text="So that you know the link again")
    offered_role = forms.ChoiceField(label="Role", choices=Role, initial=Role.TESTER)
    days = forms.IntegerField(label="Days it can be used", min_value=1, max_value=MOST_DAYS_INVITED, initial=7)


class HandOverForm(forms.Form):
    """Offer the bench to another person."""

    username = forms.CharField(max_length=150, label="User name", widget=forms.TextInput(attrs={"autocomplete": "off"}))
    stays_as = forms.ChoiceField(
        label="You then",
        choices=[("tester", "stay as tester"), ("reader", "stay as reader"), ("leave", "leave the bench")],
    )

    def clean_stays_as(self) -> str:
        """Return the role to stay in, or nothing."""
        return self.cleaned_data["stays_as"].replace("leave", "")


class SecondStepRuleForm(forms.Form):
    """Ask everybody of a bench for a second step at sign-in, after some days in which they can set it up."""

    begins = forms.TypedChoiceField(
        label="People of this bench",
        choices=[
            ("", "choose…"),
            ("never", "sign in by password alone, if they like"),
            ("0", "need a second step from now on"),
            ("7", "need a second step in 7 days"),
            ("14", "need a second step in 14 days"),
            ("30", "need a second step in 30 days"),
        ],
        coerce=lambda days: None if days == "never" else int(days),
        empty_value=None,
    )


class RegisterForm(BaseUserCreationForm):
    """An account of one's own."""

    class Meta:
        model = Person
        fields = ["username"]
        labels = {"username": "User name"}
        help_texts = {"username": "Seen by the people of the bench. Letters, digits and @ . + - _"}


class TokenForm(forms.Form):
    """A key for a program."""

    label = forms.CharField(max_length=80, help_text="What will use it, so that you know it again")
    token_role = forms.ChoiceField(label="Role", choices=Role, initial=Role.READER)
    days = forms.IntegerField(label="Days it lasts", min_value=1, max_value=LONGEST_DAYS, initial=90)
