"""Models and migrations agree, and migrations stand on their own."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest
from django.apps import apps
from django.core.management import call_command
from django.db import models
from django.db.migrations.autodetector import MigrationAutodetector
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.state import ModelState, ProjectState

CHECKOUT = Path(__file__).resolve().parents[2]
MIGRATIONS = sorted((CHECKOUT / "imaging_requests").glob("*/migrations/0*.py"))


@pytest.mark.django_db
def test_no_model_change_is_without_its_migration() -> None:
    call_command("makemigrations", "--check", "--dry-run", verbosity=0)


def test_a_planted_model_change_is_noticed() -> None:
    loader = MigrationLoader(None, ignore_no_migrations=True)
    state = loader.project_state()
    changed = ProjectState.from_apps(apps)
    user = changed.models["people", "user"]
    planted: ModelState = user.clone()
    planted.fields["planted"] = models.IntegerField(default=0)
    changed.models["people", "user"] = planted
    changes = MigrationAutodetector(state, changed).changes(graph=loader.graph)
    assert "people" in changes


def test_no_two_migrations_are_both_the_last() -> None:
    assert MigrationLoader(None, ignore_no_migrations=True).detect_conflicts() == {}


def test_migrations_import_nothing_of_ours_and_say_what_they_do() -> None:
    assert len(MIGRATIONS) >= 9, "the walk saw too few migrations to mean anything"
    for path in MIGRATIONS:
        assert "auto" not in path.stem, f"{path.name} is named after a date, not after its work"
        for node in ast.walk(ast.parse(path.read_text())):
            names = (
                [alias.name for alias in node.names]
                if isinstance(node, ast.Import)
                else [node.module or ""]
                if isinstance(node, ast.ImportFrom)
                else []
            )
            ours = [name for name in names if name.startswith("imaging_requests.")]
            first = {"imaging_requests.people.models", "imaging_requests.people.creating"}
            allowed = first if path.stem == "0001_initial" else set()
            assert not set(ours) - allowed, f"{path} imports {ours}"
