"""Comparisons of two pictures of one view, and the pairs that show what a station cannot tell."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils import timezone


class Comparison(models.Model):
    """What changed between two pictures, computed; it can be deleted and computed again.

    `before` is the earlier one. `recipe` names files, set-ups, limits and code that were used, and
    the drawn comparison; it is empty until something was computed.
    """

    class Verdict(models.TextChoices):
        """What became of it."""

        WAITING = "waiting", "Being computed"
        MAPPED = "mapped", "Change map"
        SIDE_BY_SIDE = "side_by_side", "Side by side only"
        NOT_COMPARED = "not_compared", "Not compared"

    before = models.ForeignKey(
        "deliverables.Deliverable", on_delete=models.PROTECT, related_name="compared_with_later"
    )
    after = models.ForeignKey(
        "deliverables.Deliverable", on_delete=models.PROTECT, related_name="compared_with_earlier"
    )
    asked_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="comparisons"
    )
    asked_at = models.DateTimeField(default=timezone.now)
    verdict = models.CharField(
        max_length=12, choices=Verdict.choices, default=Verdict.WAITING.value
    )
    grade = models.CharField(max_length=1, blank=True)
    sentence = models.TextField(blank=True)
    report = models.JSONField(default=dict)
    noise_floor = models.FloatField(
        null=True, help_text="What a map would call noise, if nothing was done in between."
    )
    recipe = models.CharField(max_length=64, blank=True)
    picture = models.CharField(max_length=255, blank=True)
    width_px = models.PositiveIntegerField(default=0)
    height_px = models.PositiveIntegerField(default=0)
    made_at = models.DateTimeField(null=True)

    class Meta:
        ordering = ("-asked_at", "-pk")
        constraints = (
            models.UniqueConstraint(fields=("before", "after"), name="comparison_once"),
            models.CheckConstraint(condition=~Q(before=F("after")), name="comparison_of_two"),
            models.CheckConstraint(
                condition=Q(verdict="waiting") | (Q(made_at__isnull=False) & ~Q(sentence="")),
                name="comparison_says_something",
            ),
            models.CheckConstraint(
                condition=Q(verdict__in=("waiting", "not_compared")) | ~Q(picture=""),
                name="comparison_has_its_picture",
            ),
        )

    def __str__(self) -> str:
        return f"{self.before_id} and {self.after_id}: {self.get_verdict_display().lower()}"


class RetestPair(models.Model):
    """Two pictures between which nothing was done: what they differ by is noise of the station.

    Somebody vouches for it with a reason. The newest pair of a station and technique counts; none
    ever changes.
    """

    comparison = models.OneToOneField(
        Comparison, on_delete=models.PROTECT, related_name="retest_pair"
    )
    station = models.ForeignKey(
        "campaigns.Station", on_delete=models.PROTECT, related_name="retest_pairs"
    )
    technique = models.CharField(max_length=4)
    floor = models.FloatField(help_text="ΔE00 in visible light, else % of the light.")
    unit = models.CharField(max_length=8)
    note = models.TextField("how it is known that nothing was done")
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="retest_pairs"
    )
    recorded_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ("station", "technique", "-recorded_at", "-pk")
        constraints = (
            models.CheckConstraint(condition=~Q(note=""), name="retest_pair_says_why"),
            models.CheckConstraint(condition=Q(floor__gt=0), name="retest_floor_above_zero"),
        )

    def __str__(self) -> str:
        return f"{self.technique} at {self.station_id}: {self.floor:.1f} {self.unit}"
