"""The address of an object's manifest."""

from __future__ import annotations

from uuid import UUID

from django.http import HttpRequest, HttpResponse, JsonResponse
from django.urls import reverse
from django.utils import timezone

from imaging_requests.collection.models import CollectionObject
from imaging_requests.intake.policies import SEE_PICTURES
from imaging_requests.people.policies import is_outside, requires
from imaging_requests.people.requests import signed_in
from imaging_requests.pictures import answers, manifests
from imaging_requests.pictures.links import make_link
from imaging_requests.pictures.views import address_of, link_address_of

MEDIA_TYPE = f'application/ld+json;profile="{manifests.CONTEXT}"'
NONE_READY = "No accepted picture of this object is ready and open to you."


@requires(SEE_PICTURES)
@answers.read_only
@answers.answering
def manifest(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """Describe the pictures of an object that are open to the person.

    For people from outside the addresses of pictures are links that live ten minutes.
    """
    user, now = signed_in(request), timezone.now()
    thing = CollectionObject.objects.filter(uuid=uuid).first()
    layers = manifests.layers_of(thing, user, now) if thing is not None else []
    if thing is None or not layers:
        sentence = answers.NOT_THERE if thing is None or is_outside(user) else NONE_READY
        raise answers.RefusedError(answers.refuse(sentence, status=404))

    def service_address(identifier: str) -> str:
        if is_outside(user):
            return link_address_of(request, make_link(user, identifier))
        return address_of(request, identifier)

    body = manifests.manifest(
        thing,
        layers,
        address=request.build_absolute_uri(reverse("pictures:manifest", args=[uuid])),
        service_address=service_address,
        now=now,
    )
    answer = JsonResponse(body, content_type=MEDIA_TYPE)
    answer["Access-Control-Allow-Origin"] = answers.ALL_ORIGINS
    answer["Cache-Control"] = "no-store"
    return answer
