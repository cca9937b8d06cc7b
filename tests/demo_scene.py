"""Build a demo in a process and a folder of its own, as a visitor does, and ask it questions."""

from __future__ import annotations

import os
import sqlite3
import subprocess
import sys
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

CHECKOUT = Path(__file__).resolve().parents[1]


@dataclass(frozen=True)
class Built:
    """A demo that stands, and what the command printed."""

    folder: Path
    printed: str

    def rows(self, question: str) -> list[tuple[object, ...]]:
        """Answer a question from the database itself, past the program."""
        with closing(sqlite3.connect(self.folder / "imaging.sqlite3")) as database:
            return database.execute(question).fetchall()

    def count(self, question: str) -> object:
        """Count the rows of a table, with conditions."""
        return self.rows(f"SELECT count(*) FROM {question}")[0][0]


def run(folder: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    """Run a command of the checkout with a data folder and nothing else from the environment."""
    environment = {
        name: value
        for name, value in os.environ.items()
        if not name.startswith(("IMAGING_", "DJANGO_", "DATABASE_URL", "REDIS_URL"))
    }
    return subprocess.run(
        [sys.executable, "manage.py", *arguments],
        cwd=CHECKOUT,
        env=environment | {"IMAGING_DATA_DIR": str(folder)},
        capture_output=True,
        text=True,
        check=False,
    )


def build(folder: Path, *arguments: str) -> Built:
    """Build a demo without serving it."""
    answer = run(folder, "demo", "--no-start", *arguments)
    assert answer.returncode == 0, answer.stdout + answer.stderr
    return Built(folder, answer.stdout)
