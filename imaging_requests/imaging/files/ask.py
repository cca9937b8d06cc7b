"""Ask the guarded processes for derived pictures: the caller's side, which loads no decoder."""

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from imaging_requests.imaging.files.derived import Derived
from imaging_requests.imaging.files.guard import GuardFailure, GuardPool, Trouble
from imaging_requests.imaging.files.limits import Limits
from imaging_requests.imaging.files.recipe import Recipe
from imaging_requests.imaging.files.refusals import Unreadable


def derive_request(
    path: Path,
    out_dir: Path,
    recipe: Recipe,
    *,
    source_sha256: str,
    megapixels: float,
    limits: Limits,
) -> dict[str, Any]:
    """Return the request for ``build_derivatives`` as the guard takes it."""
    return {
        "task": "derive",
        "arguments": {
            "path": str(path.absolute()),
            "out_dir": str(out_dir.absolute()),
            "recipe": recipe.as_data(),
            "source_sha256": source_sha256,
            "limits": limits.as_data(),
        },
        "megapixels": megapixels,
        "scratch_in": str(out_dir.absolute()),
    }


def derive(
    pool: GuardPool,
    path: Path,
    out_dir: Path,
    recipe: Recipe,
    *,
    source_sha256: str,
    megapixels: float,
) -> Derived | Unreadable | GuardFailure:
    """Decode one master in a guarded process; see ``derive.build_derivatives`` for the work.

    ``megapixels``: the size that the header gives; it lengthens the time allowed. Returns the
    result, or why the file gives no picture, or why the process gave no answer. Never raises
    because of the file.
    """
    answer = pool.run(
        derive_request(
            path,
            out_dir,
            recipe,
            source_sha256=source_sha256,
            megapixels=megapixels,
            limits=pool.limits,
        )
    )
    if isinstance(answer, GuardFailure):
        return answer
    try:
        if "refused" in answer:
            return Unreadable.from_data(answer["refused"])
        return Derived.from_data(answer["derived"])
    except (KeyError, TypeError, ValueError) as error:
        return pool.failure(Trouble.GARBLED, detail=repr(error))


@dataclass(frozen=True, slots=True)
class Look:
    """What a look at a small picture showed: text of a slate, and pattern; each may be empty."""

    slate: str = ""
    pattern: str = ""


def look(pool: GuardPool, small: Path) -> Look | GuardFailure:
    """Look at a small picture of ours in a guarded process; see ``likeness.look``.

    ``small``: a derived picture of about 1,024 px. Never raises because of the file.
    """
    answer = pool.run({"task": "look", "arguments": {"path": str(small.absolute())}})
    if isinstance(answer, GuardFailure):
        return answer
    try:
        return Look(str(answer["slate"]), str(answer["pattern"]))
    except (KeyError, TypeError) as error:
        return pool.failure(Trouble.GARBLED, detail=repr(error))
