"""Writes happen in actions, or in the few modules whose work is to store; nowhere else."""

from __future__ import annotations

import ast
from pathlib import Path

CHECKOUT = Path(__file__).resolve().parents[2]
ROOT = CHECKOUT / "imaging_requests"
WRITES = {
    "save",
    "create",
    "bulk_create",
    "bulk_update",
    "get_or_create",
    "update_or_create",
    "delete",
    "update",
}
#: Modules outside `actions` that store, each with its reason.
ALLOWED = {
    "people/models.py": "the manager makes users",
    "people/audit.py": "appends events",
    "people/versions.py": "saves a locked row and raises its version",
    "collection/stale.py": "leaves stale marks",
    "requesting/derivation.py": "brings owed views in line with rules and facts",
    "requesting/changes.py": "stores what the derivation of owed views found",
    "campaigns/bookings.py": "keeps bookings in line with a session, inside its action",
    "campaigns/lines.py": "makes shot lines from owed views, inside its action",
    "intake/jobs.py": "claims and ends jobs",
    "progress/settle.py": "keeps the caches",
    "progress/adding_up.py": "keeps the numbers of catalogues, inside a settling",
}
#: Receivers whose methods of the same names have nothing to do with the database.
HARMLESS_RECEIVERS = {
    "hashlib",
    "dict",
    "digest",
    "hash",
    "hasher",
    "sha",
    "counts",
    "seen",
    "found",
    "sheet",
}


def writes_in(path: Path) -> list[int]:
    """Return the lines on which a module calls something that may write to the database."""
    lines = []
    for node in ast.walk(ast.parse(path.read_text())):
        if not (isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute)):
            continue
        if node.func.attr not in WRITES:
            continue
        receiver = ast.unparse(node.func.value)
        is_queryset = ".objects" in receiver or "_manager" in receiver or "filter(" in receiver
        is_row = node.func.attr in {"save", "delete"} and receiver.isidentifier()
        if receiver in HARMLESS_RECEIVERS or not (is_queryset or is_row):
            continue
        lines.append(node.lineno)
    return lines


def stray_writes(root: Path) -> dict[str, list[int]]:
    """Return writes outside actions and the allowed modules."""
    stray = {}
    for path in sorted(root.rglob("*.py")):
        name = path.relative_to(root).as_posix()
        parts = name.split("/")
        is_action = parts[-1].startswith("actions") or parts[1:2] == ["actions"]
        if (
            is_action
            or name in ALLOWED
            or "migrations" in parts
            or parts[0] in {"imaging", "reckoning"}
            or parts[:2] == ["demo", "large"]
        ):
            continue
        if lines := writes_in(path):
            stray[name] = lines
    return stray


def test_nothing_writes_outside_actions() -> None:
    seen = sum(len(writes_in(path)) for path in ROOT.rglob("*.py"))
    assert seen >= 40, "the walk saw too few writes to mean anything"
    assert stray_writes(ROOT) == {}


def test_a_planted_write_in_a_view_is_found(tmp_path: Path) -> None:
    views = tmp_path / "people" / "views.py"
    views.parent.mkdir()
    views.write_text("def view(request):\n    User.objects.filter(pk=1).update(name='x')\n")
    assert stray_writes(tmp_path) == {"people/views.py": [2]}


def test_every_allowed_module_exists() -> None:
    assert [name for name in ALLOWED if not (ROOT / name).exists()] == []
