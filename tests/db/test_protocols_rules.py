"""What may happen to a version of the rules, cell by cell, and documents that cannot be used."""

from __future__ import annotations

import copy
import json
from typing import Any

import pytest

from imaging_requests.people.errors import DomainError, IllegalStep
from imaging_requests.protocols import rules, trial
from imaging_requests.protocols.models import RuleKind, VersionState
from imaging_requests.protocols.rules import Step
from imaging_requests.protocols.shape import SHAPES, in_order
from tests import factory
from tests.pure.shot_samples import PROTOCOL_3, SETTINGS

DRAFT, PUBLISHED, RETIRED = VersionState.DRAFT, VersionState.PUBLISHED, VersionState.RETIRED
ALLOWED = {
    (DRAFT, Step.EDIT): DRAFT,
    (DRAFT, Step.SIGN): DRAFT,
    (DRAFT, Step.CO_SIGN): PUBLISHED,
    (PUBLISHED, Step.RETIRE): RETIRED,
}
DOCUMENTS = {
    RuleKind.PROTOCOL: "protocols/catalogue-3.json",
    RuleKind.TRIGGERS: "triggers/table-1.json",
    RuleKind.STUDIO: "studio/settings-1.json",
}


def document(kind: str, **changes: Any) -> dict[str, Any]:
    return copy.deepcopy(factory._read(DOCUMENTS[RuleKind(kind)])) | changes


@pytest.mark.parametrize("state", VersionState.values)
@pytest.mark.parametrize("step", Step)
def test_each_step_from_each_state(state: str, step: Step) -> None:
    if (state, step) in ALLOWED:
        assert rules.next_state(state, step) == ALLOWED[VersionState(state), step]
        return
    with pytest.raises(IllegalStep) as refusal:
        rules.next_state(state, step)
    assert f"You cannot {step.value} this version" in refusal.value.message
    assert VersionState(state).label.lower() in refusal.value.message


@pytest.mark.parametrize("kind", RuleKind)
def test_the_shipped_documents_can_be_read(kind: RuleKind) -> None:
    assert rules.read_definition(kind, document(kind)) is not None


@pytest.mark.parametrize("kind", RuleKind)
@pytest.mark.parametrize("junk", [None, [], "text", 7, {}])
def test_a_document_of_the_wrong_shape_is_refused_in_words(kind: RuleKind, junk: object) -> None:
    with pytest.raises(DomainError) as refusal:
        rules.read_definition(kind, junk)
    assert refusal.value.message.startswith("The document cannot be used. ")
    assert refusal.value.data["sentences"]


def test_every_fault_of_a_document_is_named_with_its_place() -> None:
    faulty = document(RuleKind.PROTOCOL, title="")
    faulty["lines"][0]["face"] = 3
    del faulty["lines"][1]["technique"]
    faulty["lines"][2]["colour"] = "blue"
    with pytest.raises(DomainError) as refusal:
        rules.read_definition(RuleKind.PROTOCOL, faulty)
    assert refusal.value.data["sentences"] == [
        "Lines, “painted.vf”, face must be a text.",
        "Lines, “painted.vc” needs “technique”.",
        "Lines, “painted.rk.left” has “colour”, which no version knows.",
        "Title must not be empty.",
    ]


@pytest.mark.parametrize(
    ("kind", "change", "said"),
    [
        (RuleKind.PROTOCOL, lambda d: d["lines"][0].update(face="side"), "the face is “side”"),
        (
            RuleKind.PROTOCOL,
            lambda d: d["lines"][0].update(when={"fact": "mood", "is": "calm"}),
            "“mood”, which is not an object fact",
        ),
        (
            RuleKind.TRIGGERS,
            lambda d: d["rows"][0]["cells"].update({"UV-F": "Q"}),
            "Row 1, column UV-F: 'Q' is no effect",
        ),
        (
            RuleKind.TRIGGERS,
            lambda d: d["rows"][1].update(row=1),
            "Row 1 stands twice",
        ),
        (
            RuleKind.STUDIO,
            lambda d: d["values"].pop("station.order"),
            "lack a value for “station.order”",
        ),
    ],
)
def test_what_the_reader_refuses_is_passed_on(kind: str, change: Any, said: str) -> None:
    faulty = document(kind)
    change(faulty)
    with pytest.raises(DomainError, match="The document cannot be used") as refusal:
        rules.read_definition(kind, faulty)
    assert said in refusal.value.message


@pytest.mark.parametrize("kind", RuleKind)
def test_a_document_reads_in_the_order_of_its_shape_whatever_the_database_did(kind: str) -> None:
    authored = document(kind)
    shuffled = json.loads(json.dumps(authored, sort_keys=True))
    ordered = in_order(shuffled, SHAPES[kind])
    assert ordered == authored
    wanted = [name for name in SHAPES[kind]["properties"] if name in authored]
    assert list(ordered)[: len(wanted)] == wanted
    assert json.dumps(in_order(ordered, SHAPES[kind])) == json.dumps(ordered)


def spoilt(kind: str, path: tuple[str | int, ...], value: Any) -> dict[str, Any]:
    """Return a shipped document with one value changed, or taken out if it is `...`."""
    whole = document(kind)
    place: Any = whole
    for step in path[:-1]:
        place = place[step]
    if value is ...:
        del place[path[-1]]
    else:
        place[path[-1]] = value
    return whole


PAINTED = ("lines", 0)


@pytest.mark.parametrize(
    ("kind", "path", "value", "said"),
    [
        ("studio", ("values", "uv.cap_min", "value"), "", "“uv.cap_min”, value must be a number"),
        ("studio", ("values", "uv.cap_min", "value"), -1, "must not be below 0"),
        ("studio", ("values", "uv.cap_min"), ..., "needs “uv.cap_min”"),
        ("studio", ("values", "caution.warped", "value"), [1], "must be a group of named values"),
        ("studio", ("values", "caution.warped", "value", "text"), ..., "needs “text”"),
        ("studio", ("values", "fact.kind", "value", "who"), ..., "needs “who”"),
        ("studio", ("values", "density.ir.classes", "value", 1), {}, "“long_side_up_to_mm”"),
        ("studio", ("values", "method.vf.fixed_tiles", "value"), "4", "must be a list or null"),
        ("studio", ("values", "auxiliary.rules", "value", 2, "count"), [None], "a number"),
        ("studio", ("values", "station.bay.pitch_um", "value"), 0, "did not come to a shot list"),
        ("studio", ("values", "reserve.round_up_to_min", "value"), 0, "did not come to a shot"),
        ("studio", ("values", "method.xr.per_frame_min", "value"), 1e308, "did not come to a"),
        ("protocol", (*PAINTED, "technique"), "ZZ", "no working method “zz”"),
        ("protocol", (*PAINTED, "anchor"), "DT", "asks for the present state only"),
        ("protocol", (*PAINTED, "when"), {"fact": ["x"], "is": 1}, "is not an object fact"),
        ("protocol", (*PAINTED, "when"), {"fact": "warp_mm", "at_least": "x"}, "needs a number"),
        ("protocol", (*PAINTED, "when"), {"fact": "support", "in": 3}, "needs a list"),
        ("protocol", (*PAINTED, "when"), {"fact": "support", "above": 3}, "cannot be answered"),
        (
            "protocol",
            (*PAINTED, "when"),
            {"any": [{"fact": "framed", "is": True}, {"fact": "warp_mm", "includes": "F"}]},
            "The condition on “warp_mm” cannot be answered: includes F.",
        ),
        ("triggers", ("families", "UV"), ..., "no column for technique 'UV'"),
    ],
)
def test_a_draft_that_no_shot_list_could_be_made_from_is_not_kept(
    kind: str, path: tuple[str | int, ...], value: Any, said: str
) -> None:
    whole = spoilt(kind, path, value)
    with pytest.raises(DomainError) as refusal:
        trial.demand_usable(kind, whole, protocol=PROTOCOL_3, settings=SETTINGS)
    assert said in " ".join(refusal.value.data["sentences"])


@pytest.mark.parametrize("kind", RuleKind)
def test_what_is_shipped_and_sensible_changes_of_it_pass_the_trial(kind: RuleKind) -> None:
    whole = document(kind)
    if kind == RuleKind.STUDIO:
        whole["values"]["uv.cap_min"]["value"] = 7.5
        del whole["values"]["caution.warped"]
        own = {
            "value": {"text": "Dusty: ask first."},
            "unit": "rule",
            "source": "own",
            "mark": "own",
        }
        whole["values"]["caution.dusty"] = own
    for protocol, settings in ((PROTOCOL_3, SETTINGS), (None, None)):
        trial.demand_usable(kind, whole, protocol=protocol, settings=settings)
