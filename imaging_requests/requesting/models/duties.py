"""Owed views: duties, never files. Their status is not here, it is derived."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q
from django.utils import timezone

from imaging_requests.collection.models import CollectionObject
from imaging_requests.people.models import Versioned
from imaging_requests.reckoning.truth.words import view_words
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
        return view_words(self.technique, self.face, self.variant, self.surface)
