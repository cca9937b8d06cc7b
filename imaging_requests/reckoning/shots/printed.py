"""The shot list as plain text for people: a table of views, totals, and what to mind."""

from collections.abc import Iterable, Sequence

from imaging_requests.reckoning.shots.answer import ShotList, ShotView, StationTotal
from imaging_requests.reckoning.shots.cover import plain

_HEADINGS = (
    "view", "tiles", "turned", "exposures EV", "slices", "px/mm", "frames", "min", "desk",
    "set-up card",
)  # fmt: skip
_RIGHT = frozenset(("slices", "px/mm", "frames", "min", "desk"))


def as_text(answer: ShotList) -> str:
    """Write a shot list as text, lines ending in ``\\n``; questions come before everything."""
    lines = [f"Shot list {answer.object or 'of an object without number'}"]
    lines[0] += f" – protocol {answer.protocol}, settings {answer.settings}"
    if answer.provisional:
        lines.append("PROVISIONAL: facts are missing, so numbers may change.")
    lines += [f"? {item.question}" for item in answer.questions]
    if answer.views:
        lines += ["", *_table([_HEADINGS, *(_row(view) for view in answer.views)])]
    lines += _totals(answer)
    lines += _section("Not applicable", (f"{s.view}: {s.reason}" for s in answer.not_applicable))
    lines += _section("Already there", (f"{s.view}: {s.reason}" for s in answer.already_met))
    lines += _section("Cautions", answer.cautions)
    lines += _section("Near misses", (miss.sentence for miss in answer.near_misses))
    lines += _section("Notes", answer.notes)
    return "\n".join(lines) + "\n"


def _row(view: ShotView) -> tuple[str, ...]:
    tiles = f"{view.tiles[0]} × {view.tiles[1]}"
    if view.empty_tiles:
        tiles += f" − {len(view.empty_tiles)}"
    return (
        view.view if view.detail is None else f"{view.view} ({view.detail})",
        tiles,
        view.orientation,
        " ".join(f"{ev:+g}" if ev else "0" for ev in view.exposures_ev),
        str(view.focus_slices),
        plain(view.px_per_mm),
        str(view.frames),
        plain(view.minutes),
        plain(view.desk_minutes),
        view.setup_card,
    )


def _table(rows: Sequence[Sequence[str]]) -> list[str]:
    widths = [max(len(row[column]) for row in rows) for column in range(len(rows[0]))]
    return [
        "  ".join(
            cell.rjust(width) if heading in _RIGHT else cell.ljust(width)
            for heading, cell, width in zip(rows[0], row, widths, strict=True)
        ).rstrip()
        for row in rows
    ]


def _totals(answer: ShotList) -> list[str]:
    if answer.moves is None:
        return []
    moves = answer.moves
    lift = " and the lift" if moves.lift else ""
    lines = ["", *(_station(total) for total in answer.stations)]
    lines.append(f"Desk: {plain(answer.desk_minutes)} min")
    lines.append(
        f"Moves ({moves.size_class}): fetch {plain(moves.fetch_min)} min, return "
        f"{plain(moves.return_min)} min, unframe {plain(moves.unframe_min)} min, "
        f"{moves.people} people{lift}"
    )
    drops = ", ".join(f"{name} {count}" for name, count in answer.expected_files_by_station)
    lines.append(
        f"Files to arrive: {answer.expected_files} ({answer.frames} frames of views, the rest "
        f"auxiliary): {drops or 'none'}"
    )
    if answer.dose is not None:
        dose = answer.dose
        lines.append(
            f"Light on painted faces: {dose.light_lxh:,.0f} lx·h, with {dose.used_before_lxh:,.0f} "
            f"in the light book, of {dose.yearly_share_lxh:,.0f} lx·h a year"
        )
    return lines


def _station(total: StationTotal) -> str:
    parts = [f"placing {plain(total.placing_min)}"] if total.placing_min else []
    parts += [f"one turn {plain(total.turn_min)}"] if total.turn_min else []
    inside = f" (with {' and '.join(parts)})" if parts else ""
    days = "".join(f"; {count} plates {plain(m)} min" for count, m in total.day_split)
    return (
        f"Station {total.station}: {plain(total.minutes)} min{inside}, "
        f"{total.minutes_with_reserve} min with reserve{days}"
    )


def _section(heading: str, items: Iterable[str]) -> list[str]:
    listed = [f"- {item}" for item in items]
    return ["", f"{heading}:", *listed] if listed else []
