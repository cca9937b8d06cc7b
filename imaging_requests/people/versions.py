"""Refuse last-write-wins: lock a row, compare the version that was read, show what differs."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime
from typing import Any, TypeVar

from django.db import models
from django.db.models import Q
from django.utils import timezone

from imaging_requests.people.errors import StaleWrite
from imaging_requests.people.models import AuditEvent, Versioned

M = TypeVar("M", bound=Versioned)


def _shown(row: models.Model, name: str, value: Any) -> str:
    field = row._meta.get_field(name)
    choices = dict(getattr(field, "flatchoices", None) or [])
    if value in choices:
        return str(choices[value])
    if isinstance(value, models.Model):
        return str(value)
    if isinstance(value, datetime):
        return f"{timezone.localtime(value):%-d %b %Y, %H:%M}"
    if isinstance(value, date):
        return f"{value:%-d %b %Y}"
    if isinstance(value, bool):
        return "yes" if value else "no"
    return "–" if value in (None, "") else str(value)


def lock_row(
    model: type[M], pk: int, *, read_version: int, wanted: Mapping[str, Any] | None = None
) -> M:
    """Lock a row for writing and refuse if it is no longer the version that was read.

    `wanted` are the values about to be written, by field name; those that differ from the row as
    it is now are listed in the refusal, together with who changed it last.
    """
    row = model._default_manager.select_for_update().get(pk=pk)
    if row.row_version == read_version:
        return row
    changed = Q()
    rows: list[models.Model] = [row, *row.written_with()]
    for each in rows:
        changed |= Q(subject_type=each._meta.label_lower, subject_id=str(each.pk))
    last = AuditEvent.objects.filter(changed).select_related("actor").order_by("-pk").first()
    if row.was_changed_by_program():
        raise StaleWrite(f"The program changed {row} while you were working on it.", differences=[])
    who = last.actor.name if last is not None and last.actor is not None else "Somebody"
    when = f", at {timezone.localtime(last.recorded_at):%H:%M}" if last is not None else ""
    differences = [
        (str(getattr(row._meta.get_field(name), "verbose_name", name)).capitalize(), now, mine)
        for name, value in (wanted or {}).items()
        if (now := _shown(row, name, getattr(row, name))) != (mine := _shown(row, name, value))
    ]
    raise StaleWrite(
        f"{who} changed {row} while you were working on it{when}.",
        differences=differences,
    )


def save_row(row: Versioned, *, fields: list[str]) -> None:
    """Save named fields of a locked row and raise its version."""
    row.row_version += 1
    row.save(update_fields=[*fields, "row_version"])
