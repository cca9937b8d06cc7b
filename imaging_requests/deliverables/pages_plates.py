"""What pages show of a joined picture, and the plate map."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.http import Http404
from django.urls import reverse

from imaging_requests.deliverables import joining, policies, queries, shown
from imaging_requests.deliverables.actions.joins import OPEN_STATES
from imaging_requests.deliverables.forms import PlateMapForm
from imaging_requests.deliverables.joined import unjoined
from imaging_requests.deliverables.models import Deliverable, Join
from imaging_requests.imaging.joining.words import ALL_TURNS
from imaging_requests.intake.models import JobState
from imaging_requests.intake.policies import why_closed
from imaging_requests.people.models import User
from imaging_requests.people.policies import may, why_not

MASTER, INVERTED = "master", "inverted"
FILE_KINDS = (MASTER, INVERTED)


@dataclass(frozen=True, slots=True)
class JoinedPicture:
    """A joined picture in one size."""

    src: str
    width: int
    height: int
    is_tone_stretched: bool


def joined_picture(made: Join | None, kind: str) -> JoinedPicture | None:
    """Return the joined picture of one size, if it is made."""
    if made is None:
        return None
    found = next((each for each in made.pictures if each["kind"] == kind), None)
    if found is None:
        return None
    address = reverse("deliverables:joined", args=[made.deliverable_id, kind])
    return JoinedPicture(
        src=f"{address}?of={made.recipe[:16]}",
        width=found["width_px"],
        height=found["height_px"],
        is_tone_stretched=made.is_tone_stretched,
    )


@dataclass(frozen=True, slots=True)
class Progress:
    """How far the joining is: under way, given up with a reason, or neither."""

    is_under_way: bool
    given_up: str


def progress_of(row: Deliverable) -> Progress:
    """Say how far the background work is; without any nothing is on its way."""
    work = joining.work_on(row)
    if work is None:
        return Progress(is_under_way=False, given_up="")
    has_failed = work.state == JobState.FAILED
    return Progress(
        is_under_way=work.state in (JobState.DUE, JobState.CLAIMED),
        given_up=work.last_error if has_failed else "",
    )


def joined_context(row: Deliverable, user: User) -> dict[str, Any]:
    """Gather what the pages of a picture say of its joining; empty for other pictures."""
    if not joining.is_joined_kind(row):
        return {"joined": None}
    made = joining.newest_join(row)
    is_owed = row.is_complete and bool(unjoined([row]))
    return {
        "joined": {
            "row": made,
            "progress": progress_of(row) if is_owed else None,
            "ask": reverse("deliverables:join", args=[row.pk])
            if is_owed and may(user, policies.LAY_PLATES)
            else "",
            "picture": joined_picture(made, shown.LARGE),
            "figures": figures(made),
            "files": files_of(made, user),
            "plates": reverse("deliverables:plates", args=[row.pk])
            if may(user, policies.LAY_PLATES)
            else "",
        }
    }


def files_of(made: Join | None, user: User) -> list[dict[str, Any]]:
    """Return the full files of a joined picture: for the studio, unless closed to the person."""
    if made is None or not made.sha256 or not may(user, policies.TAKE_FULL_DEPTH):
        return []
    if why_closed(user, made.deliverable, longest_px=max(made.width_px, made.height_px)):
        return []
    files = [{"words": "Joined picture, 16 bit", "kind": MASTER}]
    if any(each["kind"] == INVERTED for each in made.pictures):
        files.append({"words": "Inverted (max − x), same size", "kind": INVERTED})
    return [
        {
            "words": each["words"],
            "href": reverse("deliverables:joined", args=[made.deliverable_id, each["kind"]]),
        }
        for each in files
    ]


def figures(made: Join | None) -> list[dict[str, Any]]:
    """Return verdict, residual in px and mm, and step at the seams, as facts."""
    if made is None or not made.sha256:
        return []
    report = made.report
    rows: list[dict[str, Any]] = [
        {"label": "Overlaps agree within", "value": f"{report['rms_px']:.2f}", "unit": "px"},
        {
            "label": "Largest step at a seam",
            "value": f"{report['worst_step_percent']:.2f}",
            "unit": "%",
        },
        {"label": "Size", "value": f"{made.width_px} × {made.height_px}", "unit": "px"},
        {"label": "Tiles may", "value": report["model"], "note": "chosen by the evidence"},
    ]
    if report["rms_mm"] is not None:
        rows[0]["note"] = f"{report['rms_mm']:.2f} mm on the object"
    if report["holes"]:
        rows.append({"label": "Holes", "value": str(len(report["holes"])), "note": "left empty"})
    return rows


def plates_context(row: Deliverable, *, user: User, form: PlateMapForm | None) -> dict[str, Any]:
    """Gather the plate map page; a picture without tiles is not found."""
    plan = joining.plan_of(row)
    if plan is None or not joining.is_joined_kind(row):
        raise Http404
    made = joining.newest_join(row)
    small = shown.thumbs((plate.frame for plate in plan.plates), shown.SMALL)
    form = form or form_of(row, plan, made)
    columns, rows = plan.grid
    cells: dict[tuple[int, int], dict[str, Any]] = {}
    for number, plate in enumerate(plan.plates, 1):
        cells[plate.column, plate.row] = {
            "number": number,
            "name": plate.name,
            "thumb": small.get(plate.frame),
            "place": form[f"place_{plate.frame}"],
            "turn": form[f"turn_{plate.frame}"],
            "proposal": _proposal(made, number - 1, plate),
            "turn_words": ALL_TURNS[_turn_index(plate.quarters, plate.mirrored)].words,
            "is_turned": bool(plate.quarters or plate.mirrored),
        }
    state_refusal = (
        ""
        if row.state in OPEN_STATES
        else f"This picture is {row.get_state_display().lower()}; start its next version first."
    )
    is_owed = row.is_complete and bool(unjoined([row]))
    not_because = why_not(user, policies.LAY_PLATES, row)
    return {
        "row": row,
        "number": queries.number_of(row),
        "words": str(row),
        "grid": [
            [
                {"cell": cells.get((column, down)), "column": column + 1, "row": down + 1}
                for column in range(columns)
            ]
            for down in range(rows)
        ],
        "form": form,
        "made": made,
        "figures": figures(made),
        "picture": joined_picture(made, shown.LARGE),
        "progress": progress_of(row) if made is None or made.recipe != plan.recipe else None,
        "maps": list(row.plate_maps.select_related("by")),
        "not_because": not_because or state_refusal,
        "may_ask": is_owed and not not_because,
        "is_by_hand": plan.plate_map is not None,
    }


def form_of(row: Deliverable, plan: joining.Plan, made: Join | None) -> PlateMapForm:
    """Return the form with the tiles as they lie, or as the joining proposes."""
    initial: dict[str, Any] = {"read_version": row.row_version}
    for index, plate in enumerate(plan.plates):
        column, down = plate.column, plate.row
        turn = _turn_index(plate.quarters, plate.mirrored)
        found = _found(made, index) if plan.plate_map is None else None
        if found is not None:
            column, down = found["column"], found["row"]
            turn = _turn_index(found["quarter_turns"], found["is_mirrored"])
        initial[f"place_{plate.frame}"] = f"{column},{down}"
        initial[f"turn_{plate.frame}"] = str(turn)
    return PlateMapForm(None, plan=plan, initial=initial)


def _found(made: Join | None, index: int) -> dict[str, Any] | None:
    tiles = made.report.get("tiles", []) if made is not None else []
    if index >= len(tiles) or tiles[index]["column"] is None:
        return None
    found: dict[str, Any] = tiles[index]
    return found


def _proposal(made: Join | None, index: int, plate: joining.Plate) -> str:
    """Say what the joining found about a tile, where it differs from how the tile lies."""
    tiles = made.report.get("tiles", []) if made is not None else []
    if index >= len(tiles):
        return ""
    tile = tiles[index]
    if tile["why_left_out"]:
        return f"It {tile['why_left_out']}."
    said = []
    if (tile["column"], tile["row"]) != (plate.column, plate.row):
        said.append(f"fits in column {tile['column'] + 1}, row {tile['row'] + 1}")
    turn = ALL_TURNS[_turn_index(tile["quarter_turns"], tile["is_mirrored"])]
    if (turn.quarters, turn.is_mirrored) != (plate.quarters, plate.mirrored):
        said.append(f"lies {turn.words} in its file")
    return f"It {' and '.join(said)}." if said else ""


def _turn_index(quarters: int, is_mirrored: bool) -> int:
    return quarters + 4 * is_mirrored
