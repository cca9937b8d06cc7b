"""Every task has a queue that a worker reads, and carries only what JSON can carry."""

from __future__ import annotations

import inspect
import json

import pytest

from imaging_requests.config.celery import QUEUES, ROUTES, SWEEPS, app


def own_tasks() -> dict[str, object]:
    """Return the program's own tasks by name."""
    app.loader.import_default_modules()
    return {name: task for name, task in app.tasks.items() if not name.startswith("celery.")}


def unrouted(names: set[str], routes: set[str]) -> set[str]:
    """Return what stands on one side only."""
    return names ^ routes


def test_tasks_and_routes_name_each_other() -> None:
    names = set(own_tasks())
    assert len(names) >= 4, "the walk saw too few tasks to mean anything"
    assert unrouted(names, set(ROUTES)) == set()


def test_a_task_without_a_route_is_noticed() -> None:
    assert unrouted({*own_tasks(), "planted.task"}, set(ROUTES)) == {"planted.task"}


def test_every_route_leads_to_a_known_queue_and_every_sweep_to_a_known_task() -> None:
    assert {route["queue"] for route in ROUTES.values()} <= set(QUEUES)
    assert {sweep["task"] for sweep in SWEEPS.values()} <= set(own_tasks())


@pytest.mark.parametrize("name", sorted(ROUTES))
def test_arguments_survive_json(name: str) -> None:
    task = own_tasks()[name]
    parameters = inspect.signature(task.run).parameters  # type: ignore[attr-defined]
    arguments = list(range(1, len(parameters) + 1))
    assert json.loads(json.dumps(arguments)) == arguments
    for parameter in parameters.values():
        assert parameter.annotation in ("int", int), f"{name} takes something that is not an id"
