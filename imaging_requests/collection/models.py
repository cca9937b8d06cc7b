"""Catalogues and entries, objects with their dated facts, numbers, faces, whereabouts, stale marks.

Facts carry two times: since when they are true of the object and when the house learnt them. A
row of facts is never changed; a better measurement is a new row.
"""

from __future__ import annotations

import uuid

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils import timezone

from imaging_requests.people.models import Versioned


class Catalogue(Versioned):
    """A publication whose entries the studio documents."""

    title = models.CharField(max_length=200, unique=True)
    edition = models.CharField(max_length=80, blank=True)
    image_lock_on = models.DateField(null=True, blank=True)
    text_lock_on = models.DateField(null=True, blank=True)
    printing_on = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ("title",)

    def __str__(self) -> str:
        return self.title


class Entry(Versioned):
    """A numbered entry of a catalogue; its number is text, its place in the order a key."""

    catalogue = models.ForeignKey(Catalogue, on_delete=models.PROTECT, related_name="entries")
    number = models.CharField(max_length=20)
    sort_key = models.CharField(max_length=40)
    title = models.CharField(max_length=240)
    curator = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="entries",
    )
    weight = models.PositiveSmallIntegerField(default=3)

    class Meta:
        ordering = ("catalogue", "sort_key")
        constraints = (
            models.UniqueConstraint(fields=("catalogue", "number"), name="entry_number_once"),
            models.CheckConstraint(
                condition=Q(weight__gte=1, weight__lte=5), name="entry_weight_1_to_5"
            ),
        )
        indexes = (models.Index(fields=("catalogue", "sort_key"), name="entry_in_order"),)

    def __str__(self) -> str:
        return f"{self.number} {self.title}"


class Kind(models.TextChoices):
    """What kind of thing an object is."""

    PAINTING = "painting", "Painting"
    FRAME = "frame", "Frame"
    FRAGMENT = "fragment", "Fragment"
    WING = "wing", "Wing"
    ENSEMBLE = "ensemble", "Ensemble"


class RecordState(models.TextChoices):
    """How far the record of an object is."""

    DRAFT = "draft", "Draft"
    ACTIVE = "active", "Active"
    MERGED = "merged", "Merged"
    WITHDRAWN = "withdrawn", "Withdrawn"


class CollectionObject(Versioned):
    """The thing itself: what is treated, moved and photographed."""

    uuid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    kind = models.CharField(max_length=20, choices=Kind.choices, default=Kind.PAINTING)
    title = models.CharField(max_length=240)
    part_of = models.ForeignKey(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="parts"
    )
    owner = models.CharField(max_length=160, blank=True)
    consent_needed = models.CharField(max_length=240, blank=True)
    record_state = models.CharField(
        max_length=12, choices=RecordState.choices, default=RecordState.ACTIVE
    )
    merged_into = models.ForeignKey(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="merged_from"
    )
    created_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ("pk",)
        constraints = (
            models.CheckConstraint(
                condition=Q(part_of=None) | ~Q(part_of=F("pk")), name="object_not_part_of_itself"
            ),
            models.CheckConstraint(
                condition=Q(record_state="merged", merged_into__isnull=False)
                | (~Q(record_state="merged") & Q(merged_into=None)),
                name="object_merged_names_its_target",
            ),
        )

    def __str__(self) -> str:
        return self.title


class EntryObject(models.Model):
    """An object belongs to an entry from one instant to another."""

    entry = models.ForeignKey(Entry, on_delete=models.PROTECT, related_name="entry_objects")
    object = models.ForeignKey(
        CollectionObject, on_delete=models.PROTECT, related_name="entry_objects"
    )
    position = models.PositiveSmallIntegerField(default=1)
    added_at = models.DateTimeField(default=timezone.now)
    removed_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ("entry", "position", "pk")
        constraints = (
            models.UniqueConstraint(
                fields=("entry", "object"),
                condition=Q(removed_at=None),
                name="object_once_in_entry",
            ),
            models.CheckConstraint(
                condition=Q(removed_at=None) | Q(removed_at__gt=F("added_at")),
                name="entry_object_added_before_removed",
            ),
        )

    def __str__(self) -> str:
        return f"{self.entry}: {self.object}"


class ObjectNumber(models.Model):
    """An inventory number in force from one day to another; never used for a second object."""

    object = models.ForeignKey(CollectionObject, on_delete=models.PROTECT, related_name="numbers")
    number = models.CharField(max_length=60)
    scheme = models.CharField(max_length=40, default="inventory")
    in_force_from = models.DateField()
    in_force_to = models.DateField(null=True, blank=True)
    source = models.CharField(max_length=160, blank=True)

    class Meta:
        ordering = ("object", "-in_force_from")
        constraints = (
            models.UniqueConstraint(fields=("scheme", "number"), name="number_never_used_twice"),
            models.UniqueConstraint(
                fields=("object", "scheme"),
                condition=Q(in_force_to=None),
                name="one_number_in_force",
            ),
            models.CheckConstraint(
                condition=Q(in_force_to=None) | Q(in_force_to__gt=F("in_force_from")),
                name="number_from_before_to",
            ),
        )

    def __str__(self) -> str:
        return self.number


class Support(models.TextChoices):
    """What the paint lies on."""

    CANVAS = "canvas", "Canvas"
    PANEL = "panel", "Panel"
    COPPER = "copper", "Copper or other metal"
    PAPER = "paper", "Paper on canvas"
    WOOD = "wood", "Carved wood"


class LightClass(models.TextChoices):
    """How strongly light changes the object."""

    LOW = "low", "Low responsivity"
    MEDIUM = "medium", "Medium responsivity"
    HIGH = "high", "High responsivity"


#: Above every measure there is. It keeps infinity and "not a number" out, which PostgreSQL orders
#: above all numbers; what a measure can be is data of the studio (`collection.limits`).
FINITE = 10**9


class Flaking(models.TextChoices):
    """Whether paint is loose."""

    NONE = "none", "None"
    LOCAL = "local", "Local"
    GENERAL = "general", "General"


class ObjectFacts(models.Model):
    """Everything the shot list follows from, as known from one record to the next.

    Unknown is null, never a guess: a missing fact becomes a question to a person.
    """

    object = models.ForeignKey(CollectionObject, on_delete=models.PROTECT, related_name="facts")
    valid_from = models.DateTimeField()
    recorded_at = models.DateTimeField(default=timezone.now)
    recorded_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="recorded_facts",
    )
    height_mm = models.FloatField(null=True, blank=True)
    width_mm = models.FloatField(null=True, blank=True)
    depth_mm = models.FloatField(null=True, blank=True)
    warp_mm = models.FloatField(null=True, blank=True)
    weight_kg = models.FloatField(null=True, blank=True)
    support = models.CharField(max_length=12, choices=Support.choices, blank=True)
    painted_faces = models.CharField(
        max_length=2, default="F", choices=(("F", "Front"), ("FB", "Front and back"))
    )
    is_lined = models.BooleanField(
        default=False, help_text="A lining covered the original back at the beginning."
    )
    framed = models.BooleanField(null=True, blank=True)
    glazed = models.BooleanField(null=True, blank=True)
    sealed = models.BooleanField(null=True, blank=True, default=False)
    flash_allowed = models.BooleanField(default=True)
    uv_allowed = models.BooleanField(default=True)
    uv_cap_min = models.FloatField(null=True, blank=True)
    heat_sensitive = models.BooleanField(default=False)
    light_class = models.CharField(max_length=8, choices=LightClass.choices, blank=True)
    flaking = models.CharField(max_length=8, choices=Flaking.choices, default=Flaking.NONE)
    notes = models.JSONField(default=list, blank=True)
    pinned_px_per_mm = models.FloatField(null=True, blank=True)
    measured_on = models.DateField(null=True, blank=True)
    method = models.CharField(max_length=120, blank=True)

    class Meta:
        ordering = ("object", "recorded_at", "pk")
        indexes = (models.Index(fields=("object", "recorded_at"), name="facts_by_object"),)
        constraints = (
            *(
                models.CheckConstraint(
                    condition=Q(**{f"{name}__isnull": True})
                    | Q(**{f"{name}__{lowest}": 0, f"{name}__lt": FINITE}),
                    name=f"facts_{name}_is_measurable",
                )
                for name, lowest in (
                    ("height_mm", "gt"),
                    ("width_mm", "gt"),
                    ("depth_mm", "gt"),
                    ("warp_mm", "gte"),
                    ("weight_kg", "gt"),
                    ("pinned_px_per_mm", "gt"),
                )
            ),
        )

    def __str__(self) -> str:
        return f"Facts of {self.object_id} from {self.valid_from:%Y-%m-%d}"


class Face(models.Model):
    """A direction from which an object is looked at."""

    object = models.ForeignKey(CollectionObject, on_delete=models.PROTECT, related_name="faces")
    code = models.CharField(max_length=1, choices=(("F", "Front"), ("B", "Back"), ("E", "Edges")))
    label = models.CharField(max_length=120, blank=True)
    distinguishing_mark = models.CharField(max_length=240, blank=True)
    outline_mm = models.JSONField(default=list, blank=True)

    class Meta:
        ordering = ("object", "code")
        constraints = (
            models.UniqueConstraint(fields=("object", "code"), name="face_once_per_object"),
        )

    def __str__(self) -> str:
        return self.label or self.get_code_display()


class LocationStay(models.Model):
    """Where an object is from one instant to another, and who confirmed it."""

    object = models.ForeignKey(CollectionObject, on_delete=models.PROTECT, related_name="stays")
    place = models.CharField(max_length=120)
    since = models.DateTimeField()
    until = models.DateTimeField(null=True, blank=True)
    confirmed_at = models.DateTimeField(null=True, blank=True)
    confirmed_by = models.CharField(max_length=120, blank=True)

    class Meta:
        ordering = ("object", "since")
        constraints = (
            models.UniqueConstraint(
                fields=("object",), condition=Q(until=None), name="object_in_one_place"
            ),
            models.CheckConstraint(
                condition=Q(until=None) | Q(until__gt=F("since")), name="stay_since_before_until"
            ),
        )

    def __str__(self) -> str:
        return self.place


class Unavailability(models.Model):
    """A stretch in which the studio cannot have the object, and why."""

    class Reason(models.TextChoices):
        """Why the object cannot be had."""

        LOAN = "loan", "On loan"
        DISPLAY = "display", "On display, closing days only"
        TREATMENT = "treatment", "In treatment"
        QUARANTINE = "quarantine", "In quarantine"
        CONSENT = "consent", "Waiting for the owner's consent"
        STORE = "store", "In the outside store"

        @property
        def in_a_sentence(self) -> str:
            """The words as they follow "the object is"."""
            words = str(self.label)
            return words[0].lower() + words[1:]

    object = models.ForeignKey(
        CollectionObject, on_delete=models.PROTECT, related_name="unavailabilities"
    )
    reason = models.CharField(max_length=12, choices=Reason.choices)
    note = models.CharField(max_length=240, blank=True)
    techniques = models.JSONField(default=list, blank=True)
    blocks_capture = models.BooleanField(default=True)
    since = models.DateTimeField()
    until = models.DateTimeField(null=True, blank=True)
    recorded_at = models.DateTimeField(default=timezone.now)
    withdrawn_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ("object", "since")
        constraints = (
            models.CheckConstraint(
                condition=Q(until=None) | Q(until__gt=F("since")),
                name="unavailable_since_before_until",
            ),
        )

    def __str__(self) -> str:
        return f"{self.get_reason_display()}"


class StaleMark(models.Model):
    """News about an object that its cached statuses have not taken in yet."""

    object = models.ForeignKey(
        CollectionObject, on_delete=models.CASCADE, related_name="stale_marks"
    )
    reason = models.CharField(max_length=80)
    created_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ("pk",)

    def __str__(self) -> str:
        return f"{self.object_id}: {self.reason}"
