"""Writes of planning: campaigns, sessions, their lines and bookings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, datetime

from django.conf import settings
from django.db import transaction
from django.db.models import ProtectedError
from django.utils import timezone

from imaging_requests.campaigns import rules
from imaging_requests.campaigns.bookings import book_anew, helpers_of
from imaging_requests.campaigns.checks import absence_sentence, absences, check_session
from imaging_requests.campaigns.lines import add_lines, put_in_order
from imaging_requests.campaigns.models import (
    Campaign,
    Session,
    SessionState,
    ShotLine,
    ShotLineState,
    Station,
)
from imaging_requests.campaigns.policies import PLAN
from imaging_requests.collection.stale import mark_stale
from imaging_requests.people import audit
from imaging_requests.people.errors import DomainError
from imaging_requests.people.models import User
from imaging_requests.people.policies import demand
from imaging_requests.people.versions import lock_row, save_row
from imaging_requests.protocols.models import ProtocolVersion
from imaging_requests.requesting.words import numbers_of

EDITED = ("station", "photographer", "starts_at", "ends_at", "handlers", "note")


@transaction.atomic
def create_campaign(
    *,
    actor: User,
    name: str,
    starts_on: date,
    ends_on: date,
    goal: str = "",
    protocol: ProtocolVersion | None = None,
    now: datetime | None = None,
) -> Campaign:
    """Open a stretch of capture with its goal."""
    demand(actor, PLAN)
    cleaned = name.strip()
    if not cleaned:
        raise DomainError(
            "A campaign needs a name.",
            code="campaigns.no_name",
            next_step="Name it so that people know it: “Spring backs and X-ray”.",
        )
    if ends_on < starts_on:
        raise DomainError(
            "The campaign ends before it starts.",
            code="campaigns.dates",
            next_step="Give a last day that is not before the first.",
        )
    if Campaign.objects.filter(name=cleaned).exists():
        raise DomainError(
            f"There is a campaign “{cleaned}” already.",
            code="campaigns.name_taken",
            next_step="Open that one, or choose another name.",
        )
    campaign = Campaign.objects.create(
        name=cleaned, goal=goal.strip(), starts_on=starts_on, ends_on=ends_on, protocol=protocol
    )
    audit.record(
        "campaigns.campaign_created",
        actor=actor,
        subject=campaign,
        after={"name": cleaned, "starts_on": starts_on, "ends_on": ends_on},
        now=now,
    )
    return campaign


@transaction.atomic
def plan_session(
    *,
    actor: User,
    campaign_id: int,
    station_id: int,
    photographer_id: int,
    starts_at: datetime,
    ends_at: datetime,
    owed_view_ids: Sequence[int] = (),
    note: str = "",
    helper_ids: Sequence[int] = (),
    handlers: int = 0,
    now: datetime | None = None,
) -> Session:
    """Plan a session as a draft and book its station, people and objects."""
    demand(actor, PLAN)
    now = now or timezone.now()
    rules.check_times(starts_at, ends_at)
    session = Session.objects.create(
        campaign=Campaign.objects.get(pk=campaign_id),
        station=Station.objects.get(pk=station_id),
        photographer=User.objects.get(pk=photographer_id),
        starts_at=starts_at,
        ends_at=ends_at,
        zone=settings.STUDIO_ZONE,
        note=note.strip(),
        handlers=handlers,
    )
    add_lines(session, owed_view_ids, now=now)
    _refuse_away(session)
    book_anew(session, helpers=_people(helper_ids), now=now)
    _record("campaigns.session_planned", actor, session, now=now, views=owed_view_ids)
    return session


def _people(ids: Sequence[int]) -> list[User]:
    return list(User.objects.filter(pk__in=set(ids), is_active=True).order_by("name"))


def _refuse_away(session: Session) -> None:
    """An object is booked only while the studio can have it."""
    lines = list(session.shot_lines.all())
    numbers = numbers_of(line.object_id for line in lines)
    sentences = [
        absence_sentence(away, numbers[away.object_id])
        for away in absences(session, (line.object_id for line in lines))
        if away.blocks_capture
        and (
            not away.techniques
            or any(
                line.technique in away.techniques
                for line in lines
                if line.object_id == away.object_id
            )
        )
    ]
    if sentences:
        raise DomainError(
            " ".join(sentences),
            code="campaigns.object_away",
            next_step="Plan it for a time when the object is in the house, or leave it out.",
        )


def _record(
    code: str,
    actor: User,
    session: Session,
    *,
    now: datetime,
    before: Mapping[str, object] | None = None,
    reason: str = "",
    views: Sequence[int] = (),
) -> None:
    audit.record(
        code,
        actor=actor,
        subject=session,
        before=dict(before or {}),
        after={
            "state": session.state,
            "station": session.station_id,
            "photographer": session.photographer_id,
            "starts_at": session.starts_at,
            "ends_at": session.ends_at,
            "lines": list(session.shot_lines.values_list("pk", flat=True)),
            **({"views": sorted(views)} if views else {}),
        },
        reason=reason,
        now=now,
    )


def _touched(session: Session) -> None:
    """The views of a confirmed session are planned: their statuses have changed."""
    if session.state != SessionState.DRAFT:
        mark_stale(session.shot_lines.values_list("object_id", flat=True), "session changed")


def demand_confirmable(session: Session, *, now: datetime) -> None:
    """Refuse what stands against a session, all of it at once, in words."""
    against = [each for each in check_session(session, now=now) if each.stands_against]
    if against:
        raise DomainError(
            " ".join(finding.sentence for finding in against),
            code="campaigns.not_confirmable",
            next_step="Put this right, or let those sign who may; then confirm again.",
        )


@transaction.atomic
def edit_session(
    *,
    actor: User,
    session_id: int,
    read_version: int,
    station_id: int,
    photographer_id: int,
    starts_at: datetime,
    ends_at: datetime,
    handlers: int = 0,
    note: str = "",
    helper_ids: Sequence[int] = (),
    now: datetime | None = None,
) -> Session:
    """Change when, where and by whom; a confirmed session stays confirmed only if it still may."""
    demand(actor, PLAN)
    now = now or timezone.now()
    rules.check_times(starts_at, ends_at)
    wanted = {
        "station": Station.objects.get(pk=station_id),
        "photographer": User.objects.get(pk=photographer_id),
        "starts_at": starts_at,
        "ends_at": ends_at,
        "handlers": handlers,
        "note": note.strip(),
    }
    session = lock_row(Session, session_id, read_version=read_version, wanted=wanted)
    rules.demand_planning(session.state)
    before = {name: str(getattr(session, name)) for name in EDITED}
    for name, value in wanted.items():
        setattr(session, name, value)
    save_row(session, fields=list(EDITED))
    _refuse_away(session)
    book_anew(session, helpers=_people(helper_ids), now=now)
    if session.state == SessionState.CONFIRMED:
        demand_confirmable(session, now=now)
    _record("campaigns.session_edited", actor, session, now=now, before=before)
    _touched(session)
    return session


@transaction.atomic
def add_owed_views(
    *,
    actor: User,
    session_id: int,
    read_version: int,
    owed_view_ids: Sequence[int],
    now: datetime | None = None,
) -> list[ShotLine]:
    """Plan more owed views in a session; its objects are booked with it."""
    demand(actor, PLAN)
    now = now or timezone.now()
    session = lock_row(Session, session_id, read_version=read_version)
    rules.demand_planning(session.state)
    if not owed_view_ids:
        raise DomainError(
            "No view is ticked.", code="campaigns.no_views", next_step="Tick what is to be shot."
        )
    made = add_lines(session, owed_view_ids, now=now)
    save_row(session, fields=[])
    _refuse_away(session)
    book_anew(session, helpers=helpers_of(session), now=now)
    if session.state == SessionState.CONFIRMED:
        demand_confirmable(session, now=now)
    _record("campaigns.views_added", actor, session, now=now, views=owed_view_ids)
    _touched(session)
    return made


@transaction.atomic
def drop_shot_line(
    *,
    actor: User,
    line_id: int,
    read_version: int,
    reason: str = "",
    now: datetime | None = None,
) -> Session:
    """Take a line out of a plan; its views are open again. `read_version` is the session's."""
    demand(actor, PLAN)
    now = now or timezone.now()
    line = ShotLine.objects.select_related("object").get(pk=line_id)
    session = lock_row(Session, line.session_id, read_version=read_version)
    rules.demand_planning(session.state)
    object_id, what = line.object_id, str(line)
    try:
        line.delete()
    except ProtectedError as error:
        raise DomainError(
            "Files lie on this line, so it cannot be taken out.",
            code="campaigns.line_has_files",
            next_step="Say that it was not done instead; the files stay where they are.",
        ) from error
    put_in_order(session, now=now)
    save_row(session, fields=[])
    book_anew(session, helpers=helpers_of(session), now=now)
    audit.record(
        "campaigns.line_dropped",
        actor=actor,
        subject=session,
        object_id=object_id,
        before={"line": what, "object": object_id},
        reason=reason,
        now=now,
    )
    mark_stale([object_id], "line dropped")
    return session


@transaction.atomic
def keep_line(
    *,
    actor: User,
    line_id: int,
    read_version: int,
    reason: str,
    now: datetime | None = None,
) -> ShotLine:
    """Keep a line that nobody asks for any more, with the reason."""
    demand(actor, PLAN)
    line = lock_row(ShotLine, line_id, read_version=read_version)
    if not reason.strip():
        raise DomainError(
            "Keeping a line that nobody asks for needs a reason.",
            code="campaigns.keep_reason",
            next_step="Write one sentence, or drop the line.",
        )
    if line.state != ShotLineState.PLANNED:
        raise DomainError(
            "This line is decided already.",
            code="campaigns.line_decided",
            next_step="Load the page again.",
        )
    line.kept_because = reason.strip()
    save_row(line, fields=["kept_because"])
    audit.record(
        "campaigns.line_kept",
        actor=actor,
        subject=line,
        object_id=line.object_id,
        reason=line.kept_because,
        now=now,
    )
    return line
