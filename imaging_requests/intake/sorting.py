"""Decide for each frame of a drop: its place, or why a person must look, with what is likely. Pure.

Frames are given to sessions, laid out in the order of time (`layout`), cut at slates (`segments`)
and compared with pictures (`likes`); what is left over meets what stays empty (`leftovers`).
Nothing is read or written here; `sheets` gathers the facts and `actions.sorting` stores what is
decided.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime, timedelta

from imaging_requests.intake.decisions import Decision, Timed, Why, as_proposal, wait
from imaging_requests.intake.guessing import guesses_of, proposal_of
from imaging_requests.intake.layout import (
    Base,
    Finding,
    Spot,
)
from imaging_requests.intake.leftovers import Found, Ground, Lying, find
from imaging_requests.intake.likes import AS_IT_IS, Said
from imaging_requests.intake.second_look import (
    borrow_times,
    is_doubtful_about,
    look_again,
    put_together,
)
from imaging_requests.intake.segments import Mark
from imaging_requests.intake.sessions import allot
from imaging_requests.intake.sheets import LineSheet, SessionSheet
from imaging_requests.intake.sorting_words import (
    guess_words,
    hour_words,
    no_session_words,
    no_time_words,
    outside_words,
    turned_words,
    two_sessions_words,
    why_doubtful,
)
from imaging_requests.intake.table import (
    Table,
    count_in,
    lay_session,
    marks_of,
    patterns_of,
    shot_of,
)
from imaging_requests.intake.taken_out import strangers_of


def decide(frames: Sequence[Timed], table: Table) -> list[Decision]:
    """Return one decision for every frame."""
    slates = [timed for timed in frames if timed.sheet.slate is not None]
    decisions = [_slate(timed, table) for timed in slates]
    decisions += [wait(each, Why.TWIN, each.sheet.twin) for each in frames if _is_twin(each)]
    rest = [each for each in frames if each.sheet.slate is None and not _is_twin(each)]
    broken = [each for each in rest if each.sheet.is_broken]
    decisions += [wait(each, Why.FAULT, " ".join(each.sheet.holds)) for each in broken]
    rest = [each for each in rest if not each.sheet.is_broken]
    marks = marks_of(slates, table)
    timely = [each for each in rest if each.is_sure and not each.sheet.is_other_object]
    allotted = allot(
        timely,
        table.sessions,
        marks,
        count=lambda session, some: count_in(session, some, table),
        limits=table.limits,
    )
    placed: list[Decision] = []
    doubtful: list[tuple[Timed, Why, str]] = []
    for session in table.sessions:
        own = allotted.by_session.get(session.session_id, [])
        lay_session(session, own, marks.get(session.session_id, ()), table)
        look_again(session, own, marks.get(session.session_id, ()), table)
    clockless = [*(each for each in rest if not each.is_sure), *allotted.outside]
    _look_a_second_time(clockless, allotted.by_session, marks, frames, table)
    for session in table.sessions:
        own = allotted.by_session.get(session.session_id, [])
        strange = strangers_of(own, table)
        if strange:
            own = [each for each in own if each.frame_id not in strange]
            lay_session(session, own, marks.get(session.session_id, ()), table)
            look_again(session, own, marks.get(session.session_id, ()), table)
        settled, unsettled = _judge_session(session, own, table)
        placed += [*strange.values(), *settled]
        doubtful += unsettled
    rest = [each for each in rest if each.frame_id not in table.borrowed]
    doubtful += [
        (each, Why.TIME, no_time_words(each, table.zone)) for each in rest if not each.is_sure
    ]
    doubtful += [
        _outside(each, table) for each in allotted.outside if each.frame_id not in table.borrowed
    ]
    doubtful += [
        (each, Why.SESSION, two_sessions_words(rivals)) for each, rivals in allotted.open_between
    ]
    others = [each for each in rest if each.is_sure and each.sheet.is_other_object]
    decisions += [wait(each, Why.OTHER_OBJECT, " ".join(each.sheet.holds)) for each in others]
    return [*decisions, *placed, *_meet_what_is_empty(doubtful, frames, table)]


def _look_a_second_time(
    clockless: Sequence[Timed],
    by_session: Mapping[int, list[Timed]],
    marks: Mapping[int, Sequence[Mark]],
    frames: Sequence[Timed],
    table: Table,
) -> None:
    """Let what lies for certain help what does not."""
    faces = put_together(frames, table)
    for session in table.sessions:
        own = by_session.get(session.session_id, [])
        if faces and is_doubtful_about(own, faces, table):
            lay_session(session, own, marks.get(session.session_id, ()), table)
            look_again(session, own, marks.get(session.session_id, ()), table)
    usable = [each for each in clockless if each.sheet.is_read and not each.sheet.holds]
    borrow_times(usable, by_session, marks, table)


def _is_twin(timed: Timed) -> bool:
    return bool(timed.sheet.twin) and timed.sheet.slate is None


def _slate(timed: Timed, table: Table) -> Decision:
    """Put a slate on the line that it names; it is never a view."""
    slate = timed.sheet.slate
    line = table.lines.get(slate.line_id) if slate is not None else None
    if slate is None or line is None or line.session_id != slate.session_id:
        return wait(
            timed,
            Why.SLATE,
            "This is a slate, but it names no open shot line of the sessions of this drop. Set it "
            "aside, or bring the files for the session that it names.",
        )
    return Decision(
        timed.frame_id,
        slate.shown_at or timed.at,
        spot=Spot(line.line_id, 0, 0, 0, 0.0),
        evidence="the code on the slate names session and line",
        is_slate=True,
    )


def _judge_session(
    session: SessionSheet, frames: Sequence[Timed], table: Table
) -> tuple[list[Decision], list[tuple[Timed, Why, str]]]:
    """Return what is decided in a session, and the frames that are left over."""
    lines = {line.line_id: line for line in session.lines}
    findings = {
        each.frame_id: table.findings[each.frame_id]
        for each in frames
        if each.frame_id in table.findings
    }
    laid = [each for each in frames if each.frame_id in findings]
    slow = _slow_brackets(laid, findings, lines, table)
    guesses = guesses_of(laid, findings, lines, table.limits)
    filled = frozenset(finding.spot for finding in findings.values() if finding.spot is not None)
    decided = [
        wait(each, Why.TOO_MANY, _too_many_words(table.too_many[each.frame_id]))
        for each in frames
        if each.frame_id in table.too_many
    ]
    left: list[tuple[Timed, Why, str]] = []
    for timed in laid:
        finding, sheet = findings[timed.frame_id], timed.sheet
        if not sheet.is_read:
            decided.append(Decision(timed.frame_id, timed.at))
            continue
        likely = proposal_of(timed, finding, guesses.get(timed.frame_id), lines, table.limits)
        turn = table.said.get(timed.frame_id, Said()).turn
        if finding.spot is None:
            why, because = why_doubtful(sheet, finding, lines, filled)
            if finding.options or sheet.holds or turn:
                decided.append(_held(timed, why, because, turn, likely))
            else:
                left.append((timed, why, because))
        elif timed.frame_id in slow:
            decided.append(wait(timed, Why.SLOW, slow[timed.frame_id], likely))
        elif sheet.holds or turn:
            decided.append(_held(timed, Why.FAULT, "", turn, likely))
        else:
            decided.append(_placed(timed, finding.spot, table))
    return decided, left


def _placed(timed: Timed, spot: Spot, table: Table) -> Decision:
    if timed.frame_id in table.borrowed:
        words = "its picture is that of the frames beside it, whose time was taken for it"
        return Decision(timed.frame_id, timed.at, spot=spot, evidence=words)
    return Decision(timed.frame_id, timed.at, spot=spot)


def _held(
    timed: Timed, why: Why, because: str, turn: str, likely: Sequence[dict[str, object]]
) -> Decision:
    """Let a frame wait for what its checks or its turn say, and for what else is doubtful."""
    turned = [turned_words(turn)] if turn != AS_IT_IS else []
    words = " ".join([*timed.sheet.holds, *turned, *([because] if because else [])])
    kind = Why.TURNED if turned else Why.FAULT if timed.sheet.holds else why
    return wait(timed, kind, words, likely)


def _too_many_words(number: int) -> str:
    return (
        f"These {number} frames fit the open lines in too many ways to be told apart. "
        "Name the shot line in a drop of its own, or place them by hand."
    )


def _outside(timed: Timed, table: Table) -> tuple[Timed, Why, str]:
    at = timed.at
    if at is None:
        return timed, Why.TIME, no_time_words(timed, table.zone)
    if table.is_for_one_session and table.sessions:
        return timed, Why.CLOCK, outside_words(at, table.sessions[0])
    return timed, Why.SESSION, no_session_words(at, table.zone)


def _meet_what_is_empty(
    doubtful: Sequence[tuple[Timed, Why, str]],
    frames: Sequence[Timed],
    table: Table,
) -> list[Decision]:
    """Compare what is left over with the places that stay empty; place what leaves no doubt."""
    unread = [each for each, _, _ in doubtful if not each.sheet.is_read]
    read = [(each, why, words) for each, why, words in doubtful if each.sheet.is_read]
    ground = _ground(frames, table)
    patterns = patterns_of([each for each, _, _ in read if each.frame_id not in table.said])
    table.said.update(table.pictures.say(patterns, list(table.lines.values())))
    found = find(
        [(each, replace(shot_of(each, Said()), likes={})) for each, _, _ in read],
        {each.frame_id: table.said.get(each.frame_id, Said()) for each, _, _ in read},
        ground,
    )
    return [
        *(Decision(each.frame_id, each.at) for each in unread),
        *(
            _last(each, why, words, found[each.frame_id], table=table, ground=ground)
            for each, why, words in read
        ),
    ]


def _ground(frames: Sequence[Timed], table: Table) -> Ground:
    """Gather what lies for certain; a place that a doubtful frame may have is not open."""
    by_id = {each.frame_id: each for each in frames}
    lying, taken = list(table.lying), set[Spot]()
    for frame_id, finding in table.findings.items():
        taken.update(finding.options)
        timed = by_id[frame_id]
        if finding.spot is None or timed.at is None:
            continue
        taken.add(finding.spot)
        turned = table.said.get(frame_id, Said()).turn != AS_IT_IS
        pattern = None if turned or timed.sheet.holds else timed.sheet.pattern
        lying.append(Lying(finding.spot, timed.at, pattern, _base(timed, finding.spot)))
    free = [spot for line in table.lines.values() for spot in line.layout.free]
    return Ground(
        list(table.lines.values()),
        lying,
        [spot for spot in free if spot not in taken],
        table.pictures,
        table.limits,
    )


def _base(timed: Timed, spot: Spot) -> Base | None:
    exif, amount = timed.sheet.exif, timed.sheet.amount_ev
    if amount is None or exif is None:
        return None
    return Base(round(amount - spot.ev, 2), exif.f_number, exif.iso)


def _last(
    timed: Timed, why: Why, because: str, found: Found, *, table: Table, ground: Ground
) -> Decision:
    """Decide what the clock could not: by the picture, or let it wait with the best guesses."""
    turn = table.said.get(timed.frame_id, Said()).turn
    guesses = found.guesses
    likely = [
        as_proposal(guess.spot, guess_words(guess, leads=not place))
        for place, guess in enumerate(guesses)
    ]
    if timed.sheet.holds or turn:
        return _held(timed, why, because, turn, likely)
    if found.is_sure and guesses[0].at is not None:
        return Decision(
            timed.frame_id,
            guesses[0].at,
            spot=guesses[0].spot,
            evidence=(
                "its picture shows this place and no other; its clock does not say when, so the "
                "time is that of its neighbours"
            ),
        )
    if found.hours_off:
        return wait(timed, Why.CLOCK, f"{because} {hour_words(found, table.lines)}", likely)
    other = table.pictures.names_other(timed.sheet.pattern, _expected_objects(timed, ground))
    if other is not None:
        name = table.names.get(other, "another object")
        words = f"It looks like {name}, for which no place is open here. {because}"
        return wait(timed, Why.OTHER_OBJECT, words, likely)
    return wait(timed, why, because, likely)


def _expected_objects(timed: Timed, ground: Ground) -> frozenset[int]:
    """Return the objects of the frames before and after in time; without a time, of all lines."""
    at = timed.at
    if at is None or not ground.lying:
        return frozenset(line.object_id for line in ground.lines)
    near = sorted(ground.lying, key=lambda each: abs(each.at - at))[:2]
    return frozenset(ground.by_line[each.spot.line_id].object_id for each in near)


def _slow_brackets(
    frames: Sequence[Timed],
    findings: Mapping[int, Finding],
    lines: Mapping[int, LineSheet],
    table: Table,
) -> dict[int, str]:
    """Return frames of brackets that took too long, each with the sentence that says so.

    What lies on the line already counts: a late frame fills no gap of an earlier bracket.
    """
    lying: dict[tuple[int, int, int, int], list[datetime]] = defaultdict(list)
    for each in table.lying:
        place = each.spot
        lying[place.line_id, place.tile_y, place.tile_x, place.focus_slice].append(each.at)
    together: dict[tuple[int, int, int, int], list[Timed]] = defaultdict(list)
    for timed in frames:
        spot = findings[timed.frame_id].spot
        if spot is not None and lines[spot.line_id].layout.is_bracket:
            together[spot.line_id, spot.tile_y, spot.tile_x, spot.focus_slice].append(timed)
    slow: dict[int, str] = {}
    for tile, members in together.items():
        instants = [timed.instant.at for timed in members if timed.instant is not None]
        instants += lying[tile]
        most_min = table.limits.bracket_span_min(lines[tile[0]].technique)
        span = max(instants) - min(instants)
        if span <= timedelta(minutes=most_min):
            continue
        for timed in members:
            slow[timed.frame_id] = (
                f"The exposures of this tile were taken over {span.total_seconds() / 60:.0f} "
                f"minutes; {most_min:g} are allowed, since light and object may have changed. "
                "Shoot the bracket again, or place these frames by hand."
            )
    return slow
