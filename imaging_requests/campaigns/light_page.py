"""The light book of one object: what it received this year, and from where."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from imaging_requests.campaigns.light import yearly_share
from imaging_requests.campaigns.minutes import studio_for
from imaging_requests.campaigns.models import LightDose, ShotLine, ShotLineState
from imaging_requests.campaigns.words import day_words, line_words, local, local_day
from imaging_requests.collection.models import CollectionObject
from imaging_requests.requesting.words import numbers_of


def light_context(thing: CollectionObject, *, now: datetime) -> dict[str, Any]:
    """Doses of this year by day, their sum, and the studio's share."""
    year = local(now).year
    studio = studio_for([thing.pk], now)
    facts = studio.facts.get(thing.pk)
    painted = (facts.painted_faces if facts else None) or ("F",)
    rows = [
        (dose.received_on, f"{dose.note} (written in by {dose.recorded_by})", dose.lxh)
        for dose in LightDose.objects.filter(object=thing, received_on__year=year).select_related(
            "recorded_by"
        )
    ]
    lines = ShotLine.objects.filter(
        object=thing,
        state=ShotLineState.DONE,
        face__in=painted,
        light_lxh__gt=0,
        session__starts_at__year=year,
    ).select_related("session__station")
    rows += [
        (
            local_day(line.session.starts_at),
            f"{line_words(line)}, {line.session.station}",
            line.light_lxh,
        )
        for line in lines
    ]
    rows.sort(key=lambda row: row[0])
    used, share = sum(row[2] for row in rows), yearly_share(facts, studio)
    number = numbers_of([thing.pk])[thing.pk]
    return {
        "thing": thing,
        "number": number,
        "rows": [
            {"day": day_words(day), "what": what, "lxh": f"{lxh:,.0f}"} for day, what, lxh in rows
        ],
        "answer": f"{number} has received {used:,.0f} of {share:,.0f} lx·h in {year}"
        if share is not None
        else f"{number} has received {used:,.0f} lx·h in {year}",
        "has_share": share is not None,
    }
