"""Who may bring files, place them, see pictures, and clear away what was refused."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from imaging_requests.people.models import Role, User
from imaging_requests.people.policies import EVERYBODY, act, why_not

STUDIO = frozenset({Role.PHOTOGRAPHER, Role.LEAD})

#: Answers with the reason why this person may not see this frame or picture so large, or with an
#: empty string. The number is the longest side in px of what would be given; 0 is the smallest.
PictureRule = Callable[[User, Any, int], str]
_picture_rules: list[PictureRule] = []


def add_picture_rule(rule: PictureRule) -> None:
    """Let an outer room restrict who sees which picture; called once at start."""
    if rule not in _picture_rules:
        _picture_rules.append(rule)


#: Answers with the reasons why this person sees nothing of these frames, by the frame's key.
FramesRule = Callable[[User, Sequence[int]], dict[int, str]]
_frames_rules: list[FramesRule] = []


def add_frames_rule(rule: FramesRule) -> None:
    """Let an outer room say of many frames at once which are closed; called once at start."""
    if rule not in _frames_rules:
        _frames_rules.append(rule)


def closed_frames(user: User, frame_ids: Sequence[int]) -> dict[int, str]:
    """Return why frames are closed to this person altogether; open ones are left out."""
    return {pk: why for rule in _frames_rules for pk, why in rule(user, frame_ids).items()}


def why_closed(user: User, subject: Any, *, longest_px: int = 0) -> str:
    """Return why this person may not see a frame or picture so large, or an empty string."""
    if reason := why_not(user, SEE_PICTURES):
        return reason
    for rule in _picture_rules:
        if reason := rule(user, subject, longest_px):
            return reason
    return ""


def _why_hidden(user: User, subject: Any) -> str:
    return why_closed(user, subject)


READ_DROPS = act("intake.read_drops", "Reading drops", roles=STUDIO | {Role.KEEPER})
READ_STORE = act(
    "intake.read_store", "Reading how the store stands", roles=STUDIO | {Role.KEEPER, Role.HEAD}
)
UPLOAD = act("intake.upload", "Bringing files", roles=STUDIO)
PLACE = act("intake.place", "Placing frames", roles=STUDIO)
SEE_PICTURES = act("intake.see_pictures", "Seeing pictures", roles=EVERYBODY, rule=_why_hidden)
CLEAR_REFUSED = act(
    "intake.clear_refused", "Removing refused files", roles=frozenset({Role.KEEPER})
)
ASK_AGAIN = act(
    "intake.ask_again", "Having background work tried again", roles=STUDIO | {Role.KEEPER}
)
