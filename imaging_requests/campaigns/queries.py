"""Reads of campaigns, sessions, and of what can be planned."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, time, timedelta

from django.db.models import Count, Prefetch, Q, QuerySet
from django.urls import reverse

from imaging_requests.campaigns.awaited import PLANNED_IN, holding
from imaging_requests.campaigns.models import (
    Campaign,
    Session,
    SessionState,
    SetupCard,
    ShotLine,
    ShotLineState,
    Station,
)
from imaging_requests.campaigns.words import local, studio_zone
from imaging_requests.people.leaving import Ahead
from imaging_requests.people.models import Role, User
from imaging_requests.requesting import outlook
from imaging_requests.requesting.models import OwedView

LIVE = (SessionState.CONFIRMED, SessionState.RUNNING, SessionState.CLOSED)


def campaign_list() -> QuerySet[Campaign]:
    """Campaigns with their sessions by state, the newest first."""
    return Campaign.objects.annotate(
        session_count=Count("sessions", filter=~Q(sessions__state=SessionState.CANCELLED)),
        draft_count=Count("sessions", filter=Q(sessions__state=SessionState.DRAFT)),
        closed_count=Count("sessions", filter=Q(sessions__state=SessionState.CLOSED)),
    ).order_by("-starts_on", "name")


def campaign_sessions(campaign: Campaign) -> list[Session]:
    """The sessions of a campaign with what is planned and done in them."""
    return list(
        campaign.sessions.select_related("station", "photographer")
        .annotate(
            line_count=Count("shot_lines"),
            done_count=Count("shot_lines", filter=Q(shot_lines__state=ShotLineState.DONE)),
            object_count=Count("shot_lines__object", distinct=True),
        )
        .order_by("starts_at", "station", "pk")
    )


def stations_in_use() -> list[Station]:
    """Stations at which sessions can be planned."""
    return list(Station.objects.filter(is_active=True).order_by("pk"))


def session_of(pk: int) -> Session | None:
    """One session with everything its page names."""
    return (
        Session.objects.select_related("station", "photographer", "campaign").filter(pk=pk).first()
    )


def session_lines(session: Session) -> list[ShotLine]:
    """The lines of a session in their order, with views and cards."""
    views = OwedView.objects.select_related("treatment")
    return list(
        session.shot_lines.select_related("object", "setup_card")
        .prefetch_related(Prefetch("owed_views", queryset=views))
        .order_by("position")
    )


def day_span(day: date) -> tuple[datetime, datetime]:
    """The instants at which a studio's day begins and ends."""
    zone = studio_zone()
    return (
        datetime.combine(day, time(0), tzinfo=zone),
        datetime.combine(day + timedelta(days=1), time(0), tzinfo=zone),
    )


def sessions_on(day: date, user: User) -> list[Session]:
    """The sessions of a day: a photographer's own, for the lead everybody's."""
    begin, end = day_span(day)
    sessions = Session.objects.filter(
        state__in=LIVE, starts_at__lt=end, ends_at__gt=begin
    ).select_related("station", "photographer", "campaign")
    if not user.has_role(Role.LEAD):
        sessions = sessions.filter(photographer=user)
    return list(sessions.order_by("starts_at", "pk"))


def lines_of(sessions: Sequence[Session]) -> list[ShotLine]:
    """The lines of some sessions, in order, each with its session at hand."""
    known = {session.pk: session for session in sessions}
    lines = list(
        ShotLine.objects.filter(session__in=sessions)
        .select_related("object", "setup_card")
        .order_by("session__starts_at", "session_id", "position")
    )
    for line in lines:
        line.session = known[line.session_id]
    return lines


def shot_line(pk: int) -> ShotLine | None:
    """One line with its session, object and card."""
    return (
        ShotLine.objects.select_related(
            "session__station", "session__photographer", "object", "setup_card"
        )
        .filter(pk=pk)
        .first()
    )


def views_to_plan(session: Session) -> QuerySet[OwedView]:
    """Views in force that the session's station makes and that no line holds."""
    views = OwedView.objects.filter(ended_at=None)
    if session.station.techniques:
        views = views.filter(technique__in=session.station.techniques)
    held = holding().order_by().values("owed_views")
    return outlook.open_only(views.exclude(pk__in=held.filter(owed_views__isnull=False)))


def unwanted_lines() -> list[ShotLine]:
    """Lines to shoot whose views nobody asks for any more, and that nobody decided to keep."""
    return list(
        ShotLine.objects.filter(
            state=ShotLineState.PLANNED,
            session__state__in=PLANNED_IN,
            kept_because="",
            owed_views__isnull=False,
        )
        .exclude(owed_views__ended_at__isnull=True)
        .select_related("session__station", "object")
        .distinct()
        .order_by("session__starts_at", "position")
    )


def left_behind() -> list[Session]:
    """Sessions to come whose photographer's account is closed."""
    return list(
        Session.objects.filter(
            state__in=(SessionState.DRAFT, SessionState.CONFIRMED), photographer__is_active=False
        )
        .select_related("station", "photographer")
        .order_by("starts_at")
    )


def sessions_ahead(user: User, now: datetime) -> list[Ahead]:
    """The person's sessions to come, as photographer or helper, confirmed or not."""
    own = Q(photographer=user) | Q(bookings__resource__person=user, bookings__released_at=None)
    sessions = (
        Session.objects.filter(
            own, state__in=(SessionState.DRAFT, SessionState.CONFIRMED), ends_at__gt=now
        )
        .select_related("station")
        .distinct()
        .order_by("starts_at", "pk")
    )
    return [
        Ahead(
            text=(
                f"{session.station}, {local(session.starts_at):%-d %b %Y, %H:%M}, "
                f"{str(session.get_state_display()).lower()}, "
                f"{'as photographer' if session.photographer_id == user.pk else 'as helper'}"
            ),
            href=reverse("campaigns:session", args=[session.pk]),
        )
        for session in sessions
    ]


def setup_card(pk: int) -> SetupCard | None:
    """One version of a set-up card."""
    return SetupCard.objects.select_related("station").filter(pk=pk).first()
