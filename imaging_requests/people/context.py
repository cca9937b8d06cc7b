"""What the frame around every page shows: who is signed in and where they may go."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

from django.http import HttpRequest
from django.urls import get_script_prefix, get_urlconf, reverse

from imaging_requests.people.models import Role, User
from imaging_requests.people.policies import EVERYONE_INSIDE, OUTSIDE

HOME = "progress:first_page"

#: (address name, label, roles that see it); the order is the order on the page.
PLACES: tuple[tuple[str, str, frozenset[str]], ...] = (
    ("progress:first_page", "Today", EVERYONE_INSIDE),
    ("progress:catalogues", "Catalogue", EVERYONE_INSIDE),
    ("requesting:requests", "Requests", EVERYONE_INSIDE),
    ("campaigns:campaigns", "Campaigns", EVERYONE_INSIDE),
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
    ("progress:treatments", "Treatments", EVERYONE_INSIDE),
    (
        "protocols:versions",
        "Rules",
        frozenset({Role.LEAD, Role.HEAD, Role.CONSERVATOR, Role.CURATOR}),
    ),
    ("people:accounts", "Accounts", frozenset({Role.KEEPER})),
    ("pictures:grants", "Outside", frozenset({Role.CURATOR, Role.LEAD, Role.HEAD})),
    ("pictures:granted", "Pictures for you", OUTSIDE),
)


def shell(request: HttpRequest) -> dict[str, Any]:
    """Give the page frame its places and the person's own words for who they are."""
    user = getattr(request, "user", None)
    if not isinstance(user, User):
        return {"places": [], "own_roles": ""}
    roles = user.roles
    here = _place_of(request)
    addresses = {name: address for address, name in _addresses(get_urlconf(), get_script_prefix())}
    places = [
        {
            "address": addresses[name],
            "label": label,
            "here": _mark(request, name) if name == here else "",
        }
        for name, label, seen_by in PLACES
        if roles & seen_by
    ]
    return {
        "places": places,
        "own_roles": ", ".join(str(Role(role).label) for role in Role.values if role in roles),
    }


#: First words of an address → the place that it belongs to, beside the places' own addresses.
BELOW: tuple[tuple[str, str], ...] = (
    ("/entries/", "progress:catalogues"),
    ("/objects/", "progress:catalogues"),
    ("/intake/sorting/", "intake:drops"),
    ("/intake/store/", "intake:drops"),
    ("/deliverables/", "deliverables:reviews"),
    ("/treatment-steps/", "progress:treatments"),
    ("/decisions/", "progress:treatments"),
)


def _mark(request: HttpRequest, name: str) -> str:
    """What `aria-current` says of a place: the page itself, or a page below it."""
    return "page" if request.path == reverse(name) else "true"


def _place_of(request: HttpRequest) -> str:
    """The place that the page stands at or below: the longest address that its own begins with."""
    path = request.path
    home, *known = _addresses(get_urlconf(), get_script_prefix())
    below = [(len(start), name) for start, name in (*known, *BELOW) if path.startswith(start)]
    if below:
        return max(below)[1]
    return HOME if path == home[0] else ""


@lru_cache(maxsize=4)
def _addresses(urlconf: str | None, prefix: str) -> tuple[tuple[str, str], ...]:
    """The address of every place, home first; the same as long as both arguments are."""
    others = [(reverse(name), name) for name, _, _ in PLACES if name != HOME]
    return ((reverse(HOME), HOME), *others)
