"""What the database refuses about restrictions and grants."""

from __future__ import annotations

from imaging_requests.people.guards import add_guard, keep


def declare() -> None:
    """Declare the guards of this room."""
    for name, ended, words in (
        ("restriction", "lifted_at", "A restriction is lifted, never deleted."),
        ("grant", "ended_at", "A grant is ended, never deleted."),
    ):
        keep(f"pictures_{name}", words)
        add_guard(
            table=f"pictures_{name}",
            name="ended_stays",
            event="UPDATE",
            message=f"A {name} that has ended never changes: make a new one.",
            when=f"OLD.{ended} IS NOT NULL",
        )
