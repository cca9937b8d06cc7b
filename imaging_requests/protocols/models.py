"""Versioned rules as data: what is owed, what a treatment makes untrue, every number of the studio.

A published version is immutable: the database refuses the change, not only the code.
"""

from __future__ import annotations

from typing import ClassVar

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils import timezone

from imaging_requests.collection.models import Entry
from imaging_requests.people.models import Versioned
from imaging_requests.protocols.models_rehearsals import Rehearsal, RehearsalReading

__all__ = [
    "MODELS",
    "EntryPin",
    "ProtocolVersion",
    "Rehearsal",
    "RehearsalReading",
    "RuleKind",
    "RuleVersion",
    "StudioSettingsVersion",
    "TriggerTableVersion",
    "VersionState",
]


class VersionState(models.TextChoices):
    """How far a version of the rules is."""

    DRAFT = "draft", "Draft"
    PUBLISHED = "published", "Published"
    RETIRED = "retired", "Retired"


class RuleKind(models.TextChoices):
    """The three kinds of versioned rules."""

    PROTOCOL = "protocol", "Protocol"
    TRIGGERS = "triggers", "Re-shoot triggers"
    STUDIO = "studio", "Studio settings"


def _published_fully(kind: str) -> tuple[models.CheckConstraint, ...]:
    """What the database holds of every version that is no draft: an instant and two people."""
    return (
        models.CheckConstraint(
            condition=Q(state="draft") | Q(published_at__isnull=False),
            name=f"{kind}_published_has_an_instant",
        ),
        models.CheckConstraint(
            condition=Q(state="draft")
            | (
                Q(published_by__isnull=False, co_signed_by__isnull=False)
                & ~Q(published_by=F("co_signed_by"))
            ),
            name=f"{kind}_published_by_two_people",
        ),
    )


class RuleVersion(Versioned):
    """What the three kinds of versioned rules share.

    A draft that the lead has signed carries `published_by` and waits for the second signature.
    """

    kind: ClassVar[RuleKind]
    words: ClassVar[str]

    number = models.PositiveIntegerField()
    state = models.CharField(
        max_length=10, choices=VersionState.choices, default=VersionState.DRAFT
    )
    definition = models.JSONField()
    created_at = models.DateTimeField(default=timezone.now)
    published_at = models.DateTimeField(null=True, blank=True)
    published_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="published_%(class)ss",
    )
    co_signed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="co_signed_%(class)ss",
    )

    class Meta:
        abstract = True
        ordering = ("number",)


class ProtocolVersion(RuleVersion):
    """What is owed, as rules over the facts of an object."""

    kind = RuleKind.PROTOCOL
    words = "protocol"
    name = models.CharField(max_length=80, default="catalogue")

    class Meta(RuleVersion.Meta):
        constraints = (
            models.UniqueConstraint(fields=("name", "number"), name="protocol_version_once"),
            *_published_fully("protocol"),
        )

    def __str__(self) -> str:
        return f"{self.name}, version {self.number}"


class TriggerTableVersion(RuleVersion):
    """Intervention by technique by face: what becomes untrue, hidden, or needs a decision."""

    kind = RuleKind.TRIGGERS
    words = "table of re-shoot triggers"

    class Meta(RuleVersion.Meta):
        constraints = (
            models.UniqueConstraint(fields=("number",), name="trigger_table_version_once"),
            *_published_fully("trigger_table"),
        )

    def __str__(self) -> str:
        return f"trigger table, version {self.number}"


class StudioSettingsVersion(RuleVersion):
    """Every number of the studio with unit, source and mark."""

    kind = RuleKind.STUDIO
    words = "studio settings"

    class Meta(RuleVersion.Meta):
        constraints = (
            models.UniqueConstraint(fields=("number",), name="studio_settings_version_once"),
            *_published_fully("studio_settings"),
        )

    def __str__(self) -> str:
        return f"studio settings, version {self.number}"


#: The table that keeps each kind of rules.
MODELS: dict[str, type[RuleVersion]] = {
    model.kind: model for model in (ProtocolVersion, TriggerTableVersion, StudioSettingsVersion)
}


class EntryPin(models.Model):
    """Which protocol version an entry follows, from one instant to another.

    A pin is only ever added: the database ends the one before at the instant the new one begins.
    """

    entry = models.ForeignKey(Entry, on_delete=models.PROTECT, related_name="pins")
    protocol = models.ForeignKey(ProtocolVersion, on_delete=models.PROTECT, related_name="pins")
    pinned_at = models.DateTimeField()
    unpinned_at = models.DateTimeField(null=True, blank=True)
    recorded_at = models.DateTimeField(default=timezone.now)
    reason = models.CharField(max_length=240, blank=True)

    class Meta:
        ordering = ("entry", "pinned_at")
        constraints = (
            models.CheckConstraint(
                condition=Q(unpinned_at=None) | Q(unpinned_at__gt=F("pinned_at")),
                name="pin_from_before_to",
            ),
        )

    def __str__(self) -> str:
        return f"{self.entry_id} → {self.protocol}"
