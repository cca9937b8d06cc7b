"""What is written down and told when lines of requests move."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from datetime import datetime

from django.urls import reverse

from imaging_requests.people import audit
from imaging_requests.people.actions import tell
from imaging_requests.people.models import User
from imaging_requests.requesting.models import LineState, RequestLine


def record_line(
    code: str, actor: User | None, line: RequestLine, now: datetime, *, before: LineState
) -> None:
    audit.record(
        code,
        actor=actor,
        subject=line,
        object_id=line.object_id,
        before={"state": before},
        after={
            "state": line.state,
            "promised_on": line.promised_on,
            "request": line.request_id,
        },
        reason=line.reason,
        now=now,
    )


_NEWS = {
    "agreed": "{count} of the pictures you asked for ({number}) {verb} agreed{promise}.",
    "declined": "{count} of the pictures you asked for ({number}) {verb} declined: {reason}",
    "here": "{count} of the pictures you asked for ({number}) {verb} here now.",
}


def tell_requesters(
    lines: Sequence[RequestLine], news: str, actor: User | None, now: datetime
) -> None:
    """Tell each requester once for each request; nobody is told what they did themselves."""
    grouped: dict[int, list[RequestLine]] = defaultdict(list)
    for line in lines:
        grouped[line.request_id].append(line)
    for request_id, own in grouped.items():
        request = own[0].request
        if actor is not None and request.requester_id == actor.pk:
            continue
        promised = own[0].promised_on
        tell(
            [request.requester],
            _NEWS[news].format(
                count=len(own),
                number=request.number,
                verb="is" if len(own) == 1 else "are",
                promise=f", promised for {promised:%-d %b %Y}" if promised else "",
                reason=own[0].reason,
            ),
            reverse("requesting:request", args=[request_id]),
            now=now,
        )
