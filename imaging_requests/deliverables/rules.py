"""Pure decisions about pictures and packages: life cycle, review, lone work, versions, filing."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from enum import StrEnum

from imaging_requests.deliverables.models import DeliverableState, Polarity
from imaging_requests.people.errors import DomainError, IllegalStep, NotAllowed
from imaging_requests.reckoning.shots.settings import StudioSettings

S = DeliverableState


class Act(StrEnum):
    """What can be done to a version of a picture."""

    ASSEMBLE = "put together"
    HAND_IN = "hand in"
    TAKE_BACK = "take back"
    ACCEPT = "accept"
    SEND_BACK = "send back"
    RECALL = "recall"


#: (state, act) → state afterwards; a pair that is not here is refused.
STEPS: Mapping[tuple[str, Act], str] = {
    (S.BUILDING, Act.ASSEMBLE): S.BUILDING,
    (S.BUILDING, Act.HAND_IN): S.TO_REVIEW,
    (S.TO_REVIEW, Act.TAKE_BACK): S.BUILDING,
    (S.TO_REVIEW, Act.ACCEPT): S.ACCEPTED,
    (S.TO_REVIEW, Act.SEND_BACK): S.SENT_BACK,
    (S.ACCEPTED, Act.RECALL): S.RECALLED,
}

_INSTEAD: Mapping[tuple[str, Act], str] = {
    (S.BUILDING, Act.ACCEPT): "The photographer hands it in first.",
    (S.BUILDING, Act.SEND_BACK): "The photographer hands it in first.",
    (S.ACCEPTED, Act.SEND_BACK): "Recall it: an acceptance is never undone, only recalled.",
    (S.ACCEPTED, Act.ACCEPT): "It needs no second acceptance.",
    (S.SENT_BACK, Act.ACCEPT): "The photographer can hand the same frames in again.",
    (S.SENT_BACK, Act.HAND_IN): "Start the next version first.",
    (S.RECALLED, Act.HAND_IN): "Start the next version first.",
}


def next_state(state: str, act: Act) -> str:
    """Return the state after `act`, or refuse with the reason."""
    try:
        return STEPS[state, act]
    except KeyError:
        label = DeliverableState(state).label.lower()
        raise IllegalStep(
            f"You cannot {act.value} this picture: it is {label}.",
            code=f"deliverables.no_{act.name.lower()}_when_{state}",
            next_step=_INSTEAD.get((state, act), ""),
        ) from None


@dataclass(frozen=True, slots=True)
class Reason:
    """Why a picture comes back. `frames_good`: desk work on the same frames can mend it."""

    code: str
    words: str
    frames_good: bool


@dataclass(frozen=True, slots=True)
class ReviewNumbers:
    """What the studio's settings say about reviews and filing."""

    reasons: Mapping[str, Reason]
    late_after_working_days: float
    lone_worker_share: float
    proven_copies: int


def review_numbers(settings: StudioSettings) -> ReviewNumbers:
    """Read the numbers of reviews and filing from the studio's settings."""
    reasons = [
        Reason(str(row["code"]), str(row["words"]), bool(row["frames_good"]))
        for row in settings.values.raw("review.reasons")
    ]
    return ReviewNumbers(
        reasons={reason.code: reason for reason in reasons},
        late_after_working_days=settings.number("review.late_after_working_days"),
        lone_worker_share=settings.number("review.lone_worker_share_fraction"),
        proven_copies=int(settings.number("filing.proven_copies")),
    )


def demand_complete(missing: Sequence[str], *, is_complete: bool) -> None:
    """Refuse a picture that lacks a frame, with what it lacks."""
    if not is_complete:
        lacking = " ".join(missing) or "It has no frame yet."
        raise DomainError(
            f"The picture is not complete. {lacking}",
            code="deliverables.incomplete",
            next_step="Shoot or place what is missing.",
            data={"missing": list(missing)},
        )


def demand_reason_for_same_frames(*, is_same: bool) -> None:
    """Refuse to begin anew in silence from frames that were to be shot again."""
    if is_same:
        raise DomainError(
            "This picture has to be shot again, and its frames are still the same.",
            code="deliverables.same_frames",
            next_step="Shoot it again, or say why the same frames are good after all; the next "
            "reviewer reads it.",
        )


def demand_polarity(technique: str, polarity: str) -> None:
    """Refuse an X-ray whose polarity nobody has stated."""
    if technique == "XR" and polarity not in (Polarity.POSITIVE, Polarity.NEGATIVE):
        raise DomainError(
            "Nobody has stated the polarity of this X-ray, so light and dark cannot be read.",
            code="deliverables.polarity_unknown",
            next_step=(
                "Look at the lead marker: if it is the brightest thing, dense parts are bright; "
                "if the darkest, dense parts are dark."
            ),
        )


def demand_measured(unread: int) -> None:
    """Refuse an acceptance while frames are still being measured."""
    if unread:
        raise IllegalStep(
            f"{unread} frame{' is' if unread == 1 else 's are'} still being measured.",
            code="deliverables.not_measured",
            next_step="Wait for the checks; the page shows them as they come.",
        )


def demand_nothing_owed(owed: Sequence[str]) -> None:
    """Refuse an acceptance while something has still to be looked at, with what it is."""
    if owed:
        raise IllegalStep(
            f"Still to come: {', '.join(owed)}.",
            code="deliverables.checks_owed",
            next_step="Wait for it; the page shows it as it comes.",
        )


def demand_no_fail(fails: Sequence[str], *, override_reason: str, override_not_because: str) -> str:
    """Refuse an acceptance against a failed check unless it is overridden with a reason.

    Return the reason that counts: empty when nothing failed, however much was typed.
    """
    if not fails:
        return ""
    words = override_reason.strip()
    if override_not_because:
        raise NotAllowed(
            f"{len(fails)} check{'' if len(fails) == 1 else 's'} failed. {fails[0]} "
            f"{override_not_because}",
            code="deliverables.failed_checks",
            next_step="Send the picture back, or ask the imaging lead to look at it.",
            data={"fails": list(fails)},
        )
    if not words:
        raise DomainError(
            f"{len(fails)} check{'' if len(fails) == 1 else 's'} failed. {fails[0]}",
            code="deliverables.override_without_reason",
            next_step="Send the picture back, or say why it is good enough all the same.",
            data={"fails": list(fails)},
        )
    return words


def demand_other_reviewer(
    *, reviewer_id: int, photographer_id: int, is_alone: bool, lone: int, total: int, share: float
) -> bool:
    """Refuse a review of one's own picture; tell whether it passes as lone work.

    Working alone is allowed by the lead or the head for a stretch; in a calendar month at most
    `share` of the reviews may be such, but always one.
    """
    if reviewer_id != photographer_id:
        return False
    if not is_alone:
        raise NotAllowed(
            "You made this picture; somebody else reviews it.",
            code="deliverables.own_picture",
            next_step=(
                "Ask a colleague. If you work alone, the imaging lead or the head can allow it "
                "for a stretch of time."
            ),
        )
    most = max(1, int(share * (total + 1)))
    if lone >= most:
        raise NotAllowed(
            f"{lone} of {total} reviews of this month were of own pictures; "
            f"{share:.0%} is the most that working alone allows.",
            code="deliverables.too_much_lone_work",
            next_step="Ask a colleague to review this one.",
        )
    return True


def chosen_reasons(codes: Iterable[str], known: Mapping[str, Reason]) -> list[Reason]:
    """Return the reasons with these codes, or refuse none and unknown ones."""
    wanted = list(dict.fromkeys(codes))
    strange = [code for code in wanted if code not in known]
    if strange or not wanted:
        raise DomainError(
            "Choose at least one reason from the list."
            if not wanted
            else f"The list of reasons knows no “{strange[0]}”.",
            code="deliverables.unknown_reason",
            next_step="The reason tells the photographer what to do again.",
        )
    return [known[code] for code in wanted]


def demand_note(note: str) -> str:
    """Return the words of a refusal, or refuse silence."""
    words = note.strip()
    if not words:
        raise DomainError(
            "Say in your own words what is wrong and where.",
            code="deliverables.no_note",
            next_step="The photographer reads this at the easel.",
        )
    return words


def demand_wrong_since(
    wrong_since: datetime | None, *, captured_at: datetime, now: datetime
) -> datetime:
    """Return since when a picture has been wrong: as said, else since it was captured."""
    if wrong_since is None:
        return min(captured_at, now)
    if wrong_since > now:
        raise DomainError(
            "It cannot be wrong only from a day to come.",
            code="deliverables.wrong_in_future",
            next_step="Give the day on which the mistake was made, or leave it empty.",
        )
    return wrong_since


def demand_meant_object(kind: str, meant_object_id: int | None, *, own: int) -> int | None:
    """Return the object that a wrongly filed picture really shows; only that kind names one."""
    if kind != "wrong_target":
        return None
    if meant_object_id == own:
        raise DomainError(
            "The object that it really shows is the one it is filed under.",
            code="deliverables.meant_object_is_own",
            next_step="Name the other object, or leave it empty if only the face is wrong.",
        )
    return meant_object_id


@dataclass(frozen=True, slots=True)
class Earlier:
    """The newest version that was made for the same view."""

    state: str
    captured_at: datetime


def continues_chain(earlier: Earlier | None, *, event_between: bool) -> bool:
    """Tell whether a new picture is the next version of an earlier one.

    It is after a sending back or a recall, unless something was done to the object in between: a
    re-shoot after a treatment shows another state and is a picture of its own.
    """
    if earlier is None or event_between:
        return False
    return earlier.state in (S.SENT_BACK, S.RECALLED)


def is_settled(newest_state: str | None) -> bool:
    """Tell whether a line's newest version stands, so that new frames are only spares."""
    return newest_state in (S.TO_REVIEW, S.ACCEPTED)


def working_days(since: date, until: date) -> int:
    """Count the days from Monday to Friday after `since` up to and including `until`.

    >>> working_days(date(2026, 4, 10), date(2026, 4, 13))
    1
    """
    days = (until - since).days
    return sum((since + timedelta(days=n)).weekday() < 5 for n in range(1, days + 1))


@dataclass(frozen=True, slots=True)
class Proof:
    """How many frames of a picture there are and how many are proven in enough places."""

    frames: int
    proven: int

    def lacking(self, copies: int) -> str:
        """Say why the picture cannot be filed yet; empty if it can."""
        if self.frames and self.proven == self.frames:
            return ""
        return (
            f"{self.frames - self.proven} of {self.frames} frames "
            f"{'has' if self.frames - self.proven == 1 else 'have'} fewer than {copies} proven "
            "copies."
        )
