"""What arrives and what becomes of it: drops, arrivals, frames, copies, derived files, jobs.

An arrival is one file as it was offered, whatever became of it. A frame is one exposure in the
store, known by the SHA-256 of its bytes.
"""

from __future__ import annotations

import uuid

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils import timezone

from imaging_requests.campaigns.models import Session, ShotLine
from imaging_requests.intake.models_made import MadeCopy
from imaging_requests.people.models import Versioned
from imaging_requests.people.names import ReceivedNameField

__all__ = [
    "Arrival",
    "ArrivalState",
    "CameraClock",
    "Copy",
    "CopyLapse",
    "Derivative",
    "Drop",
    "FileCheck",
    "Frame",
    "FrameLook",
    "FrameRole",
    "FrameState",
    "Job",
    "JobState",
    "MadeCopy",
    "SortingStep",
]


class Drop(Versioned):
    """A batch of files that somebody brought."""

    class State(models.TextChoices):
        """Whether more files may come."""

        OPEN = "open", "Open"
        CLOSED = "closed", "Closed"

    number = models.CharField(max_length=20, unique=True)
    brought_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="drops"
    )
    session = models.ForeignKey(
        Session, null=True, blank=True, on_delete=models.PROTECT, related_name="drops"
    )
    shot_line = models.ForeignKey(
        ShotLine, null=True, blank=True, on_delete=models.PROTECT, related_name="drops"
    )
    clock_offset_s = models.FloatField(
        "correction of the camera's clock",
        null=True,
        blank=True,
        help_text="Seconds to add to the camera's clock; empty takes the session's value.",
    )
    state = models.CharField(max_length=8, choices=State.choices, default=State.OPEN)
    opened_at = models.DateTimeField(default=timezone.now)
    closed_at = models.DateTimeField(null=True, blank=True)
    settled_at = models.DateTimeField(
        null=True,
        blank=True,
        help_text="When all that had arrived was read and laid out; earlier places are for now.",
    )
    note = models.TextField(blank=True)

    class Meta:
        ordering = ("-opened_at", "-pk")
        constraints = (
            models.CheckConstraint(
                condition=Q(shot_line=None) | Q(session__isnull=False),
                name="drop_for_a_line_names_its_session",
            ),
            models.CheckConstraint(
                condition=~Q(state="closed") | Q(closed_at__isnull=False),
                name="closed_drop_says_when",
            ),
        )

    def __str__(self) -> str:
        return f"Drop {self.number}"


class FrameState(models.TextChoices):
    """Where a received frame stands."""

    RECEIVED = "received", "Received"
    WAITING = "waiting", "On the sorting table"
    PLACED = "placed", "Placed"
    SET_ASIDE = "set_aside", "Set aside as spare"


class FrameRole(models.TextChoices):
    """What a frame is for."""

    VIEW = "view", "View"
    FLAT = "flat", "Flat field"
    DARK = "dark", "Dark"
    AMBIENT = "ambient", "Ambient light"
    TARGET = "target", "Target"
    SLATE = "slate", "Clock slate"


class Frame(Versioned):
    """One exposure file in the store; its bytes never change."""

    sha256 = models.CharField(max_length=64, unique=True)
    size_bytes = models.BigIntegerField()
    first_name = ReceivedNameField(max_length=255)
    extension = models.CharField(max_length=8)
    state = models.CharField(max_length=10, choices=FrameState.choices, default=FrameState.RECEIVED)
    role = models.CharField(max_length=8, choices=FrameRole.choices, default=FrameRole.VIEW)
    shot_line = models.ForeignKey(
        ShotLine, null=True, blank=True, on_delete=models.PROTECT, related_name="frames"
    )
    tile_x = models.PositiveSmallIntegerField(default=0)
    tile_y = models.PositiveSmallIntegerField(default=0)
    ev = models.FloatField(default=0)
    focus_slice = models.PositiveSmallIntegerField(default=0)
    wall_clock = models.CharField(max_length=40, blank=True)
    captured_at = models.DateTimeField(null=True, blank=True)
    format = models.CharField(max_length=12, blank=True)
    width_px = models.PositiveIntegerField(null=True, blank=True)
    height_px = models.PositiveIntegerField(null=True, blank=True)
    bands = models.PositiveSmallIntegerField(null=True, blank=True)
    bits = models.PositiveSmallIntegerField(null=True, blank=True)
    profile = models.CharField(max_length=160, blank=True)
    structure = models.JSONField(default=dict)
    waiting_because = models.TextField(blank=True)
    waiting_reason = models.CharField(
        max_length=16, blank=True, help_text="The kind of reason, for choosing among many."
    )
    proposal = models.JSONField(
        default=list,
        blank=True,
        help_text="Places that could be right, best first, each with its reason.",
    )
    received_at = models.DateTimeField(default=timezone.now)
    read_at = models.DateTimeField(
        null=True, blank=True, help_text="When its pixels were read, or found not to be readable."
    )
    placed_at = models.DateTimeField(null=True, blank=True)
    placed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="placed_frames",
    )

    class Meta:
        ordering = ("pk",)
        constraints = (
            models.CheckConstraint(
                condition=~Q(state="placed") | Q(shot_line__isnull=False),
                name="placed_frame_has_a_shot_line",
            ),
            models.CheckConstraint(condition=Q(size_bytes__gt=0), name="frame_is_not_empty"),
            models.CheckConstraint(
                condition=~Q(state="waiting") | ~Q(waiting_because=""),
                name="waiting_frame_says_why",
            ),
            models.UniqueConstraint(
                fields=("shot_line", "tile_x", "tile_y", "ev", "focus_slice"),
                condition=Q(state="placed", role="view"),
                name="one_placed_view_per_place",
            ),
        )
        indexes = (
            models.Index(fields=("shot_line", "tile_x", "tile_y", "ev"), name="frame_by_line"),
            models.Index(fields=("state", "received_at"), name="frame_by_state"),
        )

    def __str__(self) -> str:
        return str(self.first_name)

    def was_changed_by_program(self) -> bool:
        """A person who moves a frame stands in it; until then only the program lays it out."""
        return self.placed_by_id is None


class FrameLook(models.Model):
    """What a look at a frame's small picture showed: a slate's text, and a coarse pattern."""

    frame = models.OneToOneField(Frame, on_delete=models.CASCADE, related_name="look")
    slate = models.CharField(
        max_length=120, blank=True, help_text="The text in the slate's code, if one was found."
    )
    pattern = models.TextField(blank=True)
    looked_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ("frame",)

    def __str__(self) -> str:
        return f"look at {self.frame_id}"


class CameraClock(models.Model):
    """How far a camera's clock was off in one drop: read from a slate, proposed, or agreed."""

    class Source(models.TextChoices):
        """Where the figure comes from."""

        SLATE = "slate", "Photographed slate"
        ESTIMATE = "estimate", "Estimated"

    class State(models.TextChoices):
        """Whether the figure is used."""

        IN_FORCE = "in_force", "In force"
        PROPOSED = "proposed", "Proposed"
        DECLINED = "declined", "Declined"

    drop = models.ForeignKey(Drop, on_delete=models.PROTECT, related_name="clocks")
    body_serial = models.CharField(max_length=60, blank=True)
    offset_s = models.FloatField(help_text="Seconds to add to the camera's clock.")
    source = models.CharField(max_length=8, choices=Source.choices)
    state = models.CharField(max_length=8, choices=State.choices)
    because = models.TextField()
    found_at = models.DateTimeField(default=timezone.now)
    decided_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="decided_clocks",
    )
    decided_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ("drop", "body_serial")
        constraints = (
            models.UniqueConstraint(
                fields=("drop", "body_serial"), name="one_clock_per_camera_and_drop"
            ),
            models.CheckConstraint(
                condition=~Q(source="estimate")
                | ~Q(state="in_force")
                | Q(decided_by__isnull=False),
                name="estimated_clock_is_agreed_to",
            ),
        )

    def __str__(self) -> str:
        return f"clock of {self.body_serial or 'a camera'} in {self.drop_id}"


class SortingStep(models.Model):
    """What a person did at the sorting table in one go, so that the whole can be undone."""

    class Act(models.TextChoices):
        """What was done with the frames."""

        PLACED = "placed", "placed"
        SET_ASIDE = "set_aside", "set aside as spares"

    done_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="sorting_steps"
    )
    done_at = models.DateTimeField(default=timezone.now)
    act = models.CharField(max_length=10, choices=Act.choices)
    frames = models.JSONField(
        help_text="Each frame with the row version that the step left, and why it waited."
    )
    undone_at = models.DateTimeField(null=True, blank=True)
    undone_by = models.ForeignKey(
        settings.AUTH_USER_MODEL,
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="undone_sorting_steps",
    )

    class Meta:
        ordering = ("-done_at", "-pk")

    def __str__(self) -> str:
        return f"{len(self.frames)} {self.act}"


class ArrivalState(models.TextChoices):
    """What became of one offered file."""

    ARRIVING = "arriving", "Arriving"
    RECEIVED = "received", "Received"
    CHECKED = "checked", "Checked"
    ALREADY_HERE = "already_here", "Already here"
    REFUSED = "refused", "Refused"
    GIVEN_UP = "given_up", "Given up"


class Arrival(models.Model):
    """One file as it was offered in a drop: its name, its progress, and the answer to it."""

    token = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    drop = models.ForeignKey(Drop, on_delete=models.PROTECT, related_name="arrivals")
    name = ReceivedNameField(max_length=255)
    size_bytes = models.BigIntegerField()
    offset_bytes = models.BigIntegerField(default=0)
    state = models.CharField(
        max_length=12, choices=ArrivalState.choices, default=ArrivalState.ARRIVING
    )
    frame = models.ForeignKey(
        Frame, null=True, blank=True, on_delete=models.PROTECT, related_name="arrivals"
    )
    answer = models.TextField(blank=True)
    stretches = models.JSONField(
        default=list,
        blank=True,
        help_text="End and SHA-256 of each stretch, taken while its bytes came in.",
    )
    writer = models.UUIDField(
        null=True, blank=True, help_text="Who is writing now; a newcomer takes over."
    )
    refused_kept = models.BooleanField(
        default=False, help_text="The bytes of a refused file are kept for a person."
    )
    created_at = models.DateTimeField(default=timezone.now)
    touched_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ("drop", "pk")
        constraints = (
            models.CheckConstraint(
                condition=~Q(state__in=("checked", "already_here")) | Q(frame__isnull=False),
                name="answered_arrival_names_its_frame",
            ),
            models.CheckConstraint(
                condition=~Q(state="refused") | ~Q(answer=""), name="refused_arrival_says_why"
            ),
            models.CheckConstraint(
                condition=Q(offset_bytes__gte=0, offset_bytes__lte=models.F("size_bytes")),
                name="arrival_offset_within_size",
            ),
        )
        indexes = (models.Index(fields=("drop", "state"), name="arrival_by_state"),)

    def __str__(self) -> str:
        return str(self.name)


class Copy(models.Model):
    """One stored copy of a frame's bytes: when it was first proven, and when it last was.

    The first proof never moves: from it on the copy counts, apart from its lapses. The last proof
    moves with every sweep and says nothing about the past.
    """

    frame = models.ForeignKey(Frame, on_delete=models.PROTECT, related_name="copies")
    place = models.CharField(max_length=20)
    written_at = models.DateTimeField(default=timezone.now)
    first_verified_at = models.DateTimeField(null=True, blank=True)
    verified_at = models.DateTimeField(null=True, blank=True)
    is_good = models.BooleanField(default=False)

    class Meta:
        ordering = ("frame", "place")
        constraints = (
            models.UniqueConstraint(fields=("frame", "place"), name="one_copy_per_place"),
            models.CheckConstraint(
                condition=Q(verified_at=None) | Q(first_verified_at__isnull=False),
                name="proven_copy_was_proven_first",
            ),
        )

    def __str__(self) -> str:
        return f"{self.place} copy of {self.frame_id}"


class CopyLapse(models.Model):
    """A time in which a copy was known to be bad: from when that was found until it was mended."""

    copy = models.ForeignKey(Copy, on_delete=models.CASCADE, related_name="lapses")
    found_at = models.DateTimeField()
    mended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ("copy", "found_at")
        constraints = (
            models.UniqueConstraint(
                fields=("copy",), condition=Q(mended_at=None), name="one_open_lapse_of_a_copy"
            ),
        )

    def __str__(self) -> str:
        return f"{self.copy} found bad"


class Derivative(models.Model):
    """A file made from a frame; it can be deleted and made again from its recipe."""

    frame = models.ForeignKey(Frame, on_delete=models.CASCADE, related_name="derivatives")
    kind = models.CharField(max_length=16)
    recipe = models.CharField(max_length=64)
    path = models.CharField(max_length=200)
    width_px = models.PositiveIntegerField()
    height_px = models.PositiveIntegerField()
    tone_stretched = models.BooleanField(default=False)
    made_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ("frame", "kind")
        constraints = (
            models.UniqueConstraint(fields=("frame", "kind", "recipe"), name="derivative_once"),
        )

    def __str__(self) -> str:
        return f"{self.kind} of {self.frame_id}"


class FileCheck(models.Model):
    """What a rule measured on a frame."""

    class Verdict(models.TextChoices):
        """The answer of a rule; 'cannot tell' is an answer of its own."""

        PASS = "pass", "Pass"
        WARN = "warn", "Warning"
        FAIL = "fail", "Fail"
        CANNOT_TELL = "cannot_tell", "Cannot tell"

    frame = models.ForeignKey(Frame, on_delete=models.CASCADE, related_name="checks")
    rule = models.CharField(max_length=20)
    rule_version = models.PositiveSmallIntegerField()
    value = models.CharField(max_length=120, blank=True)
    unit = models.CharField(max_length=60, blank=True)
    limit = models.CharField(max_length=240, blank=True)
    verdict = models.CharField(max_length=12, choices=Verdict.choices)
    sentence = models.TextField()
    place_px = models.JSONField(
        null=True,
        blank=True,
        help_text="Left, top, width, height in px of the frame; nothing for the whole of it.",
    )
    checked_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ("frame", "rule")
        constraints = (
            models.UniqueConstraint(
                fields=("frame", "rule", "rule_version"), name="file_check_once"
            ),
        )

    def __str__(self) -> str:
        return f"{self.rule}: {self.get_verdict_display()}"


class JobState(models.TextChoices):
    """Where a job stands; every end can be read by a person."""

    DUE = "due", "Due"
    CLAIMED = "claimed", "Being worked on"
    DONE = "done", "Done"
    FAILED = "failed", "Failed for good"


class Job(models.Model):
    """One piece of background work. The database is the truth; a message only wakes a worker."""

    kind = models.CharField(max_length=30)
    key = models.CharField(max_length=160, unique=True)
    subject_id = models.BigIntegerField()
    queue = models.CharField(max_length=10)
    state = models.CharField(max_length=8, choices=JobState.choices, default=JobState.DUE)
    tries = models.PositiveSmallIntegerField(default=0)
    asked = models.PositiveIntegerField(
        default=1, help_text="How often the work was asked for; a claim serves what it saw."
    )
    serving = models.PositiveIntegerField(default=0)
    woken_at = models.DateTimeField(null=True, blank=True)
    due_at = models.DateTimeField(default=timezone.now)
    claim = models.UUIDField(null=True, blank=True)
    claimed_until = models.DateTimeField(null=True, blank=True)
    worker = models.CharField(max_length=80, blank=True)
    last_error = models.TextField(blank=True)
    result = models.JSONField(default=dict)
    created_at = models.DateTimeField(default=timezone.now)
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ("due_at", "pk")
        indexes = (models.Index(fields=("state", "queue", "due_at"), name="job_due"),)
        constraints = (
            models.CheckConstraint(
                condition=~Q(state="claimed") | Q(claim__isnull=False, claimed_until__isnull=False),
                name="claimed_job_has_a_lease",
            ),
        )

    def __str__(self) -> str:
        return f"{self.kind} {self.subject_id}"
