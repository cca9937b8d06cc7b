"""The kinds of background work of the intake: who does each, where, and for how long at most."""

from __future__ import annotations

from django.conf import settings

from imaging_requests.intake import jobs
from imaging_requests.intake.actions.arrivals import RECEIVE
from imaging_requests.intake.actions.deriving import deriving_failed
from imaging_requests.intake.actions.layout import SORT
from imaging_requests.intake.actions.receiving import DERIVE, receiving_failed
from imaging_requests.intake.deriving import derive
from imaging_requests.intake.laying import sort
from imaging_requests.intake.receiving import receive

RECEIVE_SECONDS = 3 * 3600
SORT_SECONDS = 600


def register_kinds() -> None:
    """Register the work of this room; a 64 GB file takes its time to be read three times."""
    jobs.register(RECEIVE, receive, "ingest", RECEIVE_SECONDS, when_failed=receiving_failed)
    jobs.register(
        DERIVE,
        derive,
        "pixels",
        settings.DECODE_SECONDS_LIMIT * 2,
        when_failed=deriving_failed,
    )
    jobs.register(SORT, sort, "ingest", SORT_SECONDS)
