"""Whole objects of the invented museum, on its demo day, against statuses worked out by hand."""

from __future__ import annotations

from zoneinfo import ZoneInfo

import pytest

from imaging_requests.reckoning.truth.changes import preview
from imaging_requests.reckoning.truth.decisions import cases_after, open_cases
from imaging_requests.reckoning.truth.duties import consequences
from imaging_requests.reckoning.truth.gate import GateState, gate, scope_of
from imaging_requests.reckoning.truth.grade import grade_entry, read_object
from imaging_requests.reckoning.truth.sentences import explain
from imaging_requests.reckoning.truth.terms import Effect, Grade
from imaging_requests.reckoning.truth.waiting import say_gate, say_missing, say_wait
from imaging_requests.reckoning.truth.windows import WindowState, windows
from imaging_requests.reckoning.truth.words import Speech
from tests.pure.truth_story import (
    CANVAS,
    TABLES,
    WARPED_PANEL,
    Anchor,
    PlannedShot,
    Status,
    Story,
    Validity,
    day,
)

D0 = "2026-04-16"
SPEECH = Speech(TABLES, ZoneInfo("Europe/London"), {})


def pick(words: dict[str, Status], status: Status) -> set[str]:
    """Keys of the views with one status."""
    return {key for key, found in words.items() if found is status}


def harbour_fire() -> Story:
    """Varnish removed on 20 February, entered on 2 March; infrared decided valid on 5 March."""
    story = Story("AR 0038")
    story.owe(*CANVAS)
    pictures = {code: story.picture(code, "2025-10-06") for code in CANVAS}
    step = story.step(
        2, "2026-02-20", known="2026-03-02", treatment="T2", step=1, label="varnish removed"
    )
    story.decide(
        pictures["IR-F"], step, Validity.VALID, "2026-03-05", reason="No trace of toned resin."
    )
    story.owe("VF-F", "VC-F", "RK-F-L", "RK-F-T", "UV-F", anchor=Anchor.before("T2"), prefix="BT ")
    return story


def test_entry_12_three_views_fell_out_of_date_and_two_wait_for_a_decision() -> None:
    words = harbour_fire().words(D0)
    current = {key: status for key, status in words.items() if not key.startswith("BT ")}
    assert pick(current, Status.OUT_OF_DATE) == {"VF-F", "VC-F", "UV-F"}
    assert pick(current, Status.UNDECIDED) == {"RK-F-L", "RK-F-T"}
    assert pick(current, Status.FILED) == {"IR-F", "XR", "VF-B", "RK-B-L", "UV-B"}
    assert {words[f"BT {code}"] for code in ("VF-F", "UV-F", "RK-F-T")} == {Status.FILED}


def test_entry_12_was_fully_documented_as_known_in_february_and_is_not_as_known_today() -> None:
    story = harbour_fire()
    grades = {
        known: grade_entry([read_object(story.at("2026-02-26", known=known))]).grade
        for known in ("2026-02-26", "2026-03-01", "2026-03-03", D0)
    }
    assert grades == {
        "2026-02-26": Grade.FULL,
        "2026-03-01": Grade.FULL,
        "2026-03-03": Grade.IN_PROGRESS,
        D0: Grade.IN_PROGRESS,
    }
    assert grade_entry([read_object(story.at("2026-02-19", known=D0))]).grade is Grade.FULL


def test_the_finished_step_of_entry_12_raises_one_case_per_chain_with_its_proposal() -> None:
    story = harbour_fire()
    event = story.told["events"][0]
    found = {
        (case.picture.technique, case.picture.variant): (case.proposal, case.verdict)
        for case in cases_after(story.at(D0), event.key)
    }
    assert found == {
        ("RK", "L"): (Validity.OUT_OF_DATE, None),
        ("RK", "T"): (Validity.OUT_OF_DATE, None),
        ("IR", ""): (Validity.VALID, Validity.VALID),
    }
    assert len(open_cases(story.at(D0))) == 2
    result = consequences(story.at(D0), event.key)
    assert {p.technique for p in result.out_of_date} == {"VF", "VC", "UV"}
    assert {d.technique for d in result.duties} == {"VF", "VC", "UV"}
    assert all(d.due_at == day("2026-02-20") and not d.is_planned for d in result.duties)
    assert {d.anchor for d in result.duties} == {Anchor.after("T2")}


def test_entry_12_says_in_words_what_happened_and_who_can_move_it() -> None:
    story = harbour_fire()
    status = story.status("UV-F", D0)
    assert explain(status, SPEECH) == "Varnish removed on 20 Feb 2026 changed UV of the front."
    assert say_wait(status, SPEECH) == (
        "Waits for a place in a session; the imaging lead can move it."
    )
    status = story.status("RK-F-L", D0)
    assert explain(status, SPEECH) == (
        "Varnish removed on 20 Feb 2026 may have changed raking light from the left of the front; "
        "a conservator has not decided yet."
    )


def test_entry_4_lost_its_back_x_ray_and_raking_views_when_the_cradle_came_off() -> None:
    story = Story("AR 0012")
    story.owe(*WARPED_PANEL)
    for code in WARPED_PANEL:
        story.picture(code, "2024-05-06")
    story.step(19, "2026-03-13", treatment="T6", phase=1, step=1)
    story.step(20, treatment="T6", phase=2, step=2, planned=("2026-11-02", "2026-11-20"))
    words = story.words(D0)
    assert pick(words, Status.OUT_OF_DATE) == {
        "VF-B",
        "RK-B-L",
        "UV-B",
        "XR",
        "RK-F-L",
        "RK-F-T",
        "VF-E",
    }
    assert pick(words, Status.UNDECIDED) == {"VF-F", "VC-F"}
    assert pick(words, Status.FILED) == {"UV-F", "IR-F"}


def drowned_orchard() -> Story:
    """Lined since before intake; off the stretcher since 9 April, lining to come off by 4 May."""
    story = Story("AR 0058", layers=("F.1", "B.1", "B.2", "E.1", "T.1"))
    back = [code for code in CANVAS if code[3:4] == "B"]
    story.owe(*[code for code in CANVAS if code not in back])
    story.owe(*back, surface="B.2")
    for code in CANVAS:
        story.picture(code, "2024-03-04", surface="B.2" if code in back else None)
    story.step(16, "2026-04-09", treatment="T3", step=1)
    story.step(
        12,
        treatment="T3",
        step=2,
        key="unline",
        planned=("2026-04-20", "2026-05-04"),
        exposure_until=day("2026-05-15"),
    )
    story.step(13, treatment="T3", step=3, planned=("2026-05-05", "2026-05-08"))
    story.step(15, treatment="T3", step=4, planned=("2026-05-18", "2026-05-18"))
    window = Anchor.in_window("B.1", opened_by="unline")
    story.owe(*back, "IR-B", "XR", surface=None, anchor=window, prefix="WIN ")
    return story


def test_entry_19_has_six_views_out_of_date_since_it_left_the_stretcher() -> None:
    words = {k: v for k, v in drowned_orchard().words(D0).items() if not k.startswith("WIN ")}
    assert pick(words, Status.OUT_OF_DATE) == {"VF-B", "RK-B-L", "UV-B", "XR", "RK-F-L", "RK-F-T"}
    assert pick(words, Status.FILED) == {"VF-F", "VC-F", "UV-F", "IR-F"}


def test_entry_19_announces_the_window_in_which_the_original_back_can_be_seen() -> None:
    story = drowned_orchard()
    (window,) = windows(story.at(D0))
    assert (window.surface, window.state) == ("B.1", WindowState.TO_COME)
    assert (window.opens_at, window.closes_at) == (day("2026-05-04"), day("2026-05-15"))
    status = story.status("WIN UV-B", D0)
    assert (status.status, status.reason.until) == (Status.BLOCKED, day("2026-05-04"))
    assert explain(status, SPEECH) == (
        "UV of the back cannot be made: surface B.1 is hidden until 4 May 2026."
    )
    assert story.words(D0)["WIN XR"] is Status.BLOCKED


def test_an_x_ray_of_a_window_may_name_the_x_ray_itself_as_its_surface() -> None:
    story = drowned_orchard()
    own = Anchor.in_window("T.1", opened_by="unline")
    story.owe("XR", anchor=own, prefix="OWN ")
    status = story.status("OWN XR", D0)
    assert (status.status, status.reason.until) == (Status.OPEN, day("2026-05-04"))
    step = next(event for event in story.told["events"] if event.key == "unline")
    story.correct(
        step, "2026-05-04 13:00", started_at=day("2026-05-03"), ended_at=day("2026-05-04")
    )
    story.picture("XR", "2026-05-06")
    assert story.words("2026-05-07")["OWN XR"] is Status.FILED


def test_entry_19_window_views_are_filed_once_made_and_lost_once_the_lining_is_back() -> None:
    story = drowned_orchard()
    step = next(event for event in story.told["events"] if event.key == "unline")
    story.correct(
        step, "2026-05-04 13:00", started_at=day("2026-05-03"), ended_at=day("2026-05-04")
    )
    assert {story.words("2026-05-05")[f"WIN {c}"] for c in ("UV-B", "IR-B")} == {Status.OPEN}
    for code in ("VF-B", "RK-B-L"):
        story.picture(code, "2026-05-06", surface="B.1")
    story.step(11, "2026-05-16", treatment="T3", step=5)
    words = {k: v for k, v in story.words("2026-05-20").items() if k.startswith("WIN ")}
    assert pick(words, Status.FILED) == {"WIN VF-B", "WIN RK-B-L"}
    assert pick(words, Status.LOST) == {"WIN UV-B", "WIN IR-B", "WIN XR"}


def blind_cartographer() -> Story:
    """Lined in an emergency on 27 November 2025; the original back was never recorded."""
    story = Story("AR 0079")
    for code in ("VF-F", "RK-F-L", "XR"):
        story.picture(code, "2025-11-26")
    story.step(11, "2025-11-27", treatment="T7", step=1)
    back = ["VF-B", "RK-B-L", "UV-B"]
    story.owe(*[code for code in CANVAS if code not in back])
    story.owe(*back, surface="B.2")
    for code in ["VF-F", "VC-F", "RK-F-L", "UV-F", "IR-F"]:
        story.picture(code, "2026-01-20")
    for code in back:
        story.picture(code, "2026-01-21", surface="B.2")
    story.owe("VF-F", "RK-F-L", "XR", *back, anchor=Anchor.before("T7"), prefix="BT ")
    story.tell(
        "planned",
        PlannedShot(
            key="p1",
            recorded_at=day("2026-04-01"),
            view="XR",
            session="X-ray day",
            confirmed_at=day("2026-04-01"),
            session_starts_at=day("2026-04-21"),
        ),
    )
    return story


def test_entry_26_names_three_views_of_the_original_back_as_lost() -> None:
    story = blind_cartographer()
    words = story.words(D0)
    assert pick(words, Status.LOST) == {"BT VF-B", "BT RK-B-L", "BT UV-B"}
    assert {words[f"BT {code}"] for code in ("VF-F", "RK-F-L", "XR")} == {Status.FILED}
    assert (words["XR"], words["RK-F-T"]) == (Status.PLANNED, Status.OPEN)
    assert sum(words[code] is Status.FILED for code in CANVAS) == 8
    assert explain(story.status("BT UV-B", D0), SPEECH) == (
        "UV of the back before treatment T7 was never recorded, and the surface cannot be seen "
        "since lining applied on 27 Nov 2025."
    )


def test_entry_31_keeps_its_waivers_and_waits_for_three_decisions() -> None:
    story = Story("AR 0094")
    codes = [*WARPED_PANEL]
    story.owe(*codes)
    for code in ("VF-F", "VC-F", "UV-F", "IR-F", "VF-B", "RK-B-L", "UV-B", "VF-E"):
        story.picture(code, "2025-10-20")
    story.step(8, "2026-02-11", treatment="T5", step=1, label="flakes laid in an emergency")
    waived = ["RK-F-L", "RK-F-T", "UV-F"]
    story.owe("VF-F", *waived, anchor=Anchor.before("T5"), prefix="BT ", since="2026-02-11")
    for code in waived:
        story.waive(f"BT {code}", "2026-02-12", text="emergency", conservator="Tibor", lead="Signe")
    story.tell(
        "planned",
        PlannedShot(
            key="p1",
            recorded_at=day("2026-04-01"),
            view="XR",
            session="X-ray day",
            confirmed_at=day("2026-04-01"),
        ),
    )
    words = story.words(D0)
    assert pick(words, Status.UNDECIDED) == {"UV-F", "VF-F", "VC-F"}
    assert pick(words, Status.OPEN) == {"RK-F-L", "RK-F-T"}
    assert pick(words, Status.WAIVED) == {f"BT {code}" for code in waived}
    assert words["XR"] is Status.PLANNED
    assert words["BT VF-F"] is Status.FILED


def quarantine_island(*, uv: str) -> Story:
    """Cleaning, varnish removal, retouching and varnishing planned from 27 April."""
    story = Story("AR 0070")
    story.owe(*CANVAS)
    for code in CANVAS:
        if code == "UV-F":
            story.picture(code, "2026-04-08", **{uv: "2026-04-09"})
        else:
            story.picture(code, "2026-02-09")
    for number, (row, first, last) in enumerate(
        (
            (1, "2026-04-27", "2026-04-29"),
            (2, "2026-04-30", "2026-05-08"),
            (6, "2026-05-18", "2026-06-12"),
            (7, "2026-06-15", "2026-06-16"),
        ),
        start=1,
    ):
        story.step(row, treatment="T4", step=number, planned=(first, last), key=f"s{number}")
    return story


def test_the_gate_of_entry_23_is_shut_by_one_view() -> None:
    story = quarantine_island(uv="sent_back")
    moment = story.at(D0)
    answer = gate(moment, moment.events[0], scope_of(moment.views))
    needed = {f"{s.view.technique}-{s.view.variant}".rstrip("-") for s in answer.needed}
    assert needed == {"VF", "VC", "RK-L", "RK-T", "UV"}
    assert answer.state is GateState.SHUT
    assert answer.is_first_step
    (missing,) = answer.missing
    assert (missing.line.technique, missing.line.surface) == ("UV", "F.1")
    assert missing.status.status is Status.SENT_BACK
    assert missing.is_last_look
    assert [step.key for step in missing.steps] == ["s1", "s2", "s3", "s4"]
    assert say_gate(answer, SPEECH) == (
        "“Surface cleaning, front” may not start yet; 1 view is missing: UV of the front."
    )
    assert say_missing(missing, SPEECH) == (
        "UV of the front before treatment T4 is sent back; needed because of: surface cleaned, "
        "varnish thinned or removed, retouching, varnish applied. It can never be made again "
        "afterwards; a waiver needs conservator and lead."
    )


def test_the_gate_of_entry_23_opens_once_the_view_is_accepted_and_asks_for_infrared_later() -> None:
    story = quarantine_island(uv="accepted")
    moment = story.at(D0)
    assert gate(moment, moment.events[0], scope_of(moment.views)).state is GateState.OPEN
    first, second = story.told["events"][:2]
    story.correct(first, "2026-04-29", started_at=day("2026-04-27"), ended_at=day("2026-04-29"))
    story.correct(second, "2026-05-08", started_at=day("2026-04-30"), ended_at=day("2026-05-08"))
    moment = story.at("2026-05-11")
    retouching = next(event for event in moment.events if event.row == 6)
    answer = gate(moment, retouching, scope_of(moment.views))
    (missing,) = answer.missing
    assert missing.line.technique == "IR"
    assert missing.status.view.anchor == Anchor.during("T4", step=2)
    assert missing.status.status is Status.UNDECIDED
    story.picture("IR-F", "2026-05-12")
    moment = story.at("2026-05-13")
    answer = gate(moment, retouching, scope_of(moment.views))
    assert (answer.state, answer.is_first_step) == (GateState.OPEN, False)


def test_the_plan_of_entry_23_shows_what_it_will_make_untrue() -> None:
    story = quarantine_island(uv="accepted")
    moment = story.at(D0)
    shown = preview(moment, moment.events)
    reopened = {p.technique for p in shown.with_effect(Effect.OUT)}
    asked = {
        f"{p.technique}{p.variant}" for p in shown.with_effect(Effect.ASK_OUT, Effect.ASK_VALID)
    }
    assert reopened == {"VF", "VC", "UV"}
    assert asked == {"RKL", "RKT", "IR", "XR"}
    assert shown.lost == ()


@pytest.mark.parametrize("code", ["VF-F", "RK-F-T", "IR-F"])
def test_a_view_of_the_plan_that_was_never_made_would_be_lost_once_the_work_begins(
    code: str,
) -> None:
    story = quarantine_island(uv="accepted")
    story.told["pictures"] = [
        p for p in story.told["pictures"] if f"{p.technique}-F-{p.variant}".rstrip("-") != code
    ]
    story.owe(code, anchor=Anchor.before("T4"), prefix="BT ")
    moment = story.at(D0)
    lost = {status.view.key for status in preview(moment, moment.events).lost}
    assert lost == {f"BT {code}"}
