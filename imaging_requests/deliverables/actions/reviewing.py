"""Accepting, sending back and recalling pictures; allowing somebody to work alone."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from django.db import transaction
from django.utils import timezone

from imaging_requests.collection.models import CollectionObject
from imaging_requests.deliverables import queries, rules
from imaging_requests.deliverables.actions.correcting import mend, open_correction
from imaging_requests.deliverables.actions.records import (
    record,
    requesters_of,
    spoken,
    tell_about,
)
from imaging_requests.deliverables.models import Deliverable, LoneWorker, Review
from imaging_requests.deliverables.owed import owed_by
from imaging_requests.deliverables.policies import (
    ALLOW_LONE_WORK,
    OVERRIDE_CHECK,
    RECALL,
    REVIEW,
)
from imaging_requests.deliverables.rules import Act
from imaging_requests.intake.words import listed
from imaging_requests.people import audit
from imaging_requests.people.actions import tell
from imaging_requests.people.errors import DomainError, NotAllowed
from imaging_requests.people.models import User
from imaging_requests.people.policies import demand, why_not
from imaging_requests.people.versions import lock_row, save_row


def _locked(deliverable_id: int, read_version: int) -> Deliverable:
    """Lock the object, then the picture: the order in which treatments lock as well."""
    object_id = Deliverable.objects.values_list("object_id", flat=True).get(pk=deliverable_id)
    CollectionObject.objects.select_for_update().get(pk=object_id)
    return lock_row(Deliverable, deliverable_id, read_version=read_version)


@transaction.atomic
def accept(
    *,
    actor: User,
    deliverable_id: int,
    read_version: int,
    note: str = "",
    override_reason: str = "",
    is_history: bool = False,
    now: datetime | None = None,
) -> Review:
    """Accept a picture: complete, looked at, without an open fail, and reviewed by another.

    What the program has still to look at follows from the picture (see `owed`); what it gave up
    counts as failed, which the lead may override. A review that was held long ago and is entered
    later (`is_history`) waits for nothing.

    A failed check is overridden by the lead with a reason. A picture that was captured after a
    treatment began is accepted for what it shows, but no longer for the state before.
    """
    now = now or timezone.now()
    row = _locked(deliverable_id, read_version)
    demand(actor, REVIEW, row)
    before = row.state
    row.state = rules.next_state(row.state, Act.ACCEPT)
    rules.demand_complete(row.missing, is_complete=row.is_complete)
    rules.demand_polarity(row.technique, row.polarity)
    rules.demand_measured(queries.unread_frames(row))
    owed = [] if is_history else owed_by(row)
    rules.demand_nothing_owed([each.words for each in owed if not each.failed_because])
    override = rules.demand_no_fail(
        [*queries.failures(row), *(each.failed_because for each in owed)],
        override_reason=override_reason,
        override_not_because=why_not(actor, OVERRIDE_CHECK, row),
    )
    is_lone = _demand_other_reviewer(row, actor, now)
    too_late = _release_from_before(row)
    save_row(row, fields=["state"])
    review = Review.objects.create(
        deliverable=row,
        verdict=Review.Verdict.ACCEPTED,
        by=actor,
        note=note.strip(),
        override_reason=override,
        is_lone_worker=is_lone,
        recorded_at=now,
    )
    record(
        "deliverables.accepted",
        row,
        actor=actor,
        before=before,
        after={"override": bool(override), "is_lone_worker": is_lone, "not_for": too_late},
        reason=override,
        now=now,
    )
    _tell_accepted(row, too_late, actor=actor, now=now)
    mend(row, actor=actor, now=now)
    return review


def _demand_other_reviewer(row: Deliverable, actor: User, now: datetime) -> bool:
    if actor.pk != row.photographer_id:
        return False
    numbers = queries.numbers(now)
    lone, total = queries.reviews_of_month(now)
    return rules.demand_other_reviewer(
        reviewer_id=actor.pk,
        photographer_id=row.photographer_id,
        is_alone=LoneWorker.objects.filter(person=actor, since__lte=now, until__gt=now).exists(),
        lone=lone,
        total=total,
        share=numbers.lone_worker_share,
    )


def _release_from_before(row: Deliverable) -> list[str]:
    """Free views "before treatment" that this picture comes too late for; name them."""
    late = queries.views_too_late_for(row)
    if late and row.shot_line is not None:
        row.shot_line.owed_views.remove(*late)
    return [queries.as_of(view) for view in late]


def _tell_accepted(
    row: Deliverable, too_late: Sequence[str], *, actor: User, now: datetime
) -> None:
    said = spoken(row)
    tail = f", but not as {listed(too_late, 'or')}: it came too late" if too_late else ""
    tell_about(row, [row.photographer], f"{said} is accepted{tail}.", actor=actor, now=now)
    asked = [user for user in requesters_of(row) if user.pk != row.photographer_id]
    tell_about(row, asked, f"{said}, which you asked for, is accepted.", actor=actor, now=now)


@transaction.atomic
def send_back(
    *,
    actor: User,
    deliverable_id: int,
    read_version: int,
    reasons: Sequence[str],
    note: str,
    now: datetime | None = None,
) -> Review:
    """Send a picture back with reasons from the list and words for the photographer."""
    now = now or timezone.now()
    row = _locked(deliverable_id, read_version)
    demand(actor, REVIEW, row)
    before = row.state
    row.state = rules.next_state(row.state, Act.SEND_BACK)
    if actor.pk == row.photographer_id:
        raise NotAllowed(
            "You made this picture yourself.",
            code="deliverables.own_picture",
            next_step="Take it back instead; nobody has decided about it yet.",
        )
    return _refuse(
        row,
        Review.Verdict.SENT_BACK,
        "deliverables.sent_back",
        actor=actor,
        before=before,
        reasons=reasons,
        note=note,
        now=now,
    )


@transaction.atomic
def recall(
    *,
    actor: User,
    deliverable_id: int,
    read_version: int,
    reasons: Sequence[str],
    note: str,
    kind: str = "",
    wrong_since: datetime | None = None,
    meant_object_id: int | None = None,
    now: datetime | None = None,
) -> Review:
    """Recall an accepted picture; an acceptance is never undone in another way.

    A correction is opened for it, every package that holds it is written down, and everybody whom
    it reached is told: requesters, curators, makers and recipients of packages.
    """
    now = now or timezone.now()
    row = _locked(deliverable_id, read_version)
    demand(actor, RECALL, row)
    before = row.state
    row.state = rules.next_state(row.state, Act.RECALL)
    review = _refuse(
        row,
        Review.Verdict.RECALLED,
        "deliverables.recalled",
        actor=actor,
        before=before,
        reasons=reasons,
        note=note,
        now=now,
    )
    for package in queries.packages_with(row):
        audit.record(
            "deliverables.package_holds_recalled",
            actor=actor,
            subject=package,
            object_id=row.object_id,
            after={"deliverable": row.pk, "number": package.number},
            reason=review.note,
            now=now,
        )
        text = f"{spoken(row)} in package {package.number} was recalled: {review.note}"
        tell([package.made_by], text, queries.package_address(package), now=now)
    open_correction(
        row,
        review,
        actor=actor,
        kind=kind,
        wrong_since=wrong_since,
        meant_object_id=meant_object_id,
        now=now,
    )
    return review


def _refuse(
    row: Deliverable,
    verdict: str,
    code: str,
    *,
    actor: User,
    before: str,
    reasons: Sequence[str],
    note: str,
    now: datetime,
) -> Review:
    chosen = rules.chosen_reasons(reasons, queries.numbers(now).reasons)
    words = rules.demand_note(note)
    save_row(row, fields=["state"])
    review = Review.objects.create(
        deliverable=row,
        verdict=verdict,
        by=actor,
        reasons=[reason.code for reason in chosen],
        frames_good=all(reason.frames_good for reason in chosen),
        note=words,
        recorded_at=now,
    )
    record(
        code,
        row,
        actor=actor,
        before=before,
        after={"reasons": review.reasons, "frames_good": review.frames_good},
        reason=words,
        now=now,
    )
    _tell_refused(row, review, chosen, actor=actor, now=now)
    return review


def _tell_refused(
    row: Deliverable,
    review: Review,
    chosen: Sequence[rules.Reason],
    *,
    actor: User,
    now: datetime,
) -> None:
    said = spoken(row)
    why = ", ".join(reason.words for reason in chosen)
    what = "sent back" if review.verdict == Review.Verdict.SENT_BACK else "recalled"
    again = "Desk work can mend it." if review.frames_good else "It has to be shot again."
    until = queries.leaves_at(row, now)
    text = f"{said} was {what}: {why}. {review.note} {again}{until}"
    tell_about(row, [row.photographer], text, actor=actor, now=now, page="deliverables:review")


@transaction.atomic
def allow_lone_work(
    *,
    actor: User,
    person_id: int,
    since: datetime,
    until: datetime,
    reason: str,
    now: datetime | None = None,
) -> LoneWorker:
    """Allow somebody who works alone to review own pictures for a stretch of time."""
    now = now or timezone.now()
    person = User.objects.get(pk=person_id)
    demand(actor, ALLOW_LONE_WORK, person)
    if person.pk == actor.pk:
        raise NotAllowed(
            "Nobody allows it to oneself.",
            code="deliverables.lone_by_oneself",
            next_step="Ask the imaging lead or the department head.",
        )
    if until <= since:
        raise DomainError(
            "The end does not come after the beginning.",
            code="deliverables.lone_order",
            next_step="Check both times.",
        )
    words = rules.demand_note(reason)
    stretch = LoneWorker.objects.create(
        person=person, since=since, until=until, allowed_by=actor, reason=words, recorded_at=now
    )
    audit.record(
        "deliverables.lone_work_allowed",
        actor=actor,
        subject=stretch,
        after={"person": person.pk, "since": since, "until": until},
        reason=words,
        now=now,
    )
    tell([person], f"{actor.name} allows you to review own pictures: {words}", now=now)
    return stretch
