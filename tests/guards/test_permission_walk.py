"""Every address declares who may call it, and every role is answered accordingly.

The walk visits each route of the URLconf, unnamed ones included, as nobody, as a person without a
role, and as each role, with GET and POST. Things named in the addresses do not exist, so a person
who may call the view is answered with anything but 403, and one who may not with 403 and a reason.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterator
from typing import Any

import pytest
from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.test import Client
from django.urls import URLPattern, URLResolver, get_resolver, path

from imaging_requests.people.actions import open_account
from imaging_requests.people.models import Role, User
from imaging_requests.people.policies import Act

pytestmark = pytest.mark.slow

#: Routes of libraries, with the reason why they need no act of ours.
FOREIGN: dict[str, str] = {}
#: Pages without a sign-in. A link to a picture names a person under a signature; the service asks
#: what that person sees.
PUBLIC = {
    "people:sign_in",
    "pictures:link",
    "pictures:link_description",
    "pictures:link_region",
}
ARGUMENTS: dict[str, Any] = {
    "IntConverter": 987654321,
    "UUIDConverter": uuid.UUID(int=0),
    "SlugConverter": "nothing",
    "StringConverter": "nothing",
    "PathConverter": "nothing",
}


def routes(resolver: URLResolver, namespace: str = "") -> Iterator[tuple[str, URLPattern]]:
    """Yield every route below a resolver with its full name or, without one, its pattern."""
    for pattern in resolver.url_patterns:
        if isinstance(pattern, URLResolver):
            inner = ":".join(part for part in (namespace, pattern.namespace or "") if part)
            yield from routes(pattern, inner)
        else:
            name = pattern.name or str(pattern.pattern)
            yield (f"{namespace}:{name}" if namespace else name), pattern


def undeclared(found: list[tuple[str, URLPattern]]) -> list[str]:
    """Return the routes whose view says nothing about who may call it."""
    return [
        name
        for name, pattern in found
        if name not in FOREIGN and not hasattr(pattern.callback, "act")
    ]


#: More than a column of the database can hold.
BEYOND = 99_999_999_999_999_999_999


def _address(resolver: URLResolver, wanted: URLPattern, prefix: str = "/") -> str | None:
    for pattern in resolver.url_patterns:
        if isinstance(pattern, URLResolver):
            found = _address(pattern, wanted, prefix + _filled(pattern))
            if found is not None:
                return found
        elif pattern is wanted:
            return prefix + _filled(pattern)
    return None


def _filled(pattern: URLPattern | URLResolver) -> str:
    route = str(pattern.pattern)
    for name, converter in pattern.pattern.converters.items():
        kind = type(converter).__name__
        value = converter.to_url(ARGUMENTS[kind])
        for written in (
            f"<{name}>",
            *(f"<{key}:{name}>" for key in ("int", "uuid", "slug", "str", "path")),
        ):
            route = route.replace(written, value)
    assert "<" not in route, f"the walk does not know how to fill {route}"
    return route


ALL_ROUTES = list(routes(get_resolver()))


def test_every_route_declares_its_act() -> None:
    assert len(ALL_ROUTES) >= 40, "the walk saw too few routes to mean anything"
    assert undeclared(ALL_ROUTES) == []


def test_a_planted_route_without_an_act_is_found() -> None:
    def planted(request: HttpRequest) -> HttpResponse:
        return HttpResponse("open to all")

    assert undeclared([*ALL_ROUTES, ("planted", path("planted/", planted))]) == ["planted"]


def test_only_the_listed_routes_are_public() -> None:
    found = {name for name, pattern in ALL_ROUTES if getattr(pattern.callback, "act", 1) is None}
    assert found == PUBLIC


@pytest.fixture
def everybody(db: None) -> dict[str, User]:
    people = {
        str(role): open_account(
            actor=None,
            email=f"{role}@ardenmoor.example",
            name=str(role).title(),
            roles=[role],
            password="a long enough word",
        )
        for role in Role
    }
    people["nothing"] = open_account(
        actor=None,
        email="nothing@ardenmoor.example",
        name="Nothing",
        roles=[],
        password="a long enough word",
    )
    return people


def ask(client: Client, user: User, method: str, name: str, address: str) -> HttpResponse:
    """Ask as somebody who is signed in, and who is not sent to sign in."""
    held = client.cookies.get(settings.SESSION_COOKIE_NAME)
    if held is None or not held.value:
        client.force_login(user)
    answer: HttpResponse = getattr(client, method)(address)
    if name != "people:sign_out":
        sent_to = answer.headers.get("Location", "")
        assert "/people/sign-in/" not in sent_to, f"{name} {method} lost {user.name}"
    return answer


def test_each_role_is_answered_as_declared(everybody: dict[str, User]) -> None:
    visited = 0
    nobody, clients = Client(), {role: Client() for role in everybody}
    for name, pattern in ALL_ROUTES:
        act: Act | None = getattr(pattern.callback, "act", None)
        if name in FOREIGN or act is None:
            continue
        address = _address(get_resolver(), pattern)
        assert address is not None
        for method in ("get", "post"):
            answer = getattr(nobody, method)(address)
            assert answer.status_code in {302, 405}, f"{name} {method} as nobody"
            if answer.status_code == 302:
                assert "/people/sign-in/" in answer["Location"], f"{name} {method} as nobody"
            for role, user in everybody.items():
                answer = ask(clients[role], user, method, name, address)
                assert answer.status_code < 500, f"{name} {method} as {role}"
                if role in act.roles:
                    assert answer.status_code != 403, f"{name} {method} as {role} was refused"
                else:
                    assert answer.status_code in {403, 405}, f"{name} {method} as {role} came in"
                visited += 1
    assert visited >= 40 * 2 * 7


def test_a_number_that_no_row_can_have_is_not_found(
    everybody: dict[str, User], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(ARGUMENTS, "IntConverter", BEYOND)
    asked = 0
    clients = {role: Client() for role in ("lead", "keeper", "conservator")}
    for name, pattern in ALL_ROUTES:
        address = _address(get_resolver(), pattern)
        assert address is not None
        if str(BEYOND) not in address:
            continue
        asked += 1
        for role, client in clients.items():
            for method in ("get", "post"):
                answer = ask(client, everybody[role], method, name, address)
                assert answer.status_code in {403, 404, 405}, f"{name} {method}"
    assert asked >= 60, "the walk saw too few routes to mean anything"
