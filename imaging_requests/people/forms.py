"""Forms of sign-in and accounts."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib.auth import password_validation
from django.contrib.auth.forms import AuthenticationForm

from imaging_requests.people.models import Role, User
from imaging_requests.people.requests import whole_number
from imaging_requests.people.spoken import SpokenForm


class PeopleField(forms.ModelMultipleChoiceField):
    """Several people, ticked by number; a number that no row can have is refused like any other."""

    def clean(self, value: Any) -> Any:
        for each in value if isinstance(value, list | tuple) else ():
            if whole_number(each) is None:
                raise forms.ValidationError(
                    "“%(value)s” is nobody in this list. Reload the page and tick again.",
                    code="invalid_choice",
                    params={"value": str(each)[:20]},
                )
        return super().clean(value)


class SignInForm(SpokenForm, AuthenticationForm):
    """E-mail address and password; the refusal does not tell which of the two was wrong."""

    username = forms.EmailField(
        label="E-mail address",
        widget=forms.EmailInput(attrs={"autocomplete": "username", "autofocus": True}),
    )
    error_messages = {
        "invalid_login": (
            "This e-mail address and password do not belong together. "
            "Type both again, or ask the system keeper for a new password."
        ),
        "inactive": "This account is closed. Ask the system keeper.",
    }


class AccountForm(SpokenForm):
    """A person's name, address, roles, and a first password."""

    name = forms.CharField(max_length=120)
    email = forms.EmailField(label="E-mail address", max_length=254)
    roles = forms.MultipleChoiceField(
        choices=Role.choices, widget=forms.CheckboxSelectMultiple, required=True
    )
    password = forms.CharField(
        label="First password",
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
        help_text="At least 12 characters. The person changes it at the first sign-in.",
    )

    def clean_email(self) -> str:
        email = str(self.cleaned_data["email"]).lower()
        if User.objects.filter(email=email).exists():
            raise forms.ValidationError(
                "Somebody with this e-mail address has an account already. "
                "Open it in the list and change the roles there."
            )
        return email

    def clean_password(self) -> str:
        password = str(self.cleaned_data["password"])
        password_validation.validate_password(password)
        return password


class RolesForm(SpokenForm):
    """What a person is from now on."""

    roles = forms.MultipleChoiceField(
        choices=Role.choices, widget=forms.CheckboxSelectMultiple, required=False
    )
    read_roles = forms.CharField(widget=forms.HiddenInput, required=False)

    def clean_read_roles(self) -> list[str]:
        """The roles that were on the page."""
        return str(self.cleaned_data["read_roles"]).split()


class OpenForm(SpokenForm):
    """Whether an account is open from now on, and whether it was when the page was read."""

    CHOICES = (("yes", "open"), ("no", "closed"))
    WHAT = "It is not clear whether the account is to be open or closed. Use one of the buttons."

    is_open = forms.ChoiceField(
        choices=CHOICES, error_messages={"invalid_choice": WHAT, "required": WHAT}
    )
    read_open = forms.ChoiceField(
        choices=CHOICES,
        error_messages=dict.fromkeys(
            ("invalid_choice", "required"),
            "The page did not say how the account stood. Load it again and look.",
        ),
    )

    def says(self, name: str) -> bool:
        """Whether one of the two answers is yes."""
        return bool(self.cleaned_data[name] == "yes")


class OwnPasswordForm(SpokenForm):
    """The old password once, the new one twice."""

    old = forms.CharField(
        label="Present password",
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
    )
    new = forms.CharField(
        label="New password", widget=forms.PasswordInput(attrs={"autocomplete": "new-password"})
    )
    again = forms.CharField(
        label="New password again",
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
    )

    def __init__(self, *args: Any, user: User, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.user = user

    def clean_old(self) -> str:
        old = str(self.cleaned_data["old"])
        if not self.user.check_password(old):
            raise forms.ValidationError("This is not your present password. Type it again.")
        return old

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        new, again = cleaned.get("new"), cleaned.get("again")
        if new and again and new != again:
            self.add_error("again", "The two new passwords differ. Type the new one twice.")
        if new:
            password_validation.validate_password(new, self.user)
        return cleaned
