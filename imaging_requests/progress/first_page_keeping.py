"""Answers of the system keeper's first page: what the program could not do, and what lies about."""

from __future__ import annotations

from datetime import datetime

from django.db.models import Count
from django.urls import reverse

from imaging_requests.intake import queries as intake
from imaging_requests.intake import store
from imaging_requests.intake.limits import background
from imaging_requests.intake.models import Arrival, ArrivalState, Frame, FrameState, Job
from imaging_requests.intake.pages_receipt import PLACE_WORDS
from imaging_requests.intake.pages_store import bad_masters, overdue_copies
from imaging_requests.people.models import User
from imaging_requests.progress.answers import ROWS, Row, Section, count, day

#: What each kind of background work does, as people say it.
WORK_WORDS = {
    "receive": "Receiving a file",
    "derive": "Making the small pictures of a frame",
    "sort": "Finding the places of a drop's frames",
    "assemble": "Putting a picture together",
    "join": "Joining tiles",
    "measure": "Measuring a picture",
    "register": "Laying a picture on its face",
    "compare": "Mapping what changed",
}


def failed_jobs(user: User, now: datetime) -> Section:
    """Background work that was given up: why, where it belongs, and a button to try again."""
    failed = intake.failed_jobs()
    total = failed.count()
    first = list(failed[:ROWS])
    drops = intake.drops_of_jobs(first)
    return Section(
        answer=f"{count(total, 'background job')} failed for good",
        rows=[_failed(job, drops.get(job.pk)) for job in first],
        empty="All background work is done or under way.",
        is_pressing=bool(first),
    )


def _failed(job: Job, drop_id: int | None) -> Row:
    return Row(
        text=WORK_WORDS.get(job.kind, job.kind),
        href=reverse("intake:drop", args=[drop_id]) if drop_id else "",
        note=f"{job.last_error} Since {day(job.ended_at)}.",
        again=reverse("intake:job_again", args=[job.pk]),
    )


def waiting_drops(user: User, now: datetime) -> Section:
    """Where frames wait for a place; the studio places them, the keeper sees that they wait."""
    waiting = (
        Frame.objects.filter(state=FrameState.WAITING, arrivals__drop__isnull=False)
        .values("arrivals__drop", "arrivals__drop__number")
        .annotate(frames=Count("pk", distinct=True))
        .order_by("-arrivals__drop")
    )
    total = Frame.objects.filter(state=FrameState.WAITING).count()
    return Section(
        answer=f"{count(total, 'file')} {'waits' if total <= 1 else 'wait'} for a place",
        rows=[
            Row(
                text=f"Drop {row['arrivals__drop__number']}",
                href=reverse("intake:drop", args=[row["arrivals__drop"]]),
                note=f"{count(row['frames'], 'frame')}; photographers and the imaging lead place "
                "them on the sorting table",
            )
            for row in waiting[:ROWS]
        ],
        empty="The sorting table is empty.",
        more_label="All drops",
        more_href=reverse("intake:drops"),
    )


def missing_places(user: User, now: datetime) -> Section:
    """Places of masters that cannot be used now: what is wrong with each, and what waits."""
    troubles = store.troubles()
    waiting = Arrival.objects.filter(state=ArrivalState.RECEIVED).count() if troubles else 0
    waits = f" {count(waiting, 'file')} {'waits' if waiting == 1 else 'wait'} in quarantine."
    return Section(
        answer=f"The {' and the '.join(troubles)} cannot be reached",
        rows=[
            Row(
                text=PLACE_WORDS.get(name, name),
                href=reverse("intake:store"),
                note=f"{trouble}{waits if waiting else ''}",
            )
            for name, trouble in troubles.items()
        ],
        more_label="The store",
        more_href=reverse("intake:store"),
        is_pressing=True,
        is_headline=bool(troubles),
        is_hidden=not troubles,
    )


def lost_masters(user: User, now: datetime) -> Section:
    """Masters of which a copy does not match: the lost ones first, each with what heals it."""
    lost, short = bad_masters()
    bad = [*lost, *short]
    if lost:
        verb = "is" if len(lost) == 1 else "are"
        answer = f"{count(len(lost), 'master')} {verb} lost: no copy matches"
    else:
        verb = "has" if len(short) == 1 else "have"
        answer = f"{count(len(short), 'master')} {verb} one good copy only"
    return Section(
        answer=answer,
        rows=[
            Row(
                text=each.name,
                href=each.href,
                note="bring the same file again from the card or from another backup; it heals both"
                if each in lost
                else "the next check of the store restores the other copy from it",
            )
            for each in bad[:ROWS]
        ],
        more_label="The store",
        more_href=reverse("intake:store"),
        is_pressing=True,
        is_headline=bool(lost),
        is_hidden=not bad,
    )


def kept_refused(user: User, now: datetime) -> Section:
    """Refused files whose bytes are still kept; only the keeper removes them."""
    kept = (
        Arrival.objects.filter(state=ArrivalState.REFUSED, refused_kept=True)
        .values("drop", "drop__number")
        .annotate(files=Count("pk"))
        .order_by("-drop")
    )
    total = Arrival.objects.filter(state=ArrivalState.REFUSED, refused_kept=True).count()
    return Section(
        answer=f"The bytes of {count(total, 'refused file')} are kept"
        if total
        else "No refused file takes up room",
        rows=[
            Row(
                text=f"Drop {row['drop__number']}",
                href=reverse("intake:drop", args=[row["drop"]]),
                note=count(row["files"], "refused file"),
            )
            for row in kept[:ROWS]
        ],
        empty="Refused files whose bytes are kept will be here, to be removed.",
    )


def overdue_proofs(user: User, now: datetime) -> Section:
    """Stored copies that were not read again in time; the page of the store says where."""
    overdue, copies = overdue_copies(now)
    every_days = background().proof_every_days
    verb = "are" if overdue > 1 else "is"
    rows = [
        Row(
            text=f"{overdue:,} of {count(copies, 'copy', 'copies')}",
            href=reverse("intake:store"),
            note=f"each is to be read again every {every_days:g} days; if the number does not "
            "fall, the workers stood still or the store is larger than they can read in time",
        )
    ]
    return Section(
        answer=f"{count(overdue, 'stored copy', 'stored copies')} {verb} overdue to be read again",
        rows=rows if overdue else [],
        empty="Every stored copy was read again in time.",
        more_label="The store",
        more_href=reverse("intake:store"),
    )


def accounts(user: User, now: datetime) -> Section:
    """Who can sign in, and who of them has no role yet."""
    people = User.objects.filter(is_active=True)
    without = list(
        people.exclude(role_holdings__held_until=None, role_holdings__isnull=False).order_by(
            "name"
        )[:ROWS]
    )
    return Section(
        answer=f"{count(people.count(), 'person', 'people')} can sign in",
        rows=[
            Row(
                text=person.name,
                href=reverse("people:account", args=[person.pk]),
                note="has no role yet",
            )
            for person in without
        ],
        empty="Everybody who can sign in has a role.",
        more_label="All accounts",
        more_href=reverse("people:accounts"),
    )
