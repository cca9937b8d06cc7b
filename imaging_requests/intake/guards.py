"""What the database refuses about files that were received."""

from __future__ import annotations

from imaging_requests.people.guards import add_guard, keep_what_has_events


def declare() -> None:
    """Declare the guards of this room."""
    add_guard(
        table="intake_frame",
        name="as_received",
        event="UPDATE",
        message="What was received of a file never changes: its bytes, its sum, its own clock.",
        when=(
            "NEW.sha256 {differs} OLD.sha256 OR NEW.size_bytes {differs} OLD.size_bytes "
            "OR NEW.first_name {differs} OLD.first_name OR NEW.wall_clock {differs} OLD.wall_clock"
        ),
    )
    for name, words in (
        ("drop", "A drop with an event is never deleted: close it."),
        ("frame", "A frame with an event is never deleted: set it aside."),
    ):
        keep_what_has_events(f"intake_{name}", f"intake.{name}", words)
