"""Hand-overs of packages, and what is put right afterwards: who found it, who was told."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils import timezone

from imaging_requests.collection.models import CollectionObject
from imaging_requests.people.models import Versioned


class Delivery(Versioned):
    """A sealed package in somebody's hands, and whether they confirmed that it came."""

    package = models.ForeignKey(
        "deliverables.Package", on_delete=models.PROTECT, related_name="deliveries"
    )
    recipient = models.CharField(max_length=160)
    user = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="deliveries",
        help_text="The recipient's account, if there is one.",
    )
    purpose = models.CharField(max_length=160, blank=True)
    handed_over_at = models.DateTimeField(default=timezone.now)
    handed_over_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="deliveries_made"
    )
    received_at = models.DateTimeField(null=True, blank=True)
    received_words = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ("package", "handed_over_at", "pk")
        constraints = (
            models.UniqueConstraint(
                fields=("package", "recipient"), name="package_once_to_each_recipient"
            ),
            models.CheckConstraint(condition=~Q(recipient=""), name="delivery_names_who"),
            models.CheckConstraint(
                condition=Q(received_at=None) | Q(received_at__gte=F("handed_over_at")),
                name="received_after_handed_over",
            ),
        )

    def __str__(self) -> str:
        return f"{self.package} to {self.recipient}"


class Correction(Versioned):
    """One thing that was wrong with an accepted picture, from its discovery to its mending.

    Words are put right at once; every other kind stays open until another picture takes the wrong
    one's place or the lead closes it with a reason. The accepted picture itself never changes.
    """

    class Kind(models.TextChoices):
        """What puts it right."""

        WORDS = "words", "The words about it"
        REPROCESS = "reprocess", "The same frames, processed again"
        RESHOOT = "reshoot", "Shot again"
        WRONG_TARGET = "wrong_target", "It shows another object or face"

    deliverable = models.ForeignKey(
        "deliverables.Deliverable", on_delete=models.PROTECT, related_name="corrections"
    )
    kind = models.CharField(max_length=12, choices=Kind.choices)
    found_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="corrections_found"
    )
    found_at = models.DateTimeField(default=timezone.now)
    wrong_since = models.DateTimeField()
    why = models.TextField()
    says = models.TextField(blank=True, help_text="The right words, for a correction of words.")
    meant_object = models.ForeignKey(
        CollectionObject,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="corrections_meant",
        help_text="The object that the picture really shows.",
    )
    reach = models.JSONField(
        default=dict, help_text="Entries and packages that were touched when it was found."
    )
    mended_by = models.ForeignKey(
        "deliverables.Deliverable",
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="mends",
    )
    closed_at = models.DateTimeField(null=True, blank=True)
    closed_words = models.TextField(blank=True)

    class Meta:
        ordering = ("-found_at", "-pk")
        constraints = (
            models.CheckConstraint(condition=~Q(why=""), name="correction_says_why"),
            models.CheckConstraint(
                condition=Q(wrong_since__lte=F("found_at")), name="correction_wrong_before_found"
            ),
            models.CheckConstraint(
                condition=~Q(kind="words") | (~Q(says="") & Q(closed_at__isnull=False)),
                name="correction_of_words_says_them",
            ),
            models.CheckConstraint(
                condition=Q(closed_at=None) | Q(closed_at__gte=F("found_at")),
                name="correction_closed_after_found",
            ),
            models.UniqueConstraint(
                fields=("deliverable",),
                condition=Q(closed_at=None),
                name="one_open_correction_per_picture",
            ),
        )

    def __str__(self) -> str:
        return f"{self.get_kind_display()}: {self.deliverable}"


class CorrectionNotice(models.Model):
    """Somebody who had the wrong picture and was told; a recipient confirms it."""

    correction = models.ForeignKey(Correction, on_delete=models.PROTECT, related_name="notices")
    delivery = models.ForeignKey(
        Delivery, null=True, blank=True, on_delete=models.PROTECT, related_name="corrections"
    )
    user = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="correction_notices",
    )
    told_at = models.DateTimeField(default=timezone.now)
    confirmed_at = models.DateTimeField(null=True, blank=True)
    confirmed_words = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ("correction", "pk")
        constraints = (
            models.CheckConstraint(
                condition=Q(delivery__isnull=False) | Q(user__isnull=False),
                name="correction_notice_names_who",
            ),
            models.UniqueConstraint(
                fields=("correction", "delivery"),
                condition=Q(delivery__isnull=False),
                name="delivery_told_once",
            ),
            models.UniqueConstraint(
                fields=("correction", "user"),
                condition=Q(delivery__isnull=True),
                name="person_told_once",
            ),
        )

    def __str__(self) -> str:
        return f"{self.delivery or self.user} told of {self.correction_id}"
