"""Rehearsals: what a draft of the rules would change if it were in force, and who has read it."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils import timezone


class Rehearsal(models.Model):
    """One report about one content of a draft, kept with the content's hash and its instant.

    Another content of the same draft needs a report of its own: the hash no longer fits.
    """

    class State(models.TextChoices):
        """How far a report is."""

        ASKED = "asked", "Being worked out"
        MADE = "made", "Made"
        FAILED = "failed", "Could not be worked out"

    kind = models.CharField(max_length=10)
    version_id = models.PositiveBigIntegerField()
    content_sha256 = models.CharField(max_length=64)
    state = models.CharField(max_length=6, choices=State.choices, default=State.ASKED)
    asked_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="rehearsals"
    )
    asked_at = models.DateTimeField(default=timezone.now)
    made_at = models.DateTimeField(null=True, blank=True)
    report = models.JSONField(default=dict)
    trouble = models.TextField(blank=True)

    class Meta:
        ordering = ("-asked_at", "-pk")
        constraints = (
            models.CheckConstraint(
                condition=~Q(state="made") | Q(made_at__isnull=False),
                name="made_rehearsal_has_an_instant",
            ),
            models.UniqueConstraint(
                fields=("kind", "version_id", "content_sha256"),
                condition=Q(state="asked"),
                name="rehearsal_asked_once_for_a_content",
            ),
        )
        indexes = (
            models.Index(fields=("kind", "version_id", "asked_at"), name="rehearsal_by_version"),
        )

    def __str__(self) -> str:
        return f"rehearsal {self.pk}"


class RehearsalReading(models.Model):
    """Somebody has opened a report and says so; a signature needs it."""

    rehearsal = models.ForeignKey(Rehearsal, on_delete=models.PROTECT, related_name="readings")
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="rehearsals_read"
    )
    read_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ("rehearsal", "read_at", "pk")
        constraints = (
            models.UniqueConstraint(fields=("rehearsal", "by"), name="rehearsal_read_once"),
        )

    def __str__(self) -> str:
        return f"{self.rehearsal_id} read by {self.by_id}"
