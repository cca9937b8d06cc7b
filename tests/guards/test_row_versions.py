"""I-31: every action that changes a row names the version it read, or only adds rows.

An action without a version stands in the list below with the reason why nothing can be
overwritten by it; a new one fails here until it names the version or is listed.
"""

from __future__ import annotations

import ast
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2] / "imaging_requests"
#: Parameters that carry what was read.
READ = {
    "read_version",
    "read_versions",
    "read_record",
    "read_roles",
    "read_open",
    "choices",
    "versions",
}
ADDS = "adds a row"
ENDS = "ends a row once; a second end finds it ended"
UPLOAD = "goes on from the acknowledged offset and refuses any other"
WITHOUT: dict[str, str] = {
    "campaigns/actions_equipping.py:create_station": ADDS,
    "campaigns/actions_equipping.py:write_setup_card": "adds a version of a card",
    "campaigns/actions_planning.py:create_campaign": ADDS,
    "campaigns/actions_planning.py:plan_session": ADDS,
    "campaigns/actions_signing.py:record_light": ADDS,
    "collection/actions.py:create_catalogue": ADDS,
    "collection/actions.py:create_entry": ADDS,
    "collection/actions.py:create_object": ADDS,
    "collection/actions.py:renumber_object": "adds a number that follows the present one",
    "collection/actions.py:put_into_entry": ADDS,
    "collection/actions.py:take_out_of_entry": ENDS,
    "collection/actions.py:record_stay": "adds a stay that follows the present one",
    "collection/actions.py:record_unavailability": ADDS,
    "deliverables/actions/comparing.py:ask_for_comparison": "adds a row, or asks for it again",
    "deliverables/actions/comparing.py:vouch_retest": "adds a row; a second one is refused",
    "deliverables/actions/correcting.py:open_correction": "adds a row inside the recall",
    "deliverables/actions/correcting.py:mend": "ends rows once, inside the acceptance, under lock",
    "deliverables/actions/correcting.py:confirm_notice": ENDS,
    "deliverables/actions/handing_over.py:hand_over": "adds a row; a second one is refused",
    "deliverables/actions/handing_over.py:send_to_former_recipients": ADDS,
    "deliverables/actions/filing.py:seal_package": "adds a package; a second one is refused",
    "deliverables/actions/filing.py:file_accepted": "adds packages; a second one is refused",
    "deliverables/actions/notes.py:write_note": ADDS,
    "deliverables/actions/joins.py:ask_to_join": "asks for work; asking twice is asking once",
    "deliverables/actions/joins.py:record_taking": "adds an event",
    "deliverables/actions/records.py:record": "adds an event",
    "deliverables/actions/records.py:tell_about": "adds notices",
    "deliverables/actions/reviewing.py:allow_lone_work": ADDS,
    "intake/actions/arrivals.py:begin_arrival": ADDS,
    "intake/actions/arrivals.py:append_bytes": UPLOAD,
    "intake/actions/arrivals.py:receive_whole": ADDS,
    "intake/actions/arrivals.py:give_up_arrival": ENDS,
    "intake/actions/arrivals.py:clear_refused": ENDS,
    "intake/actions/leaving.py:leave_behind": "adds a row, or ends its own upload",
    "intake/actions/clocks.py:decide_clock": "decides a proposal once; a second one is refused",
    "intake/actions/drops.py:open_drop": ADDS,
    "intake/actions/drops.py:ask_again": "asks for work that was given up",
    "intake/actions/placing.py:undo_step": "the step kept the version that it left of each frame",
    "people/actions.py:open_account": ADDS,
    "pictures/actions.py:set_restriction": ADDS,
    "pictures/actions.py:give_grants": ADDS,
    "pictures/actions.py:end_grants_of": ENDS,
    "pictures/actions.py:record_look": "adds an event",
    "people/actions.py:change_password": "the person's own, with the old one",
    "people/actions.py:read_notices": "the person's own; read is read",
    "progress/acts.py:record_incident": ADDS,
    "progress/acts.py:add_entry": ADDS,
    "progress/acts.py:put_object": ADDS,
    "protocols/actions.py:draft_version": ADDS,
    "protocols/actions.py:load_published": ADDS,
    "protocols/actions_rehearsing.py:read_report": "adds a reading of the report it names",
    "protocols/actions_rehearsing.py:demand_rehearsed": "reads",
    "protocols/actions.py:pin_new_entry": ADDS,
    "requesting/actions_filing.py:file_request": ADDS,
    "requesting/actions_rulings.py:decide_not_applicable": ADDS,
    "requesting/actions_rulings.py:end_not_applicable": ENDS,
    "requesting/actions_rulings.py:sign_gap_statement": "adds a statement that follows the last",
    "requesting/actions_waivers.py:grant_waiver": "adds a waiver; a second one is refused",
    "requesting/actions_waivers.py:propose_waiver": "adds a proposal; a second one is refused",
    "requesting/actions_waivers.py:co_sign_waiver": "signs once; a second one is refused",
    "requesting/actions_waivers.py:end_waiver": ENDS,
    "treatments/actions/decisions.py:ask_cases": "adds questions, each once",
    "treatments/actions/incidents.py:record_incident": ADDS,
    "treatments/actions/incidents.py:complete_emergency": "fills what is empty, and that once",
    "treatments/actions/plans.py:plan_treatment": ADDS,
    "treatments/actions/records.py:keep_times": "adds a record of times",
}


def actions_in(root: Path) -> dict[str, set[str]]:
    """Return the public functions of action modules that have an actor, with their parameters."""
    found = {}
    for path in sorted(root.rglob("*.py")):
        name = path.relative_to(root).as_posix()
        if "/actions" not in name and not name.startswith("progress/acts"):
            continue
        for node in ast.parse(path.read_text("utf-8")).body:
            if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
                names = {each.arg for each in (*node.args.args, *node.args.kwonlyargs)}
                if "actor" in names:
                    found[f"{name}:{node.name}"] = names
    return found


def unversioned(found: dict[str, set[str]]) -> set[str]:
    """Return the actions that do not say what they read."""
    return {name for name, parameters in found.items() if not parameters & READ}


def test_every_action_names_what_it_read_or_only_adds() -> None:
    found = actions_in(ROOT)
    assert len(found) >= 90, "the walk saw too few actions to mean anything"
    assert unversioned(found) - WITHOUT.keys() == set()


def test_the_list_of_exceptions_is_up_to_date() -> None:
    assert WITHOUT.keys() - unversioned(actions_in(ROOT)) == set()


def test_a_planted_action_without_a_version_is_found(tmp_path: Path) -> None:
    room = tmp_path / "room"
    room.mkdir()
    (room / "actions.py").write_text(
        "def edit_thing(*, actor, thing_id, title): ...\n"
        "def edit_other(*, actor, thing_id, title, read_version): ...\n"
    )
    assert unversioned(actions_in(tmp_path)) == {"room/actions.py:edit_thing"}
