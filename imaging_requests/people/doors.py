"""Which addresses open for a person: a link that would be refused is not offered as a link."""

from __future__ import annotations

from urllib.parse import urlsplit

from django.contrib.auth.models import AnonymousUser
from django.urls import Resolver404, resolve

from imaging_requests.people.models import User
from imaging_requests.people.policies import Act, may


def opens_for(address: str, user: User | AnonymousUser) -> bool:
    """Tell whether the page at an address of this site is open to the person's roles.

    The act that the view declares is asked; a rule about the subject is left to the page itself.
    """
    if not address:
        return False
    try:
        view = resolve(urlsplit(address).path).func
    except Resolver404:
        return False
    wanted = getattr(view, "act", None)
    return not isinstance(wanted, Act) or may(user, wanted)
