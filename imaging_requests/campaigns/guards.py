"""What the database refuses about bookings: one resource in two places at once."""

from __future__ import annotations

from zoneinfo import available_timezones

from imaging_requests.people.guards import add_guard, keep, keep_what_has_events

OVERLAPS = (
    "NEW.released_at IS NULL AND EXISTS (SELECT 1 FROM campaigns_booking AS other "
    "WHERE other.id {differs} NEW.id AND other.resource_id = NEW.resource_id "
    "AND other.released_at IS NULL "
    "AND other.starts_at < NEW.ends_at AND NEW.starts_at < other.ends_at)"
)


def declare() -> None:
    """Declare the guards of this room."""
    for event in ("INSERT", "UPDATE"):
        add_guard(
            table="campaigns_booking",
            name=f"one_place_at_{event.lower()}",
            event=event,
            message="A resource is in one place only: this booking overlaps another.",
            when=OVERLAPS,
        )
    zones = ", ".join(f"'{name}'" for name in sorted(available_timezones()))
    for event in ("INSERT", "UPDATE"):
        add_guard(
            table="campaigns_session",
            name=f"names_its_zone_at_{event.lower()}",
            event=event,
            message="A session names the zone of its clock as the time zone database does.",
            when=f"NEW.zone NOT IN ({zones})",
        )
    for name, words in (
        ("booking", "A booking is never deleted: release it."),
        ("sessionsignature", "What somebody signed for a session is never deleted."),
        ("lightdose", "Light that an object received is never deleted."),
    ):
        keep(f"campaigns_{name}", words)
    add_guard(
        table="campaigns_setupcard",
        name="with_lines_stays",
        event="DELETE",
        message="A set-up card by which something was planned or shot is never deleted.",
        when="EXISTS (SELECT 1 FROM campaigns_shotline AS l WHERE l.setup_card_id = OLD.id)",
    )
    for name, words in (
        ("campaign", "A campaign with an event is never deleted."),
        ("session", "A session with an event is never deleted: cancel it."),
    ):
        keep_what_has_events(f"campaigns_{name}", f"campaigns.{name}", words)
