"""Putting accepted pictures right: whom it reaches, who was told, who confirmed, what mended it."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from django.db import transaction
from django.urls import reverse
from django.utils import timezone

from imaging_requests.collection.stale import mark_stale
from imaging_requests.deliverables import corrections, rules
from imaging_requests.deliverables.actions.records import requesters_of, spoken
from imaging_requests.deliverables.models import (
    Correction,
    CorrectionNotice,
    Deliverable,
    DeliverableState,
    Delivery,
    Review,
)
from imaging_requests.deliverables.policies import (
    CLOSE_CORRECTION,
    CONFIRM_CORRECTION,
    CORRECT_WORDS,
)
from imaging_requests.people import audit
from imaging_requests.people.actions import tell
from imaging_requests.people.errors import DomainError, IllegalStep
from imaging_requests.people.models import User
from imaging_requests.people.policies import demand
from imaging_requests.people.versions import lock_row, save_row

Kind = Correction.Kind


def open_correction(
    row: Deliverable,
    review: Review,
    *,
    actor: User,
    kind: str,
    wrong_since: datetime | None,
    meant_object_id: int | None,
    now: datetime,
) -> Correction:
    """Begin the correction of a picture that is being recalled, and tell everybody it reached.

    Stands inside the recall's transaction. Without a kind it follows from the review's reasons.
    """
    chosen = kind or (Kind.REPROCESS if review.frames_good else Kind.RESHOOT)
    since = rules.demand_wrong_since(wrong_since, captured_at=row.captured_at, now=now)
    meant = rules.demand_meant_object(chosen, meant_object_id, own=row.object_id)
    correction = Correction.objects.create(
        deliverable=row,
        kind=chosen,
        found_by=actor,
        found_at=now,
        wrong_since=since,
        why=review.note,
        meant_object_id=meant,
        reach=corrections.reach_of(row, meant),
    )
    _record("deliverables.correction_opened", correction, actor=actor, now=now, reason=review.note)
    _tell_reached(correction, row, actor=actor, now=now)
    return correction


@transaction.atomic
def correct_words(
    *,
    actor: User,
    deliverable_id: int,
    read_version: int,
    says: str,
    why: str,
    wrong_since: datetime | None = None,
    now: datetime | None = None,
) -> Correction:
    """Write down the right words beside an accepted picture, which stays as it is."""
    now = now or timezone.now()
    row = lock_row(Deliverable, deliverable_id, read_version=read_version)
    demand(actor, CORRECT_WORDS, row)
    if row.state != DeliverableState.ACCEPTED:
        raise IllegalStep(
            f"Only an accepted picture has words to correct; this one is "
            f"{row.get_state_display().lower()}.",
            code="deliverables.words_of_no_accepted_picture",
            next_step="Change it while it is building, or look at the accepted version.",
        )
    correction = Correction.objects.create(
        deliverable=row,
        kind=Kind.WORDS,
        found_by=actor,
        found_at=now,
        wrong_since=rules.demand_wrong_since(wrong_since, captured_at=row.captured_at, now=now),
        why=rules.demand_note(why),
        says=rules.demand_note(says),
        reach=corrections.reach_of(row, None),
        closed_at=now,
        closed_words="The right words stand beside the picture.",
    )
    _record("deliverables.words_corrected", correction, actor=actor, now=now, reason=why.strip())
    _tell_reached(correction, row, actor=actor, now=now)
    return correction


def mend(row: Deliverable, *, actor: User, now: datetime) -> None:
    """Close the corrections that a newly accepted picture mends; stands inside the acceptance."""
    found = corrections.waiting_for(row).select_for_update(of=("self",))
    for correction in found:
        correction.mended_by = row
        correction.closed_at = now
        correction.closed_words = f"{spoken(row)}, version {row.version}, took its place."
        save_row(correction, fields=["mended_by", "closed_at", "closed_words"])
        _record("deliverables.correction_mended", correction, actor=actor, now=now)
        people = [each.user for each in correction.notices.all() if each.user is not None]
        _tell(people, f"{correction.closed_words} The wrong one was recalled.", correction, now)


@transaction.atomic
def close_correction(
    *,
    actor: User,
    correction_id: int,
    read_version: int,
    words: str,
    now: datetime | None = None,
) -> Correction:
    """Close a correction that no picture will mend, with the reason."""
    now = now or timezone.now()
    row = lock_row(Correction, correction_id, read_version=read_version)
    demand(actor, CLOSE_CORRECTION, row)
    if row.closed_at is not None:
        raise IllegalStep(
            "This correction is closed already.",
            code="deliverables.correction_closed",
            next_step="Look at how it ended.",
        )
    row.closed_at, row.closed_words = now, rules.demand_note(words)
    save_row(row, fields=["closed_at", "closed_words"])
    _record("deliverables.correction_closed", row, actor=actor, now=now, reason=row.closed_words)
    return row


@transaction.atomic
def confirm_notice(
    *, actor: User, notice_id: int, words: str = "", now: datetime | None = None
) -> CorrectionNotice:
    """Confirm that a correction was read: for oneself, or by the lead for a recipient outside."""
    now = now or timezone.now()
    notice = (
        CorrectionNotice.objects.select_for_update(of=("self",))
        .select_related("delivery", "correction__deliverable")
        .get(pk=notice_id)
    )
    demand(actor, CONFIRM_CORRECTION, notice)
    if notice.confirmed_at is not None:
        return notice
    said = words.strip()
    if notice.user_id != actor.pk and not said:
        raise DomainError(
            "Say how the recipient confirmed it.",
            code="deliverables.confirmed_without_words",
            next_step="A word is enough: by letter, by telephone, in person, and on which day.",
        )
    notice.confirmed_at, notice.confirmed_words = now, said[:200]
    notice.save(update_fields=["confirmed_at", "confirmed_words"])
    audit.record(
        "deliverables.correction_confirmed",
        actor=actor,
        subject=notice.correction,
        object_id=notice.correction.deliverable.object_id,
        after={"notice": notice.pk},
        reason=said,
        now=now,
    )
    return notice


def _tell_reached(correction: Correction, row: Deliverable, *, actor: User, now: datetime) -> None:
    deliveries = list(corrections.deliveries_with(row))
    with_account = {each.user_id for each in deliveries if each.user_id is not None}
    inside = {
        user.pk: user
        for user in (*requesters_of(row), *corrections.writers_of(row, correction.meant_object_id))
        if user.pk != actor.pk and user.pk not in with_account
    }
    CorrectionNotice.objects.bulk_create(
        [
            *(_to_recipient(correction, each, now) for each in deliveries),
            *(
                CorrectionNotice(correction=correction, user=user, told_at=now)
                for user in inside.values()
            ),
        ]
    )
    people = [*inside.values(), *(each.user for each in deliveries if each.user is not None)]
    what = (
        f"The words about {spoken(row)} were corrected: {correction.says}"
        if correction.kind == Kind.WORDS
        else f"{spoken(row)} was wrong since {correction.wrong_since:%-d %b %Y}: {correction.why}"
    )
    _tell([user for user in people if user.pk != actor.pk], what, correction, now)


def _to_recipient(correction: Correction, delivery: Delivery, now: datetime) -> CorrectionNotice:
    return CorrectionNotice(
        correction=correction, delivery=delivery, user=delivery.user, told_at=now
    )


def _tell(people: Iterable[User], text: str, correction: Correction, now: datetime) -> None:
    tell(people, text, reverse("deliverables:correction", args=[correction.pk]), now=now)


def _record(
    code: str, correction: Correction, *, actor: User, now: datetime, reason: str = ""
) -> None:
    touched = (correction.deliverable.object_id, correction.meant_object_id)
    audit.record(
        code,
        actor=actor,
        subject=correction,
        object_id=correction.deliverable.object_id,
        after={"kind": correction.kind, "reach": correction.reach},
        reason=reason,
        now=now,
    )
    mark_stale({pk for pk in touched if pk is not None}, code)
