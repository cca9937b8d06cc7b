"""The addresses of the picture service: with a sign-in, and by a link that lives ten minutes."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.urls import reverse
from django.utils import timezone

from imaging_requests.imaging.iiif.asked import Asked, Limits
from imaging_requests.intake.policies import SEE_PICTURES
from imaging_requests.people.models import User
from imaging_requests.people.policies import declares, demand, is_outside, may, public
from imaging_requests.people.requests import signed_in
from imaging_requests.pictures import answers, looks, memory
from imaging_requests.pictures.access import decision, decision_until, is_small, tiles_along
from imaging_requests.pictures.links import read_link
from imaging_requests.pictures.numbers import access_numbers, service_numbers
from imaging_requests.pictures.rules import Decision, Seen
from imaging_requests.pictures.sources import Source, find_source

LINK_IS_OVER = (
    "This link is over: links to pictures live for ten minutes. Ask whoever sent it for a new one."
)


@dataclass(frozen=True)
class Opened:
    """A picture that a person may see at least small."""

    user: User
    identifier: str
    source: Source
    path: Path
    decision: Decision

    def allow(self, asked: Asked, canonical: str) -> None:
        """Refuse what is more than the person sees; write down what is more than small."""
        longest_px = max(asked.out_width_px, asked.out_height_px)
        is_whole = asked.is_full and longest_px <= access_numbers().small_px
        if self.decision.seen < Seen.FULL:
            if not is_whole or not is_small(self.source.subject, longest_px):
                raise _closed(self.user, self.decision)
            return
        if is_whole:
            return
        if longest_px > access_numbers().small_px:
            looks.note_download(self.user, self.source.subject, self.identifier, canonical)
        else:
            looks.note_look(self.user, self.source.subject, self.identifier)

    def is_still_open(self) -> bool:
        """Ask once more, in the middle of a transfer."""
        is_open = decision(self.user, self.source.subject).seen is Seen.FULL
        if not is_open:
            looks.note_stop(self.user, self.source.subject, self.identifier)
        return is_open

    @property
    def limits(self) -> Limits:
        """What may be asked for, as far as the description can say it."""
        limits = service_numbers().limits
        if self.decision.seen is Seen.FULL:
            return limits
        side_px = max(1, access_numbers().small_px // tiles_along(self.source.subject))
        return Limits(max_area_px=side_px * side_px, max_side_px=side_px)


def _closed(user: User, found: Decision) -> answers.RefusedError:
    """Say why a picture is closed; for people from outside it does not exist."""
    if is_outside(user):
        return answers.RefusedError(answers.refuse(answers.NOT_THERE, status=404))
    return answers.RefusedError(answers.refuse(found.because, status=403))


def _open(user: User, identifier: str) -> Opened:
    """Return the picture and its file if the person may see it; otherwise refuse with why not."""
    head, now = memory.head_of_trail(), timezone.now()
    kept = memory.recall(user.pk, identifier, head=head, now=now)
    if kept is not None and kept.source.path is not None:
        return Opened(user, identifier, kept.source, kept.source.path, kept.decision)
    demand(user, SEE_PICTURES)
    source = find_source(identifier)
    if source is None:
        raise answers.RefusedError(answers.refuse(answers.NOT_THERE, status=404))
    found, until = decision_until(user, source.subject, now=now)
    if found.seen is Seen.NOTHING:
        raise _closed(user, found)
    if source.path is None:
        raise answers.RefusedError(answers.not_made_yet(source.not_there_because))
    if source.is_settled:
        memory.keep(user.pk, identifier, memory.Kept(head, until, source, found))
    return Opened(user, identifier, source, source.path, found)


def _open_link(token: str) -> Opened:
    """Return what a link opens, for the person it was made for, as that person stands now."""
    link = read_link(token)
    if link is None:
        raise answers.RefusedError(answers.refuse(LINK_IS_OVER, status=404))
    user = User.objects.filter(pk=link.person_id).first()
    if user is None or not may(user, SEE_PICTURES):
        raise answers.RefusedError(answers.refuse(LINK_IS_OVER, status=404))
    return _open(user, link.identifier)


def _give(
    request: HttpRequest, opened: Opened, parts: tuple[str, str, str, str]
) -> HttpResponseBase:
    # the address of the picture is that of the region without its parts; it is asked for so often
    # that looking it up by name would be felt
    base = request.path.rsplit("/", len(parts))[0]
    address = f"{request.scheme}://{request.get_host()}{base}"
    return answers.give_picture(
        request,
        opened.path,
        recipe=opened.source.recipe,
        address=address,
        parts=parts,
        allow=opened.allow,
        is_still_open=opened.is_still_open,
    )


def address_of(request: HttpRequest, identifier: str) -> str:
    """Return the address of a picture for people who sign in."""
    return request.build_absolute_uri(reverse("pictures:base", args=[identifier]))


def link_address_of(request: HttpRequest, token: str) -> str:
    """Return the address that a link's token opens."""
    return request.build_absolute_uri(reverse("pictures:link", args=[token]))


@declares(SEE_PICTURES)
@answers.read_only
@answers.answering
def base(request: HttpRequest, identifier: str) -> HttpResponse:
    """Lead to the description of a picture."""
    _open(signed_in(request), identifier)
    return answers.redirect_to_info(address_of(request, identifier))


@declares(SEE_PICTURES)
@answers.read_only
@answers.answering
def description(request: HttpRequest, identifier: str) -> HttpResponse:
    """Describe a picture: its size, its tiles, what can be asked of it."""
    opened = _open(signed_in(request), identifier)
    address = address_of(request, identifier)
    return answers.describe_picture(request, opened.path, address=address, limits=opened.limits)


@declares(SEE_PICTURES)
@answers.read_only
@answers.answering
def region(
    request: HttpRequest, identifier: str, area: str, size: str, rotation: str, ending: str
) -> HttpResponseBase:
    """Give a region of a picture in a size."""
    opened = _open(signed_in(request), identifier)
    return _give(request, opened, (area, size, rotation, ending))


@public
@answers.read_only
@answers.answering
def link(request: HttpRequest, token: str) -> HttpResponse:
    """Lead to the description of a picture, by a link."""
    _open_link(token)
    return answers.redirect_to_info(link_address_of(request, token))


@public
@answers.read_only
@answers.answering
def link_description(request: HttpRequest, token: str) -> HttpResponse:
    """Describe a picture, by a link."""
    opened = _open_link(token)
    address = link_address_of(request, token)
    return answers.describe_picture(request, opened.path, address=address, limits=opened.limits)


@public
@answers.read_only
@answers.answering
def link_region(
    request: HttpRequest, token: str, area: str, size: str, rotation: str, ending: str
) -> HttpResponseBase:
    """Give a region of a picture in a size, by a link."""
    opened = _open_link(token)
    return _give(request, opened, (area, size, rotation, ending))
