"""Ask the guarded processes to measure files: the caller's side, which loads no decoder."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from imaging_requests.imaging.files.guard import GuardFailure, GuardPool, Trouble
from imaging_requests.imaging.files.refusals import Unreadable
from imaging_requests.imaging.measure.finding import Finding
from imaging_requests.imaging.measure.plan import Plan
from imaging_requests.imaging.measure.traits import Traits


@dataclass(frozen=True, slots=True)
class Measured:
    """What was found. ``frames``: for each file its findings and size in px, or why it gives none.
    ``together``: findings of the bracket that the files make. ``traits``: of each file, empty if
    not asked for.
    """

    frames: tuple[tuple[tuple[Finding, ...], tuple[int, int]] | Unreadable, ...]
    together: tuple[Finding, ...]
    traits: tuple[Traits, ...]


def measure(
    pool: GuardPool,
    files: Sequence[tuple[Path, Plan]],
    *,
    data_folder: Path,
    scratch_in: Path,
    megapixels: float,
    charts: tuple[str, ...] = (),
    wanted_ev: Sequence[float] = (),
    with_traits: bool = False,
) -> Measured | GuardFailure:
    """Measure files in a guarded process; never raises because of them.

    Args:
        pool: The guarded processes.
        files: One file, or the frames of one bracket, each with what it was meant to be.
        data_folder: Where limits, charts and strip lie.
        scratch_in: Folder in which a scratch folder is made and removed again.
        megapixels: Size of all files together by their headers; lengthens the time allowed.
        charts: Editions that the studio owns; those on its strips if empty.
        wanted_ev: Exposures of the bracket that were ordered.
        with_traits: Read too what can be held against another picture.
    """
    answer = pool.run(
        {
            "task": "measure",
            "arguments": {
                "paths": [str(path.absolute()) for path, _ in files],
                "plans": [asdict(plan) for _, plan in files],
                "data_folder": str(data_folder.absolute()),
                "charts": list(charts),
                "wanted_ev": list(wanted_ev),
                "with_traits": with_traits,
                "limits": pool.limits.as_data(),
            },
            "megapixels": megapixels,
            "scratch_in": str(scratch_in.absolute()),
        }
    )
    if isinstance(answer, GuardFailure):
        return answer
    try:
        frames = tuple(_frame(each) for each in answer["frames"])
        together = tuple(Finding.from_data(each) for each in answer["together"])
        traits = tuple(Traits.from_data(each.get("traits", {})) for each in answer["frames"])
    except (KeyError, TypeError, ValueError) as error:
        return pool.failure(Trouble.GARBLED, detail=repr(error))
    return Measured(frames, together, traits)


def _frame(data: dict[str, Any]) -> tuple[tuple[Finding, ...], tuple[int, int]] | Unreadable:
    if "refused" in data:
        return Unreadable.from_data(data["refused"])
    width, height = data["size_px"]
    return tuple(Finding.from_data(each) for each in data["findings"]), (width, height)
