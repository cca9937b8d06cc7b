"""Forms for drafts, signatures and pins."""

from __future__ import annotations

import json
from datetime import datetime
from typing import Any, cast

from django import forms
from django.core.files.uploadedfile import UploadedFile
from django.http import QueryDict

from imaging_requests.people.documents import read_json
from imaging_requests.people.spoken import SpokenForm
from imaging_requests.protocols.models import ProtocolVersion, RuleVersion
from imaging_requests.protocols.queries import publishable_targets

LARGEST_DOCUMENT_BYTES = 2 * 1024**2


class DraftForm(SpokenForm):
    """A document of rules, as a file or as text; what was sent stays in the text when refused."""

    file = forms.FileField(
        label="JSON file",
        required=False,
        help_text="The document as a file. It takes the place of the text below.",
        widget=forms.ClearableFileInput(attrs={"accept": ".json,application/json"}),
    )
    text = forms.CharField(
        label="or the document as text",
        required=False,
        strip=False,
        widget=forms.Textarea(
            attrs={"rows": 24, "spellcheck": "false", "class": "document", "autocomplete": "off"}
        ),
    )
    read_version = forms.IntegerField(widget=forms.HiddenInput, required=False)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.document: dict[str, Any] = {}

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        text = self._sent(cleaned.get("file"), cleaned.get("text") or "")
        if not text.strip():
            raise forms.ValidationError("Choose a file or paste a document.")
        try:
            document = read_json(text)
        except json.JSONDecodeError as fault:
            raise forms.ValidationError(
                f"This is not JSON: {fault}. Correct that place and send it again."
            ) from None
        except ValueError as fault:
            raise forms.ValidationError(
                f"This cannot be kept: {fault}. Correct that place and send it again."
            ) from None
        if not isinstance(document, dict):
            raise forms.ValidationError("The document must be a group of named values.")
        self.document = document
        return cleaned

    def _sent(self, file: UploadedFile[bytes] | None, text: str) -> str:
        if file is None:
            return text
        if (file.size or 0) > LARGEST_DOCUMENT_BYTES:
            raise forms.ValidationError(
                "The file is larger than 2 MiB; a document of rules is far smaller."
            )
        try:
            text = file.read().decode("utf-8-sig")
        except UnicodeDecodeError:
            raise forms.ValidationError(
                "The file is not text in UTF-8. Save it as UTF-8 and send it again."
            ) from None
        data = cast(QueryDict, self.data).copy()
        data[self.add_prefix("text")] = text
        self.data = data
        return text


class VersionStepForm(SpokenForm):
    """One step of a version, from the row version the page showed."""

    read_version = forms.IntegerField(widget=forms.HiddenInput)


class CompareForm(SpokenForm):
    """Two versions of one kind to set against each other."""

    older = forms.TypedChoiceField(label="From", coerce=int)
    newer = forms.TypedChoiceField(label="To", coerce=int)

    def __init__(self, *args: Any, versions: list[RuleVersion], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        choices = [(version.pk, str(version)) for version in versions]
        for name in ("older", "newer"):
            self.fields[name].choices = choices  # type: ignore[attr-defined]


class PinForm(SpokenForm):
    """Which protocol version an entry follows from now on, and why."""

    protocol = forms.ModelChoiceField(
        label="Follows from now on", queryset=ProtocolVersion.objects.none(), empty_label=None
    )
    reason = forms.CharField(
        label="Why", max_length=240, widget=forms.TextInput(attrs={"autocomplete": "off"})
    )
    read_version = forms.IntegerField(widget=forms.HiddenInput)

    def __init__(self, *args: Any, now: datetime, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["protocol"].queryset = publishable_targets(now)  # type: ignore[attr-defined]
