"""Decision cases, re-shoot duties, corrections, previews and windows."""

from __future__ import annotations

from dataclasses import replace

import pytest

from imaging_requests.reckoning.truth.changes import meaning_changes, preview, preview_each
from imaging_requests.reckoning.truth.decisions import (
    cases,
    cases_after,
    is_reason_enough,
    open_cases,
    pairs_to_decide,
    sign_off_obstacles,
)
from imaging_requests.reckoning.truth.duties import DueRule, consequences, duties_after, duty_of
from imaging_requests.reckoning.truth.status import statuses
from imaging_requests.reckoning.truth.terms import Carry, Effect
from imaging_requests.reckoning.truth.windows import WindowState, views_in, windows
from tests.pure.truth_story import CANVAS, Anchor, Status, Story, Validity, Verdict, day

NOW = "2026-06-01"


def test_there_is_one_case_for_each_chain_and_event_however_many_versions_it_has() -> None:
    story = Story()
    first = story.picture("RK-F-L", "2026-01-01")
    story.picture("RK-F-L", "2026-01-01", chain=first.chain, version=2)
    story.picture("RK-F-T", "2026-01-02")
    story.step(2, "2026-02-01", key="a")
    story.step(7, "2026-03-01", key="b")
    found = [case.key for case in cases(story.at(NOW))]
    assert len(found) == len(set(found)) == 4
    assert {event for _, event in found} == {"a", "b"}


def test_pictures_not_accepted_later_than_the_event_or_already_out_of_date_raise_no_case() -> None:
    story = Story()
    story.picture("RK-F-L", "2026-01-01", sent_back="2026-01-05")
    story.picture("RK-F-L", "2026-01-01", recalled="2026-01-05")
    story.picture("RK-F-T", "2026-01-01")
    story.step(18, "2026-01-20")
    event = story.step(2, "2026-02-01")
    story.picture("RK-F-L", "2026-02-10")
    assert cases_after(story.at(NOW), event.key) == ()


def test_a_picture_accepted_after_the_event_it_precedes_raises_its_case_then() -> None:
    story = Story()
    picture = story.picture("RK-F-L", "2026-01-01", accepted="2026-02-10")
    story.step(2, "2026-02-01")
    assert cases(story.at("2026-02-05")) == ()
    assert [case.chain for case in cases(story.at("2026-02-11"))] == [picture.chain]


def test_softened_and_baring_events_ask_with_the_proposal_out_of_date() -> None:
    story = Story(layers=("F.1", "B.1", "B.2", "E.1", "T.1"))
    story.picture("UV-F", "2026-01-01")
    story.picture("IR-F", "2026-01-01")
    story.picture("VF-B", "2026-01-01", surface="B.1")
    story.picture("VF-B", "2026-01-01", surface="B.2")
    story.step(6, "2026-02-01", area_cm2=2.0, area_pct=0.1)
    story.step(12, "2026-03-01")
    found = {
        (case.picture.technique, case.picture.surface, case.event.row): case.proposal
        for case in cases(story.at(NOW))
    }
    assert found == {
        ("UV", "F.1", 6): Validity.OUT_OF_DATE,
        ("IR", "F.1", 6): Validity.VALID,
        ("VF", "B.1", 12): Validity.OUT_OF_DATE,
    }


def test_a_treatment_can_be_signed_off_once_its_own_cases_are_decided() -> None:
    story = Story()
    picture = story.picture("RK-F-L", "2026-01-01")
    event = story.step(2, "2026-02-01", treatment="T1")
    story.step(7, "2026-03-01", treatment="T2")
    assert len(sign_off_obstacles(story.at(NOW), "T1")) == 1
    assert not open_cases(story.at(NOW))[0].is_recorded
    story.decide(picture, event, None, "2026-02-02")
    assert open_cases(story.at("2026-02-02"))[0].is_recorded
    assert len(sign_off_obstacles(story.at(NOW), "T1")) == 1
    late = replace(story.told["decisions"][0], opened_at=day("2026-02-02 13:00"))
    story.told["decisions"] = [late]
    assert not open_cases(story.at("2026-02-02"))[0].is_recorded
    story.decide(picture, event, Validity.VALID, "2026-02-03")
    assert sign_off_obstacles(story.at(NOW), "T1") == ()
    assert len(sign_off_obstacles(story.at(NOW), "T2")) == 1
    assert not is_reason_enough(story.at(NOW), event, "  relief   ")
    assert is_reason_enough(story.at(NOW), event, "relief kept")


def test_a_corrected_event_takes_its_cases_with_it() -> None:
    story = Story()
    story.picture("RK-F-L", "2026-02-05")
    step = story.step(2, "2026-02-10")
    assert len(open_cases(story.at(NOW))) == 1
    story.correct(step, "2026-03-01", ended_at=day("2026-02-01"))
    assert open_cases(story.at(NOW)) == ()


def test_a_picture_made_afterwards_can_be_put_to_the_conservator_for_the_state_before() -> None:
    story = Story()
    event = story.step(2, "2026-02-01", treatment="T1", step=1)
    story.picture("IR-F", "2026-03-01")
    moment = story.at(NOW)
    (standing,) = moment.pictures["F.1", "IR", ""]
    as_of = Anchor.at(day("2026-01-20"))
    assert pairs_to_decide(moment, standing, moment.point(as_of)) == (event,)
    assert pairs_to_decide(moment, standing, moment.point(Anchor.before("T1"))) == ()
    assert pairs_to_decide(moment, standing, moment.point(Anchor.current())) == ()
    assert cases(moment) == ()


def test_duties_fall_due_together_at_the_end_of_the_phase() -> None:
    story = Story()
    story.owe(*CANVAS)
    first = story.step(1, "2026-04-29", treatment="T4", step=1, phase=1)
    story.step(7, treatment="T4", step=2, phase=1, planned=("2026-06-15", "2026-06-16"))
    story.step(20, treatment="T4", step=3, phase=2, planned=("2026-11-01", "2026-11-20"))
    duties = duties_after(story.at("2026-05-01"), first.key)
    assert {duty.technique for duty in duties} == {"VF", "VC", "UV"}
    assert {duty.due_at for duty in duties} == {day("2026-06-16")}
    assert {(duty.rule, duty.is_planned) for duty in duties} == {(DueRule.PHASE_END, True)}
    assert {duty.anchor for duty in duties} == {Anchor.after("T4", phase=1)}


def test_a_duty_falls_due_before_a_later_step_with_a_last_look_on_it() -> None:
    story = Story()
    story.owe("UV-F", "VF-F")
    first = story.step(1, "2026-04-29", treatment="T4", step=1)
    story.step(2, treatment="T4", step=2, planned=("2026-05-04", "2026-05-08"))
    duties = {d.technique: d for d in duties_after(story.at("2026-05-01"), first.key)}
    assert duties["UV"].rule is DueRule.BEFORE_STEP
    assert duties["UV"].due_at == day("2026-05-04")
    assert duties["UV"].anchor == Anchor.during("T4", step=1)
    assert duties["VF"].due_at == day("2026-05-08")


def test_a_duty_falls_due_after_the_step_that_the_documentation_asks_for() -> None:
    story = Story()
    story.owe("VF-F")
    story.owe("VF-F", anchor=Anchor.during("T4", step=2), prefix="DT ")
    first = story.step(1, "2026-04-29", treatment="T4", step=1)
    story.step(2, treatment="T4", step=2, planned=("2026-05-04", "2026-05-08"))
    story.step(7, treatment="T4", step=3, planned=("2026-06-15", "2026-06-16"))
    (duty,) = duties_after(story.at("2026-05-01"), first.key)
    assert (duty.rule, duty.due_at) == (DueRule.AFTER_STEP, day("2026-05-08"))
    assert duty.anchor == Anchor.during("T4", step=2)


def test_a_duty_without_a_planned_end_has_no_date_and_one_after_an_incident_is_due_at_once() -> (
    None
):
    story = Story()
    story.owe("VF-F")
    first = story.step(1, "2026-04-29", treatment="T4", step=1)
    story.step(7, treatment="T4", step=2)
    (duty,) = duties_after(story.at("2026-05-01"), first.key)
    assert (duty.due_at, duty.is_planned) == (None, True)
    story = Story()
    story.owe("VF-F")
    picture = story.picture("VF-F", "2026-01-01")
    event = story.incident("2026-02-01")
    assert duties_after(story.at(NOW), event.key) == ()
    story.decide(picture, event, Validity.OUT_OF_DATE, "2026-02-03")
    (duty,) = duties_after(story.at(NOW), event.key)
    assert (duty.rule, duty.due_at) == (DueRule.AT_ONCE, day("2026-02-01"))


def test_the_due_point_of_a_view_out_of_date_is_that_of_the_last_event_that_spoilt_it() -> None:
    story = Story()
    story.owe("UV-F", "XR")
    story.picture("UV-F", "2026-01-01")
    story.step(1, "2026-02-01", treatment="T1", step=1)
    last = story.step(6, "2026-04-29", treatment="T4", step=1)
    story.step(7, treatment="T4", step=2, planned=("2026-06-15", "2026-06-16"))
    moment = story.at("2026-05-01")
    duty, nothing = (duty_of(moment, status) for status in statuses(moment))
    assert (duty.because, duty.due_at) == (last, day("2026-06-16"))
    assert nothing is None


def test_an_old_picture_nobody_asks_for_any_more_is_marked_as_such_in_the_duty() -> None:
    story = Story()
    story.picture("VF-F", "2026-01-01")
    event = story.step(1, "2026-04-29", treatment="T4", step=1)
    assert [duty.is_owed for duty in duties_after(story.at(NOW), event.key)] == [False]
    story.owe("VF-F")
    assert [duty.is_owed for duty in duties_after(story.at(NOW), event.key)] == [True]


def test_a_finished_lining_tells_what_is_hidden_and_what_appeared() -> None:
    story = Story()
    for code in CANVAS:
        story.picture(code, "2026-01-01")
    event = story.step(11, "2026-02-01", treatment="T4", step=1)
    result = consequences(story.at(NOW), event.key)
    assert (result.state, result.hidden, result.gone, result.appeared) == (
        1,
        ("B.1",),
        (),
        ("B.2",),
    )
    assert {p.technique for p in result.out_of_date} == {"RK", "XR"}
    assert {c.picture.technique for c in result.cases} == {"VF", "VC", "UV"}
    event = story.step(12, "2026-03-01", treatment="T5", step=1, exposure_until=day("2026-03-12"))
    result = consequences(story.at("2026-03-02"), event.key)
    assert (result.hidden, result.gone, result.appeared) == ((), ("B.2",), ("B.1",))
    (window,) = result.windows
    assert (window.surface, window.state) == ("B.1", WindowState.OPEN)
    assert window.closes_at == day("2026-03-12")


def test_an_examination_has_no_consequences() -> None:
    story = Story()
    event = story.step(30, "2026-02-01")
    result = consequences(story.at(NOW), event.key)
    assert (result.state, result.cases, result.duties) == (None, (), ())


def test_a_window_ends_with_the_planned_start_of_the_next_step_that_hides_the_face() -> None:
    story = Story(layers=("F.1", "B.1", "B.2", "E.1", "T.1"))
    story.step(12, "2026-05-04", treatment="T", step=1, key="off")
    story.step(9, treatment="T", step=2, planned=("2026-05-06", "2026-05-07"))
    story.step(11, treatment="T", step=3, planned=("2026-05-16", "2026-05-17"))
    story.owe("VF-B", anchor=Anchor.in_window("B.1", opened_by="off"))
    moment = story.at("2026-05-05")
    (window,) = windows(moment)
    assert (window.opens_at, window.closes_at) == (day("2026-05-04"), day("2026-05-16"))
    assert [s.status for s in views_in(window, statuses(moment))] == [Status.OPEN]
    last = story.told["events"][-1]
    story.correct(last, "2026-05-18", started_at=day("2026-05-17"), ended_at=day("2026-05-18"))
    (window,) = windows(story.at("2026-05-20"))
    assert (window.state, window.closes_at) == (WindowState.CLOSED, day("2026-05-18"))


def backdated() -> Story:
    story = Story()
    story.owe("UV-F", "XR", "RK-F-L")
    story.picture("UV-F", "2026-02-01", chain="before")
    story.picture("UV-F", "2026-02-22", chain="after")
    story.picture("XR", "2026-02-22", chain="plate")
    story.picture("RK-F-L", "2026-02-10", chain="relief")
    return story


def test_an_event_entered_late_lists_the_pictures_taken_since_before_it_is_saved() -> None:
    story = backdated()
    moment = story.at("2026-03-02", known="2026-03-02")
    late = Story().step(
        2,
        "2026-02-20",
        started="2026-02-19",
        known="2026-03-03",
        key="late",
        treatment="T2",
    )
    changes = meaning_changes(moment, late)
    found = {change.picture.chain: change for change in changes.pictures}
    assert set(found) == {"before", "after", "plate", "relief"}
    assert found["after"].after_then == ("late",)
    assert not found["after"].speaks_differently
    assert (found["before"].now_before, found["before"].now_then) == (Carry.OK, Carry.OUT)
    assert found["relief"].now_then is Carry.UNDECIDED
    assert [(c.before.status, c.then.status) for c in changes.views] == [
        (Status.FILED, Status.UNDECIDED)
    ]
    assert [case.chain for case in changes.new_cases] == ["relief"]
    assert statuses(moment)[0].status is Status.FILED


def test_a_start_put_earlier_relabels_pictures_as_taken_during_the_step() -> None:
    story = backdated()
    step = story.step(2, "2026-03-01", started="2026-02-25", treatment="T2", key="late")
    story.owe("UV-F", anchor=Anchor.before("T2"), prefix="BT ")
    moment = story.at("2026-03-02")
    earlier = replace(step, started_at=day("2026-02-20"))
    changes = meaning_changes(moment, earlier)
    assert [(c.picture.chain, c.during_then) for c in changes.pictures] == [
        ("after", ("late",)),
        ("plate", ("late",)),
    ]
    assert changes.views == ()
    story.told["pictures"] = [p for p in story.told["pictures"] if p.chain != "before"]
    moment = story.at("2026-03-02")
    changes = meaning_changes(moment, earlier)
    (view,) = changes.views
    assert (view.before.status, view.then.status) == (Status.FILED, Status.LOST)


def test_an_event_taken_back_makes_its_cases_moot() -> None:
    story = backdated()
    step = story.step(2, "2026-02-20", treatment="T2")
    moment = story.at("2026-03-02")
    changes = meaning_changes(moment, replace(step, withdrawn=True))
    assert [case.chain for case in changes.moot_cases] == ["relief"]
    assert changes.new_cases == ()


def test_a_preview_shows_the_strongest_effect_and_what_would_be_lost() -> None:
    story = Story()
    story.owe(*CANVAS)
    story.owe("UV-B", anchor=Anchor.before("T"), prefix="BT ")
    for code in CANVAS:
        if code != "UV-B":
            story.picture(code, "2026-01-01")
    story.picture("UV-F", "2025-01-01", accepted=None)
    story.step(2, step=1, planned=("2026-07-01", "2026-07-02"))
    story.step(11, step=2, planned=("2026-07-05", "2026-07-06"))
    moment = story.at(NOW)
    shown = preview(moment, moment.events)
    effects = {f"{line.picture.technique}-{line.picture.surface}": line for line in shown.pictures}
    assert {key: line.effect for key, line in effects.items()} == {
        "VF-F.1": Effect.OUT,
        "VC-F.1": Effect.OUT,
        "UV-F.1": Effect.OUT,
        "RK-F.1": Effect.OUT,
        "IR-F.1": Effect.ASK_VALID,
        "XR-T.1": Effect.OUT,
        "VF-B.1": Effect.HIDDEN,
        "RK-B.1": Effect.HIDDEN,
    }
    assert [step.row for step in effects["RK-F.1"].steps] == [11]
    assert [status.view.key for status in shown.lost] == ["BT UV-B"]
    assert (shown.hidden, shown.gone, shown.appeared) == (("B.1",), (), ("B.2",))
    assert moment.line.current == 0


def test_a_preview_of_taking_a_lining_off_asks_about_the_old_pictures_of_the_back() -> None:
    story = Story(layers=("F.1", "B.1", "B.2", "E.1", "T.1"))
    story.picture("VF-B", "2019-01-01", surface="B.1")
    story.picture("VF-B", "2026-01-01", surface="B.2")
    story.step(12, step=1)
    moment = story.at(NOW)
    shown = preview(moment, moment.events)
    assert [(line.picture.surface, line.effect) for line in shown.pictures] == [
        ("B.1", Effect.ASK_OUT)
    ]
    assert shown.gone == ("B.2",)


def test_each_step_of_a_relining_is_read_with_those_before_it_done() -> None:
    story = Story(layers=("F.1", "B.1", "B.2", "E.1", "T.1"))
    story.owe("VF-B", anchor=Anchor.in_window("B.1", opened_by="off"))
    story.picture("VF-B", "2026-01-01", surface="B.2")
    for number, (row, key) in enumerate(((12, "off"), (13, "clean"), (11, "on")), start=1):
        story.step(row, step=number, key=key)
    moment = story.at(NOW)
    off, clean, lining = preview_each(moment, moment.events)
    assert (off.gone, off.appeared, off.hidden) == (("B.2",), ("B.1",), ())
    assert [(bared.surface, bared.hidden_by.key) for bared in off.bared] == [("B.1", "on")]
    assert (clean.gone, clean.hidden, clean.pictures) == ((), (), ())
    assert [(line.view.surface, line.effect) for line in clean.unmade] == [("B.1", Effect.OUT)]
    assert (lining.hidden, lining.appeared, lining.bared) == (("B.1",), ("B.3",), ())
    assert off.unmade == (), "what it brings to light it does not make untrue"


def test_a_picture_sent_back_is_no_part_of_a_preview() -> None:
    story = Story()
    picture = story.picture("UV-F", "2026-01-01")
    story.review(picture, Verdict.RECALLED, "2026-01-05")
    story.step(2, step=1)
    moment = story.at(NOW)
    assert preview(moment, moment.events).pictures == ()


@pytest.mark.parametrize(
    ("taken", "expected"),
    [
        (None, {("UV", False): Effect.OUT}),
        ("2026-01-01", {}),
        ("2025-01-01", {("UV", True): Effect.OUT}),
    ],
    ids=["not made yet", "made", "made, and untrue since"],
)
def test_a_preview_names_what_would_be_touched_although_it_is_not_made(
    taken: str | None, expected: dict[tuple[str, bool], Effect]
) -> None:
    story = Story()
    story.owe("UV-F")
    if taken is not None:
        story.picture("UV-F", taken)
    story.step(2, "2025-06-01", treatment="T0", step=1)
    story.step(2, step=2, planned=("2026-07-01", "2026-07-02"))
    moment = story.at(NOW)
    shown = preview(moment, [moment.events[-1]])
    assert {(line.view.technique, line.has_older): line.effect for line in shown.unmade} == expected
    assert [line.picture.technique for line in shown.pictures] == ([] if expected else ["UV"])
