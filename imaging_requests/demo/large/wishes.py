"""Write down what is under way: a session with its lines, a request, a few waivers."""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import datetime, timedelta

from django.conf import settings

from imaging_requests.campaigns.models import Resource, SessionState
from imaging_requests.demo.large import rows as tables
from imaging_requests.demo.large.duty_rows import ask_too
from imaging_requests.demo.large.ground import Ground, Place
from imaging_requests.demo.large.rows import Rows
from imaging_requests.demo.large.subjects import Owed, Subject
from imaging_requests.demo.large.things import number_of
from imaging_requests.reckoning.truth import facts as truth
from imaging_requests.requesting.models import LineState, Purpose, WaiverReason

WAIVED = 0.3
LINES_PER_SESSION = 12
VIEWS_PER_OBJECT = 3
LENGTH = timedelta(hours=6)


def waive(subject: Subject, rows: Rows, ground: Ground) -> None:
    """Waive a view that was never made, here and there; some waivers end on a day to come."""
    open_views = subject.not_made
    if not subject.made or not open_views or subject.dice.random() > WAIVED:
        return
    owed = subject.dice.choice(open_views)
    granted_at = ground.now - timedelta(days=2)
    is_brief = subject.dice.random() < 0.3
    lapses_at = ground.now + timedelta(days=subject.dice.randint(20, 200)) if is_brief else None
    pk = rows.key(tables.WAIVERS)
    text = "The picture would show nothing that the others do not."
    reason = str(WaiverReason.NOTHING_TO_SEE)
    rows.add(
        tables.WAIVERS, pk, owed.pk, reason, text, ground.lead, granted_at, granted_at, lapses_at
    )
    subject.note(
        "waivers",
        truth.Waiver(
            key=f"w-{pk}",
            view=str(owed.pk),
            recorded_at=granted_at,
            granted_at=granted_at,
            lapses_at=lapses_at,
            reason_code=reason,
            text=text,
            lead=str(ground.lead),
        ),
    )


def plan_and_wish(
    number: int, subjects: Sequence[Subject], rows: Rows, ground: Ground
) -> dict[str, str]:
    """Plan one session for a chunk and file one request; returns the session's name by its key."""
    place = ground.places[number % len(ground.places)]
    wanting = [(subject, subject.not_made) for subject in subjects]
    session = rows.key(tables.SESSIONS)
    start = ground.now + timedelta(days=1 + number // len(ground.places), hours=3)
    lines = [
        (subject, owed)
        for subject, views in wanting
        for owed in [v for v in views if v.want.technique in place.techniques][:VIEWS_PER_OBJECT]
    ][:LINES_PER_SESSION]
    _request(subjects, wanting, rows, ground)
    if not lines:
        return {}
    _session_rows(session, place, start, rows, ground)
    booked: set[int] = set()
    for position, (subject, owed) in enumerate(lines, start=1):
        if subject.pk not in booked:
            booked.add(subject.pk)
            name = number_of(subject.pk)
            kind = str(Resource.Kind.OBJECT)
            resource = rows.key(tables.RESOURCES)
            rows.add(tables.RESOURCES, resource, kind, subject.pk, name)
            _book(resource, session, start, rows)
        _line_rows(session, position, subject, owed, start, rows, ground)
    return {f"session {session}": f"at the {place.name}"}


def _session_rows(session: int, place: Place, start: datetime, rows: Rows, ground: Ground) -> None:
    rows.add(
        tables.SESSIONS,
        session,
        ground.campaign,
        place.station,
        place.photographer,
        start,
        start + LENGTH,
        settings.STUDIO_ZONE,
        str(SessionState.CONFIRMED),
        ground.now - timedelta(days=2),
    )
    for resource in (place.station_resource, place.person_resource):
        _book(resource, session, start, rows)


def _book(resource: int, session: int, start: datetime, rows: Rows) -> None:
    rows.add(
        tables.BOOKINGS,
        rows.key(tables.BOOKINGS),
        resource,
        session,
        start,
        start + timedelta(hours=6),
    )


def _line_rows(
    session: int,
    position: int,
    subject: Subject,
    owed: Owed,
    start: datetime,
    rows: Rows,
    ground: Ground,
) -> None:
    want, spec = owed.want, owed.want.making.spec
    across, down = spec["tiles"] or (1, 1)
    line, link = rows.key(tables.SHOTS), rows.key(tables.SHOT_VIEWS)
    rows.add(
        tables.SHOTS,
        line,
        session,
        subject.pk,
        position,
        want.face,
        want.surface,
        want.technique,
        want.variant,
        want.making.px_per_mm,
        across,
        down,
        json.dumps(spec["exposures_ev"]),
        spec["minutes"] or 20,
        spec["frames"] or 1,
        json.dumps(spec["cautions"]),
    )
    rows.add(tables.SHOT_VIEWS, link, line, owed.pk)
    confirmed_at = ground.now - timedelta(days=2)
    subject.note(
        "planned",
        truth.PlannedShot(
            key=f"s-{link}",
            recorded_at=confirmed_at,
            view=str(owed.pk),
            session=f"session {session}",
            confirmed_at=confirmed_at,
            session_starts_at=start,
            session_ends_at=start + LENGTH,
        ),
    )


def _request(
    subjects: Sequence[Subject],
    wanting: Sequence[tuple[Subject, list[Owed]]],
    rows: Rows,
    ground: Ground,
) -> None:
    """A curator asks for three views: one is agreed and owed already, two wait for the lead."""
    request = rows.key(tables.REQUESTS)
    requester = ground.curators[request % len(ground.curators)]
    rows.add(
        tables.REQUESTS,
        request,
        f"LR-{request}",
        requester,
        str(Purpose.TEXT),
        "The text compares both versions.",
        (ground.now + timedelta(days=90)).date(),
        ground.now - timedelta(days=6),
    )
    for subject in subjects[:2]:
        rows.add(
            tables.LINES,
            rows.key(tables.LINES),
            request,
            subject.pk,
            "F",
            "UV",
            "",
            str(LineState.SUBMITTED),
            None,
            None,
            None,
        )
    for subject, views in wanting:
        if views:
            owed = views[-1]
            line = rows.key(tables.LINES)
            agreed_at = ground.now - timedelta(days=5)
            rows.add(
                tables.LINES,
                line,
                request,
                subject.pk,
                owed.want.face,
                owed.want.technique,
                owed.want.variant,
                str(LineState.AGREED),
                ground.lead,
                agreed_at,
                (ground.now + timedelta(days=60)).date(),
            )
            ask_too(subject, owed, line, rows, since=agreed_at)
            return
