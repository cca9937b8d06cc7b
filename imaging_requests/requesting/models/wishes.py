"""People's requests, and the demand that keeps owed views alive."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils import timezone

from imaging_requests.collection.models import CollectionObject, Entry
from imaging_requests.people.models import Versioned
from imaging_requests.reckoning.truth.words import view_words
from imaging_requests.requesting.models.duties import FACES, OwedView, Technique
from imaging_requests.treatments.models import Treatment


class Purpose(models.TextChoices):
    """What a person needs the pictures for."""

    TEXT = "text", "Catalogue text"
    FIGURE = "figure", "Print figure"
    LOAN = "loan", "Loan"
    TREATMENT = "treatment", "Treatment"
    RESEARCH = "research", "Research"


class Request(Versioned):
    """A person's wish for one or more objects, with its reason."""

    number = models.CharField(max_length=20, unique=True)
    requester = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="requests"
    )
    purpose = models.CharField(max_length=12, choices=Purpose.choices)
    why = models.TextField()
    wanted_by = models.DateField(null=True, blank=True)
    counts_for_catalogue = models.BooleanField(default=False)
    use_rights = models.CharField(max_length=160, blank=True)
    filed_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ("-filed_at", "-pk")

    def __str__(self) -> str:
        return f"Request {self.number}"


class LineState(models.TextChoices):
    """The life of one line of a request."""

    SUBMITTED = "submitted", "Waiting for the lead"
    AGREED = "agreed", "Agreed"
    DECLINED = "declined", "Declined"
    FULFILLED = "fulfilled", "Fulfilled"
    WITHDRAWN = "withdrawn", "Withdrawn"


class RequestLine(Versioned):
    """One wished view of one object."""

    request = models.ForeignKey(Request, on_delete=models.PROTECT, related_name="lines")
    object = models.ForeignKey(
        CollectionObject, on_delete=models.PROTECT, related_name="request_lines"
    )
    face = models.CharField(max_length=1, choices=FACES)
    technique = models.CharField(max_length=2, choices=Technique.choices)
    variant = models.CharField(max_length=24, blank=True)
    detail_mm = models.JSONField(null=True, blank=True)
    px_per_mm = models.FloatField(null=True, blank=True)
    state = models.CharField(max_length=10, choices=LineState.choices, default=LineState.SUBMITTED)
    decided_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="decided_lines",
    )
    decided_at = models.DateTimeField(null=True, blank=True)
    entry = models.ForeignKey(
        Entry,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="request_lines",
        help_text="The entry that was named instead of the object, if one was.",
    )
    insists_because = models.TextField(
        blank=True, help_text="Why the view is wanted although it is here or not applicable."
    )
    reason = models.TextField(blank=True)
    promised_on = models.DateField(null=True, blank=True)
    fulfilled_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ("request", "pk")
        constraints = (
            models.CheckConstraint(
                condition=Q(state="fulfilled", fulfilled_at__isnull=False)
                | (~Q(state="fulfilled") & Q(fulfilled_at=None)),
                name="fulfilled_line_has_an_instant",
            ),
            models.CheckConstraint(
                condition=~Q(state="declined") | ~Q(reason=""), name="declined_line_says_why"
            ),
            models.CheckConstraint(
                condition=Q(px_per_mm=None) | Q(px_per_mm__gt=0, px_per_mm__lte=500),
                name="line_density_in_range",
            ),
        )
        indexes = (models.Index(fields=("state", "object"), name="line_by_state"),)

    def __str__(self) -> str:
        return view_words(self.technique, self.face, self.variant)


class Demand(models.Model):
    """One reason why a view is owed; a view ends only when no demand is left."""

    class Source(models.TextChoices):
        """Where the demand comes from."""

        PROTOCOL = "protocol", "Protocol"
        TREATMENT = "treatment", "Treatment"
        REQUEST = "request", "Request"

    owed_view = models.ForeignKey(OwedView, on_delete=models.PROTECT, related_name="demands")
    source = models.CharField(max_length=10, choices=Source.choices)
    entry = models.ForeignKey(
        Entry, null=True, blank=True, on_delete=models.PROTECT, related_name="demands"
    )
    protocol_line = models.CharField(max_length=40, blank=True)
    treatment = models.ForeignKey(
        Treatment, null=True, blank=True, on_delete=models.PROTECT, related_name="demands"
    )
    request_line = models.ForeignKey(
        RequestLine, null=True, blank=True, on_delete=models.PROTECT, related_name="demands"
    )
    preferred = models.CharField(
        max_length=12,
        blank=True,
        help_text="The state of a treatment that is preferred to the present one.",
    )
    since = models.DateTimeField(default=timezone.now)
    until = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ("owed_view", "pk")
        constraints = (
            models.CheckConstraint(
                condition=(
                    Q(source="protocol", entry__isnull=False, request_line=None)
                    | Q(source="treatment", treatment__isnull=False, request_line=None)
                    | Q(source="request", request_line__isnull=False)
                ),
                name="demand_names_its_source",
            ),
            models.UniqueConstraint(
                fields=("owed_view", "entry", "protocol_line"),
                condition=Q(source="protocol", until=None),
                name="protocol_demand_once",
            ),
            models.UniqueConstraint(
                fields=("owed_view", "request_line"),
                condition=Q(source="request", until=None),
                name="request_demand_once",
            ),
            models.UniqueConstraint(
                fields=("owed_view", "treatment"),
                condition=Q(source="treatment", until=None),
                name="treatment_demand_once",
            ),
        )
        indexes = (models.Index(fields=("entry", "until"), name="demand_by_entry"),)

    def __str__(self) -> str:
        return f"{self.get_source_display()} asks for {self.owed_view_id}"
