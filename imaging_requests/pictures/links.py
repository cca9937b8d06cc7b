"""Links that carry one person's sight of one picture for ten minutes.

A link names the person and the picture under a signature, so that a program without the person's
sign-in can fetch a cut-out or tiles. What the person may see is asked again at every request: a
link never shows more than a sign-in would at that moment.
"""

from __future__ import annotations

from dataclasses import dataclass

from django.core import signing

from imaging_requests.people.models import User
from imaging_requests.pictures.numbers import service_numbers

SALT = "imaging_requests.pictures.links"


@dataclass(frozen=True, slots=True)
class Link:
    """What a link stands for."""

    person_id: int
    identifier: str


def make_link(user: User, identifier: str) -> str:
    """Return the token of a link that lives from now on."""
    signed: str = signing.TimestampSigner(salt=SALT).sign_object([user.pk, identifier])
    return signed


def read_link(token: str) -> Link | None:
    """Return what a token stands for, or None if it is not ours or its time is over."""
    try:
        person_id, identifier = signing.TimestampSigner(salt=SALT).unsign_object(
            token, max_age=service_numbers().link_lives_s
        )
    except (signing.BadSignature, ValueError, TypeError):
        return None
    return Link(int(person_id), str(identifier))
