"""Write down the pictures of an object: versions, reviews, its package, questions about them."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from uuid import UUID

from imaging_requests.deliverables.models import DeliverableKind, DeliverableState
from imaging_requests.demo.large import rows as tables
from imaging_requests.demo.large.evidence import Made, pictures_of
from imaging_requests.demo.large.ground import Ground
from imaging_requests.demo.large.rows import Rows
from imaging_requests.demo.large.subjects import Subject
from imaging_requests.demo.large.things import number_of
from imaging_requests.reckoning.truth import facts as truth
from imaging_requests.reckoning.truth.decisions import Case, cases
from imaging_requests.reckoning.truth.moment import Moment
from imaging_requests.reckoning.truth.terms import Validity, face_of
from imaging_requests.treatments.models import DecisionCase, TreatmentState

#: Share of the newest treatments whose questions are still open.
STILL_OPEN = 0.15
STATES = {
    "captured": DeliverableState.BUILDING,
    "to_review": DeliverableState.TO_REVIEW,
    "sent_back": DeliverableState.SENT_BACK,
    "recalled": DeliverableState.RECALLED,
    "accepted": DeliverableState.ACCEPTED,
    "filed": DeliverableState.ACCEPTED,
}
NOTES = {
    "sent_back": "The barrier filter is missing.",
    "recalled": "Two plates are joined in the wrong order.",
}


def show(subject: Subject, made: list[Made], rows: Rows, ground: Ground) -> None:
    """Write versions with their reviews, and file what is filed in a package of the object."""
    photographer = ground.photographers[subject.pk % len(ground.photographers)]
    subject.made = made
    subject.note("pictures", *pictures_of(made, photographer))
    filed: list[tuple[int, Made]] = []
    for each in made:
        pk = rows.key(tables.PICTURES)
        _picture_row(subject, each, pk, rows, photographer)
        _review_row(subject, each, pk, rows, ground)
        if each.fate == "filed":
            filed.append((pk, each))
    if filed:
        _file(subject, filed, rows, ground)


def _picture_row(subject: Subject, made: Made, pk: int, rows: Rows, photographer: int) -> None:
    want = made.want
    rows.add(
        tables.PICTURES,
        pk,
        made.chain,
        made.version,
        subject.pk,
        want.face,
        want.surface,
        want.technique,
        want.variant,
        _kind(made),
        str(STATES[made.fate]),
        made.at,
        want.making.px_per_mm,
        True,
        "positive" if want.technique == "XR" else "",
        photographer,
        made.recorded_at,
        made.handed_in_at,
    )


def _kind(made: Made) -> str:
    spec = made.want.making.spec
    is_joined = (spec["tile_count"] or 1) > 1
    is_bracket = len(spec["exposures_ev"]) > 1
    if is_joined:
        return str(DeliverableKind.BRACKET_MOSAIC if is_bracket else DeliverableKind.MOSAIC)
    return str(DeliverableKind.BRACKET if is_bracket else DeliverableKind.SINGLE)


def _review_row(subject: Subject, made: Made, pk: int, rows: Rows, ground: Ground) -> None:
    verdict, at = made.verdict, made.reviewed_at
    if at is None or verdict is None:
        return
    key = rows.key(tables.REVIEWS)
    rows.add(tables.REVIEWS, key, pk, str(verdict), ground.lead, NOTES.get(made.fate, ""), at)
    subject.note(
        "reviews",
        truth.Review(
            key=f"r-{key}",
            recorded_at=at,
            chain=made.chain_key,
            version=made.version,
            verdict=verdict,
            at=at,
            by=str(ground.lead),
        ),
    )


def _file(subject: Subject, filed: list[tuple[int, Made]], rows: Rows, ground: Ground) -> None:
    sealed_at = max(made.at for _, made in filed) + timedelta(hours=60)
    package = rows.key(tables.PACKAGES)
    rows.add(
        tables.PACKAGES,
        package,
        f"LP-{subject.pk}",
        f"Pictures of {number_of(subject.pk)}",
        subject.entries[0].pk if subject.entries else None,
        ground.lead,
        sealed_at,
    )
    for pk, made in filed:
        rows.add(tables.ITEMS, rows.key(tables.ITEMS), package, pk)
        subject.note(
            "filings",
            truth.Filing(
                key=f"p-{pk}-0",
                recorded_at=sealed_at,
                chain=made.chain_key,
                version=made.version,
                starts_at=sealed_at,
            ),
        )


def decide(
    subject: Subject, moment: Moment, rows: Rows, *, now: datetime, reason: Callable[[Case], str]
) -> None:
    """Write the questions that treatments raised, and the answers to nearly all of them."""
    conservators = {
        f"i-{step.pk}": course.treatment.conservator_id
        for course in subject.courses
        for step in course.steps
    }
    newest = str(subject.courses[-1].treatment.pk) if subject.courses else None
    chains = {made.chain_key: made.chain for made in subject.made}
    leaves_open = subject.dice.random() < STILL_OPEN
    gone: set[str] = set()
    for case in cases(moment):
        if case.chain in gone:
            continue
        is_open = leaves_open and case.event.treatment == newest
        if not is_open and case.proposal is Validity.OUT_OF_DATE:
            gone.add(case.chain)
        _case_rows(
            subject,
            case,
            rows,
            chain=chains[case.chain],
            now=now,
            by=conservators[case.event.key],
            is_open=is_open,
            reason=reason(case),
        )
        if is_open:
            treatment = subject.courses[-1].treatment
            treatment.state, treatment.signed_off_at = TreatmentState.FINISHED, None


def _case_rows(
    subject: Subject,
    case: Case,
    rows: Rows,
    *,
    chain: UUID,
    now: datetime,
    by: int,
    is_open: bool,
    reason: str,
) -> None:
    assert case.event.ended_at is not None
    opened_at = min(case.event.ended_at + timedelta(hours=1), now)
    decided_at = min(opened_at + timedelta(days=2), now)
    pk = rows.key(tables.CASES)
    rows.add(
        tables.CASES,
        pk,
        subject.pk,
        int(case.event.key.removeprefix("i-")),
        chain,
        case.picture.technique,
        face_of(case.picture.surface),
        case.picture.variant,
        str(case.proposal),
        reason,
        by,
        str(DecisionCase.State.OPEN if is_open else DecisionCase.State.CLOSED),
        opened_at,
    )
    subject.note(
        "decisions",
        truth.Decision(
            key=f"c-{pk}",
            recorded_at=opened_at,
            chain=case.chain,
            event=case.event.key,
            opened_at=opened_at,
        ),
    )
    if is_open:
        return
    said = "Compared side by side under the same light."
    verdict = rows.key(tables.VERDICTS)
    rows.add(tables.VERDICTS, verdict, pk, str(case.proposal), said, by, decided_at)
    subject.note(
        "decisions",
        truth.Decision(
            key=f"c-{pk}-{verdict}",
            recorded_at=decided_at,
            chain=case.chain,
            event=case.event.key,
            opened_at=opened_at,
            verdict=case.proposal,
            decided_at=decided_at,
            by=str(by),
            reason=said,
        ),
    )
