"""Words for the keys that the rules speak of: treatments, sessions, views, in the studio's zone."""

from __future__ import annotations

import zoneinfo
from collections.abc import Iterable

from django.conf import settings

from imaging_requests.campaigns.models import Session, SessionState
from imaging_requests.protocols.queries import trigger_tables
from imaging_requests.reckoning.truth.words import Speech
from imaging_requests.treatments.models import Treatment


def speech_for(object_ids: Iterable[int]) -> Speech:
    """Return how to speak about some objects; three queries for any number of them."""
    ids = list(object_ids)
    names = {
        str(pk): code
        for pk, code in Treatment.objects.filter(object_id__in=ids).values_list("pk", "code")
    }
    zone = zoneinfo.ZoneInfo(settings.STUDIO_ZONE)
    sessions = (
        Session.objects.filter(
            shot_lines__object_id__in=ids,
            state__in=(SessionState.CONFIRMED, SessionState.RUNNING),
        )
        .distinct()
        .values_list("pk", "station__name")
    )
    names.update({f"session {pk}": f"at the {station}" for pk, station in sessions})
    return Speech(tables=trigger_tables(), zone=zone, names=names)
