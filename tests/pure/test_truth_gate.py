"""Gates: what must be accepted before a step may start."""

from __future__ import annotations

from zoneinfo import ZoneInfo

from imaging_requests.reckoning.truth.facts import Event
from imaging_requests.reckoning.truth.gate import Gate, GateState, gate, scope_of, with_event
from imaging_requests.reckoning.truth.moment import look
from imaging_requests.reckoning.truth.waiting import say_gate
from imaging_requests.reckoning.truth.words import Speech
from tests.pure.truth_story import (
    CANVAS,
    LATER,
    TABLES,
    Anchor,
    Override,
    Status,
    Story,
    day,
)

SPEECH = Speech(TABLES, ZoneInfo("Europe/London"), {})
NOW = "2026-04-16"


def ask(story: Story, event: Event, t: str = NOW) -> Gate:
    moment = story.at(t)
    return gate(moment, event, scope_of(moment.views))


def missing(answer: Gate) -> set[str]:
    return {
        f"{m.line.technique}-{m.line.surface}-{m.line.variant}".rstrip("-") for m in answer.missing
    }


def canvas() -> Story:
    story = Story()
    story.owe(*CANVAS)
    return story


def test_a_first_step_needs_every_view_that_any_planned_step_changes_hides_or_destroys() -> None:
    story = canvas()
    event = story.step(1, step=1)
    assert missing(ask(story, event)) == {"VF-F.1", "VC-F.1", "UV-F.1"}
    story.step(11, step=2)
    assert missing(ask(story, event)) == {
        "VF-F.1",
        "VC-F.1",
        "UV-F.1",
        "RK-F.1-L",
        "RK-F.1-T",
        "XR-T.1",
        "VF-B.1",
        "RK-B.1-L",
        "UV-B.1",
    }


def test_a_dropped_step_and_a_step_of_another_phase_ask_for_nothing() -> None:
    story = canvas()
    event = story.step(1, step=1, phase=1)
    dropped = story.step(11, step=2, phase=1)
    story.correct(dropped, "2026-04-01", dropped_at=day("2026-04-01"))
    story.step(11, step=3, phase=2)
    assert missing(ask(story, event)) == {"VF-F.1", "VC-F.1", "UV-F.1"}


def test_an_examination_may_always_start() -> None:
    story = canvas()
    assert ask(story, story.step(30, step=1)).state is GateState.OPEN


def test_accepted_is_enough_and_filed_is_not_needed() -> None:
    story = canvas()
    event = story.step(1, step=1)
    for code in ("VF-F", "VC-F", "UV-F"):
        story.picture(code, "2026-02-01", filed=None)
    assert ask(story, event).state is GateState.OPEN


def test_an_undecided_picture_keeps_the_gate_shut() -> None:
    story = canvas()
    for code in CANVAS:
        story.picture(code, "2026-01-01")
    story.step(7, "2026-02-01", treatment="T0", step=1)
    for code in ("VF-F", "VC-F", "UV-F"):
        story.picture(code, "2026-02-10")
    event = story.step(2, step=1)
    answer = ask(story, event)
    assert missing(answer) == {"RK-F.1-L", "RK-F.1-T"}
    assert {m.status.status for m in answer.missing} == {Status.UNDECIDED}


def test_a_last_look_waiver_needs_a_conservator_and_the_lead_two_different_people() -> None:
    story = canvas()
    event = story.step(2, step=1)
    for code in CANVAS:
        if code != "UV-F":
            story.picture(code, "2026-02-01")
    story.owe("UV-F", anchor=Anchor.before("T"), prefix="BT ")
    assert missing(ask(story, event)) == {"UV-F.1"}
    for number, (conservator, lead) in enumerate((("", "Signe"), ("Signe", "Signe"))):
        story.waive("BT UV-F", f"2026-03-0{number + 1}", conservator=conservator, lead=lead)
        assert ask(story, event).state is GateState.SHUT
    story.waive("BT UV-F", "2026-03-09", conservator="Runa", lead="Signe")
    assert ask(story, event).state is GateState.OPEN


def test_a_waiver_told_for_the_whole_treatment_counts_for_its_first_phase_only() -> None:
    story = canvas()
    first = story.step(1, step=1, phase=1)
    second = story.step(6, step=2, phase=2)
    for code in CANVAS:
        if code != "VC-F":
            story.picture(code, "2026-02-01")
    story.owe("VC-F", anchor=Anchor.before("T"), prefix="BT ")
    story.waive("BT VC-F", "2026-03-01", lead="Signe")
    assert ask(story, first).state is GateState.OPEN
    story.correct(first, "2026-04-02", started_at=day("2026-04-01"), ended_at=day("2026-04-02"))
    assert missing(ask(story, second)) == {"VF-F.1", "VC-F.1", "UV-F.1"}


def test_an_ordinary_waiver_needs_the_lead_alone() -> None:
    story = canvas()
    event = story.step(1, step=1)
    for code in ("VF-F", "UV-F"):
        story.picture(code, "2026-02-01")
    story.owe("VC-F", anchor=Anchor.before("T"), prefix="BT ")
    story.waive("BT VC-F", "2026-03-01", lead="Signe")
    assert ask(story, event).state is GateState.OPEN


def test_a_later_step_needs_its_own_last_look_as_before_treatment_or_after_a_step_done() -> None:
    story = canvas()
    story.step(1, "2026-03-02", step=1)
    event = story.step(2, step=2)
    assert missing(ask(story, event)) == {"UV-F.1"}
    story.picture("UV-F", "2026-03-10")
    assert ask(story, event).state is GateState.OPEN
    story.told["pictures"].clear()
    story.picture("UV-F", "2026-02-01")
    answer = ask(story, event)
    assert (answer.state, answer.is_first_step) == (GateState.OPEN, False)


def test_infrared_before_retouching_must_show_the_cleaned_state() -> None:
    story = canvas()
    story.picture("IR-F", "2026-02-01")
    story.step(3, "2026-03-02", step=1)
    event = story.step(6, step=2)
    answer = ask(story, event)
    assert missing(answer) == {"IR-F.1"}
    assert answer.missing[0].note == "of the cleaned state, before retouching"
    story.picture("IR-F", "2026-03-10")
    assert ask(story, event).state is GateState.OPEN


def test_infrared_before_retouching_is_asked_for_at_once_if_retouching_comes_first() -> None:
    story = canvas()
    event = story.step(6, step=1)
    answer = ask(story, event)
    assert missing(answer) == {"VF-F.1", "VC-F.1", "UV-F.1", "IR-F.1"}
    assert {m.is_last_look for m in answer.missing if m.line.technique == "IR"} == {True}


def test_relining_needs_the_bared_back_as_seen_in_its_window() -> None:
    story = Story(layers=("F.1", "B.1", "B.2", "E.1", "T.1"))
    story.owe("VF-F", "XR")
    back = ("VF-B", "RK-B-L", "UV-B")
    story.owe(*back, surface="B.2")
    story.owe(*back, "IR-B", anchor=Anchor.in_window("B.1", opened_by="off"), prefix="WIN ")
    story.picture("VF-B", "2019-01-01", surface="B.1")
    first = story.step(12, step=1, key="off")
    answer = ask(story, first)
    assert missing(answer) == {"XR-T.1", "VF-B.2"}
    story.correct(first, "2026-03-02", started_at=day("2026-03-01"), ended_at=day("2026-03-02"))
    event = story.step(11, step=2)
    answer = ask(story, event)
    assert missing(answer) == {"VF-B.1", "RK-B.1-L", "UV-B.1", "IR-B.1"}
    for code in (*back, "IR-B"):
        story.picture(code, "2026-03-05", surface="B.1")
    assert ask(story, event).state is GateState.OPEN


def test_relining_asks_for_the_present_window_and_not_for_an_earlier_one() -> None:
    story = Story()
    story.owe("VF-B")
    story.picture("VF-B", "2025-01-01")
    story.step(11, "2025-02-01", treatment="T0", step=1)
    story.step(12, "2026-03-02", step=1)
    event = story.step(11, step=2)
    answer = ask(story, event)
    assert missing(answer) == {"VF-B.1"}
    windows = [m.status for m in answer.missing if m.status.view.anchor.surface == "B.1"]
    assert [status.status for status in windows] == [Status.UNDECIDED]
    story.picture("VF-B", "2026-03-05")
    assert ask(story, event).state is GateState.OPEN


def test_work_on_the_back_of_a_two_sided_object_needs_the_views_of_the_back() -> None:
    story = Story(two_sided=True)
    story.owe("VF-F", "UV-F", "VF-B", "UV-B")
    event = story.step(2, step=1, face="B")
    assert missing(ask(story, event)) == {"VF-B.1", "UV-B.1"}


def test_a_step_that_nobody_planned_is_answered_like_a_planned_one() -> None:
    story = canvas()
    for code in ("VF-F", "VC-F", "UV-F"):
        story.picture(code, "2026-02-01")
    first = story.step(1, step=1)
    assert ask(story, first).state is GateState.OPEN
    added = Event(
        key="new", recorded_at=day(NOW), order=99, row=2, table_version=1, treatment="T", step=2
    )
    moment = story.at(NOW)
    assert missing(gate(moment, added, scope_of(moment.views))) == {"RK-F.1-L", "RK-F.1-T"}
    moment = look(with_event(story.case(), added), TABLES, t=day(NOW), u=LATER)
    assert missing(gate(moment, first, scope_of(moment.views))) == {"RK-F.1-L", "RK-F.1-T"}


def override(event: Event, **more: object) -> Override:
    return Override(
        key="o",
        recorded_at=day("2026-04-15"),
        event=event.key,
        at=day("2026-04-15"),
        conservator="Tibor",
        **more,
    )


def test_an_emergency_starts_against_a_shut_gate_and_what_is_missing_stays_listed() -> None:
    story = canvas()
    event = story.step(8, step=1)
    story.tell(
        "overrides", override(event, witness="Hale", witness_named_at=day("2026-04-15 20:00"))
    )
    answer = ask(story, event, "2026-04-20")
    assert answer.state is GateState.OVERRIDDEN
    assert missing(answer) == {"RK-F.1-L", "RK-F.1-T", "UV-F.1"}
    assert say_gate(answer, SPEECH).startswith(
        "“Local flake laying / consolidation” was started in an emergency; 3 views are missing:"
    )
    assert ask(story, event, "2026-04-14").state is GateState.SHUT


def test_an_emergency_without_a_second_name_within_a_day_does_not_count() -> None:
    for witness, named in (
        ("", None),
        ("Tibor", "2026-04-15 20:00"),
        ("Hale", "2026-04-17 20:00"),
    ):
        story = canvas()
        event = story.step(8, step=1)
        named_at = day(named) if named else None
        story.tell("overrides", override(event, witness=witness, witness_named_at=named_at))
        assert ask(story, event, "2026-04-16 11:00").state is GateState.OVERRIDDEN
        assert ask(story, event, "2026-04-18").state is GateState.SHUT
