"""Periodic work of this room."""

from __future__ import annotations

from celery import shared_task

from imaging_requests.deliverables.actions.joins import ask_for_missing_joins
from imaging_requests.deliverables.actions.registering import (
    ask_for_registrations,
    ask_for_what_reviews_wait_for,
)
from imaging_requests.deliverables.registering import CODE_VERSION, numbers

#: Pictures before a reviewer whose owed work is looked after in one sweep, those waiting longest.
MOST_WAITING = 50
#: Joinings that nobody ever asked for, of a history that was entered later, in one sweep.
MOST_JOINS = 20


@shared_task(name="deliverables.sweep_registrations", ignore_result=True)
def sweep_registrations() -> None:
    """Ask for what reviews wait for, and for a few missing joinings and maps; more next time."""
    ask_for_missing_joins(most=MOST_JOINS)
    ask_for_registrations(code_version=CODE_VERSION, most=numbers().batch)
    ask_for_what_reviews_wait_for(most=MOST_WAITING)
