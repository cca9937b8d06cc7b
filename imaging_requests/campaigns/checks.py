"""What stands against a session: refusals, limits that need a signature, and what to know.

A refusal cannot be overridden. A limit (light, ultraviolet, turns) is passed when the people it
names have signed for at least the amount that is planned.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from django.db.models import Q

from imaging_requests.campaigns.light import light_books, ultraviolet_used
from imaging_requests.campaigns.minutes import Piece, Studio, studio_for, total_minutes
from imaging_requests.campaigns.models import (
    Booking,
    Resource,
    Session,
    SessionSignature,
    ShotLine,
    ShotLineState,
)
from imaging_requests.campaigns.rules import count_turns
from imaging_requests.campaigns.words import (
    day_words,
    duration_words,
    line_words,
    local_day,
    minutes_words,
    time_words,
)
from imaging_requests.collection.models import Unavailability
from imaging_requests.people.models import Role
from imaging_requests.reckoning.shots.words import FACE_NAMES
from imaging_requests.requesting.models import Anchor
from imaging_requests.requesting.words import Numbers, numbers_of


class CheckCode(StrEnum):
    """What was checked."""

    LINES = "lines"
    PHOTOGRAPHER = "photographer"
    BOOKED = "booked"
    AWAY = "away"
    STATION = "station"
    PEOPLE = "people"
    LIGHT = "light"
    ULTRAVIOLET = "ultraviolet"
    TURNS = "turns"
    LENGTH = "length"
    DUE = "due"
    UNWANTED = "unwanted"


@dataclass(frozen=True, kw_only=True)
class Finding:
    """One thing that stands against a session, in words.

    `signed_as` are the roles that must sign; `lacking` those that have not yet. Without roles a
    finding either refuses (`is_refusal`) or only tells.
    """

    code: CheckCode
    sentence: str
    is_refusal: bool = False
    object_id: int | None = None
    face: str = ""
    amount: float = 0
    signed_as: tuple[str, ...] = ()
    lacking: tuple[str, ...] = ()
    signatures: tuple[SessionSignature, ...] = ()

    @property
    def stands_against(self) -> bool:
        """Whether the session cannot be confirmed as it is."""
        return self.is_refusal or bool(self.lacking)


def check_session(session: Session, *, now: datetime) -> list[Finding]:
    """Everything that stands against a session or should be known, gravest first."""
    lines = list(
        session.shot_lines.select_related("object")
        .prefetch_related("owed_views__treatment")
        .order_by("position")
    )
    ids = [line.object_id for line in lines]
    numbers, studio = numbers_of(ids), studio_for(ids, now)
    findings = [
        *_people_and_lines(session, lines),
        *_booked(session),
        *_away(session, lines, numbers),
        *_station(session, lines, numbers),
        *_people(session, lines, studio, numbers),
        *_limits(session, lines, studio, numbers),
        *_length(session, lines, studio),
        *_due(session, lines, numbers),
        *_unwanted(lines, numbers),
    ]
    signed = list(session.signatures.select_related("signed_by"))
    found = [_with_signatures(finding, signed) for finding in findings]
    return sorted(found, key=lambda each: (not each.is_refusal, not each.stands_against))


def _people_and_lines(session: Session, lines: Sequence[ShotLine]) -> Iterator[Finding]:
    if not lines:
        yield Finding(
            code=CheckCode.LINES, sentence="The session has no line yet.", is_refusal=True
        )
    if not session.photographer.is_active:
        yield Finding(
            code=CheckCode.PHOTOGRAPHER,
            sentence=f"{session.photographer}'s account is closed: name another photographer.",
            is_refusal=True,
        )


def overlapping(session: Session, resources: Iterable[Resource]) -> list[Booking]:
    """Bookings of other sessions that take one of the resources at the same time."""
    return list(
        Booking.objects.filter(
            resource__in=resources,
            released_at=None,
            starts_at__lt=session.ends_at,
            ends_at__gt=session.starts_at,
        )
        .exclude(session=session.pk)
        .select_related("resource__object", "session__station")
        .order_by("starts_at")
    )


def booking_sentence(booking: Booking) -> str:
    """Which resource is taken, when and by what."""
    return (
        f"{booking.resource.name} is booked {time_words(booking.starts_at, booking.ends_at)} on "
        f"{day_words(local_day(booking.starts_at))} by a session at the "
        f"{booking.session.station}."
    )


def _booked(session: Session) -> Iterator[Finding]:
    own = Resource.objects.filter(bookings__session=session, bookings__released_at=None)
    for booking in overlapping(session, own):
        yield Finding(code=CheckCode.BOOKED, sentence=booking_sentence(booking), is_refusal=True)


def absences(session: Session, object_ids: Iterable[int]) -> list[Unavailability]:
    """Stretches of unavailability of some objects that touch the session."""
    return list(
        Unavailability.objects.filter(
            object_id__in=set(object_ids), withdrawn_at=None, since__lt=session.ends_at
        )
        .filter(Q(until=None) | Q(until__gt=session.starts_at))
        .order_by("since")
    )


def absence_sentence(away: Unavailability, number: str) -> str:
    """Why and until when an object cannot be had."""
    until = f" until {day_words(local_day(away.until))}" if away.until else ""
    note = f" ({away.note})" if away.note else ""
    return f"{number} cannot be had: {away.get_reason_display().lower()}{until}{note}."


def _away(session: Session, lines: Sequence[ShotLine], numbers: Numbers) -> Iterator[Finding]:
    techniques: dict[int, set[str]] = defaultdict(set)
    for line in lines:
        techniques[line.object_id].add(line.technique)
    for away in absences(session, techniques):
        concerned = not away.techniques or techniques[away.object_id] & set(away.techniques)
        if concerned:
            yield Finding(
                code=CheckCode.AWAY,
                sentence=absence_sentence(away, numbers[away.object_id])
                if away.blocks_capture
                else f"{numbers[away.object_id]}: {away.get_reason_display().lower()}"
                f"{f' ({away.note})' if away.note else ''}.",
                is_refusal=away.blocks_capture,
                object_id=away.object_id,
            )


def _station(session: Session, lines: Sequence[ShotLine], numbers: Numbers) -> Iterator[Finding]:
    known = set(session.station.techniques)
    for line in lines:
        if known and line.technique not in known:
            yield Finding(
                code=CheckCode.STATION,
                sentence=f"{line_words(line)} ({numbers[line.object_id]}) is not made at the "
                f"{session.station}.",
                is_refusal=True,
                object_id=line.object_id,
            )


def _faces(lines: Sequence[ShotLine]) -> dict[int, list[str]]:
    faces: dict[int, list[str]] = defaultdict(list)
    for line in lines:
        faces[line.object_id].append(line.face)
    return faces


def _people(
    session: Session, lines: Sequence[ShotLine], studio: Studio, numbers: Numbers
) -> Iterator[Finding]:
    """Turns and X-rays need more than one pair of hands; the count is who is named."""
    named = (
        Booking.objects.filter(
            session=session, released_at=None, resource__kind=Resource.Kind.PERSON
        ).count()
        + session.handlers
    )
    for object_id, faces in _faces(lines).items():
        needed = max(
            studio.handling(object_id, session.station.code).people if count_turns(faces) else 1,
            *(line.people for line in lines if line.object_id == object_id),
        )
        if needed > named:
            yield Finding(
                code=CheckCode.PEOPLE,
                sentence=f"{numbers[object_id]} needs {needed} people for "
                f"{'turning' if count_turns(faces) else 'this technique'}; {named} "
                f"{'is' if named == 1 else 'are'} named. Add helpers or art handlers.",
                is_refusal=True,
                object_id=object_id,
            )


def _limits(
    session: Session, lines: Sequence[ShotLine], studio: Studio, numbers: Numbers
) -> Iterator[Finding]:
    yield from _light(session, lines, studio, numbers)
    yield from _ultraviolet(session, lines, studio, numbers)
    for object_id, faces in _faces(lines).items():
        turns = count_turns(faces)
        if turns > 1:
            yield Finding(
                code=CheckCode.TURNS,
                sentence=f"{numbers[object_id]} would be turned {turns} times in one visit; "
                "once is the house's rule.",
                object_id=object_id,
                amount=turns,
                signed_as=(Role.LEAD, Role.CONSERVATOR),
            )


def _light(
    session: Session, lines: Sequence[ShotLine], studio: Studio, numbers: Numbers
) -> Iterator[Finding]:
    for book in light_books(session, lines, studio):
        if book.share is not None and book.total > book.share:
            yield Finding(
                code=CheckCode.LIGHT,
                sentence=f"Light book of {numbers[book.object_id]}: {book.used:,.0f} lx·h used "
                f"this year, {book.elsewhere:,.0f} planned in other sessions and "
                f"{book.planned:,.0f} here, together {book.total:,.0f} of the studio's yearly "
                f"{book.share:,.0f}.",
                object_id=book.object_id,
                amount=round(book.total, 1),
                signed_as=(Role.CONSERVATOR,),
            )


def _ultraviolet(
    session: Session, lines: Sequence[ShotLine], studio: Studio, numbers: Numbers
) -> Iterator[Finding]:
    planned: dict[tuple[int, str], float] = defaultdict(float)
    for line in lines:
        if line.uv_minutes and line.state != ShotLineState.NOT_DONE:
            planned[line.object_id, line.face] += line.uv_minutes
    if not planned or studio.settings is None:
        return
    used = ultraviolet_used(session, planned)
    for (object_id, face), minutes in planned.items():
        facts = studio.facts.get(object_id)
        cap = facts.uv_cap_min if facts is not None else None
        limit = studio.settings.number("uv.cap_min") if cap is None else cap
        total = minutes + used.get((object_id, face), 0)
        if total > limit:
            yield Finding(
                code=CheckCode.ULTRAVIOLET,
                sentence=f"Ultraviolet on the {FACE_NAMES.get(face, face)} of "
                f"{numbers[object_id]}: {total:.3g} min in its present state, more than the cap "
                f"of {limit:.3g} min.",
                object_id=object_id,
                face=face,
                amount=round(total, 2),
                signed_as=(Role.CONSERVATOR,),
            )


def pieces_of(lines: Iterable[ShotLine]) -> list[Piece]:
    """Lines as what they contribute to a session's minutes."""
    return [Piece(object_id=line.object_id, face=line.face, minutes=line.minutes) for line in lines]


def _length(session: Session, lines: Sequence[ShotLine], studio: Studio) -> Iterator[Finding]:
    if not lines:
        return
    total = total_minutes(pieces_of(lines), station_code=session.station.code, studio=studio)
    length = session.ends_at - session.starts_at
    over = total.booked - length.total_seconds() / 60
    if over > 0:
        yield Finding(
            code=CheckCode.LENGTH,
            sentence=f"The lines take {minutes_words(total.booked)} with reserve, "
            f"{minutes_words(round(over))} more than the session's {duration_words(length)}.",
            amount=over,
        )


def _due(session: Session, lines: Sequence[ShotLine], numbers: Numbers) -> Iterator[Finding]:
    day = local_day(session.starts_at)
    for line in lines:
        for view in line.owed_views.all():
            if view.due_on is None or view.anchor not in (Anchor.BT, Anchor.WIN):
                continue
            if day > view.due_on or (day == view.due_on and view.anchor == Anchor.BT):
                what = (
                    f"before {view.treatment.code} starts"
                    if view.anchor == Anchor.BT and view.treatment is not None
                    else "while the surface can be seen"
                )
                yield Finding(
                    code=CheckCode.DUE,
                    sentence=f"{line_words(line)} of {numbers[line.object_id]} is needed {what}, "
                    f"by {day_words(view.due_on)}.",
                    object_id=line.object_id,
                )


def _unwanted(lines: Sequence[ShotLine], numbers: Numbers) -> Iterator[Finding]:
    for line in lines:
        if is_unwanted(line):
            yield Finding(
                code=CheckCode.UNWANTED,
                sentence=f"Nobody asks for {line_words(line)} of {numbers[line.object_id]} any "
                "more: drop the line, or keep it and say why.",
                object_id=line.object_id,
            )


def is_unwanted(line: ShotLine) -> bool:
    """Whether every view that a waiting line was meant for has ended; its views are at hand."""
    views = list(line.owed_views.all())
    return (
        line.state == ShotLineState.PLANNED
        and not line.kept_because
        and bool(views)
        and all(view.ended_at is not None for view in views)
    )


def _with_signatures(finding: Finding, signed: Sequence[SessionSignature]) -> Finding:
    if not finding.signed_as:
        return finding
    own = tuple(
        signature
        for signature in signed
        if signature.check_code == finding.code
        and signature.object_id == finding.object_id
        and signature.face == finding.face
        and signature.amount >= finding.amount
    )
    given = {signature.as_role for signature in own}
    signers = {signature.signed_by_id for signature in own}
    lacking = tuple(role for role in finding.signed_as if role not in given)
    if not lacking and len(signers) < len(finding.signed_as):
        lacking = finding.signed_as[-1:]
    return Finding(
        code=finding.code,
        sentence=finding.sentence,
        object_id=finding.object_id,
        face=finding.face,
        amount=finding.amount,
        signed_as=finding.signed_as,
        lacking=lacking,
        signatures=own,
    )
