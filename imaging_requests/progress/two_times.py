"""Look back: how things stood on one day, as the house knew them on another.

Every record keeps since when it is true and when it was learnt, so any pair of days is answered by
the same rules as today's page, from the same records. A day means its end in the studio's zone.
"""

from __future__ import annotations

import zoneinfo
from collections.abc import Container, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, time, timedelta
from functools import lru_cache
from typing import Any
from urllib.parse import urlencode

from django import forms
from django.conf import settings
from django.db.models import Q
from django.utils import timezone
from django.utils.safestring import SafeString

from imaging_requests.collection.models import Entry, EntryObject
from imaging_requests.people.clock import demand_reckonable
from imaging_requests.people.spoken import SpokenForm
from imaging_requests.progress.board import draw
from imaging_requests.progress.gather import gather_cases
from imaging_requests.progress.models import ViewStatus
from imaging_requests.progress.names import speech_for
from imaging_requests.progress.rules import Derived, DerivedView, derive_object
from imaging_requests.progress.shown import ShownView, lay_out
from imaging_requests.reckoning.truth.facts import ObjectCase
from imaging_requests.reckoning.truth.words import Speech
from imaging_requests.requesting.models import OwedView

#: Empty forms that a process remembers, one for each catalogue.
FORMS_KEPT = 40


class LookBackForm(SpokenForm):
    """Two days: how it stood on the first, as it was known on the second."""

    as_of = forms.DateField(
        label="As of",
        required=False,
        validators=[demand_reckonable],
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        help_text="How it stood at the end of this day.",
    )
    known_on = forms.DateField(
        label="As known on",
        required=False,
        validators=[demand_reckonable],
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        help_text="What the house had learnt by the end of this day; empty means today.",
    )

    def clean(self) -> dict[str, date | None]:
        """A day to come has no answer yet."""
        today = timezone.localdate()
        for name in ("as_of", "known_on"):
            day = self.cleaned_data.get(name)
            if day is not None and day > today:
                self.add_error(name, f"{day:%-d %b %Y} has not come yet. Choose a day up to today.")
        return self.cleaned_data


@lru_cache(maxsize=FORMS_KEPT)
def _draw_empty(address: str) -> SafeString:
    return draw("progress/look_back.html", {"form": LookBackForm(), "address": address})


def draw_look_back(address: str, form: LookBackForm) -> SafeString:
    """Draw the form that leads to a past day; an empty one is drawn once for each page."""
    if not form.is_bound:
        return _draw_empty(address)
    return draw("progress/look_back.html", {"form": form, "address": address})


@dataclass(frozen=True)
class TwoTimes:
    """The end of a day, and the knowledge of the end of another.

    `query` leads from one page of that day to another.
    """

    as_of: datetime
    known_on: datetime
    as_of_words: str
    known_words: str
    query: str = ""

    @property
    def earlier(self) -> datetime:
        """The earlier of both: what is kept with one time only is read as it was then."""
        return min(self.as_of, self.known_on)


def look_back_form(asked: Mapping[str, Any]) -> LookBackForm:
    """Return the form for what was asked; a page without either day has nothing to refuse."""
    names = LookBackForm.base_fields.keys()
    return LookBackForm({name: asked[name] for name in names if name in asked} or None)


def asked_for(form: LookBackForm, *, now: datetime) -> TwoTimes | None:
    """Return the pair of times that was asked for; None means the present."""
    if not form.is_valid():
        return None
    as_of, known = form.cleaned_data["as_of"], form.cleaned_data["known_on"]
    if as_of is None and known is None:
        return None
    today = timezone.localdate(now)
    return TwoTimes(
        as_of=_end_of(as_of or today, now),
        known_on=_end_of(known or today, now),
        as_of_words=f"{as_of or today:%-d %b %Y}",
        known_words=f"{known or today:%-d %b %Y}",
        query="?" + urlencode({"as_of": as_of or today, "known_on": known or today}),
    )


def _end_of(day: date, now: datetime) -> datetime:
    zone = zoneinfo.ZoneInfo(settings.STUDIO_ZONE)
    midnight = datetime.combine(day + timedelta(days=1), time(), tzinfo=zone)
    return min(midnight - timedelta(seconds=1), now)


@dataclass(frozen=True)
class Then:
    """Objects at a pair of times, and the same day as it is known now."""

    speech: Speech
    then: Mapping[int, Derived]
    later: Mapping[int, Derived]


def look_back(
    object_ids: Sequence[int], times: TwoTimes, *, now: datetime, with_later: bool = True
) -> Then:
    """Derive objects at the pair of times, and at the same day with what is known now."""
    speech = speech_for(object_ids)
    cases = gather_cases(object_ids)

    def derive(case: ObjectCase, known_at: datetime) -> Derived:
        return derive_object(case, speech=speech, now=times.as_of, known_at=known_at)

    return Then(
        speech=speech,
        then={pk: derive(case, times.known_on) for pk, case in cases.items()},
        later={pk: derive(case, now) for pk, case in cases.items()} if with_later else {},
    )


@dataclass(frozen=True)
class ThenView:
    """A view as it stood, and what the house has since learnt about that same day.

    One that `was_owed` only as it is known today is shown with how it is known today.
    """

    view: ShownView
    was_owed: bool
    later_status: str
    later_why: str


def views_then(found: Then, times: TwoTimes) -> list[ThenView]:
    """Lay out the views that were in force, and those that are known today to have been.

    Those that are known otherwise today say so.
    """
    then = {view.view_key for derived in found.then.values() for view in derived.views}
    later = {view.view_key: view for derived in found.later.values() for view in derived.views}
    sides = {
        pk: replace(derived, views=(*derived.views, *_only_later(found.later.get(pk), then)))
        for pk, derived in found.then.items()
    }
    rows = []
    for view in lay_out(rows_then(sides), list(sides), at=times.earlier):
        today, was_owed = later.get(str(view.pk)), str(view.pk) in then
        changed = today is None or not was_owed or today.status != view.status
        rows.append(
            ThenView(
                view=replace(
                    view,
                    waive_href="",
                    anchor="as it was then" if view.is_present else view.anchor,
                ),
                was_owed=was_owed,
                later_status=str(today.status) if today is not None and changed else "",
                later_why=(today.sentence if today is not None else "No longer owed on that day.")
                if changed
                else "",
            )
        )
    return rows


def _only_later(later: Derived | None, then: Container[str]) -> tuple[DerivedView, ...]:
    """Views that were owed on that day as it is known today, and were not as it was known then."""
    views = later.views if later is not None else ()
    return tuple(view for view in views if view.view_key not in then)


def rows_then(derived: Mapping[int, Derived]) -> list[ViewStatus]:
    """Rows like those of the cache, for one page only; nothing is stored."""
    found = OwedView.objects.select_related("treatment").filter(object__in=list(derived))
    owed = {view.pk: view for view in found}
    return [
        ViewStatus(
            owed_view=owed[int(view.view_key)],
            object_id=pk,
            status=view.status,
            why=view.sentence,
            reason=view.reason,
            waits_for=view.waits_for,
            waits_for_role=view.waits_for_role,
            is_met=view.is_met,
            chain=view.chain,
            picture_version=view.picture_version,
        )
        for pk, each in derived.items()
        for view in each.views
    ]


def members_then(entries: Iterable[Entry], times: TwoTimes) -> dict[int, list[int]]:
    """Return the objects that belonged to each entry, the parts of an ensemble included."""
    members: dict[int, dict[int, None]] = {entry.pk: {} for entry in entries}
    links = EntryObject.objects.filter(
        Q(removed_at=None) | Q(removed_at__gt=times.earlier),
        entry__in=list(members),
        added_at__lte=times.earlier,
    ).order_by("position", "pk")
    for link in links.prefetch_related("object__parts"):
        for pk in (link.object_id, *(part.pk for part in link.object.parts.all())):
            members[link.entry_id][pk] = None
    return {pk: list(found) for pk, found in members.items()}


def of_catalogue(side: Mapping[int, Derived], catalogue: str) -> dict[int, Derived]:
    """Keep the views that counted for a catalogue."""
    return {
        pk: replace(
            derived,
            views=tuple(
                view
                for view in derived.views
                if any(
                    demand.catalogue == catalogue
                    for demand in derived.moment.demands.get(view.view_key, ())
                )
            ),
        )
        for pk, derived in side.items()
    }
