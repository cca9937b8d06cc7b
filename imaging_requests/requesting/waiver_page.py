"""What the waiver book and the page of one waiver show."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import timedelta
from typing import Any

from django.utils import timezone

from imaging_requests.people.models import Role, User
from imaging_requests.people.policies import may
from imaging_requests.requesting import outlook, queries
from imaging_requests.requesting.last_looks import last_look_step, last_look_steps
from imaging_requests.requesting.models import OwedView, Waiver
from imaging_requests.requesting.overlaps import asker, demands_of
from imaging_requests.requesting.policies import END_WAIVER, REFUSE_WAIVER, SIGN_WAIVER
from imaging_requests.requesting.words import as_of_words, inside_words, numbers_of, words_of


def waive_context(view: OwedView, user: User) -> dict[str, Any]:
    """The page on which a view is waived or its waiver proposed."""
    number = numbers_of([view.object_id])[view.object_id]
    step = last_look_step(view, timezone.now())
    signs_alone = user.has_role(Role.LEAD) and not step
    half = view.waivers.filter(ended_at=None, co_signed_by=None).first() if step else None
    if half is not None:
        waits_for, is_mine = second_signature(half, user)
    else:
        waits_for, is_mine = "", False
    asked = [asker(each) for each in demands_of([view.pk])[view.pk]]
    return {
        "view": view,
        "number": number,
        "words": words_of(view),
        "as_of": as_of_words(view),
        "asked_by": ", ".join(dict.fromkeys(asked)) or "nobody",
        "standing": outlook.standing_of([view.pk]).get(view.pk),
        "last_look_step": step,
        "signs_alone": signs_alone,
        "half": half,
        "waits_for": waits_for,
        "is_mine": is_mine,
        "answer": f"The waiver of {inside_words(view)} of {number} needs a second signature"
        if half is not None
        else f"{'Waive' if signs_alone else 'Propose to waive'} {inside_words(view)} of {number}?",
    }


def second_signature(waiver: Waiver, user: User) -> tuple[str, bool]:
    """Whose signature a waiver with one signature lacks, and whether the reader may give it."""
    first = waiver.granted_by
    needed = Role.CONSERVATOR if first.has_role(Role.LEAD) else Role.LEAD
    words = "a conservator" if needed == Role.CONSERVATOR else "the imaging lead"
    return words, user.pk != first.pk and user.has_role(needed) and may(user, SIGN_WAIVER)


def book_rows(waivers: Iterable[Waiver], user: User) -> list[dict[str, Any]]:
    """Rows of the waiver book; one whose view has become a last look asks for a second name."""
    rows = list(waivers)
    single = [w.owed_view for w in rows if w.ended_at is None and w.co_signed_by_id is None]
    ending = last_look_steps(single, timezone.now())
    numbers = numbers_of(waiver.owed_view.object_id for waiver in rows)
    return [
        {
            "waiver": waiver,
            "number": numbers[waiver.owed_view.object_id],
            "words": words_of(waiver.owed_view),
            "as_of": as_of_words(waiver.owed_view),
            "holds": _holds(waiver),
            **_wanting(waiver, ending.get(waiver.owed_view_id, ""), user),
        }
        for waiver in rows
    ]


def _wanting(waiver: Waiver, step: str, user: User) -> dict[str, Any]:
    if not step or waiver.ended_at is not None or waiver.co_signed_by_id is not None:
        return {"last_look_step": "", "waits_for": "", "is_mine": False}
    waits_for, is_mine = second_signature(waiver, user)
    return {"last_look_step": step, "waits_for": waits_for, "is_mine": is_mine}


def _holds(waiver: Waiver) -> str:
    """How long a waiver holds; one that lapses at midnight holds to the end of the day before."""
    if waiver.ended_at is not None:
        ended = f"{timezone.localtime(waiver.ended_at):%-d %b %Y}"
        return f"over since {ended}: {waiver.end_reason}"
    if waiver.lapses_at is None:
        return "until somebody ends it"
    lapses = timezone.localtime(waiver.lapses_at)
    if (lapses.hour, lapses.minute) == (0, 0):
        return f"to the end of {lapses - timedelta(days=1):%-d %b %Y}"
    return f"until {lapses:%-d %b %Y, %H:%M}"


def proposal_rows(user: User) -> list[dict[str, Any]]:
    """Proposals that wait, each with whose signature it needs and whether it is the reader's."""
    proposals = queries.open_proposals()
    numbers = numbers_of(proposal.owed_view.object_id for proposal in proposals)
    ending = last_look_steps((proposal.owed_view for proposal in proposals), timezone.now())
    rows = []
    for proposal in proposals:
        first = proposal.first_signed_by
        proposal.is_last_look = proposal.is_last_look or proposal.owed_view_id in ending
        if not proposal.is_last_look:
            waits, mine = "the imaging lead", user.has_role(Role.LEAD)
        elif first is None:
            waits, mine = "the imaging lead and a conservator", may(user, SIGN_WAIVER)
        else:
            needed = Role.CONSERVATOR if first.has_role(Role.LEAD) else Role.LEAD
            waits = "a conservator" if needed == Role.CONSERVATOR else "the imaging lead"
            mine = user.pk != first.pk and user.has_role(needed)
        rows.append(
            {
                "proposal": proposal,
                "number": numbers[proposal.owed_view.object_id],
                "words": words_of(proposal.owed_view),
                "as_of": as_of_words(proposal.owed_view),
                "waits_for": waits,
                "can_sign": mine,
                "can_refuse": may(user, REFUSE_WAIVER, proposal),
            }
        )
    return rows


def book_answer(in_force: int, proposed: int) -> str:
    """The answer of the waiver book."""
    held = "1 waiver is" if in_force == 1 else f"{in_force} waivers are"
    waits = f", {proposed} {'waits' if proposed == 1 else 'wait'} for a signature"
    return f"{held} in force{waits if proposed else ''}"


def may_end(user: User) -> bool:
    """Whether the reader may end waivers."""
    return may(user, END_WAIVER)
