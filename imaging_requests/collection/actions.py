"""Writes about catalogues, entries, objects, their facts, numbers and whereabouts."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date, datetime
from typing import Any

from django.db import IntegrityError, transaction
from django.utils import timezone

from imaging_requests.collection import rules
from imaging_requests.collection.limits import limits_at
from imaging_requests.collection.models import (
    Catalogue,
    CollectionObject,
    Entry,
    EntryObject,
    Face,
    Kind,
    LocationStay,
    ObjectFacts,
    ObjectNumber,
    Unavailability,
)
from imaging_requests.collection.policies import (
    KEEP_CATALOGUE,
    KEEP_NUMBERS,
    RECORD_FACTS,
    RECORD_WHEREABOUTS,
)
from imaging_requests.collection.stale import mark_stale
from imaging_requests.people import audit
from imaging_requests.people.errors import DomainError, StaleWrite
from imaging_requests.people.models import User
from imaging_requests.people.policies import demand

SIDES_TURNED = "collection.sides_turned"
FACT_FIELDS = (
    "height_mm",
    "width_mm",
    "depth_mm",
    "warp_mm",
    "weight_kg",
    "support",
    "painted_faces",
    "is_lined",
    "framed",
    "glazed",
    "sealed",
    "flash_allowed",
    "uv_allowed",
    "uv_cap_min",
    "heat_sensitive",
    "light_class",
    "flaking",
    "notes",
    "pinned_px_per_mm",
    "measured_on",
    "method",
)


@transaction.atomic
def create_catalogue(
    *,
    actor: User,
    title: str,
    edition: str = "",
    image_lock_on: date | None = None,
    text_lock_on: date | None = None,
    printing_on: date | None = None,
    now: datetime | None = None,
) -> Catalogue:
    """Start a catalogue."""
    demand(actor, KEEP_CATALOGUE)
    if Catalogue.objects.filter(title=title.strip()).exists():
        raise DomainError(
            f"There is a catalogue “{title.strip()}” already.",
            code="collection.catalogue_title_taken",
            next_step="Open it, or choose another title, such as the same with its year.",
        )
    catalogue = Catalogue.objects.create(
        title=title.strip(),
        edition=edition,
        image_lock_on=image_lock_on,
        text_lock_on=text_lock_on,
        printing_on=printing_on,
    )
    audit.record(
        "collection.catalogue_created",
        actor=actor,
        subject=catalogue,
        after={"title": catalogue.title},
        now=now,
    )
    return catalogue


@transaction.atomic
def create_entry(
    *,
    actor: User,
    catalogue: Catalogue,
    number: str,
    title: str,
    curator: User | None,
    weight: int = 3,
    now: datetime | None = None,
) -> Entry:
    """Add an entry to a catalogue; its number is text and unique there."""
    demand(actor, KEEP_CATALOGUE)
    if Entry.objects.filter(catalogue=catalogue, number=number).exists():
        raise DomainError(
            f"The catalogue has an entry {number} already.",
            code="collection.entry_number_taken",
            next_step="Choose another number, such as the same with a letter.",
        )
    entry = Entry.objects.create(
        catalogue=catalogue,
        number=number,
        sort_key=rules.sort_key(number),
        title=title.strip(),
        curator=curator,
        weight=weight,
    )
    audit.record(
        "collection.entry_created",
        actor=actor,
        subject=entry,
        after={"number": number, "title": entry.title},
        now=now,
    )
    return entry


@transaction.atomic
def create_object(
    *,
    actor: User,
    title: str,
    number: str,
    kind: str = Kind.PAINTING,
    part_of: CollectionObject | None = None,
    owner: str = "",
    consent_needed: str = "",
    in_force_from: date | None = None,
    faces: Mapping[str, str] | None = None,
    now: datetime | None = None,
) -> CollectionObject:
    """Register an object with its first number and its faces (code to spoken label)."""
    demand(actor, KEEP_NUMBERS)
    now = now or timezone.now()
    thing = CollectionObject.objects.create(
        title=title.strip(),
        kind=Kind(kind),
        part_of=part_of,
        owner=owner,
        consent_needed=consent_needed,
        created_at=now,
    )
    for code, label in (faces or {"F": "", "B": ""}).items():
        Face.objects.create(object=thing, code=code, label=label)
    _give_number(thing, number, in_force_from or timezone.localdate(now))
    audit.record(
        "collection.object_registered",
        actor=actor,
        subject=thing,
        object_id=thing.pk,
        after={"title": thing.title, "number": number},
        now=now,
    )
    mark_stale([thing.pk], "object registered")
    return thing


def _give_number(thing: CollectionObject, number: str, from_on: date) -> ObjectNumber:
    cleaned = number.strip()
    if not cleaned:
        raise DomainError(
            "An object needs an inventory number.",
            code="collection.number_missing",
            next_step="Type the number as it stands in the inventory.",
        )
    try:
        with transaction.atomic():
            return ObjectNumber.objects.create(object=thing, number=cleaned, in_force_from=from_on)
    except IntegrityError as error:
        raise DomainError(
            f"The number {cleaned} belongs or belonged to an object already; "
            "numbers are never used twice.",
            code="collection.number_taken",
            next_step="Look the number up, or give another.",
        ) from error


@transaction.atomic
def renumber_object(
    *,
    actor: User,
    object_id: int,
    number: str,
    on: date,
    reason: str = "",
    now: datetime | None = None,
) -> ObjectNumber:
    """Give an object a new number; the old one stays searchable and is never used again."""
    demand(actor, KEEP_NUMBERS)
    thing = CollectionObject.objects.select_for_update().get(pk=object_id)
    old = thing.numbers.filter(scheme="inventory", in_force_to=None).first()
    if old is not None:
        if old.in_force_from >= on:
            raise DomainError(
                f"The present number is in force from {old.in_force_from:%-d %b %Y}; "
                "a new one can only follow it.",
                code="collection.number_order",
                next_step="Choose a later day.",
            )
        old.in_force_to = on
        old.save(update_fields=["in_force_to"])
    new = _give_number(thing, number, on)
    audit.record(
        "collection.object_renumbered",
        actor=actor,
        subject=thing,
        object_id=thing.pk,
        before={"number": old.number if old else ""},
        after={"number": new.number},
        reason=reason,
        now=now,
    )
    return new


@transaction.atomic
def put_into_entry(
    *,
    actor: User,
    entry_id: int,
    object_id: int,
    position: int = 1,
    now: datetime | None = None,
) -> EntryObject:
    """Let an object belong to an entry."""
    demand(actor, KEEP_CATALOGUE)
    now = now or timezone.now()
    Entry.objects.select_for_update().get(pk=entry_id)
    if EntryObject.objects.filter(entry=entry_id, object=object_id, removed_at=None).exists():
        raise DomainError(
            "This object belongs to the entry already.",
            code="collection.in_entry_already",
        )
    link = EntryObject.objects.create(
        entry_id=entry_id, object_id=object_id, position=position, added_at=now
    )
    audit.record(
        "collection.object_into_entry",
        actor=actor,
        subject=link.entry,
        object_id=object_id,
        after={"object": object_id},
        now=now,
    )
    mark_stale([object_id], "entry changed")
    return link


@transaction.atomic
def take_out_of_entry(
    *, actor: User, entry_id: int, object_id: int, reason: str, now: datetime | None = None
) -> None:
    """End an object's membership; requests keep their own demand."""
    demand(actor, KEEP_CATALOGUE)
    link = EntryObject.objects.select_for_update().get(
        entry=entry_id, object=object_id, removed_at=None
    )
    link.removed_at = now or timezone.now()
    link.save(update_fields=["removed_at"])
    audit.record(
        "collection.object_out_of_entry",
        actor=actor,
        subject=link.entry,
        object_id=object_id,
        before={"object": object_id},
        reason=reason,
        now=now,
    )
    mark_stale([object_id], "entry changed")


@transaction.atomic
def record_facts(
    *,
    actor: User,
    object_id: int,
    values: Mapping[str, Any],
    read_record: int | None = None,
    valid_from: datetime | None = None,
    is_turned: bool = False,
    now: datetime | None = None,
) -> ObjectFacts:
    """Record what is known of an object from now on; what was recorded before stays.

    `values` holds the fields that change; the rest is taken over. `read_record` names the record
    that was on the page: if a newer one exists, the refusal shows what differs. Height and width
    that look mixed up against the last record are asked about, unless `is_turned` confirms them.
    """
    demand(actor, RECORD_FACTS)
    now = now or timezone.now()
    unknown = set(values) - set(FACT_FIELDS)
    if unknown:
        raise ValueError(f"Not facts of an object: {sorted(unknown)}")
    CollectionObject.objects.select_for_update().get(pk=object_id)
    last = ObjectFacts.objects.filter(object=object_id).order_by("recorded_at", "pk").last()
    if read_record is not None and last is not None and last.pk != read_record:
        raise _newer_record(last, values)
    limits = limits_at(now)
    for name in rules.MEASURES:
        reason = rules.why_not_a_measure(name, values.get(name), limits.get(name))
        if reason:
            raise DomainError(reason, code="collection.impossible_measure", data={"field": name})
    reason = rules.why_not_that_day(values.get("measured_on"), timezone.localdate(now))
    if reason:
        raise DomainError(reason, code="collection.not_measured_yet", data={"field": "measured_on"})
    before = {name: getattr(last, name) for name in FACT_FIELDS} if last is not None else {}
    turned = "" if is_turned else rules.why_turned(before, {**before, **values})
    if turned:
        raise DomainError(
            turned,
            code=SIDES_TURNED,
            next_step="If height and width are mixed up, change them round. If they are right as "
            "typed, say so below and record them again.",
            data={"field": "height_mm"},
        )
    facts = ObjectFacts(
        object_id=object_id,
        valid_from=valid_from or now,
        recorded_at=now,
        recorded_by=actor,
        **{**before, **values},
    )
    facts.full_clean(exclude=["object", "recorded_by"])
    facts.save(force_insert=True)
    changed = {name: value for name, value in values.items() if before.get(name) != value}
    audit.record(
        "collection.facts_recorded",
        actor=actor,
        subject=facts,
        object_id=object_id,
        before={name: before.get(name) for name in changed},
        after=changed,
        valid_at=facts.valid_from,
        now=now,
    )
    mark_stale([object_id], "facts recorded")
    return facts


def _newer_record(last: ObjectFacts, values: Mapping[str, Any]) -> StaleWrite:
    who = last.recorded_by.name if last.recorded_by is not None else "Somebody"
    return StaleWrite(
        f"{who} recorded facts of this object while you were working on them.",
        differences=[
            (rules.label_of(name), str(getattr(last, name)), str(value))
            for name, value in values.items()
            if getattr(last, name) != value
        ],
    )


@transaction.atomic
def record_stay(
    *,
    actor: User,
    object_id: int,
    place: str,
    since: datetime,
    confirmed_by: str = "",
    now: datetime | None = None,
) -> LocationStay:
    """Record that an object has moved; its earlier stay ends at the same instant."""
    demand(actor, RECORD_WHEREABOUTS)
    now = now or timezone.now()
    thing = CollectionObject.objects.select_for_update().get(pk=object_id)
    present = thing.stays.filter(until=None).first()
    if present is not None:
        if since <= present.since:
            raise DomainError(
                f"The object is at {present.place} since {present.since:%-d %b %Y, %H:%M}; "
                "a new stay can only begin later.",
                code="collection.stay_order",
                next_step="Check the time of the move.",
            )
        present.until = since
        present.save(update_fields=["until"])
    stay = LocationStay.objects.create(
        object=thing,
        place=place.strip(),
        since=since,
        confirmed_at=now if confirmed_by else None,
        confirmed_by=confirmed_by,
    )
    audit.record(
        "collection.object_moved",
        actor=actor,
        subject=thing,
        object_id=thing.pk,
        before={"place": present.place if present else ""},
        after={"place": stay.place},
        valid_at=since,
        now=now,
    )
    return stay


@transaction.atomic
def record_unavailability(
    *,
    actor: User,
    object_id: int,
    reason: str,
    since: datetime,
    until: datetime | None = None,
    note: str = "",
    blocks_capture: bool = True,
    techniques: Iterable[str] = (),
    now: datetime | None = None,
) -> Unavailability:
    """Record a stretch in which the studio cannot have the object."""
    demand(actor, RECORD_WHEREABOUTS)
    now = now or timezone.now()
    if until is not None and until <= since:
        raise DomainError(
            "The stretch ends before it begins.",
            code="collection.unavailable_order",
            next_step="Check the two days.",
        )
    row = Unavailability.objects.create(
        object_id=object_id,
        reason=Unavailability.Reason(reason),
        note=note,
        since=since,
        until=until,
        blocks_capture=blocks_capture,
        techniques=list(techniques),
        recorded_at=now,
    )
    audit.record(
        "collection.unavailable",
        actor=actor,
        subject=row,
        object_id=object_id,
        after={"reason": reason, "until": until},
        valid_at=since,
        now=now,
    )
    mark_stale([object_id], "availability changed")
    return row


@transaction.atomic
def mark_everything_stale() -> int:
    """Ask for every object to be derived anew; for the command that recomputes."""
    ids = list(CollectionObject.objects.order_by("pk").values_list("pk", flat=True))
    mark_stale(ids, "recomputation asked for")
    return len(ids)
