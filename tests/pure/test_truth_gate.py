"""Gates: what must be accepted before a step may start."""

from __future__ import annotations

from dataclasses import replace
from zoneinfo import ZoneInfo

from imaging_requests.reckoning.truth.facts import Event, NotApplicable
from imaging_requests.reckoning.truth.gate import Gate, GateState, gate, scope_of, with_event
from imaging_requests.reckoning.truth.moment import look
from imaging_requests.reckoning.truth.terms import Effect
from imaging_requests.reckoning.truth.waiting import say_gate, say_missing
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


def test_after_an_emergency_the_gate_names_the_anchor_that_is_still_possible() -> None:
    story = canvas()
    story.owe("UV-F", anchor=Anchor.before("T"), prefix="BT ")
    story.step(1, "2026-04-02", step=1, label="soot taken off")
    event = story.step(2, step=2)
    (found,) = ask(story, event).missing
    assert (found.status.status, found.status.view.anchor) == (
        Status.OPEN,
        Anchor.during("T", step=1),
    )
    assert [each.view.key for each in found.lost] == ["BT UV-F"]
    assert (found.owed_key, found.waivable_key) == ("UV-F", "BT UV-F")
    assert say_missing(found, SPEECH) == (
        "UV of the front after step 1 of treatment T is open; needed because of: varnish thinned "
        "or removed. It is lost before treatment T, but this one is still possible and would do. "
        "It can never be made again afterwards; a waiver needs conservator and lead."
    )
    story.picture("UV-F", "2026-04-10")
    assert ask(story, event).state is GateState.OPEN


def test_of_several_past_states_the_gate_names_the_one_that_lasts() -> None:
    story = canvas()
    story.owe("UV-F", anchor=Anchor.before("T"), prefix="BT ")
    for step in (1, 2):
        story.step(1, f"2026-04-0{step}", step=step)
    event = story.step(2, step=3)
    (found,) = ask(story, event).missing
    assert found.status.view.anchor == Anchor.during("T", step=2)
    lost = [each.view.anchor for each in found.lost]
    assert lost == [Anchor.before("T"), Anchor.during("T", step=1)]


def test_a_picture_under_way_comes_before_one_that_is_not_begun() -> None:
    story = canvas()
    story.owe("UV-F", anchor=Anchor.before("T"), prefix="BT ")
    story.picture("UV-F", "2026-03-01", accepted=None, handed_in="2026-03-02")
    story.step(30, "2026-04-02", step=1)
    (found,) = ask(story, story.step(2, step=2)).missing
    assert (found.status.status, found.lost) == (Status.TO_REVIEW, ())


def test_a_step_is_judged_by_the_table_in_force_when_it_begins() -> None:
    """Version 2, of 10 April, says that taking varnish off leaves the raking light true."""
    row = TABLES[1].rows[2]
    milder = replace(row, cells={**row.cells, "RK-F": Effect.VALID})
    tables = {1: TABLES[1], 2: replace(TABLES[1], version=2, rows={**TABLES[1].rows, 2: milder})}
    published = ((day("2026-01-01"), 1), (day("2026-04-10"), 2))
    story = canvas()
    plan = story.step(2, step=1)

    def needs(t: str, known: str = NOW) -> tuple[int, bool]:
        moment = look(replace(story.case(), published=published), tables, t=day(t), u=day(known))
        (event,) = moment.events
        answer = gate(moment, event, scope_of(moment.views))
        effect = moment.effect(event, "F.1", "RK")
        assert (effect is Effect.VALID) == (event.table_version == 2)
        return event.table_version, "RK-F.1-L" in missing(answer)

    assert needs("2026-04-09") == (1, True)
    assert needs("2026-04-10") == (2, False)
    assert needs("2026-04-10", known="2026-04-09") == (1, True), "nobody knew of it yet"
    story.correct(plan, "2026-04-09", started_at=day("2026-04-09"), ended_at=day("2026-04-14"))
    assert needs(NOW)[0] == 1, "begun before it was published, so never judged by it"
    story.correct(plan, "2026-04-11", started_at=day("2026-04-11"), ended_at=day("2026-04-14"))
    assert needs(NOW)[0] == 2


def test_a_table_that_left_out_the_row_of_a_step_does_not_judge_it() -> None:
    rows = {number: row for number, row in TABLES[1].rows.items() if number != 2}
    tables = {1: TABLES[1], 2: replace(TABLES[1], version=2, rows=rows)}
    story = canvas()
    story.step(2, step=1)
    published = ((day("2026-01-01"), 1), (day("2026-04-10"), 2))
    moment = look(replace(story.case(), published=published), tables, t=day(NOW), u=day(NOW))
    assert [event.table_version for event in moment.events] == [1]


def lined_back(scope: tuple[str, ...] = ("VF-B", "RK-B-L", "UV-B", "IR-B")) -> Story:
    """A lined painting; its documentation asks for the back before, and while it is bare."""
    story = Story(layers=("F.1", "B.1", "B.2", "E.1", "T.1"))
    story.owe(*scope, surface="B.2", anchor=Anchor.before("T"), prefix="BT ")
    story.owe(*scope, surface="B.1", anchor=Anchor.in_window("B.1", opened_by="off"), prefix="WIN ")
    return story


def test_a_step_behind_a_lining_that_is_coming_off_waits_for_the_bared_back() -> None:
    story = lined_back()
    story.picture("VF-B", "2026-03-01", surface="B.2")
    off = story.step(12, started="2026-04-10", step=1, key="off", label="lining removed")
    residue = story.step(13, step=2)
    answer = ask(story, residue)
    assert answer.state is GateState.SHUT, "the back of the lining is not what it will work on"
    assert missing(answer) == {"VF-B.1"}
    (found,) = answer.missing
    assert found.status.status is Status.BLOCKED
    assert found.bared_by is not None
    assert "It comes to light with “lining removed”, which is under way." in say_missing(
        found, SPEECH
    )
    assert found.waivable_key == "WIN VF-B"
    story.correct(off, "2026-04-12", ended_at=day("2026-04-12"))
    assert missing(ask(story, residue)) == {"VF-B.1"}
    story.picture("VF-B", "2026-04-13", surface="B.1")
    assert ask(story, residue).state is GateState.OPEN


def test_a_step_that_is_taken_before_its_turn_is_judged_on_what_lies_there_now() -> None:
    story = lined_back()
    story.step(30, "2026-04-02", step=1)
    story.step(12, step=2, key="off")
    label = story.step(24, step=3)
    story.picture("VF-B", "2026-03-01", surface="B.2")
    for code in ("VF-B", "UV-B", "IR-B"):
        story.picture(code, "2019-03-01", surface="B.1")
    assert missing(ask(story, label)) == {"UV-B.2", "IR-B.2"}, "the lining is still on"
    for code in ("UV-B", "IR-B"):
        story.picture(code, "2026-03-01", surface="B.2")
    assert ask(story, label).state is GateState.OPEN


def test_the_first_step_of_a_relining_asks_nothing_of_steps_that_come_when_its_back_is_gone() -> (
    None
):
    story = lined_back()
    first = story.step(12, step=1, key="off")
    story.step(13, step=2)
    story.step(11, step=3)
    answer = ask(story, first)
    assert missing(answer) == {"VF-B.2"}
    assert [step.row for step in answer.missing[0].steps] == [12]


def test_a_view_is_listed_once_and_what_is_signed_by_two_opens_the_gate() -> None:
    story = lined_back()
    story.step(12, "2026-04-02", step=1, key="off")
    story.step(13, "2026-04-04", step=2)
    lining = story.step(11, step=3)
    answer = ask(story, lining)
    assert len(answer.missing) == 4
    assert missing(answer) == {"VF-B.1", "RK-B.1-L", "UV-B.1", "IR-B.1"}
    assert all(found.is_last_look for found in answer.missing)
    assert {found.waivable_key for found in answer.missing} == {
        "WIN VF-B",
        "WIN RK-B-L",
        "WIN UV-B",
        "WIN IR-B",
    }
    lost = {each.view.anchor for found in answer.missing for each in found.lost}
    assert Anchor.before("T") not in lost, "it could not be seen before treatment"
    for found in answer.missing:
        story.waive(found.waivable_key, "2026-04-05", lead="Signe")
    answer = ask(story, lining)
    assert len(answer.missing) == 4, "a last look needs two names"
    assert say_missing(answer.missing[0], SPEECH).endswith(
        "It is waived with one signature; as a last look it needs a second one."
    )
    for found in answer.missing:
        story.waive(found.waivable_key, "2026-04-06", lead="Signe", conservator="Runa")
    assert ask(story, lining).state is GateState.OPEN


def test_retouching_waits_for_the_cleaned_state_while_the_cleaning_is_under_way() -> None:
    story = canvas()
    story.picture("IR-F", "2026-02-01")
    story.step(3, started="2026-04-10", step=1)
    assert missing(ask(story, story.step(6, step=2))) == {"IR-F.1"}


def test_a_last_look_outside_the_documentation_is_told_although_it_shuts_no_gate() -> None:
    story = Story()
    story.owe("IR-F", anchor=Anchor.before("T"))
    story.picture("IR-F", "2026-02-01")
    overpaint = story.step(3, step=1)
    answer = ask(story, overpaint)
    assert (answer.state, answer.unasked) == (GateState.OPEN, (("F.1", "VF"), ("F.1", "UV")))
    story.picture("VC-F", "2026-02-01")
    story.picture("UV-F", "2026-02-01", accepted=None)
    assert ask(story, overpaint).unasked == (("F.1", "UV"),), "one visible picture will do"
    joint = story.step(20, step=2)
    assert ask(story, joint).unasked == ()


def before_overpaint() -> tuple[Story, Event]:
    """Overpaint is to come off; nothing is pictured but infrared, all is owed before."""
    story = Story()
    story.owe("VF-F", "VC-F", "UV-F", "IR-F", anchor=Anchor.before("T"), prefix="BT ")
    for code in ("VF-F", "VC-F", "IR-F"):
        story.picture(code, "2026-02-01")
    return story, story.step(3, step=1)


def replace_by(story: Story, key: str, by: str) -> None:
    story.told["views"] = [
        replace(view, replaced_by=by, replaced_at=day("2026-03-01")) if view.key == key else view
        for view in story.told["views"]
    ]


def test_a_last_look_replaced_by_another_view_is_not_met_by_the_link_alone() -> None:
    story, event = before_overpaint()
    story.owe("VF-B", anchor=Anchor.before("T"), prefix="BT ")
    replace_by(story, "BT UV-F", "BT VF-B")
    answer = ask(story, event)
    assert (answer.state, missing(answer)) == (GateState.SHUT, {"UV-F.1"})
    (found,) = answer.missing
    said = say_missing(found, SPEECH)
    assert "In its place stands visible light (flash) of the back, which is open" in said
    assert found.waivable_key == "BT UV-F"
    story.picture("VF-B", "2026-02-01")
    answer = ask(story, event)
    assert missing(answer) == {"UV-F.1"}, "a picture of the back shows no varnish of the front"
    assert "which does not show what is lost" in say_missing(answer.missing[0], SPEECH)
    story.waive("BT UV-F", "2026-03-02", lead="Signe")
    assert ask(story, event).state is GateState.SHUT, "one signature is not enough"
    story.waive("BT UV-F", "2026-03-03", lead="Signe", conservator="Runa")
    assert ask(story, event).state is GateState.OPEN


def test_a_replaced_view_is_met_by_the_end_of_its_chain_as_of_the_state_that_is_asked() -> None:
    story, event = before_overpaint()
    story.picture("UV-F", "2026-02-01")
    story.told["pictures"] = [p for p in story.told["pictures"] if p.technique != "VC"]
    assert missing(ask(story, event)) == {"VC-F.1"}
    story.owe("VF-F")
    replace_by(story, "BT VC-F", "VF-F")
    answer = ask(story, event)
    assert answer.state is GateState.OPEN, "flash and continuous light are one column"
    assert say_gate(answer, SPEECH).endswith("accepted, waived or replaced by one that is.")
    story.step(1, "2026-04-01", treatment="T0", step=1)
    assert missing(ask(story, event)) == {"VF-F.1", "VC-F.1", "UV-F.1"}
    replace_by(story, "VF-F", "BT VC-F")
    assert "VC-F.1" in missing(ask(story, event)), "a circle meets nothing"


def test_a_detail_or_a_coarser_view_does_not_stand_for_a_last_look() -> None:
    for variant, px_per_mm, state in (
        ("detail 1", 24.0, GateState.SHUT),
        ("", 3.0, GateState.SHUT),
        ("", 24.0, GateState.OPEN),
    ):
        story, event = before_overpaint()
        story.owe("UV-F", prefix="now ")
        story.told["views"] = [
            replace(view, variant=variant, px_per_mm=px_per_mm) if view.key == "now UV-F" else view
            for view in story.told["views"]
        ]
        replace_by(story, "BT UV-F", "now UV-F")
        story.picture("UV-F", "2026-02-01")
        story.told["pictures"] = [
            replace(p, variant=variant, px_per_mm=px_per_mm) if p.technique == "UV" else p
            for p in story.told["pictures"]
        ]
        assert ask(story, event).state is state, (variant, px_per_mm)


def rule_out(story: Story, key: str, *, by_rule: bool = False) -> None:
    story.tell(
        "not_applicable",
        NotApplicable(
            key=f"na {key}",
            recorded_at=day("2026-03-01"),
            view=key,
            starts_at=day("2026-03-01"),
            reason="not wanted",
            by_rule=by_rule,
        ),
    )


def test_a_last_look_that_does_not_apply_still_needs_its_picture_or_two_signatures() -> None:
    for by_rule in (False, True):
        story, event = before_overpaint()
        rule_out(story, "BT UV-F", by_rule=by_rule)
        answer = ask(story, event)
        assert (answer.state, missing(answer)) == (GateState.SHUT, {"UV-F.1"})
        said = say_missing(answer.missing[0], SPEECH)
        assert "is not applicable; needed because of: overpaint removed" in said
        assert "That it does not apply is no reason to lose a last look." in said
        story.waive("BT UV-F", "2026-03-02", lead="Signe")
        assert ask(story, event).state is GateState.SHUT
        signed, _ = before_overpaint()
        rule_out(signed, "BT UV-F", by_rule=by_rule)
        signed.waive("BT UV-F", "2026-03-03", lead="Signe", conservator="Runa")
        assert ask(signed, event).state is GateState.OPEN
        story.picture("UV-F", "2026-03-04")
        assert ask(story, event).state is GateState.OPEN, "the picture was made all the same"


def test_a_view_that_can_be_made_again_may_be_ruled_out_by_the_lead() -> None:
    story = Story()
    story.owe("VF-F", "UV-F", anchor=Anchor.before("T"), prefix="BT ")
    story.picture("VF-F", "2026-02-01")
    cleaning = story.step(1, step=1)
    assert missing(ask(story, cleaning)) == {"UV-F.1"}
    rule_out(story, "BT UV-F")
    answer = ask(story, cleaning)
    assert answer.state is GateState.OPEN
    assert say_gate(answer, SPEECH).endswith("accepted, waived or not applicable.")


def test_work_under_a_facing_needs_the_last_look_taken_before_it_was_put_on() -> None:
    story = Story()
    story.step(9, "2026-02-10", treatment="T8", step=1)
    story.owe("VF-F", "UV-F", "IR-F", anchor=Anchor.before("T"), prefix="BT ")
    for code in ("VF-F", "UV-F"):
        story.picture(code, "2026-02-01")
    overpaint = story.step(3, step=1)
    answer = ask(story, overpaint)
    assert (answer.state, missing(answer)) == (GateState.SHUT, {"IR-F.1"})
    assert answer.missing[0].is_last_look
    story.picture("IR-F", "2026-02-02")
    assert ask(story, overpaint).state is GateState.OPEN


def test_work_behind_a_board_needs_the_last_look_taken_before_it_was_fitted() -> None:
    story = Story()
    story.owe("VF-B", anchor=Anchor.before("T"), prefix="BT ")
    story.step(25, "2026-03-01", step=1, puts_on=True)
    cleaning = story.step(23, step=2)
    assert missing(ask(story, cleaning)) == {"VF-B.1"}
    story.picture("VF-B", "2026-02-01")
    assert ask(story, cleaning).state is GateState.OPEN


def test_what_is_asked_of_a_face_is_asked_of_what_an_emergency_brought_there() -> None:
    story = Story()
    story.owe("VF-B", anchor=Anchor.before("T"), prefix="BT ")
    lining = story.step(11, started="2026-04-10", step=1)
    cleaning = story.step(23, step=2)
    (found,) = ask(story, cleaning).missing
    assert (found.line.surface, found.is_last_look) == ("B.2", True)
    assert "It comes to light with “lining applied”, which is under way." in say_missing(
        found, SPEECH
    )
    story.correct(lining, "2026-04-12", ended_at=day("2026-04-12"))
    answer = ask(story, cleaning)
    assert (missing(answer), answer.unasked) == ({"VF-B.2"}, ())
    story.picture("VF-B", "2026-04-13", surface="B.2")
    assert ask(story, cleaning).state is GateState.OPEN


def test_a_lining_that_is_learnt_of_late_was_there_when_the_treatment_began() -> None:
    story = Story()
    story.facts.append(
        replace(
            story.facts[0],
            key="lined",
            recorded_at=day("2026-04-15"),
            valid_from=day("2026-04-15"),
            layers=("F.1", "B.1", "B.2", "E.1", "T.1"),
        )
    )
    story.owe("VF-B", surface="B.2", anchor=Anchor.before("T"), prefix="BT ")
    story.step(30, "2026-04-10", step=1)
    lining_off = story.step(12, step=2)
    answer = ask(story, lining_off)
    assert missing(answer) == {"VF-B.2"}
    assert answer.missing[0].waivable_key == "BT VF-B"
    story.picture("VF-B", "2026-04-09", surface="B.2")
    assert ask(story, lining_off).state is GateState.OPEN
    assert story.at("2026-04-09").layers[1:3] == ("B.1", "B.2")
    assert story.at("2026-04-09", known="2026-04-14").layers[1:3] == ("B.1", "E.1")
