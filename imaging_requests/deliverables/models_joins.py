"""Joined pictures of tiles, and the plate maps that people laid."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils import timezone


class PlateMap(models.Model):
    """Where each tile lies and how, as a person decided; the newest counts, none ever changes.

    One without tiles takes back those before it: the tiles lie as the program finds them.
    """

    deliverable = models.ForeignKey(
        "deliverables.Deliverable", on_delete=models.PROTECT, related_name="plate_maps"
    )
    plates = models.JSONField(
        help_text="One {frame, column, row, quarters, mirrored} per tile; counted from 0."
    )
    note = models.TextField("why")
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="plate_maps"
    )
    recorded_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ("deliverable", "-recorded_at", "-pk")
        constraints = (models.CheckConstraint(condition=~Q(note=""), name="plate_map_says_why"),)

    def __str__(self) -> str:
        return f"plate map of {self.deliverable_id}"


class Join(models.Model):
    """One joining of the tiles of a deliverable: its recipe, its file, and what was measured.

    `recipe` names the frames by their SHA-256 with their places, the numbers and the code that were
    used. The joined file lies in the store under its own SHA-256; it is empty if there is none.
    """

    class Verdict(models.TextChoices):
        """Whether the joined picture may be relied on."""

        JOINED = "joined", "Joined"
        UNCERTAIN = "uncertain", "Uncertain"
        NOT_JOINED = "not_joined", "Not joined"

    deliverable = models.ForeignKey(
        "deliverables.Deliverable", on_delete=models.PROTECT, related_name="joins"
    )
    recipe = models.CharField(max_length=64)
    ingredients = models.JSONField(default=dict)
    verdict = models.CharField(max_length=12, choices=Verdict.choices)
    sentence = models.TextField(blank=True)
    report = models.JSONField(default=dict)
    plate_map = models.ForeignKey(
        PlateMap, null=True, blank=True, on_delete=models.PROTECT, related_name="joins"
    )
    sha256 = models.CharField(max_length=64, blank=True)
    size_bytes = models.PositiveBigIntegerField(default=0)
    width_px = models.PositiveIntegerField(default=0)
    height_px = models.PositiveIntegerField(default=0)
    pictures = models.JSONField(
        default=list, help_text="Derived files: {kind, path, width_px, height_px}."
    )
    is_tone_stretched = models.BooleanField(default=False)
    made_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ("deliverable", "-made_at", "-pk")
        constraints = (
            models.UniqueConstraint(fields=("deliverable", "recipe"), name="join_once"),
            models.CheckConstraint(
                condition=Q(verdict="not_joined", sha256="")
                | (Q(verdict__in=("joined", "uncertain")) & ~Q(sha256="")),
                name="join_has_its_file",
            ),
        )

    def __str__(self) -> str:
        return f"{self.get_verdict_display()}: {self.deliverable_id}"
