"""Stretches of capture: campaigns, stations, sessions with their shot lines, bookings, set-ups."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils import timezone

from imaging_requests.collection.models import CollectionObject
from imaging_requests.people.models import Versioned
from imaging_requests.protocols.models import ProtocolVersion
from imaging_requests.reckoning.truth.words import view_words
from imaging_requests.requesting.models import OwedView


class Campaign(Versioned):
    """A stretch of capture with a goal."""

    name = models.CharField(max_length=120, unique=True)
    goal = models.TextField(blank=True)
    starts_on = models.DateField()
    ends_on = models.DateField()
    protocol = models.ForeignKey(
        ProtocolVersion,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="campaigns",
    )

    class Meta:
        ordering = ("-starts_on", "name")
        constraints = (
            models.CheckConstraint(
                condition=Q(ends_on__gte=F("starts_on")), name="campaign_starts_before_it_ends"
            ),
        )

    def __str__(self) -> str:
        return self.name


class Station(models.Model):
    """A place where objects are photographed."""

    code = models.SlugField(max_length=20, unique=True)
    name = models.CharField(max_length=80)
    techniques = models.JSONField(default=list)
    cautions = models.JSONField(default=list, blank=True)
    is_active = models.BooleanField(default=True)

    class Meta:
        ordering = ("pk",)

    def __str__(self) -> str:
        return self.name


class Equipment(models.Model):
    """A camera body, lens, lamp, filter or chart with its own serial."""

    kind = models.CharField(max_length=20)
    name = models.CharField(max_length=120)
    serial = models.CharField(max_length=60)
    in_use_from = models.DateField(null=True, blank=True)
    in_use_to = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ("kind", "name")
        constraints = (
            models.UniqueConstraint(fields=("kind", "serial"), name="equipment_serial_once"),
        )

    def __str__(self) -> str:
        return f"{self.name} {self.serial}"


class SetupCard(models.Model):
    """How to rebuild a set-up: a version of a card, never changed once used."""

    code = models.CharField(max_length=40)
    version = models.PositiveSmallIntegerField()
    station = models.ForeignKey(Station, on_delete=models.PROTECT, related_name="setup_cards")
    technique = models.CharField(max_length=2)
    values = models.JSONField(default=dict)
    note = models.TextField(blank=True)
    created_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ("code", "version")
        constraints = (
            models.UniqueConstraint(fields=("code", "version"), name="setup_card_version_once"),
        )

    def __str__(self) -> str:
        return f"{self.code} v{self.version}"


class SessionState(models.TextChoices):
    """The life of a session."""

    DRAFT = "draft", "Draft"
    CONFIRMED = "confirmed", "Confirmed"
    RUNNING = "running", "Running"
    CLOSED = "closed", "Closed"
    CANCELLED = "cancelled", "Cancelled"


class Session(Versioned):
    """A bounded block of capture at one station."""

    campaign = models.ForeignKey(Campaign, on_delete=models.PROTECT, related_name="sessions")
    station = models.ForeignKey(Station, on_delete=models.PROTECT, related_name="sessions")
    photographer = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="sessions"
    )
    starts_at = models.DateTimeField("start")
    ends_at = models.DateTimeField("end")
    zone = models.CharField(max_length=40)
    state = models.CharField(
        max_length=10, choices=SessionState.choices, default=SessionState.DRAFT
    )
    confirmed_at = models.DateTimeField(null=True, blank=True)
    closed_at = models.DateTimeField(null=True, blank=True)
    cancelled_at = models.DateTimeField(null=True, blank=True)
    clock_offset_s = models.FloatField(
        default=0, help_text="Seconds to add to the camera's clock to get the studio's."
    )
    handlers = models.PositiveSmallIntegerField(
        "art handlers promised",
        default=0,
        help_text="People without an account who come to place and turn the objects.",
    )
    note = models.TextField(blank=True)

    class Meta:
        ordering = ("starts_at", "pk")
        constraints = (
            models.CheckConstraint(
                condition=Q(ends_at__gt=F("starts_at")), name="session_starts_before_it_ends"
            ),
        )
        indexes = (models.Index(fields=("state", "starts_at"), name="session_by_time"),)

    def __str__(self) -> str:
        return f"session at the {self.station} on {timezone.localtime(self.starts_at):%-d %b %Y}"


class ShotLineState(models.TextChoices):
    """What became of a line."""

    PLANNED = "planned", "To shoot"
    DONE = "done", "Done"
    NOT_DONE = "not_done", "Not done"


class ShotLine(Versioned):
    """One thing to shoot in a session, and what it will meet."""

    session = models.ForeignKey(Session, on_delete=models.PROTECT, related_name="shot_lines")
    object = models.ForeignKey(
        CollectionObject, on_delete=models.PROTECT, related_name="shot_lines"
    )
    owed_views = models.ManyToManyField(OwedView, related_name="shot_lines", blank=True)
    position = models.PositiveSmallIntegerField()
    face = models.CharField(max_length=1)
    surface = models.CharField(max_length=8)
    technique = models.CharField(max_length=2)
    variant = models.CharField(max_length=24, blank=True)
    detail_mm = models.JSONField(null=True, blank=True)
    px_per_mm = models.FloatField()
    tiles_across = models.PositiveSmallIntegerField()
    tiles_down = models.PositiveSmallIntegerField()
    exposures_ev = models.JSONField(default=list)
    focus_slices = models.PositiveSmallIntegerField(default=1)
    minutes = models.FloatField()
    light_lxh = models.FloatField(default=0)
    uv_minutes = models.FloatField(default=0)
    people = models.PositiveSmallIntegerField(default=1)
    expected_files = models.PositiveIntegerField()
    setup_card = models.ForeignKey(
        SetupCard, null=True, blank=True, on_delete=models.PROTECT, related_name="shot_lines"
    )
    cautions = models.JSONField(default=list)
    state = models.CharField(
        max_length=10, choices=ShotLineState.choices, default=ShotLineState.PLANNED
    )
    decided_at = models.DateTimeField(null=True, blank=True)
    reason = models.TextField(blank=True)
    kept_because = models.TextField(
        blank=True, help_text="Why the line is shot although nobody asks for it any more."
    )

    class Meta:
        ordering = ("session", "position")
        constraints = (
            models.UniqueConstraint(fields=("session", "position"), name="shot_line_position_once"),
            models.CheckConstraint(
                condition=Q(tiles_across__gte=1, tiles_down__gte=1, expected_files__gte=1),
                name="shot_line_counts_positive",
            ),
            models.CheckConstraint(
                condition=~Q(state="not_done") | ~Q(reason=""), name="not_done_says_why"
            ),
        )

    def __str__(self) -> str:
        return view_words(self.technique, self.face, self.variant)


class Resource(models.Model):
    """Anything that can be in one place only: a station, a person, an object, a rented unit."""

    class Kind(models.TextChoices):
        """What the resource is."""

        STATION = "station", "Station"
        PERSON = "person", "Person"
        OBJECT = "object", "Object"
        RENTAL = "rental", "Rental unit"

    kind = models.CharField(max_length=10, choices=Kind.choices)
    station = models.OneToOneField(
        Station, null=True, blank=True, on_delete=models.PROTECT, related_name="resource"
    )
    person = models.OneToOneField(
        settings.AUTH_USER_MODEL,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="resource",
    )
    object = models.OneToOneField(
        CollectionObject, null=True, blank=True, on_delete=models.PROTECT, related_name="resource"
    )
    name = models.CharField(max_length=160)

    class Meta:
        ordering = ("kind", "name")
        constraints = (
            models.CheckConstraint(
                condition=(
                    Q(kind="station", station__isnull=False, person=None, object=None)
                    | Q(kind="person", station=None, person__isnull=False, object=None)
                    | Q(kind="object", station=None, person=None, object__isnull=False)
                    | Q(kind="rental", station=None, person=None, object=None)
                ),
                name="resource_is_one_thing",
            ),
        )

    def __str__(self) -> str:
        return self.name


class Booking(models.Model):
    """A resource is taken by a session; the database refuses an overlap.

    A cancelled session releases its bookings and keeps the rows.
    """

    resource = models.ForeignKey(Resource, on_delete=models.PROTECT, related_name="bookings")
    session = models.ForeignKey(Session, on_delete=models.CASCADE, related_name="bookings")
    starts_at = models.DateTimeField()
    ends_at = models.DateTimeField()
    released_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ("resource", "starts_at")
        constraints = (
            models.CheckConstraint(
                condition=Q(ends_at__gt=F("starts_at")), name="booking_starts_before_it_ends"
            ),
            models.UniqueConstraint(
                fields=("resource", "session"),
                condition=Q(released_at=None),
                name="resource_once_per_session",
            ),
        )

    def __str__(self) -> str:
        return f"{self.resource} for {self.session_id}"


class SessionSignature(models.Model):
    """Somebody answers for a session that passes a limit: light, ultraviolet, turns."""

    session = models.ForeignKey(Session, on_delete=models.PROTECT, related_name="signatures")
    check_code = models.CharField(max_length=20)
    object = models.ForeignKey(
        CollectionObject, on_delete=models.PROTECT, related_name="session_signatures"
    )
    face = models.CharField(max_length=1, blank=True)
    amount = models.FloatField(help_text="The amount that was signed for; more asks again.")
    as_role = models.CharField(max_length=20)
    signed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="session_signatures"
    )
    signed_at = models.DateTimeField(default=timezone.now)
    reason = models.TextField()

    class Meta:
        ordering = ("session", "signed_at", "pk")
        constraints = (
            models.CheckConstraint(condition=~Q(reason=""), name="session_signature_says_why"),
        )

    def __str__(self) -> str:
        return f"{self.check_code} of {self.session_id} signed by {self.signed_by}"


class LightDose(models.Model):
    """Light that an object received outside the sessions, whose own light is counted from lines."""

    object = models.ForeignKey(
        CollectionObject, on_delete=models.PROTECT, related_name="light_doses"
    )
    received_on = models.DateField()
    lxh = models.FloatField("lux hours")
    note = models.CharField(max_length=240)
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="light_doses"
    )
    recorded_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ("object", "received_on", "pk")
        constraints = (
            models.CheckConstraint(condition=Q(lxh__gt=0), name="light_dose_positive"),
            models.CheckConstraint(condition=~Q(note=""), name="light_dose_says_whence"),
        )

    def __str__(self) -> str:
        return f"{self.lxh:g} lx·h on {self.received_on:%Y-%m-%d}"
