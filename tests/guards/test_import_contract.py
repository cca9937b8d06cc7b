"""Imports point inward only; the contract is shown to bite on a planted import."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

CHECKOUT = Path(__file__).resolve().parents[2]


def _lint(folder: Path) -> subprocess.CompletedProcess[str]:
    program = Path(sys.executable).parent / "lint-imports"
    return subprocess.run(
        [str(program), "--no-cache", "--config", str(folder / "pyproject.toml")],
        cwd=folder,
        env={"PYTHONPATH": str(folder), "PATH": "/usr/bin:/bin"},
        capture_output=True,
        text=True,
        check=False,
    )


def test_the_rings_are_kept() -> None:
    answer = _lint(CHECKOUT)
    assert answer.returncode == 0, answer.stdout + answer.stderr
    assert "Contracts: 2 kept, 0 broken" in answer.stdout


def test_an_import_that_points_outward_is_found(tmp_path: Path) -> None:
    shutil.copytree(
        CHECKOUT / "imaging_requests",
        tmp_path / "imaging_requests",
        ignore=shutil.ignore_patterns("__pycache__", "static"),
    )
    shutil.copy(CHECKOUT / "pyproject.toml", tmp_path)
    inner = tmp_path / "imaging_requests" / "collection" / "stale.py"
    inner.write_text(
        inner.read_text() + "\nfrom imaging_requests.progress import models as outward\n"
    )
    pure = tmp_path / "imaging_requests" / "reckoning" / "__init__.py"
    pure.write_text(pure.read_text() + "\nimport django\n")
    answer = _lint(tmp_path)
    assert answer.returncode != 0
    assert "Contracts: 0 kept, 2 broken" in answer.stdout
