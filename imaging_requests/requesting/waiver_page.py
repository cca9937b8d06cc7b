"""What the waiver book and the page of one waiver show."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import timedelta
from typing import Any

from django.utils import timezone

from imaging_requests.people.models import Role, User
from imaging_requests.people.policies import may
from imaging_requests.requesting import outlook, queries
from imaging_requests.requesting.last_looks import last_look_step
from imaging_requests.requesting.models import OwedView, Waiver
from imaging_requests.requesting.overlaps import asker, demands_of
from imaging_requests.requesting.policies import END_WAIVER, SIGN_WAIVER
from imaging_requests.requesting.words import as_of_words, inside_words, numbers_of, words_of


def waive_context(view: OwedView, user: User) -> dict[str, Any]:
    """The page on which a view is waived or its waiver proposed."""
    number = numbers_of([view.object_id])[view.object_id]
    step = last_look_step(view, timezone.now())
    signs_alone = user.has_role(Role.LEAD) and not step
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
        "answer": f"{'Waive' if signs_alone else 'Propose to waive'} "
        f"{inside_words(view)} of {number}?",
    }


def book_rows(waivers: Iterable[Waiver]) -> list[dict[str, Any]]:
    """Rows of the waiver book."""
    rows = list(waivers)
    numbers = numbers_of(waiver.owed_view.object_id for waiver in rows)
    return [
        {
            "waiver": waiver,
            "number": numbers[waiver.owed_view.object_id],
            "words": words_of(waiver.owed_view),
            "as_of": as_of_words(waiver.owed_view),
            "holds": _holds(waiver),
        }
        for waiver in rows
    ]


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
    rows = []
    for proposal in proposals:
        first = proposal.first_signed_by
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
                "can_refuse": may(user, SIGN_WAIVER),
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
