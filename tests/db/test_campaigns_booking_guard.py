"""The database itself refuses two bookings of one resource at once, on both databases."""

from __future__ import annotations

from datetime import datetime

import pytest
from django.db import Error, connection, transaction

from imaging_requests.campaigns.models import Booking, Resource
from tests import factory
from tests.factory import NOW, hours

pytestmark = pytest.mark.django_db


@pytest.fixture
def bay() -> Resource:
    return factory.station("bay").resource


def book(resource: Resource, from_h: float, to_h: float, *, is_released: bool = False) -> Booking:
    starts_at, ends_at = NOW + hours(from_h), NOW + hours(to_h)
    return Booking.objects.create(
        resource=resource,
        session=factory.session(starts_at=starts_at, length_h=to_h - from_h),
        starts_at=starts_at,
        ends_at=ends_at,
        released_at=NOW if is_released else None,
    )


def insert_raw(resource: Resource, session_id: int, starts_at: datetime, ends_at: datetime) -> None:
    """Write past every line of Python that could check first."""
    adapt = connection.ops.adapt_datetimefield_value
    with connection.cursor() as cursor:
        cursor.execute(
            "INSERT INTO campaigns_booking (resource_id, session_id, starts_at, ends_at) "
            "VALUES (%s, %s, %s, %s)",
            [resource.pk, session_id, adapt(starts_at), adapt(ends_at)],
        )


@pytest.mark.parametrize(
    ("from_h", "to_h"), [(1, 4), (2, 3), (0, 2), (3, 6), (0, 6)], ids=lambda hour: f"{hour}h"
)
def test_raw_overlap_is_refused(bay: Resource, from_h: float, to_h: float) -> None:
    book(bay, 1, 4)
    other = factory.session(starts_at=NOW + hours(from_h), length_h=to_h - from_h)
    with pytest.raises(Error, match=r"overlap"), transaction.atomic():
        insert_raw(bay, other.pk, NOW + hours(from_h), NOW + hours(to_h))
    assert bay.bookings.count() == 1


@pytest.mark.parametrize(("from_h", "to_h"), [(4, 6), (-1, 1)], ids=["right after", "right before"])
def test_raw_neighbour_is_taken(bay: Resource, from_h: float, to_h: float) -> None:
    book(bay, 1, 4)
    other = factory.session(starts_at=NOW + hours(from_h), length_h=to_h - from_h)
    insert_raw(bay, other.pk, NOW + hours(from_h), NOW + hours(to_h))
    assert bay.bookings.count() == 2


def test_another_resource_is_free_at_the_same_time(bay: Resource) -> None:
    book(bay, 1, 4)
    book(factory.station("ir").resource, 1, 4)
    assert Booking.objects.count() == 2


def test_a_move_onto_another_booking_is_refused(bay: Resource) -> None:
    book(bay, 1, 4)
    later = book(bay, 5, 6)
    later.starts_at = NOW + hours(3)
    with pytest.raises(Error, match=r"overlap"), transaction.atomic():
        later.save()


def test_a_released_booking_is_in_nobodys_way(bay: Resource) -> None:
    book(bay, 1, 4, is_released=True)
    taken = book(bay, 2, 3)
    released = bay.bookings.get(released_at__isnull=False)
    released.released_at = None
    with pytest.raises(Error, match=r"overlap"), transaction.atomic():
        released.save()
    assert list(bay.bookings.filter(released_at=None)) == [taken]
