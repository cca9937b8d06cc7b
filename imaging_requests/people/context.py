"""What the frame around every page shows: who is signed in and where they may go."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest

from imaging_requests.people.models import Role, User

#: (address name, label, roles that see it); the order is the order on the page.
PLACES: tuple[tuple[str, str, frozenset[str]], ...] = (
    ("progress:first_page", "Today", frozenset(Role.values)),
    ("progress:catalogues", "Catalogue", frozenset(Role.values)),
    ("requesting:requests", "Requests", frozenset(Role.values)),
    ("campaigns:campaigns", "Campaigns", frozenset(Role.values)),
    (
        "campaigns:shot_list",
        "Shot list",
        frozenset({Role.PHOTOGRAPHER, Role.LEAD}),
    ),
    ("intake:drops", "Drops", frozenset({Role.PHOTOGRAPHER, Role.LEAD, Role.KEEPER})),
    (
        "deliverables:reviews",
        "Review",
        frozenset({Role.LEAD, Role.PHOTOGRAPHER, Role.CONSERVATOR}),
    ),
    (
        "deliverables:packages",
        "Packages",
        frozenset({Role.LEAD, Role.CURATOR, Role.HEAD}),
    ),
    ("progress:treatments", "Treatments", frozenset(Role.values)),
    (
        "protocols:versions",
        "Rules",
        frozenset({Role.LEAD, Role.HEAD, Role.CONSERVATOR, Role.CURATOR}),
    ),
    ("people:accounts", "Accounts", frozenset({Role.KEEPER})),
)


def shell(request: HttpRequest) -> dict[str, Any]:
    """Give the page frame its places and the person's own words for who they are."""
    user = getattr(request, "user", None)
    if not isinstance(user, User):
        return {"places": [], "own_roles": ""}
    roles = user.roles
    places = [
        {"name": name, "label": label, "here": _is_here(request, name)}
        for name, label, seen_by in PLACES
        if roles & seen_by
    ]
    return {
        "places": places,
        "own_roles": ", ".join(str(Role(role).label) for role in Role.values if role in roles),
    }


def _is_here(request: HttpRequest, name: str) -> bool:
    match = request.resolver_match
    return match is not None and match.view_name == name
