"""The numbers of a catalogue, each made of the very rows that are behind it.

A number is never counted apart from its rows: a `Part` is a list, and its figure is the length of
that list.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.urls import reverse
from django.utils import timezone

from imaging_requests.collection.models import Entry
from imaging_requests.deliverables.rules import working_days
from imaging_requests.people.counting import number_of
from imaging_requests.progress.answers import Row
from imaging_requests.progress.board import GRADE_WORDS
from imaging_requests.progress.gates import gate_of, next_step, say
from imaging_requests.progress.metrics_known import Known
from imaging_requests.progress.models import ViewStatus
from imaging_requests.progress.rules import MET
from imaging_requests.reckoning.truth.status import statuses
from imaging_requests.reckoning.truth.terms import Grade, Status
from imaging_requests.reckoning.truth.windows import WindowState, views_in, windows
from imaging_requests.requesting.models import Anchor, Waiver
from imaging_requests.requesting.words import as_of_words, view_words, words_of

SETTLED = frozenset((Status.FILED, Status.WAIVED))
#: Views that people have taken up again: a list of ticks has lost its tick there.
TAKEN_UP = frozenset((Status.PLANNED, Status.CAPTURED, Status.TO_REVIEW, Status.SENT_BACK))
FULL = frozenset((Grade.FULL, Grade.FULL_WAIVED))


@dataclass(frozen=True)
class Part:
    """One figure of a metric with the rows it counts."""

    key: str
    label: str
    rows: Sequence[Row]
    one: str = ""

    @property
    def words(self) -> str:
        """The label, in the singular where there is one row."""
        return self.one if self.one and self.figure == 1 else self.label

    @property
    def figure(self) -> int:
        """The figure is the number of rows, always."""
        return len(self.rows)


@dataclass(frozen=True)
class Metric:
    """One number of the department with its definition in words."""

    key: str
    name: str
    answer: str
    definition: str
    parts: tuple[Part, ...]


def metrics_of(known: Known) -> tuple[Metric, ...]:
    """Return every metric of a catalogue, each with its rows."""
    return (
        _fully_documented(known),
        _resolved(known, "present", known.present),
        _resolved(known, "all", known.counted),
        _debt(known),
        _spreadsheet(known),
        _gates(known),
        _windows(known),
        _lost(known),
        _waiting(known),
        _waived(known),
        _not_placed(known),
        _by_status(known),
    )


def metrics_then(known: Known) -> tuple[Metric, ...]:
    """Return the metrics that statuses alone answer, so that they can be said of a past day."""
    return (
        _fully_documented(known),
        _resolved(known, "present", known.present),
        _resolved(known, "all", known.counted),
        _debt(known),
        _spreadsheet(known),
        _lost(known),
        _by_status(known),
    )


def percent(part: int, whole: int) -> str:
    """Say a share with its two numbers: "341 of 479, 71.2 %".

    >>> percent(341, 479), percent(0, 0)
    ('341 of 479, 71.2 %', '0 of 0')
    """
    return f"{part} of {whole}" + (f", {100 * part / whole:.1f} %" if whole else "")


def _view_row(known: Known, view: ViewStatus) -> Row:
    owed = view.owed_view
    as_of = "" if owed.anchor == Anchor.CUR else f", {as_of_words(owed)}"
    return Row(
        text=f"{known.numbers[view.object_id]}: {words_of(owed)}{as_of}",
        href=reverse("progress:object", args=[view.object_id])
        + (known.query or f"#view-{owed.pk}"),
        note=view.why,
        status=view.status,
    )


def _views_part(known: Known, key: str, label: str, views: Iterable[ViewStatus]) -> Part:
    one = label.replace("views", "view")
    return Part(key, label, [_view_row(known, view) for view in views], one)


def _entry_row(known: Known, entry: Entry) -> Row:
    graded = known.grades.get(entry.pk)
    return Row(
        text=str(entry),
        href=reverse("progress:entry", args=[entry.pk]) + known.query,
        note=f"{GRADE_WORDS[Grade(graded.grade)]}: {graded.why}" if graded else "not derived yet",
    )


def _entries_part(known: Known, key: str, label: str, entries: Iterable[Entry]) -> Part:
    one = label.replace("entries", "entry")
    return Part(key, label, [_entry_row(known, entry) for entry in entries], one)


def _touched(known: Known, views: Iterable[ViewStatus]) -> list[Entry]:
    pks = {pk for view in views for pk in known.entries_of[view.object_id]}
    return [entry for entry in known.entries if entry.pk in pks]


def _grade(known: Known, entry: Entry) -> str:
    graded = known.grades.get(entry.pk)
    return graded.grade if graded is not None else ""


def _fully_documented(known: Known) -> Metric:
    by_grade: dict[str, list[Entry]] = defaultdict(list)
    for entry in known.entries:
        by_grade[_grade(known, entry)].append(entry)
    full, waived = len(by_grade[Grade.FULL]), len(by_grade[Grade.FULL_WAIVED])
    total = len(known.entries)
    beside = f" + {waived} with waivers" if waived else ""
    share = f", {100 * (full + waived) / total:.1f} %" if total else ""
    rest = [entry for entry in known.entries if _grade(known, entry) not in FULL]
    return Metric(
        "fully-documented",
        "Entries fully documented",
        f"{full}{beside} of {total}{share}",
        "Facts complete, every owed view filed, waived or not applicable, nothing undecided and "
        "no treatment step under way. Waivers are always said beside the number.",
        (
            _entries_part(known, "full", "full", by_grade[Grade.FULL]),
            _entries_part(known, "waivers", "full with waivers", by_grade[Grade.FULL_WAIVED]),
            _entries_part(known, "not-yet", "not fully documented", rest),
        ),
    )


def _resolved(known: Known, key: str, views: Sequence[ViewStatus]) -> Metric:
    filed = [view for view in views if view.status == Status.FILED]
    waived = [view for view in views if view.status == Status.WAIVED]
    open_views = [view for view in views if view.status not in SETTLED]
    is_present = key == "present"
    return Metric(
        f"{key}-views",
        "Present views resolved" if is_present else "All views resolved",
        percent(len(filed) + len(waived), len(views)),
        "Filed and waived views among those owed as the object is now."
        if is_present
        else "The same with the views before, during and after treatments and of windows.",
        (
            _views_part(known, "filed", "filed", filed),
            _views_part(known, "waived", "waived", waived),
            _views_part(known, "unresolved", "not resolved", open_views),
        ),
    )


def _debt(known: Known) -> Metric:
    past = [view for view in known.present if view.status == Status.OUT_OF_DATE]
    doubtful = [view for view in known.present if view.status == Status.UNDECIDED]
    touched = _touched(known, [*past, *doubtful])
    return Metric(
        "debt",
        "Re-shoot debt",
        f"{len(past)} out of date + {len(doubtful)} undecided = "
        f"{number_of(len(past) + len(doubtful), 'view')} in "
        f"{number_of(len(touched), 'entry', 'entries')}",
        "Present views whose pictures a treatment or an incident has made untrue, or may have.",
        (
            _views_part(known, "out-of-date", "out of date", past),
            _views_part(known, "undecided", "undecided", doubtful),
            _entries_part(known, "entries", "entries touched", touched),
        ),
    )


def _has_tick(known: Known, view: ViewStatus) -> bool:
    return known.was_filed(view) and view.status not in TAKEN_UP


def _spreadsheet(known: Known) -> Metric:
    once = [view for view in known.present if _has_tick(known, view)]
    never = [view for view in known.present if not _has_tick(known, view)]
    owing = {
        pk
        for view in never
        if view.status != Status.WAIVED
        for pk in known.entries_of[view.object_id]
    }
    with_views = {pk for view in known.present for pk in known.entries_of[view.object_id]}
    ticked = [each for each in known.entries if each.pk in with_views and each.pk not in owing]
    too_many = [entry for entry in ticked if _grade(known, entry) not in FULL]
    return Metric(
        "spreadsheet",
        "What a list of ticks would say",
        f"{len(ticked)} of {number_of(len(known.entries), 'entry', 'entries')}, "
        f"{len(too_many)} too many; "
        f"views: {percent(len(once), len(known.present))}",
        "Entries of which every present view was filed once and not taken up again, however much "
        "has changed since; waived views are let pass.",
        (
            _entries_part(known, "ticked", "entries with every view filed once", ticked),
            _entries_part(known, "too-many", "of them not fully documented", too_many),
            _views_part(known, "once", "present views with a tick", once),
            _views_part(known, "never", "present views without a tick", never),
        ),
    )


def _gates(known: Known) -> Metric:
    rows = []
    for treatment in known.treatments:
        step = next_step(treatment.interventions.all())
        moment = known.moments.get(treatment.object_id)
        found = gate_of(moment, step) if moment is not None and step is not None else None
        if step is None or found is None:
            continue
        words = say(found, known.speech)
        planned = step.planned_on or treatment.planned_from
        if not words.is_open and planned is not None:
            rows.append(
                Row(
                    text=f"{known.numbers[treatment.object_id]}: {treatment}",
                    href=reverse("progress:treatment", args=[treatment.pk]),
                    note=f"planned for {planned:%-d %b %Y}. {words.sentence}",
                )
            )
    return Metric(
        "gates",
        f"Gates shut before a start within {known.periods.steps_ahead.days} days",
        f"{len(rows)}",
        "Treatments whose next step is planned within these days and may not start yet.",
        (
            Part(
                "treatments", "treatments whose gate is shut", rows, "treatment whose gate is shut"
            ),
        ),
    )


def _windows(known: Known) -> Metric:
    by_pk = {str(view.owed_view_id): view for view in known.views}
    found: list[Row] = []
    missing: list[ViewStatus] = []
    until = known.now + known.periods.windows_ahead
    for pk, moment in known.moments.items():
        standing = statuses(moment)
        for window in windows(moment):
            if window.state is WindowState.CLOSED or (
                window.opens_at is not None and window.opens_at > until
            ):
                continue
            lacking = [
                by_pk[status.view.key]
                for status in views_in(window, standing)
                if status.status not in MET
                and status.status is not Status.WAIVED
                and status.view.key in by_pk
            ]
            if not lacking:
                continue
            missing += lacking
            opens, closes = _day(window.opens_at), _day(window.closes_at)
            found.append(
                Row(
                    text=f"{known.numbers[pk]}: {window.surface} can be seen"
                    f"{f' from {opens}' if opens else ''}{f' until {closes}' if closes else ''}",
                    href=reverse("progress:object", args=[pk]),
                    note=f"{number_of(len(lacking), 'view')} not accepted",
                )
            )
    return Metric(
        "windows",
        f"Only-now windows within {known.periods.windows_ahead.days} days",
        f"{len(found)} with {number_of(len(missing), 'view')}",
        "Surfaces that can be seen only for a while, with at least one view not accepted.",
        (
            Part("windows", "windows", found, "window"),
            _views_part(known, "views", "views not accepted", missing),
        ),
    )


def _day(instant: datetime | None) -> str:
    return f"{timezone.localtime(instant):%-d %b %Y}" if instant is not None else ""


def _lost(known: Known) -> Metric:
    lost = [view for view in known.counted if view.status == Status.LOST]
    touched = _touched(known, lost)
    return Metric(
        "lost",
        "Lost for good",
        f"{number_of(len(lost), 'view')} in {number_of(len(touched), 'entry', 'entries')}",
        "Views that can never be made again and are not waived.",
        (
            _views_part(known, "views", "views lost", lost),
            _entries_part(known, "entries", "entries", touched),
        ),
    )


def _waiting(known: Known) -> Metric:
    today = timezone.localdate(known.now)
    ages = [
        working_days(timezone.localdate(picture.handed_in_at), today)
        for picture in known.queue
        if picture.handed_in_at is not None
    ]
    rows = [
        Row(
            text=f"{known.numbers[picture.object_id]}: "
            f"{view_words(picture.technique, picture.face, picture.variant)}",
            href=reverse("deliverables:review", args=[picture.pk]),
            note=f"since {_day(picture.handed_in_at)}",
            status=Status.TO_REVIEW,
        )
        for picture in known.queue
    ]
    oldest = f", the oldest for {max(ages)} working days" if ages else ""
    return Metric(
        "to-review",
        "Waiting for review",
        f"{len(rows)}{oldest}",
        "Pictures handed in and not decided about.",
        (Part("pictures", "pictures", rows, "picture"),),
    )


def _waived(known: Known) -> Metric:
    views = {view.owed_view_id: view for view in known.counted}
    rows: dict[int, Row] = {}
    for waiver in known.waivers:
        row = _view_row(known, views[waiver.owed_view_id])
        names = " and ".join(
            person.name for person in (waiver.granted_by, waiver.co_signed_by) if person is not None
        )
        lapses = f", until {_day(waiver.lapses_at)}" if waiver.lapses_at else ""
        rows[waiver.pk] = Row(
            text=row.text,
            href=row.href,
            note=f"{waiver.get_reason_code_display()}, signed by {names}{lapses}: {waiver.text}",
            status=row.status,
        )
    present = [each for each in known.waivers if each.owed_view.anchor == Anchor.CUR]
    past = [each for each in known.waivers if each.owed_view.anchor != Anchor.CUR]
    lapsing = [
        each
        for each in known.waivers
        if each.lapses_at is not None and each.lapses_at <= known.now + known.periods.waivers_ahead
    ]
    by_reason: dict[str, list[Waiver]] = defaultdict(list)
    by_person: dict[tuple[str, int], list[Waiver]] = defaultdict(list)
    for each in known.waivers:
        by_reason[each.reason_code].append(each)
        for person in (each.granted_by, each.co_signed_by):
            if person is not None:
                by_person[person.name, person.pk].append(each)

    def part(key: str, label: str, chosen: Iterable[Waiver]) -> Part:
        one = label.replace("views", "view")
        return Part(key, label, [rows[each.pk] for each in chosen], one)

    return Metric(
        "waivers",
        "Waivers",
        f"{len(present)} present + {number_of(len(past), 'treatment view')}",
        "Views that somebody signed away, by reason and by who signed.",
        (
            part("present", "present views", present),
            part("treatment", "treatment views", past),
            part("lapsing", f"end within {known.periods.waivers_ahead.days} days", lapsing),
            *(
                part(f"reason-{code}", chosen[0].get_reason_code_display().lower(), chosen)
                for code, chosen in sorted(by_reason.items())
            ),
            *(
                part(f"by-{pk}", f"signed by {name}", chosen)
                for (name, pk), chosen in sorted(by_person.items())
            ),
        ),
    )


def _not_placed(known: Known) -> Metric:
    rows = [
        Row(
            text=frame.first_name,
            href=reverse("intake:sorting_table"),
            note=f"since {timezone.localtime(frame.received_at):%-d %b %Y, %H:%M}. "
            f"{frame.waiting_because}",
        )
        for frame in known.unplaced
    ]
    hours = [(known.now - frame.received_at).total_seconds() / 3600 for frame in known.unplaced]
    oldest = f", the oldest for {max(hours):.0f} hours" if hours else ""
    return Metric(
        "not-placed",
        "Files not placed",
        f"{len(rows)}{oldest}",
        "Files on the sorting table, of every catalogue: the program does not guess about them.",
        (Part("files", "files", rows, "file"),),
    )


def _by_status(known: Known) -> Metric:
    by_status: dict[str, list[ViewStatus]] = defaultdict(list)
    for view in known.views:
        by_status[view.status].append(view)
    return Metric(
        "by-status",
        "Views in force by status",
        f"{len(known.views)}",
        "Every view that counts for the catalogue, present and of treatments; each has exactly "
        "one status, and the parts add up to the whole.",
        tuple(
            _views_part(known, status.value.replace("_", "-"), "", by_status[status])
            for status in Status
            if by_status[status]
        ),
    )
