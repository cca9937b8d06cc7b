"""Processed results with their versions: what they were made of, what people decided, packages."""

from __future__ import annotations

import uuid

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils import timezone

from imaging_requests.campaigns.models import ShotLine
from imaging_requests.collection.models import CollectionObject, Entry
from imaging_requests.deliverables.models_comparisons import Comparison, RetestPair
from imaging_requests.deliverables.models_corrections import (
    Correction,
    CorrectionNotice,
    Delivery,
)
from imaging_requests.deliverables.models_joins import Join, PlateMap
from imaging_requests.deliverables.models_notes import SurfaceNote
from imaging_requests.intake.models import Frame
from imaging_requests.people.models import Versioned
from imaging_requests.requesting.words import view_words

__all__ = [
    "Comparison",
    "Correction",
    "CorrectionNotice",
    "Deliverable",
    "DeliverableFrame",
    "DeliverableKind",
    "DeliverableState",
    "Delivery",
    "Join",
    "LoneWorker",
    "Package",
    "PackageItem",
    "PlateMap",
    "Polarity",
    "Registration",
    "RetestPair",
    "Review",
    "SurfaceNote",
]


class DeliverableState(models.TextChoices):
    """The life of one version of a deliverable."""

    BUILDING = "building", "Building"
    TO_REVIEW = "to_review", "To review"
    ACCEPTED = "accepted", "Accepted"
    SENT_BACK = "sent_back", "Sent back"
    RECALLED = "recalled", "Recalled"


class DeliverableKind(models.TextChoices):
    """How the frames make one picture."""

    SINGLE = "single", "Single frame"
    BRACKET = "bracket", "Bracket series"
    MOSAIC = "mosaic", "Joined mosaic"
    BRACKET_MOSAIC = "bracket_mosaic", "Bracket series of tiles"


class Polarity(models.TextChoices):
    """How an X-ray shows what holds the rays back."""

    POSITIVE = "positive", "Dense parts dark"
    NEGATIVE = "negative", "Dense parts bright, as on film"
    UNKNOWN = "unknown", "Not stated"


class Deliverable(Versioned):
    """One version of a picture of one surface in one technique; it may meet several owed views.

    The state of the object it shows is computed from `captured_at`, never stored. Once a person
    has decided about a version, the database refuses every change but a recall.
    """

    chain = models.UUIDField(default=uuid.uuid4, db_index=True)
    version = models.PositiveSmallIntegerField(default=1)
    object = models.ForeignKey(
        CollectionObject, on_delete=models.PROTECT, related_name="deliverables"
    )
    face = models.CharField(max_length=1)
    surface = models.CharField(max_length=8)
    technique = models.CharField(max_length=2)
    variant = models.CharField(max_length=24, blank=True)
    detail_mm = models.JSONField(null=True, blank=True)
    kind = models.CharField(max_length=14, choices=DeliverableKind.choices)
    state = models.CharField(
        max_length=10, choices=DeliverableState.choices, default=DeliverableState.BUILDING
    )
    captured_at = models.DateTimeField()
    px_per_mm = models.FloatField()
    coverage_percent = models.FloatField(default=100)
    is_complete = models.BooleanField(default=False)
    missing = models.JSONField(default=list)
    faults = models.JSONField(
        default=list, help_text="What the frames do not share although they should, in sentences."
    )
    polarity = models.CharField(max_length=10, choices=Polarity.choices, blank=True)
    shot_line = models.ForeignKey(
        ShotLine, null=True, blank=True, on_delete=models.PROTECT, related_name="deliverables"
    )
    photographer = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="deliverables"
    )
    cover = models.ForeignKey(
        Frame, null=True, blank=True, on_delete=models.PROTECT, related_name="covers"
    )
    created_at = models.DateTimeField(default=timezone.now)
    handed_in_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ("object", "technique", "face", "variant", "-captured_at", "-version")
        constraints = (
            models.UniqueConstraint(fields=("chain", "version"), name="deliverable_version_once"),
            models.UniqueConstraint(
                fields=("chain",),
                condition=Q(state="accepted"),
                name="one_accepted_version_per_chain",
            ),
            models.CheckConstraint(
                condition=~Q(state="accepted") | Q(is_complete=True),
                name="accepted_is_complete",
            ),
            models.CheckConstraint(
                condition=~Q(technique="XR") | Q(polarity__in=("positive", "negative", "unknown")),
                name="x_ray_states_its_polarity",
            ),
            models.CheckConstraint(
                condition=~Q(technique="XR", state="accepted")
                | Q(polarity__in=("positive", "negative")),
                name="accepted_x_ray_polarity_is_known",
            ),
            models.CheckConstraint(
                condition=Q(kind__in=("single", "bracket", "mosaic", "bracket_mosaic")),
                name="deliverable_is_made_of_masters",
            ),
            models.CheckConstraint(
                condition=Q(state="building") | Q(handed_in_at__isnull=False),
                name="reviewed_deliverable_was_handed_in",
            ),
            models.UniqueConstraint(
                fields=("shot_line",),
                condition=Q(state="building"),
                name="one_building_version_per_line",
            ),
        )
        indexes = (
            models.Index(fields=("object", "state"), name="deliverable_by_object"),
            models.Index(fields=("state", "handed_in_at"), name="deliverable_by_state"),
            models.Index(
                fields=("photographer", "state", "captured_at"), name="deliverable_by_person"
            ),
        )

    def __str__(self) -> str:
        return view_words(self.technique, self.face, self.variant, self.surface)


class DeliverableFrame(models.Model):
    """A frame's place in a deliverable."""

    deliverable = models.ForeignKey(
        Deliverable, on_delete=models.PROTECT, related_name="deliverable_frames"
    )
    frame = models.ForeignKey(Frame, on_delete=models.PROTECT, related_name="deliverable_frames")
    tile_x = models.PositiveSmallIntegerField(default=0)
    tile_y = models.PositiveSmallIntegerField(default=0)
    ev = models.FloatField(default=0)
    focus_slice = models.PositiveSmallIntegerField(default=0)

    class Meta:
        ordering = ("deliverable", "tile_y", "tile_x", "ev", "focus_slice")
        constraints = (
            models.UniqueConstraint(
                fields=("deliverable", "tile_x", "tile_y", "ev", "focus_slice"),
                name="one_frame_per_place",
            ),
            models.UniqueConstraint(
                fields=("deliverable", "frame"), name="frame_once_per_deliverable"
            ),
        )

    def __str__(self) -> str:
        return f"{self.frame_id} in {self.deliverable_id}"


class Registration(models.Model):
    """Where a picture lies on its face, computed; it can be deleted and computed again.

    `px_to_face_mm` maps pixels (x, y, 1) of `frame`, or of the joined picture of its tiles,
    `width_px` × `height_px`, (0, 0) the centre of the top left one, to millimetres of the picture's
    own face: origin top left as its viewer sees it, x to the right, y down, after division by the
    third component. A picture of which nothing
    can be said has no matrix and a reason. The newest `code_version` of a picture counts.
    """

    class Verdict(models.TextChoices):
        """How far the map can be trusted."""

        PASS = "pass", "Fits"
        WARN = "warn", "Fits roughly"
        FAIL = "fail", "Does not fit"
        CANNOT_TELL = "cannot_tell", "Cannot tell"

    class Means(models.TextChoices):
        """What the map rests on."""

        OUTLINE = "outline", "The outline of the face in the picture itself"
        REFERENCE = "reference", "The visible picture of the same face"

    deliverable = models.ForeignKey(
        Deliverable, on_delete=models.CASCADE, related_name="registrations"
    )
    reference = models.ForeignKey(
        Deliverable,
        null=True,
        blank=True,
        on_delete=models.SET_NULL,
        related_name="registered_to",
        help_text="The picture it was laid over; none for a map from the outline.",
    )
    frame = models.ForeignKey(Frame, on_delete=models.CASCADE, related_name="registrations")
    join = models.ForeignKey(
        "deliverables.Join",
        null=True,
        blank=True,
        on_delete=models.SET_NULL,
        related_name="registrations",
        help_text="The joined picture whose pixels are mapped, if it is made of tiles.",
    )
    means = models.CharField(max_length=10, choices=Means.choices, blank=True)
    code_version = models.PositiveSmallIntegerField()
    width_px = models.PositiveIntegerField()
    height_px = models.PositiveIntegerField()
    px_to_face_mm = models.JSONField(null=True, help_text="Three rows of three numbers.")
    residual_mm = models.FloatField(
        null=True, help_text="Error at the corners to be expected, measured on held-out parts."
    )
    verdict = models.CharField(max_length=12, choices=Verdict.choices)
    reason = models.TextField(blank=True)
    computed_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ("deliverable", "-code_version")
        constraints = (
            models.UniqueConstraint(
                fields=("deliverable", "code_version"), name="registration_once_per_code_version"
            ),
            models.CheckConstraint(
                condition=Q(
                    verdict="cannot_tell",
                    px_to_face_mm__isnull=True,
                    residual_mm__isnull=True,
                    means="",
                )
                | Q(
                    verdict__in=("pass", "warn", "fail"),
                    px_to_face_mm__isnull=False,
                    residual_mm__isnull=False,
                    residual_mm__gte=0,
                    means__in=("outline", "reference"),
                ),
                name="registration_has_a_matrix_or_cannot_tell",
            ),
            models.CheckConstraint(
                condition=Q(verdict="pass") | ~Q(reason=""), name="doubtful_registration_says_why"
            ),
        )

    def __str__(self) -> str:
        return f"{self.get_verdict_display()}: {self.deliverable_id}"


class Review(models.Model):
    """What a person decided about a version of a deliverable."""

    class Verdict(models.TextChoices):
        """The decision."""

        ACCEPTED = "accepted", "Accepted"
        SENT_BACK = "sent_back", "Sent back"
        RECALLED = "recalled", "Recalled"

    deliverable = models.ForeignKey(Deliverable, on_delete=models.PROTECT, related_name="reviews")
    verdict = models.CharField(max_length=10, choices=Verdict.choices)
    by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="reviews"
    )
    reasons = models.JSONField(default=list)
    frames_good = models.BooleanField(
        default=False, help_text="Desk work on the same frames can put it right."
    )
    note = models.TextField(blank=True)
    override_reason = models.TextField(blank=True)
    is_lone_worker = models.BooleanField(default=False)
    recorded_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ("deliverable", "recorded_at", "pk")
        constraints = (
            models.CheckConstraint(
                condition=Q(verdict="accepted") | ~Q(note=""), name="refusal_says_why"
            ),
        )

    def __str__(self) -> str:
        return f"{self.get_verdict_display()} by {self.by}"


class LoneWorker(models.Model):
    """A stretch in which a photographer works alone and may review own pictures, and why."""

    person = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="lone_stretches"
    )
    since = models.DateTimeField()
    until = models.DateTimeField()
    allowed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="lone_stretches_allowed"
    )
    reason = models.TextField()
    recorded_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ("-since", "-pk")
        constraints = (
            models.CheckConstraint(
                condition=Q(until__gt=F("since")), name="lone_stretch_since_before_until"
            ),
            models.CheckConstraint(
                condition=~Q(person=F("allowed_by")), name="lone_stretch_allowed_by_another"
            ),
            models.CheckConstraint(condition=~Q(reason=""), name="lone_stretch_says_why"),
        )

    def __str__(self) -> str:
        return f"{self.person} alone from {self.since:%Y-%m-%d}"


class Package(Versioned):
    """A sealed hand-over: only accepted pictures, never changed."""

    class State(models.TextChoices):
        """Whether the package is sealed."""

        OPEN = "open", "Open"
        SEALED = "sealed", "Sealed"

    number = models.CharField(max_length=20, unique=True)
    purpose = models.CharField(max_length=160)
    entry = models.ForeignKey(
        Entry, null=True, blank=True, on_delete=models.PROTECT, related_name="packages"
    )
    state = models.CharField(max_length=8, choices=State.choices, default=State.OPEN)
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="packages"
    )
    made_at = models.DateTimeField(default=timezone.now)
    sealed_at = models.DateTimeField(null=True, blank=True)
    replaces = models.ForeignKey(
        "self",
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="replaced_by",
        help_text="The package that this one puts right.",
    )
    manifest = models.JSONField(default=dict)
    manifest_sha256 = models.CharField(max_length=64, blank=True)

    class Meta:
        ordering = ("-made_at", "-pk")
        constraints = (
            models.CheckConstraint(
                condition=Q(state="open") | (Q(sealed_at__isnull=False) & ~Q(manifest_sha256="")),
                name="sealed_package_has_a_manifest",
            ),
        )

    def __str__(self) -> str:
        return f"Package {self.number}"


class PackageItem(models.Model):
    """An accepted deliverable in a package."""

    package = models.ForeignKey(Package, on_delete=models.PROTECT, related_name="items")
    deliverable = models.ForeignKey(
        Deliverable, on_delete=models.PROTECT, related_name="package_items"
    )

    class Meta:
        ordering = ("package", "pk")
        constraints = (
            models.UniqueConstraint(
                fields=("package", "deliverable"), name="deliverable_once_per_package"
            ),
        )

    def __str__(self) -> str:
        return f"{self.deliverable_id} in {self.package_id}"
