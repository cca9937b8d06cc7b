"""Preferred states on first pages: which last until a planned step and have no picture yet."""

from __future__ import annotations

from collections import Counter
from datetime import datetime

from django.urls import reverse
from django.utils import timezone

from imaging_requests.people.models import Role, User
from imaging_requests.progress.answers import ROWS, Row, Section, count
from imaging_requests.progress.models import ViewStatus
from imaging_requests.progress.windows_part import how_long_left
from imaging_requests.requesting.words import numbers_of
from imaging_requests.treatments.models import Treatment


def preferred_now(user: User, now: datetime) -> Section:
    """Preferred states that last and are not shown; of a conservator the own treatments' alone.

    Nobody has to make these pictures, so the answer is never the page's most pressing one.
    """
    rows = ViewStatus.objects.filter(is_only_now=True, is_present=True)
    lasting = Counter(
        (pk, int(reason["treatment"]), str(reason["ends"]))
        for pk, reason in rows.values_list("object_id", "reason")
    )
    if lasting and not {Role.LEAD, Role.HEAD} & set(user.roles):
        own = Treatment.objects.filter(conservator=user, pk__in={key[1] for key in lasting})
        kept = set(own.values_list("pk", flat=True))
        lasting = Counter({key: n for key, n in lasting.items() if key[1] in kept})
    shown = sorted(lasting, key=lambda key: (not key[2], key[2], key[0]))[:ROWS]
    numbers = numbers_of([key[0] for key in shown]) if shown else {}
    return Section(
        answer=f"Preferred, only now: {count(lasting.total(), 'view')} of a state that a step ends",
        rows=[
            Row(
                text=f"{numbers[pk]}: the cleaned state lasts {_until(ends, now)}",
                href=reverse("progress:treatment", args=[treatment]),
                note=f"{count(lasting[pk, treatment, ends], 'view')} preferred, not accepted",
            )
            for pk, treatment, ends in shown
        ],
        is_hidden=not lasting,
    )


def _until(ends: str, now: datetime) -> str:
    if not ends:
        return "until a step without a date ends it"
    last, today = timezone.localdate(datetime.fromisoformat(ends)), timezone.localdate(now)
    return f"until {last:%-d %b %Y}, {how_long_left(last, today, ended='planned to end')}"
