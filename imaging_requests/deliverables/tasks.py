"""Periodic work of this room."""

from __future__ import annotations

from celery import shared_task

from imaging_requests.deliverables.actions.registering import ask_for_registrations
from imaging_requests.deliverables.registering import CODE_VERSION, numbers


@shared_task(name="deliverables.sweep_registrations", ignore_result=True)
def sweep_registrations() -> None:
    """Ask for a few of the maps that are missing; the rest follows with the next sweeps."""
    ask_for_registrations(code_version=CODE_VERSION, most=numbers().batch)
