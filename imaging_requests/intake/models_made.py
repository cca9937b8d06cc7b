"""Where the files lie that the program made from masters and hands out in full."""

from __future__ import annotations

from django.db import models
from django.db.models import Q
from django.utils import timezone


class MadeCopy(models.Model):
    """A file that the program made, in one place, and when it was last proven there.

    It can be made again from its masters, but is proven like them, since people are given it. A
    file that was made before its digest was recorded has none until it is made again.
    """

    sha256 = models.CharField(max_length=64, blank=True)
    size_bytes = models.BigIntegerField(default=0)
    name = models.CharField(max_length=200, help_text="What it is, in words for people.")
    place = models.CharField(max_length=20)
    path = models.CharField(max_length=200, help_text="Where it lies below the top of its place.")
    written_at = models.DateTimeField(default=timezone.now)
    verified_at = models.DateTimeField(null=True, blank=True)
    is_good = models.BooleanField(default=False)
    asked_at = models.DateTimeField(
        null=True, blank=True, help_text="When it was last asked to be made again."
    )

    class Meta:
        ordering = ("path", "place")
        constraints = (
            models.UniqueConstraint(fields=("place", "path"), name="made_copy_once"),
            models.CheckConstraint(
                condition=~Q(is_good=True) | ~Q(sha256=""), name="good_made_copy_has_a_digest"
            ),
        )

    def __str__(self) -> str:
        return f"{self.place} copy of {self.name}"
