"""Booking what a session takes: its station, its people, its objects.

Called inside the transaction of an action. The overlap is looked for first, to refuse it in
words; the database refuses it once more, which decides a race.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime

from django.db import IntegrityError, transaction

from imaging_requests.campaigns.checks import booking_sentence, overlapping
from imaging_requests.campaigns.models import Booking, Resource, Session, Station
from imaging_requests.collection.models import CollectionObject
from imaging_requests.people.errors import DomainError
from imaging_requests.people.models import User
from imaging_requests.requesting.words import numbers_of


def station_resource(station: Station) -> Resource:
    """The resource that a station is."""
    return Resource.objects.get_or_create(
        station=station, defaults={"kind": Resource.Kind.STATION, "name": station.name}
    )[0]


def person_resource(person: User) -> Resource:
    """The resource that a person is."""
    return Resource.objects.get_or_create(
        person=person, defaults={"kind": Resource.Kind.PERSON, "name": person.name}
    )[0]


def object_resources(object_ids: Iterable[int]) -> list[Resource]:
    """The resources that objects are, in one query and the writes that are missing."""
    ids = sorted(set(object_ids))
    known = {row.object_id: row for row in Resource.objects.filter(object_id__in=ids)}
    numbers = numbers_of(ids)
    missing = CollectionObject.objects.filter(pk__in=[pk for pk in ids if pk not in known])
    made = Resource.objects.bulk_create(
        Resource(
            kind=Resource.Kind.OBJECT,
            object=thing,
            name=f"{numbers[thing.pk]} {thing.title}"[:160],
        )
        for thing in missing
    )
    return [*known.values(), *made]


def wanted_resources(session: Session, helpers: Sequence[User]) -> list[Resource]:
    """Everything a session takes now."""
    people = {person.pk: person for person in (session.photographer, *helpers)}
    objects = session.shot_lines.values_list("object_id", flat=True)
    return [
        station_resource(session.station),
        *(person_resource(person) for person in people.values()),
        *object_resources(objects),
    ]


def helpers_of(session: Session) -> list[User]:
    """The people booked besides the photographer."""
    return list(
        User.objects.filter(
            resource__bookings__session=session, resource__bookings__released_at=None
        )
        .exclude(pk=session.photographer_id)
        .order_by("name")
    )


def book_anew(session: Session, *, helpers: Sequence[User], now: datetime) -> None:
    """Release what the session holds and book what it takes now, or refuse in words."""
    wanted = wanted_resources(session, helpers)
    taken = overlapping(session, wanted)
    if taken:
        raise DomainError(
            " ".join(booking_sentence(booking) for booking in taken),
            code="campaigns.booked",
            next_step="Choose another time, or free it there first.",
        )
    release(session, now=now)
    rows = [
        Booking(
            resource=resource,
            session=session,
            starts_at=session.starts_at,
            ends_at=session.ends_at,
        )
        for resource in wanted
    ]
    try:
        with transaction.atomic():
            Booking.objects.bulk_create(rows)
    except IntegrityError as error:
        raise DomainError(
            "Somebody booked the same station, person or object for this time a moment ago.",
            code="campaigns.booked",
            next_step="Load the page again to see what is taken.",
        ) from error


def release(session: Session, *, now: datetime) -> None:
    """Free everything the session holds; the rows stay as its history."""
    session.bookings.filter(released_at=None).update(released_at=now)
