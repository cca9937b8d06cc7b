"""What changes an object: treatments with their interventions, incidents, and the questions raised.

Times of an intervention are kept twice: the values in force on the row, and every earlier record
of them in `InterventionRecord`, so that "as we knew it on 1 March" has an exact answer.
"""

from __future__ import annotations

from collections.abc import Iterable

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils import timezone

from imaging_requests.collection.models import CollectionObject
from imaging_requests.people.models import Versioned
from imaging_requests.reckoning.truth.words import view_words
from imaging_requests.treatments.models_proposals import TimesProposal

__all__ = [
    "DecisionCase",
    "DecisionVerdict",
    "EmergencyOverride",
    "Incident",
    "Intervention",
    "InterventionRecord",
    "InterventionState",
    "TimesProposal",
    "Treatment",
    "TreatmentState",
    "Verdict",
]


class TreatmentState(models.TextChoices):
    """The life of a treatment."""

    PLANNED = "planned", "Planned"
    UNDER_WAY = "under_way", "Under way"
    PAUSED = "paused", "Paused"
    FINISHED = "finished", "Finished"
    SIGNED_OFF = "signed_off", "Signed off"
    DROPPED = "dropped", "Dropped"


class Treatment(Versioned):
    """A conservator's treatment of one object."""

    object = models.ForeignKey(
        CollectionObject, on_delete=models.PROTECT, related_name="treatments"
    )
    code = models.CharField(max_length=20, unique=True)
    title = models.CharField(max_length=200)
    conservator = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="treatments"
    )
    state = models.CharField(
        max_length=12, choices=TreatmentState.choices, default=TreatmentState.PLANNED
    )
    is_emergency = models.BooleanField(default=False)
    planned_from = models.DateField(null=True, blank=True)
    planned_to = models.DateField(null=True, blank=True)
    scope = models.JSONField(
        default=list,
        blank=True,
        help_text="Technique and face pairs that the treatment's documentation asks for.",
    )
    counts_for_catalogue = models.BooleanField(default=True)
    recorded_at = models.DateTimeField(default=timezone.now)
    signed_off_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ("object", "planned_from", "pk")
        constraints = (
            models.CheckConstraint(
                condition=Q(planned_from=None)
                | Q(planned_to=None)
                | Q(planned_to__gte=F("planned_from")),
                name="treatment_planned_from_before_to",
            ),
        )
        indexes = (
            models.Index(
                fields=("conservator", "state", "planned_from"), name="treatment_by_person"
            ),
        )

    def written_with(self) -> Iterable[models.Model]:
        """Its steps: a step that is added or ends changes what the treatment may do next."""
        return self.interventions.all()

    def __str__(self) -> str:
        return f"{self.code} {self.title}"


class InterventionState(models.TextChoices):
    """The life of one step."""

    PLANNED = "planned", "Planned"
    STARTED = "started", "Started"
    FINISHED = "finished", "Finished"
    DROPPED = "dropped", "Dropped"


class Intervention(Versioned):
    """One step of a treatment; its type is a row of the trigger table."""

    treatment = models.ForeignKey(Treatment, on_delete=models.PROTECT, related_name="interventions")
    object = models.ForeignKey(
        CollectionObject, on_delete=models.PROTECT, related_name="interventions"
    )
    step = models.PositiveSmallIntegerField()
    phase = models.PositiveSmallIntegerField(default=1)
    type_row = models.PositiveSmallIntegerField()
    direction = models.CharField(
        max_length=4,
        blank=True,
        choices=(("on", "put on"), ("off", "taken off")),
        help_text="For steps that put something on or take it off.",
    )
    face = models.CharField(max_length=1, default="F", choices=(("F", "Front"), ("B", "Back")))
    area_cm2 = models.FloatField(null=True, blank=True)
    area_percent = models.FloatField(null=True, blank=True)
    label = models.CharField(max_length=80, blank=True)
    combined = models.BooleanField(default=False)
    state = models.CharField(
        max_length=10, choices=InterventionState.choices, default=InterventionState.PLANNED
    )
    planned_on = models.DateField(null=True, blank=True)
    exposure_until = models.DateTimeField(
        null=True,
        blank=True,
        help_text="Planned end of the time in which what this step uncovers can be seen.",
    )
    started_at = models.DateTimeField(null=True, blank=True)
    finished_at = models.DateTimeField(null=True, blank=True)
    recorded_at = models.DateTimeField(default=timezone.now)
    materials = models.CharField(max_length=240, blank=True)

    class Meta:
        ordering = ("treatment", "step")
        constraints = (
            models.UniqueConstraint(fields=("treatment", "step"), name="step_once_per_treatment"),
            models.CheckConstraint(
                condition=Q(finished_at=None) | Q(finished_at__gt=F("started_at")),
                name="intervention_starts_before_it_ends",
            ),
            models.CheckConstraint(
                condition=(
                    Q(state__in=("planned", "dropped"), started_at=None, finished_at=None)
                    | Q(state="started", started_at__isnull=False, finished_at=None)
                    | Q(state="finished", started_at__isnull=False, finished_at__isnull=False)
                ),
                name="intervention_state_fits_its_times",
            ),
            models.CheckConstraint(
                condition=Q(area_percent=None) | Q(area_percent__gt=0, area_percent__lte=100),
                name="intervention_area_percent_in_range",
            ),
            models.CheckConstraint(
                condition=Q(area_cm2=None) | Q(area_cm2__gt=0),
                name="intervention_area_cm2_positive",
            ),
        )
        indexes = (
            models.Index(fields=("object", "finished_at"), name="intervention_by_object"),
            models.Index(fields=("state", "planned_on"), name="intervention_ahead"),
        )

    def __str__(self) -> str:
        return f"step {self.step} of {self.treatment.code}"


class InterventionRecord(models.Model):
    """What was recorded of a step's times, and when; the last record holds."""

    intervention = models.ForeignKey(Intervention, on_delete=models.PROTECT, related_name="records")
    recorded_at = models.DateTimeField()
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="intervention_records",
    )
    state = models.CharField(max_length=10, choices=InterventionState.choices)
    started_at = models.DateTimeField(null=True, blank=True)
    finished_at = models.DateTimeField(null=True, blank=True)
    reason = models.TextField(blank=True)

    class Meta:
        ordering = ("intervention", "recorded_at", "pk")

    def __str__(self) -> str:
        return f"{self.intervention_id} recorded {self.recorded_at:%Y-%m-%d %H:%M}"


class Incident(models.Model):
    """Something that happened to an object and opened a state of its own."""

    class Kind(models.TextChoices):
        """What happened."""

        WATER = "water", "Water"
        IMPACT = "impact", "Impact"
        TRANSPORT = "transport", "Transport"
        CLIMATE = "climate", "Climate"

    object = models.ForeignKey(CollectionObject, on_delete=models.PROTECT, related_name="incidents")
    kind = models.CharField(max_length=10, choices=Kind.choices)
    occurred_at = models.DateTimeField()
    recorded_at = models.DateTimeField(default=timezone.now)
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="incidents"
    )
    note = models.TextField(blank=True)

    class Meta:
        ordering = ("object", "occurred_at")

    def __str__(self) -> str:
        return f"{self.get_kind_display()} incident"


class EmergencyOverride(models.Model):
    """A step started with its gate shut: two named people, a reason, and a record picture."""

    intervention = models.OneToOneField(
        Intervention, on_delete=models.PROTECT, related_name="override"
    )
    conservator = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="emergencies"
    )
    witness = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="witnessed_emergencies",
    )
    reason = models.TextField()
    record_picture = models.CharField(
        max_length=240,
        blank=True,
        help_text="Where the picture made on the spot is kept; it never counts as a view.",
    )
    lost_views = models.JSONField(default=list)
    recorded_at = models.DateTimeField(default=timezone.now)
    witnessed_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = (
            models.CheckConstraint(
                condition=Q(witness=None) | ~Q(witness=F("conservator")),
                name="emergency_names_two_people",
            ),
            models.CheckConstraint(
                condition=Q(witness=None, witnessed_at=None)
                | Q(witness__isnull=False, witnessed_at__isnull=False),
                name="emergency_witness_has_an_instant",
            ),
            models.CheckConstraint(condition=~Q(reason=""), name="emergency_says_why"),
        )

    def __str__(self) -> str:
        return f"emergency start of {self.intervention_id}"


class DecisionCase(Versioned):
    """Is this older picture still true after that event? A conservator's question."""

    class State(models.TextChoices):
        """Whether the question has been answered."""

        OPEN = "open", "Open"
        CLOSED = "closed", "Closed"
        DROPPED = "dropped", "No longer asked"

    object = models.ForeignKey(
        CollectionObject, on_delete=models.PROTECT, related_name="decision_cases"
    )
    intervention = models.ForeignKey(
        Intervention,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="decision_cases",
    )
    incident = models.ForeignKey(
        Incident, null=True, blank=True, on_delete=models.PROTECT, related_name="decision_cases"
    )
    chain = models.UUIDField()
    technique = models.CharField(max_length=4)
    face = models.CharField(max_length=1)
    variant = models.CharField(max_length=20, blank=True)
    proposal = models.CharField(
        max_length=12, choices=(("out_of_date", "Out of date"), ("valid", "Still valid"))
    )
    reason = models.TextField()
    assigned_to = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="decision_cases"
    )
    state = models.CharField(max_length=8, choices=State.choices, default=State.OPEN)
    opened_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ("state", "opened_at", "pk")
        constraints = (
            models.UniqueConstraint(
                fields=("chain", "intervention"), name="one_case_per_chain_and_step"
            ),
            models.UniqueConstraint(
                fields=("chain", "incident"), name="one_case_per_chain_and_incident"
            ),
            models.CheckConstraint(
                condition=Q(intervention__isnull=False, incident=None)
                | Q(intervention=None, incident__isnull=False),
                name="case_has_one_event",
            ),
        )
        indexes = (
            models.Index(fields=("assigned_to", "state", "opened_at"), name="case_by_person"),
        )

    def __str__(self) -> str:
        return f"{view_words(self.technique, self.face, self.variant)}: still true?"


class Verdict(models.TextChoices):
    """What a conservator can say of an older picture."""

    OUT_OF_DATE = "out_of_date", "Out of date"
    VALID = "valid", "Still valid"
    REOPENED = "reopened", "Reopened"


class DecisionVerdict(models.Model):
    """An answer to a decision case; a later answer replaces an earlier one."""

    case = models.ForeignKey(DecisionCase, on_delete=models.PROTECT, related_name="verdicts")
    verdict = models.CharField(max_length=12, choices=Verdict.choices)
    reason = models.TextField()
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="decision_verdicts"
    )
    recorded_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ("case", "recorded_at", "pk")
        constraints = (
            models.CheckConstraint(condition=~Q(reason=""), name="decision_verdict_says_why"),
        )

    def __str__(self) -> str:
        return f"{self.get_verdict_display()}"
