"""Owed views and what keeps them alive; people's requests; waivers and the like.

An owed view is a duty, never a file. Its status is not here: it is derived.
"""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils import timezone

from imaging_requests.collection.models import CollectionObject, Entry
from imaging_requests.people.models import Versioned
from imaging_requests.treatments.models import Intervention, Treatment


class Technique(models.TextChoices):
    """The techniques of the studio."""

    VF = "VF", "Visible, flash"
    VC = "VC", "Visible, continuous light"
    RK = "RK", "Raking light"
    UV = "UV", "UV fluorescence"
    IR = "IR", "Infrared"
    XR = "XR", "X-ray"


class Anchor(models.TextChoices):
    """As of which state a view is owed."""

    CUR = "CUR", "Now"
    BT = "BT", "Before treatment"
    DT = "DT", "During treatment"
    AT = "AT", "After treatment"
    WIN = "WIN", "While visible"
    FIX = "FIX", "As of an instant"


FACES = (("F", "Front"), ("B", "Back"), ("E", "Edges"), ("T", "Through"))


class OwedView(Versioned):
    """One duty: object, surface, technique, variant, anchor."""

    object = models.ForeignKey(
        CollectionObject, on_delete=models.PROTECT, related_name="owed_views"
    )
    face = models.CharField(max_length=1, choices=FACES)
    surface = models.CharField(max_length=8)
    technique = models.CharField(max_length=2, choices=Technique.choices)
    variant = models.CharField(
        max_length=24, blank=True, help_text="Raking direction, or the name of a detail."
    )
    anchor = models.CharField(max_length=3, choices=Anchor.choices, default=Anchor.CUR)
    treatment = models.ForeignKey(
        Treatment, null=True, blank=True, on_delete=models.PROTECT, related_name="owed_views"
    )
    anchor_phase = models.PositiveSmallIntegerField(null=True, blank=True)
    anchor_step = models.PositiveSmallIntegerField(null=True, blank=True)
    anchor_event = models.ForeignKey(
        Intervention,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="opened_windows",
        help_text="The step that opened the interval in which the surface can be seen.",
    )
    anchor_at = models.DateTimeField(null=True, blank=True)
    anchor_key = models.CharField(
        max_length=48,
        help_text="Anchor, treatment, step and instant in one text, so that a duty exists once.",
    )
    detail_mm = models.JSONField(null=True, blank=True)
    px_per_mm = models.FloatField()
    tolerance_percent = models.FloatField()
    min_coverage_percent = models.FloatField()
    spec = models.JSONField(default=dict)
    due_on = models.DateField(null=True, blank=True)
    created_at = models.DateTimeField(default=timezone.now)
    ended_at = models.DateTimeField(null=True, blank=True)
    end_reason = models.CharField(max_length=160, blank=True)
    replaced_by = models.ForeignKey(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="replaces"
    )
    replaced_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ("object", "pk")
        constraints = (
            models.UniqueConstraint(
                fields=("object", "surface", "technique", "variant", "anchor_key"),
                condition=Q(ended_at=None),
                name="owed_view_once_in_force",
            ),
            models.CheckConstraint(
                condition=(
                    Q(anchor__in=("CUR",), treatment=None)
                    | Q(anchor__in=("BT", "DT", "AT"), treatment__isnull=False)
                    | Q(anchor="WIN")
                    | Q(anchor="FIX", anchor_at__isnull=False)
                ),
                name="owed_view_anchor_complete",
            ),
            models.CheckConstraint(condition=Q(px_per_mm__gt=0), name="owed_view_density_positive"),
            models.CheckConstraint(
                condition=Q(replaced_by=None) | ~Q(replaced_by=F("pk")),
                name="owed_view_not_replaced_by_itself",
            ),
        )
        indexes = (models.Index(fields=("object", "ended_at"), name="owed_view_by_object"),)

    def __str__(self) -> str:
        return " ".join(
            part for part in (self.technique, self.face, self.variant, self.anchor) if part
        )


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
        return " ".join(part for part in (self.technique, self.face, self.variant) if part)


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


class Waiver(models.Model):
    """A signed decision that a view need not be made."""

    owed_view = models.ForeignKey(OwedView, on_delete=models.PROTECT, related_name="waivers")
    reason_code = models.CharField(max_length=40)
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
    reason_code = models.CharField(max_length=40)
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
        return f"{self.technique} {self.face} not applicable"


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
