"""What people sign about duties: waivers, views that do not apply, gaps that stay."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils import timezone

from imaging_requests.collection.models import CollectionObject, Entry
from imaging_requests.people.models import Versioned
from imaging_requests.reckoning.truth.words import view_words
from imaging_requests.requesting.models.duties import FACES, OwedView, Technique


class WaiverReason(models.TextChoices):
    """Why a view need not be made."""

    NOT_IN_REACH = "not_in_reach", "The object or part is not in reach"
    CONSENT = "consent", "The owner does not consent"
    EMERGENCY = "emergency", "The treatment could not wait"
    COVERED = "covered", "The face is covered for good"
    NOTHING_TO_SEE = "nothing_to_see", "The picture would show nothing"
    RISK = "risk", "Making it would endanger the object"
    OTHER = "other", "Another reason"


class Waiver(models.Model):
    """A signed decision that a view need not be made."""

    owed_view = models.ForeignKey(OwedView, on_delete=models.PROTECT, related_name="waivers")
    reason_code = models.CharField(max_length=40, choices=WaiverReason.choices)
    text = models.TextField()
    granted_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="waivers_granted"
    )
    co_signed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="waivers_co_signed",
    )
    co_signed_at = models.DateTimeField(
        null=True, blank=True, help_text="When the second signature came later than the first."
    )
    is_last_look = models.BooleanField(default=False)
    granted_at = models.DateTimeField(default=timezone.now)
    recorded_at = models.DateTimeField(default=timezone.now)
    lapses_at = models.DateTimeField(null=True, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)
    end_reason = models.CharField(max_length=160, blank=True)

    class Meta:
        ordering = ("owed_view", "granted_at")
        constraints = (
            models.CheckConstraint(
                condition=~Q(text="") & ~Q(reason_code=""), name="waiver_says_why"
            ),
            models.CheckConstraint(
                condition=Q(is_last_look=False)
                | (Q(co_signed_by__isnull=False) & ~Q(co_signed_by=F("granted_by"))),
                name="last_look_waiver_has_two_people",
            ),
            models.CheckConstraint(
                condition=Q(co_signed_at=None)
                | Q(co_signed_by__isnull=False, co_signed_at__gte=F("granted_at")),
                name="later_signature_has_a_name",
            ),
            models.UniqueConstraint(
                fields=("owed_view",), condition=Q(ended_at=None), name="one_waiver_in_force"
            ),
        )

    def __str__(self) -> str:
        return f"waiver of {self.owed_view_id}"


class WaiverAnswer(models.TextChoices):
    """What became of a proposed waiver."""

    ASKED = "asked", "Waiting for a signature"
    GRANTED = "granted", "Granted"
    REFUSED = "refused", "Refused"


class WaiverProposal(Versioned):
    """Somebody asks that a view need not be made; for a last look two people sign, one by one."""

    owed_view = models.ForeignKey(
        OwedView, on_delete=models.PROTECT, related_name="waiver_proposals"
    )
    reason_code = models.CharField(max_length=40, choices=WaiverReason.choices)
    text = models.TextField()
    is_last_look = models.BooleanField(default=False)
    lapses_at = models.DateTimeField(null=True, blank=True)
    asked_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="waivers_asked"
    )
    asked_at = models.DateTimeField(default=timezone.now)
    first_signed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="waivers_first_signed",
    )
    first_signed_at = models.DateTimeField(null=True, blank=True)
    state = models.CharField(max_length=8, choices=WaiverAnswer.choices, default=WaiverAnswer.ASKED)
    answered_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="waivers_answered",
    )
    answered_at = models.DateTimeField(null=True, blank=True)
    answer = models.TextField(blank=True)
    waiver = models.OneToOneField(
        Waiver, null=True, blank=True, on_delete=models.PROTECT, related_name="proposal"
    )

    class Meta:
        ordering = ("asked_at", "pk")
        constraints = (
            models.CheckConstraint(
                condition=~Q(text="") & ~Q(reason_code=""), name="proposed_waiver_says_why"
            ),
            models.CheckConstraint(
                condition=Q(state="granted", waiver__isnull=False)
                | (~Q(state="granted") & Q(waiver=None)),
                name="granted_proposal_names_its_waiver",
            ),
            models.CheckConstraint(
                condition=~Q(state="refused") | ~Q(answer=""), name="refused_proposal_says_why"
            ),
            models.UniqueConstraint(
                fields=("owed_view",),
                condition=Q(state="asked"),
                name="one_open_proposal_per_view",
            ),
        )

    def __str__(self) -> str:
        return f"proposal to waive {self.owed_view_id}"


class NotApplicable(models.Model):
    """A rule or a person says that a line of the protocol does not apply to an object."""

    object = models.ForeignKey(
        CollectionObject, on_delete=models.PROTECT, related_name="not_applicable"
    )
    face = models.CharField(max_length=1, choices=FACES)
    technique = models.CharField(max_length=2, choices=Technique.choices)
    variant = models.CharField(max_length=24, blank=True)
    rule = models.CharField(max_length=60, blank=True)
    reason = models.TextField()
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="not_applicable_decisions",
    )
    since = models.DateTimeField(default=timezone.now)
    until = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ("object", "pk")
        constraints = (
            models.UniqueConstraint(
                fields=("object", "face", "technique", "variant"),
                condition=Q(until=None),
                name="not_applicable_once",
            ),
            models.CheckConstraint(
                condition=~Q(reason="") & (~Q(rule="") | Q(by__isnull=False)),
                name="not_applicable_says_why",
            ),
        )

    def __str__(self) -> str:
        return f"{view_words(self.technique, self.face)} not applicable"


class GapStatement(models.Model):
    """The head's signed statement that lost views stay missing."""

    entry = models.ForeignKey(Entry, on_delete=models.PROTECT, related_name="gap_statements")
    view_ids = models.JSONField(default=list, help_text="The lost views that stay missing.")
    text = models.TextField()
    signed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="gap_statements"
    )
    signed_at = models.DateTimeField(default=timezone.now)
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ("entry", "signed_at")
        constraints = (
            models.UniqueConstraint(
                fields=("entry",), condition=Q(ended_at=None), name="one_gap_statement_in_force"
            ),
        )

    def __str__(self) -> str:
        return f"gap statement for {self.entry}"
