"""Proposals to correct the times of a step: a conservator proposes, the imaging lead decides."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils import timezone

from imaging_requests.people.models import Versioned


class TimesProposal(Versioned):
    """Other times for a step, with the reason; nothing changes until a second person signs.

    `step_version` is the version of the step that was read: if the step has changed since, the
    proposal is stale and cannot be countersigned.
    """

    class State(models.TextChoices):
        """How far a proposal is."""

        OPEN = "open", "Waits for the imaging lead"
        COUNTERSIGNED = "signed", "Countersigned"
        DECLINED = "declined", "Declined"
        REPLACED = "replaced", "Replaced by a later proposal"

    intervention = models.ForeignKey(
        "treatments.Intervention", on_delete=models.PROTECT, related_name="times_proposals"
    )
    step_version = models.PositiveIntegerField()
    started_before = models.DateTimeField()
    finished_before = models.DateTimeField(null=True, blank=True)
    started_at = models.DateTimeField()
    finished_at = models.DateTimeField(null=True, blank=True)
    reason = models.TextField()
    changes = models.JSONField(
        default=list, help_text="What the proposer was told would change, in sentences."
    )
    state = models.CharField(max_length=10, choices=State.choices, default=State.OPEN)
    proposed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="times_proposed"
    )
    proposed_at = models.DateTimeField(default=timezone.now)
    decided_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="times_decided",
    )
    decided_at = models.DateTimeField(null=True, blank=True)
    answer = models.TextField(blank=True)

    class Meta:
        ordering = ("intervention", "proposed_at", "pk")
        constraints = (
            models.UniqueConstraint(
                fields=("intervention",),
                condition=Q(state="open"),
                name="one_open_times_proposal_per_step",
            ),
            models.CheckConstraint(
                condition=Q(decided_by=None) | ~Q(decided_by=F("proposed_by")),
                name="times_proposal_names_two_people",
            ),
            models.CheckConstraint(
                condition=Q(state__in=("open", "replaced"), decided_by=None, decided_at=None)
                | Q(
                    state__in=("signed", "declined"),
                    decided_by__isnull=False,
                    decided_at__isnull=False,
                ),
                name="times_proposal_decided_by_someone",
            ),
            models.CheckConstraint(
                condition=Q(finished_at=None) | Q(finished_at__gt=F("started_at")),
                name="times_proposal_starts_before_it_ends",
            ),
            models.CheckConstraint(condition=~Q(reason=""), name="times_proposal_says_why"),
        )
        indexes = (models.Index(fields=("state", "proposed_at"), name="times_proposal_waiting"),)

    def __str__(self) -> str:
        return f"proposed times of {self.intervention}"

    @property
    def is_stale(self) -> bool:
        """Whether the step has changed since the proposal was made."""
        return self.step_version != self.intervention.row_version
