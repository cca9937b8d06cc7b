"""Restrictions on pictures, and grants to people from outside.

Neither is ever deleted: a restriction is lifted, a grant is ended, and both say by whom and why.
"""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils import timezone

from imaging_requests.collection.models import CollectionObject
from imaging_requests.people.models import Versioned


class RestrictionKind(models.TextChoices):
    """Why pictures are kept from some people."""

    EMBARGO = "embargo", "Embargo until a date"
    CONSENT = "consent", "Owner's consent missing"
    COPYRIGHT = "copyright", "Copyright not cleared"
    SECURITY = "security", "Security"
    ATTRIBUTION = "attribution", "Attribution unresolved"
    PERSONAL_DATA = "personal_data", "Personal data"


class Restriction(Versioned):
    """Keeps pictures of an object, of one of its surfaces, or one picture, from some people.

    `surface` is a face ("B") or a surface ("B.1"); `chain` is one picture in all its versions.
    Without either the whole object is meant, with its parts. No techniques means all.
    """

    object = models.ForeignKey(
        CollectionObject, on_delete=models.PROTECT, related_name="restrictions"
    )
    surface = models.CharField(max_length=8, blank=True)
    chain = models.UUIDField(null=True, blank=True)
    techniques = models.JSONField(default=list, blank=True)
    kind = models.CharField(max_length=14, choices=RestrictionKind.choices)
    reason = models.CharField(max_length=400)
    since = models.DateTimeField(default=timezone.now)
    until = models.DateTimeField(null=True, blank=True)
    set_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="restrictions_set"
    )
    set_at = models.DateTimeField(default=timezone.now)
    lifted_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="restrictions_lifted",
    )
    lifted_at = models.DateTimeField(null=True, blank=True)
    lifted_because = models.CharField(max_length=400, blank=True)

    class Meta:
        ordering = ("object", "-since", "-pk")
        constraints = (
            models.CheckConstraint(condition=~Q(reason=""), name="restriction_says_why"),
            models.CheckConstraint(
                condition=Q(until=None) | Q(until__gt=F("since")),
                name="restriction_since_before_until",
            ),
            models.CheckConstraint(
                condition=~Q(kind="embargo") | Q(until__isnull=False),
                name="embargo_has_an_end",
            ),
            models.CheckConstraint(
                condition=Q(chain=None) | Q(surface=""), name="restriction_has_one_scope"
            ),
            models.CheckConstraint(
                condition=Q(lifted_at=None, lifted_by=None, lifted_because="")
                | (Q(lifted_at__isnull=False, lifted_by__isnull=False) & ~Q(lifted_because="")),
                name="lifted_restriction_says_who_and_why",
            ),
        )
        indexes = (
            models.Index(
                fields=("object",),
                condition=Q(lifted_at=None),
                name="restriction_in_force",
            ),
        )

    def __str__(self) -> str:
        return str(self.get_kind_display())


class Sight(models.TextChoices):
    """How much of a picture a grant opens."""

    SMALL = "small", "Small pictures"
    FULL = "full", "Full size"


class Grant(Versioned):
    """A person from outside may see pictures of an object and its parts until an instant."""

    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="grants"
    )
    object = models.ForeignKey(CollectionObject, on_delete=models.PROTECT, related_name="grants")
    sight = models.CharField(max_length=5, choices=Sight.choices, default=Sight.SMALL)
    purpose = models.CharField(max_length=240)
    since = models.DateTimeField(default=timezone.now)
    until = models.DateTimeField(help_text="The first instant at which it no longer holds.")
    given_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="grants_given"
    )
    given_at = models.DateTimeField(default=timezone.now)
    ended_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="grants_ended",
    )
    ended_at = models.DateTimeField(null=True, blank=True)
    ended_because = models.CharField(max_length=400, blank=True)

    class Meta:
        ordering = ("person", "-until", "pk")
        constraints = (
            models.CheckConstraint(condition=~Q(purpose=""), name="grant_says_what_for"),
            models.CheckConstraint(
                condition=Q(until__gt=F("since")), name="grant_since_before_until"
            ),
            models.CheckConstraint(
                condition=Q(ended_at=None, ended_by=None, ended_because="")
                | (Q(ended_at__isnull=False, ended_by__isnull=False) & ~Q(ended_because="")),
                name="ended_grant_says_who_and_why",
            ),
        )
        indexes = (
            models.Index(
                fields=("person", "object"), condition=Q(ended_at=None), name="grant_in_force"
            ),
        )

    def __str__(self) -> str:
        return f"{self.person} until {self.until:%Y-%m-%d}"
