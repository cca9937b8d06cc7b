"""What the lead's triage shows: waiting wishes object by object, with what is there already."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from imaging_requests.people.models import User
from imaging_requests.requesting import queries
from imaging_requests.requesting.forms import AnswerForm
from imaging_requests.requesting.models import RequestLine
from imaging_requests.requesting.request_page import ShownLine, shown_lines


@dataclass(frozen=True, kw_only=True)
class ObjectGroup:
    """One object with the wishes that wait for it, and the form that answers them."""

    object_id: int
    number: str
    title: str
    rows: tuple[ShownLine, ...]
    form: AnswerForm
    ticked: frozenset[str]

    @property
    def choices(self) -> list[tuple[ShownLine, bool]]:
        """Each wish with whether its box is ticked."""
        return [(row, str(row.line.pk) in self.ticked) for row in self.rows]

    @property
    def view_count(self) -> int:
        """How many different views the wishes come to."""
        return len({(row.words, row.region) for row in self.rows})


def triage_context(user: User, *, answered: AnswerForm | None = None) -> dict[str, Any]:
    """All groups; `answered` is a refused form, shown again in its place."""
    lines = queries.waiting_lines()
    groups = _groups(shown_lines(lines, user), answered)
    views = sum(group.view_count for group in groups)
    changed = queries.changed_entries(lines)
    return {
        "groups": groups,
        "answer": _answer(len(lines), len(groups)),
        "counts": [
            {"figure": len(lines), "unit": "wishes"},
            {"figure": views, "unit": "different views"},
            {"figure": len(groups), "unit": "objects"},
        ]
        if groups
        else [],
        "changed": [entry for entry, _, _ in changed],
    }


def _answer(lines: int, objects: int) -> str:
    if lines == 0:
        return "Every wish has been answered"
    wishes = "1 wish waits" if lines == 1 else f"{lines} wishes wait"
    return f"{wishes} for your word, on {objects} object{'' if objects == 1 else 's'}"


def _groups(rows: Sequence[ShownLine], answered: AnswerForm | None) -> list[ObjectGroup]:
    grouped: dict[int, list[ShownLine]] = {}
    for row in rows:
        grouped.setdefault(row.line.object_id, []).append(row)
    groups = []
    for object_id, own in grouped.items():
        own.sort(key=lambda row: (row.words, row.region, row.line.pk))
        refused = answered if answered is not None and _is_for(answered, object_id) else None
        groups.append(
            ObjectGroup(
                object_id=object_id,
                number=own[0].number,
                title=own[0].line.object.title,
                rows=tuple(own),
                form=refused or blank_answer([row.line for row in own]),
                ticked=frozenset(refused.data.getlist("lines"))  # type: ignore[attr-defined]
                if refused is not None
                else frozenset(str(row.line.pk) for row in own),
            )
        )
    return groups


def _is_for(form: AnswerForm, object_id: int) -> bool:
    return str(form.data.get("object", "")) == str(object_id)


def blank_answer(lines: Sequence[RequestLine]) -> AnswerForm:
    """An answer form for the lines of one object."""
    first = lines[0]
    return AnswerForm(
        line_ids=[line.pk for line in lines],
        auto_id=f"id_{first.object_id}_%s",
        initial={"promised_on": None},
    )
