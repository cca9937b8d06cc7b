"""Caches of what is derived; every row can be thrown away and computed again."""

from __future__ import annotations

from django.db import models

from imaging_requests.collection.models import Catalogue, CollectionObject, Entry
from imaging_requests.requesting.models import OwedView


class ViewStatus(models.Model):
    """The status of an owed view as last derived, with its reason."""

    owed_view = models.OneToOneField(
        OwedView, on_delete=models.CASCADE, primary_key=True, related_name="derived"
    )
    object = models.ForeignKey(
        CollectionObject, on_delete=models.CASCADE, related_name="view_statuses"
    )
    status = models.CharField(max_length=14)
    why = models.TextField(blank=True)
    reason = models.JSONField(default=dict)
    waits_for = models.CharField(max_length=240, blank=True)
    waits_for_role = models.CharField(max_length=80, blank=True)
    is_met = models.BooleanField(default=False)
    is_present = models.BooleanField(default=True, help_text="Owed as of now, not of a state.")
    is_only_now = models.BooleanField(
        default=False,
        help_text="Still to be made, of a surface bared for a while or of a state that a planned "
        "step ends.",
    )
    chain = models.CharField(max_length=36, blank=True)
    picture_version = models.PositiveSmallIntegerField(null=True, blank=True)

    class Meta:
        ordering = ("owed_view",)
        indexes = (
            models.Index(fields=("object", "status"), name="view_status_by_object"),
            models.Index(fields=("status", "is_present", "object"), name="view_by_status"),
            models.Index(
                fields=("object",), name="view_only_now", condition=models.Q(is_only_now=True)
            ),
        )

    def __str__(self) -> str:
        return f"{self.owed_view_id}: {self.status}"


class ObjectStatus(models.Model):
    """When an object's statuses were derived and until when they hold by themselves."""

    object = models.OneToOneField(
        CollectionObject, on_delete=models.CASCADE, primary_key=True, related_name="derived"
    )
    derived_at = models.DateTimeField()
    holds_until = models.DateTimeField(
        null=True,
        blank=True,
        help_text="The next instant at which a date alone changes a status: a waiver ends, say.",
    )
    facts_complete = models.BooleanField(default=False)
    missing_facts = models.JSONField(default=list)
    state_index = models.PositiveSmallIntegerField(default=0)
    has_open_question = models.BooleanField(default=False)

    class Meta:
        indexes = (models.Index(fields=("holds_until",), name="object_status_holds_until"),)

    def __str__(self) -> str:
        return f"{self.object_id} at {self.derived_at:%Y-%m-%d %H:%M}"


class EntryStatus(models.Model):
    """The grade of an entry with its counts, as last derived."""

    entry = models.OneToOneField(
        Entry, on_delete=models.CASCADE, primary_key=True, related_name="derived"
    )
    grade = models.CharField(max_length=20)
    why = models.TextField(blank=True)
    counts = models.JSONField(
        default=dict, help_text="Present views by status, then all views by status."
    )
    cells = models.JSONField(
        default=dict, help_text="Statuses of present views by column of the board."
    )
    present = models.PositiveIntegerField(
        default=0, help_text="Present views, without those that do not apply or are replaced."
    )
    resolved = models.PositiveIntegerField(default=0, help_text="Present views filed or waived.")
    debt = models.PositiveIntegerField(
        default=0, help_text="Present views no longer true, or waiting for a decision."
    )
    owed = models.PositiveIntegerField(default=0)
    met = models.PositiveIntegerField(default=0)
    unmet = models.PositiveIntegerField(default=0)
    lost = models.PositiveIntegerField(default=0)
    derived_at = models.DateTimeField()

    class Meta:
        indexes = (models.Index(fields=("grade",), name="entry_status_grade"),)

    def __str__(self) -> str:
        return f"{self.entry_id}: {self.grade}"


class CatalogueStatus(models.Model):
    """The numbers above a board: entries by grade and present views, added up over its entries."""

    catalogue = models.OneToOneField(
        Catalogue, on_delete=models.CASCADE, primary_key=True, related_name="derived"
    )
    full = models.PositiveIntegerField(default=0)
    waived = models.PositiveIntegerField(default=0)
    gap = models.PositiveIntegerField(default=0)
    present = models.PositiveIntegerField(default=0)
    resolved = models.PositiveIntegerField(default=0)
    debt = models.PositiveIntegerField(default=0)
    lost = models.PositiveIntegerField(default=0)

    class Meta:
        ordering = ("catalogue",)

    def __str__(self) -> str:
        return f"{self.catalogue_id}: {self.full} full"
