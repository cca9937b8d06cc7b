"""The report of a rehearsal: what comes, goes, is made otherwise, and which entries fall back.

The report is plain data with its words, so that it is read years later as it was read when people
signed. On a large house it is worked out on an even share, which it names.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django.urls import reverse

from imaging_requests.collection.models import Entry
from imaging_requests.people.errors import DomainError
from imaging_requests.progress.board import GRADE_WORDS
from imaging_requests.progress.entries import entries_of, gaps_of, members_of
from imaging_requests.progress.rehearsing import Side, Tried, ahead, try_draft, under_table
from imaging_requests.progress.rules import derive_entry
from imaging_requests.protocols.models import (
    EntryPin,
    Rehearsal,
    RuleKind,
    RuleVersion,
)
from imaging_requests.protocols.queries import settings_for_words, version
from imaging_requests.protocols.rehearsals import content_hash
from imaging_requests.protocols.rules import Definition, read_definition
from imaging_requests.reckoning.truth.changes import preview
from imaging_requests.reckoning.truth.decisions import open_cases
from imaging_requests.reckoning.truth.moment import look
from imaging_requests.reckoning.truth.terms import Effect, Grade, face_of
from imaging_requests.reckoning.truth.triggers import TriggerTable
from imaging_requests.reckoning.truth.words import name_view, view_words
from imaging_requests.requesting.duties import ViewKey, Want
from imaging_requests.requesting.words import numbers_of
from imaging_requests.treatments.models import Incident, Intervention, InterventionState

AT_ONCE = "rehearsal.at_once_objects"
MOST = "rehearsal.most_objects"
#: Groups of objects that are gathered together.
TOGETHER = 40
#: How many single rows of each kind a report lists; the numbers count all.
LISTED = 40
FULL = frozenset((Grade.FULL, Grade.FULL_WAIVED))
#: What is not part of how a view is made, only of where that is written.
_ORIGIN = frozenset(("origin", "line"))
COMES, GOES, OTHERWISE = "comes", "goes", "made otherwise"
PREFERRED = "asked with another preferred state"
EFFECT_WORDS = {
    Effect.OUT: "out of date",
    Effect.ASK_OUT: "a decision, proposed: out of date",
    Effect.ASK_VALID: "a decision, proposed: still valid",
    Effect.HIDDEN: "hidden",
}
STILL_TRUE = "still valid"

Group = list[int]


def groups_for(row: RuleVersion) -> list[Group]:
    """Return the objects that a draft concerns, in groups that belong together.

    A protocol concerns the objects of every entry that follows a version of it, entry by entry; a
    trigger table every object that was treated, is to be, or had an incident.
    """
    if row.kind == RuleKind.PROTOCOL:
        pins = EntryPin.objects.filter(protocol__name=row.definition["id"], unpinned_at=None)
        entries = Entry.objects.filter(pins__in=pins).order_by("catalogue", "sort_key", "pk")
        return [members for members in members_of(entries).values() if members]
    steps = Intervention.objects.exclude(state=InterventionState.DROPPED).order_by()
    treated = {
        *steps.values_list("object_id", flat=True).distinct(),
        *Incident.objects.order_by().values_list("object_id", flat=True).distinct(),
    }
    return [[pk] for pk in sorted(treated)]


def even_share(groups: Sequence[Group], most: float | None) -> list[Group]:
    """Return every group, or evenly spread ones that hold about `most` objects together.

    >>> even_share([[1], [2], [3], [4]], None)
    [[1], [2], [3], [4]]
    >>> even_share([[1], [2], [3], [4]], 2)
    [[1], [3]]
    """
    total = sum(map(len, groups))
    if most is None or total <= most:
        return list(groups)
    wanted = max(1, int(len(groups) * most / total))
    return [groups[place * len(groups) // wanted] for place in range(wanted)]


def bound(name: str, now: datetime) -> float | None:
    """Return a bound of the studio's settings, or None where they state none."""
    settings = settings_for_words(now)
    return settings.number(name) if settings is not None and settings.values.has(name) else None


def is_small(row: RuleVersion, now: datetime) -> bool:
    """Whether a draft concerns so few objects that its page can wait for the report."""
    at_once = bound(AT_ONCE, now)
    return at_once is not None and sum(map(len, groups_for(row))) <= at_once


def work_out(rehearsal: Rehearsal, *, now: datetime) -> dict[str, Any]:
    """Work a report out; refuses if the draft has changed since it was asked for."""
    row = version(rehearsal.kind, rehearsal.version_id)
    if content_hash(row.definition) != rehearsal.content_sha256:
        raise DomainError(
            "The draft was changed while its rehearsal was being worked out.",
            code="progress.draft_changed",
            next_step="Rehearse it again.",
        )
    draft = read_definition(row.kind, row.definition)
    groups = groups_for(row)
    chosen = even_share(groups, bound(MOST, now))
    tally = Tally(draft=draft, now=now)
    for start in range(0, len(chosen), TOGETHER):
        tally.add(pk for group in chosen[start : start + TOGETHER] for pk in group)
    whole = len({pk for group in groups for pk in group})
    return tally.report(row, whole=whole)


@dataclass(kw_only=True)
class Tally:
    """What is counted while objects are tried, a few at a time."""

    draft: Definition
    now: datetime
    seen: set[int] = field(default_factory=set)
    graded: set[int] = field(default_factory=set)
    views: Counter[tuple[str, str, str]] = field(default_factory=Counter)
    statuses: Counter[tuple[str, str]] = field(default_factory=Counter)
    rows: list[dict[str, Any]] = field(default_factory=list)
    pictures: list[dict[str, Any]] = field(default_factory=list)
    pictures_total: int = 0
    statuses_total: int = 0
    work: defaultdict[str, float] = field(default_factory=lambda: defaultdict(float))
    asked: int = 0
    moot: int = 0
    falls: list[dict[str, Any]] = field(default_factory=list)
    rises: list[dict[str, Any]] = field(default_factory=list)
    titles: dict[int, str] = field(default_factory=dict)

    def add(self, object_ids: Iterable[int]) -> None:
        """Try some objects, and grade the entries they belong to."""
        wanted = sorted(set(object_ids) - self.seen)
        self.seen |= set(wanted)
        entries = [entry for entry in entries_of(wanted) if entry.pk not in self.graded]
        self.graded |= {entry.pk for entry in entries}
        members = members_of(entries)
        everyone = {*wanted, *(pk for pks in members.values() for pk in pks)}
        tried = {
            each.object_id: each for each in try_draft(sorted(everyone), self.draft, now=self.now)
        }
        numbers = numbers_of(wanted)
        self._learn_titles(tried.values())
        for pk in wanted:
            if pk in tried:
                self._count(tried[pk], numbers[pk])
        gaps = gaps_of([entry.pk for entry in entries])
        for entry in entries:
            own = [tried[pk] for pk in members[entry.pk] if pk in tried]
            before, after = (
                derive_entry(
                    [side.derived.moment for side in sides],
                    catalogue=str(entry.catalogue_id),
                    gaps=gaps.get(entry.pk, ()),
                )
                for sides in ([t.now for t in own], [t.then for t in own])
            )
            was, then = before.grade.grade in FULL, after.grade.grade in FULL
            if was != then:
                (self.falls if was else self.rises).append(
                    {
                        "entry": str(entry),
                        "href": reverse("progress:entry", args=[entry.pk]),
                        "before": GRADE_WORDS[before.grade.grade],
                        "then": GRADE_WORDS[after.grade.grade],
                        "why": after.why,
                    }
                )

    def _learn_titles(self, tried: Iterable[Tried]) -> None:
        """Learn in which catalogue each asking entry is."""
        entries = {
            entry_id
            for each in tried
            for side in (each.now, each.then)
            for want in side.wants.values()
            for _, entry_id, *_ in want.demands
            if entry_id is not None
        } - self.titles.keys()
        found = Entry.objects.filter(pk__in=entries).values_list("pk", "catalogue__title")
        self.titles.update(found)

    def _count(self, tried: Tried, number: str) -> None:
        before, after = _by_duty(tried.now), _by_duty(tried.then)
        for key in sorted({**before, **after}, key=str):
            was, then = before.get(key), after.get(key)
            want_was, want_then = tried.now.wants.get(key), tried.then.wants.get(key)
            for side, status, want in (("now", was, want_was), ("then", then, want_then)):
                if status is not None and want is not None and not _is_done(status):
                    self.work[f"minutes_{side}"] += _number(want, "minutes")
                    self.work[f"desk_{side}"] += _number(want, "desk_minutes")
                    self.work[f"frames_{side}"] += _number(want, "frames")
            what = _what(was, then, want_was, want_then)
            if what:
                self._view(what, key, want_then or want_was, number)
            if was is not None and then is not None and was != then:
                self.statuses[was, then] += 1
                self.statuses_total += 1
                if len(self.pictures) < LISTED:
                    self._picture(tried.object_id, number, _words(key), _said(was), _said(then))
        if isinstance(self.draft, TriggerTable):
            self._decisions(tried)
            self._planned(tried, number)

    def _view(self, what: str, key: ViewKey, want: Want | None, number: str) -> None:
        words = _words(key)
        entries = [e for _, e, *_ in want.demands if e is not None] if want else []
        titles = sorted({self.titles[e] for e in entries if e in self.titles})
        self.views[what, words, ", ".join(titles) or "asked by a treatment"] += 1
        if len(self.rows) < LISTED:
            href = reverse("progress:object", args=[key[0]])
            self.rows.append({"what": what, "view": words, "number": number, "href": href})

    def _picture(self, object_id: int, number: str, words: str, before: str, then: str) -> None:
        self.pictures.append(
            {
                "number": number,
                "href": reverse("progress:object", args=[object_id]),
                "view": words,
                "before": before,
                "then": then,
            }
        )

    def _decisions(self, tried: Tried) -> None:
        asked = {case.key for case in open_cases(tried.now.derived.moment)}
        asks = {case.key for case in open_cases(tried.then.derived.moment)}
        self.asked += len(asks - asked)
        self.moot += len(asked - asks)

    def _planned(self, tried: Tried, number: str) -> None:
        """Set beside each other what steps ahead do to pictures under both tables."""
        moment = tried.now.derived.moment
        steps = ahead(moment)
        if not steps:
            return
        assert isinstance(self.draft, TriggerTable)
        tables = {**moment.tables, self.draft.version: self.draft}
        case = under_table(moment.case, self.draft)
        then = look(case, tables, t=self.now, u=self.now)
        before = {line.picture.key: line for line in preview(moment, steps).pictures}
        after = {line.picture.key: line for line in preview(then, ahead(then)).pictures}
        for key in sorted({**before, **after}, key=str):
            was, will = (
                EFFECT_WORDS.get(side[key].effect, STILL_TRUE) if key in side else STILL_TRUE
                for side in (before, after)
            )
            if was == will:
                continue
            self.pictures_total += 1
            if len(self.pictures) < 2 * LISTED:
                picture = (before.get(key) or after[key]).picture
                words = f"{name_view(picture)}, by the steps ahead"
                self._picture(tried.object_id, number, words, was, will)

    def report(self, row: RuleVersion, *, whole: int) -> dict[str, Any]:
        """Return the report as data, with its words."""
        counted = Counter[str]()
        for (what, _, _), number in self.views.items():
            counted[what] += number
        preferred = {"preferred": counted[PREFERRED]} if counted[PREFERRED] else {}
        return {
            "is_table": isinstance(self.draft, TriggerTable),
            "draft": str(row),
            "tried": len(self.seen),
            "whole": whole,
            "is_share": len(self.seen) < whole,
            "entries": len(self.graded),
            "views": {
                "comes": counted[COMES],
                "goes": counted[GOES],
                "other": counted[OTHERWISE],
                **preferred,
            },
            "by_view": [
                {"what": what, "view": words, "catalogue": title, "count": number}
                for (what, words, title), number in sorted(self.views.items())
            ],
            "work": [
                {
                    "what": words,
                    "now": round(self.work[f"{name}_now"]),
                    "then": round(self.work[f"{name}_then"]),
                    **_difference(self.work[f"{name}_then"] - self.work[f"{name}_now"]),
                }
                for name, words in (
                    ("minutes", "minutes at the stations"),
                    ("desk", "minutes at the desk"),
                    ("frames", "files"),
                )
            ],
            "falls": self.falls,
            "rises": self.rises,
            "statuses": [
                {"before": _said(was), "then": _said(then), "count": number}
                for (was, then), number in sorted(self.statuses.items())
            ],
            "statuses_total": self.statuses_total,
            "pictures": self.pictures,
            "pictures_total": self.pictures_total,
            "asked": self.asked,
            "moot": self.moot,
            "rows": self.rows,
            "rows_total": sum(self.views.values()),
        }


def _difference(more: float) -> dict[str, int]:
    """Say a difference as so much more, or so much less."""
    return {"more": round(more), "less": max(0, -round(more))}


def _by_duty(side: Side) -> dict[ViewKey, str]:
    """Return the status of each view in force by the duty it is."""
    return {
        side.keys[view.view_key]: str(view.status)
        for view in side.derived.views
        if view.view_key in side.keys
    }


def _what(was: str | None, then: str | None, before: Want | None, after: Want | None) -> str:
    if was is None or then is None:
        return COMES if was is None else GOES
    if before is None or after is None:
        return ""
    if _made(before) != _made(after):
        return OTHERWISE
    return "" if _preferred(before) == _preferred(after) else PREFERRED


def _preferred(want: Want) -> set[str]:
    return {preferred for *_, preferred in want.demands}


def _made(want: Want) -> tuple[Any, ...]:
    making = want.making
    spec = {name: value for name, value in making.spec.items() if name not in _ORIGIN}
    return (making.px_per_mm, making.tolerance_percent, making.min_coverage_percent, spec)


def _is_done(status: str) -> bool:
    return status in {"accepted", "filed", "waived", "not_applicable", "replaced", "lost"}


def _number(want: Want, name: str) -> float:
    return float(want.making.spec.get(name) or 0)


def _words(key: ViewKey) -> str:
    _, surface, technique, variant, anchor = key
    words = view_words(technique, face_of(surface), variant)
    return words if anchor == "CUR" else f"{words}, for a treatment"


def _said(status: str) -> str:
    return status.replace("_", " ")
