"""What views need from a request, with its type."""

from __future__ import annotations

from django.http import HttpRequest
from django.utils.http import url_has_allowed_host_and_scheme

from imaging_requests.people.models import User

#: No key of the database has more digits, and no row has so many versions.
MOST_DIGITS = 18


def whole_number(text: object) -> int | None:
    """Read a whole number of an address or a form; None if it is none that could be stored.

    >>> whole_number("12"), whole_number("²"), whole_number("9" * 30), whole_number(None)
    (12, None, None, None)
    """
    plain = str(text)
    is_whole = plain.isascii() and plain.isdigit() and len(plain) <= MOST_DIGITS
    return int(plain) if is_whole else None


def own_page(request: HttpRequest, target: object) -> str:
    """Return the address of one of our own pages that was sent along, or nothing."""
    address = str(target or "")
    is_ours = address.startswith("/") and url_has_allowed_host_and_scheme(
        address, allowed_hosts={request.get_host()}, require_https=request.is_secure()
    )
    return address if is_ours else ""


def signed_in(request: HttpRequest) -> User:
    """Return the person behind the request; login is required everywhere that calls this."""
    user = request.user
    if not isinstance(user, User):
        raise TypeError("This view was reached without a sign-in.")
    return user
