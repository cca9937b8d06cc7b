"""From a refusal back to the thing that it is about, with the words that were typed."""

from __future__ import annotations

from collections.abc import Iterator
from urllib.parse import urlsplit

from django.http import HttpRequest

from imaging_requests.people.doors import opens_for
from imaging_requests.people.models import User

#: Fields of forms that carry no words of the person.
NOT_TYPED = frozenset({"csrfmiddlewaretoken", "read_version", "read_record", "next", "back"})


def way_back(request: HttpRequest) -> str:
    """The page that the step was taken on, else the nearest page above its address.

    Empty if there is none but the first page, or none that is open to the person.
    """
    user = getattr(request, "user", None)
    if not isinstance(user, User):
        return ""
    for address in (_came_from(request), *_above(request.path)):
        is_elsewhere = address != request.path or request.method == "POST"
        if address not in ("", "/") and is_elsewhere and opens_for(address, user):
            return address
    return ""


def typed(request: HttpRequest) -> list[dict[str, str]]:
    """What the person wrote into the refused form, field by field; keys and codes left out."""
    if request.method != "POST":
        return []
    return [
        {"label": name.replace("_", " ").replace("-", " ").capitalize(), "value": value}
        for name, values in request.POST.lists()
        if name not in NOT_TYPED
        for value in (each.strip() for each in values)
        if " " in value or "\n" in value
    ]


def _came_from(request: HttpRequest) -> str:
    """The page of this site that sent the form; browsers say it for steps within one site."""
    sent = urlsplit(request.headers.get("Referer", ""))
    if sent.netloc != request.get_host():
        return ""
    return f"{sent.path}?{sent.query}" if sent.query else sent.path


def _above(path: str) -> Iterator[str]:
    parts = [part for part in path.split("/") if part]
    for length in range(len(parts) - 1, 0, -1):
        yield f"/{'/'.join(parts[:length])}/"
