"""Notes at a region of a surface, in mm of the face: they outlive every picture of it."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils import timezone

from imaging_requests.collection.models import CollectionObject
from imaging_requests.people.models import Versioned


class SurfaceNote(Versioned):
    """Words about a region of a surface, with their author and the state they speak of.

    The region is kept in mm of the face and not in pixels, so a later picture shows it at the same
    spot. The state follows from `as_of`, the capture of the picture it was drawn on.
    """

    class Shape(models.TextChoices):
        """How the region was drawn."""

        RECTANGLE = "rectangle", "Rectangle"
        POLYGON = "polygon", "Outline"

    object = models.ForeignKey(
        CollectionObject, on_delete=models.PROTECT, related_name="surface_notes"
    )
    face = models.CharField(max_length=1, choices=(("F", "Front"), ("B", "Back")))
    surface = models.CharField(max_length=8)
    shape = models.CharField(max_length=10, choices=Shape.choices)
    points_mm = models.JSONField(
        "region", help_text="Corners as [x, y] in mm from the top left corner of the face."
    )
    text = models.TextField("note")
    author = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="surface_notes"
    )
    drawn_on = models.ForeignKey(
        "deliverables.Deliverable", on_delete=models.PROTECT, related_name="surface_notes"
    )
    as_of = models.DateTimeField()
    written_at = models.DateTimeField(default=timezone.now)
    withdrawn_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ("object", "face", "pk")
        constraints = (
            models.CheckConstraint(condition=~Q(text=""), name="surface_note_says_something"),
            models.CheckConstraint(
                condition=Q(shape__in=("rectangle", "polygon")), name="surface_note_has_a_shape"
            ),
            models.CheckConstraint(
                condition=Q(face__in=("F", "B")), name="surface_note_lies_on_front_or_back"
            ),
        )
        indexes = (models.Index(fields=("object", "withdrawn_at"), name="note_by_object"),)

    def __str__(self) -> str:
        return "the note"
