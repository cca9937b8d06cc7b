"""Whose eyes the pictures are for: restrictions, and what is open to people from outside."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import partial
from typing import Any

from imaging_requests.demo.world import Step, World
from imaging_requests.pictures import actions


def steps(world: World) -> Iterator[Step]:
    """Yield what is restricted and what is granted, each on its day."""
    museum, at = world.scenario["museum"], world.calendar.at
    for row in world.scenario.mine(museum["restrictions"]):
        what = f"{row['object']} restricted"
        yield Step(at(row["on"]), 5, what, partial(_restrict, world, row))
    for row in museum["grants"]:
        what = f"opened to {row['person']}"
        yield Step(at(row["on"]), 5, what, partial(_open, world, row))


def _restrict(world: World, row: Mapping[str, Any]) -> None:
    at = world.calendar.at
    actions.set_restriction(
        actor=world.people[row["by"]],
        object_id=world.objects[row["object"]],
        kind=row["kind"],
        reason=row["reason"],
        surface=row.get("surface", ""),
        techniques=row.get("techniques", ()),
        until=at(row["until"]) if "until" in row else None,
        now=at(row["on"]),
    )


def _open(world: World, row: Mapping[str, Any]) -> None:
    at = world.calendar.at
    actions.give_grants(
        actor=world.people[row["by"]],
        person_id=world.people[row["person"]].pk,
        object_ids=[world.objects[each] for each in row["objects"] if each in world.objects],
        sight=row["sight"],
        until=at(row["until"]),
        purpose=row["purpose"],
        now=at(row["on"]),
    )
