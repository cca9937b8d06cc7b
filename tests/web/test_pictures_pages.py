"""Pages that restrict pictures, open them to people from outside, and say so."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.http import HttpResponse
from django.urls import reverse
from django.utils import timezone

from imaging_requests.collection.models import CollectionObject
from imaging_requests.people.actions import set_roles
from imaging_requests.people.errors import DomainError, IllegalStep, NotAllowed, StaleWrite
from imaging_requests.people.models import AuditEvent, User
from imaging_requests.pictures import actions
from imaging_requests.pictures.models import Grant, Restriction
from tests import factory
from tests.picture_scene import signed_in

pytestmark = pytest.mark.django_db

REASON = "A label on the back names a private address."


def text(answer: HttpResponse, status: int = 200) -> str:
    assert answer.status_code == status
    return " ".join(answer.content.decode().split())


@pytest.fixture
def signe() -> User:
    return factory.lead()


@pytest.fixture
def ines() -> User:
    return factory.person("Ines", "co_author")


@pytest.fixture
def thing() -> CollectionObject:
    factory.rules()
    return factory.museum_object("AR 0097", "The Lighthouse Wedding")


def page_of(thing: CollectionObject) -> str:
    return reverse("pictures:restrictions", args=[thing.pk])


def restrict_form(**changes: Any) -> dict[str, Any]:
    return {
        "scope": "surface:B",
        "kind": "personal_data",
        "reason": REASON,
        "ends_on": "",
    } | changes


def grant_form(person: User, /, **changes: Any) -> dict[str, Any]:
    last_day = timezone.localdate() + timedelta(days=30)
    return {
        "person": person.pk,
        "objects": "AR 0097",
        "sight": "full",
        "last_day": last_day.isoformat(),
        "purpose": "Text of the entry",
    } | changes


def test_the_lead_restricts_a_surface_and_lifts_it_again(
    thing: CollectionObject, signe: User
) -> None:
    client = signed_in(signe)
    assert "AR 0097 has no restriction" in text(client.get(page_of(thing)))
    assert client.post(page_of(thing), restrict_form()).status_code == 302
    row = Restriction.objects.get()
    assert (row.surface, row.kind, row.set_by, row.until) == ("B", "personal_data", signe, None)
    shown = text(client.get(page_of(thing)))
    assert "AR 0097 has 1 restriction in force" in shown
    assert REASON in shown
    about = text(client.get(reverse("progress:object", args=[thing.pk])))
    assert "Personal data" in about
    assert REASON in about
    lift = reverse("pictures:lift", args=[row.pk])
    assert "Lift the restriction of AR 0097?" in text(client.get(lift))
    sent = {"reason": "The label was taken off", "read_version": row.row_version}
    assert client.post(lift, sent).status_code == 302
    assert "Nothing is restricted" in text(client.get(reverse("progress:object", args=[thing.pk])))
    assert "lifted" in text(client.get(page_of(thing)))
    codes = set(AuditEvent.objects.values_list("code", flat=True))
    assert {"pictures.restricted", "pictures.restriction_lifted"} <= codes


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"reason": "label"}, "at least 10 characters"),
        ({"kind": "embargo"}, "needs the day on which it ends"),
        ({"kind": "embargo", "ends_on": "2020-01-01"}, "over before it begins"),
        ({"scope": "surface:Q"}, "what was chosen is not on offer any more"),
        ({"ends_on": "soon"}, "is no day as it stands"),
    ],
)
def test_a_restriction_that_makes_no_sense_is_refused_and_what_was_typed_stays(
    thing: CollectionObject, signe: User, changes: dict[str, Any], words: str
) -> None:
    shown = text(signed_in(signe).post(page_of(thing), restrict_form(**changes)), 422)
    assert words in shown
    assert restrict_form(**changes)["reason"] in shown
    assert not Restriction.objects.exists()


def test_who_does_not_restrict_reads_and_is_refused(thing: CollectionObject) -> None:
    client = signed_in(factory.curator())
    shown = text(client.get(page_of(thing)))
    assert "Restrict from now on" not in shown
    assert client.post(page_of(thing), restrict_form()).status_code == 403
    assert not Restriction.objects.exists()


def test_a_restriction_is_lifted_once_and_not_over_somebodys_head(
    thing: CollectionObject, signe: User
) -> None:
    row = actions.set_restriction(
        actor=signe, object_id=thing.pk, kind="security", reason="A loan address on the back"
    )
    with pytest.raises(StaleWrite):
        actions.lift_restriction(
            actor=signe, restriction_id=row.pk, reason="It was painted over", read_version=7
        )
    actions.lift_restriction(
        actor=signe, restriction_id=row.pk, reason="It was painted over", read_version=1
    )
    with pytest.raises(IllegalStep):
        actions.lift_restriction(
            actor=signe, restriction_id=row.pk, reason="It was painted over", read_version=2
        )


def test_a_restriction_of_a_picture_names_a_picture_of_the_object(
    thing: CollectionObject, signe: User
) -> None:
    other = factory.deliverable(factory.museum_object("AR 0011"))
    with pytest.raises(DomainError, match="does not belong to the object"):
        actions.set_restriction(
            actor=signe, object_id=thing.pk, kind="security", reason=REASON, chain=other.chain
        )


def test_parts_show_what_their_whole_passes_on(signe: User) -> None:
    factory.rules()
    whole = factory.museum_object("AR 0033", kind="ensemble")
    wing = factory.museum_object("AR 0033.L", part_of=whole)
    actions.set_restriction(
        actor=signe, object_id=whole.pk, kind="attribution", reason="The hands are told apart"
    )
    actions.set_restriction(
        actor=signe, object_id=whole.pk, kind="security", reason="A loan address", surface="B"
    )
    shown = text(signed_in(signe).get(page_of(wing)))
    assert "has 1 restriction in force" in shown
    assert "of AR 0033 , which it belongs to" in shown.replace("</span>", " ").replace(
        '<span class="quiet">', ""
    ).replace('<span class="number">', "")


def test_a_curator_opens_own_entries_only(thing: CollectionObject, ines: User) -> None:
    oda, other = factory.curator("Oda"), factory.curator("Matthis")
    factory.entry(thing, curator=oda)
    grants = reverse("pictures:grants")
    refused = text(signed_in(other).post(grants, grant_form(ines)), 422)
    assert "objects of their own entries only" in refused
    assert signed_in(oda).post(grants, grant_form(ines)).status_code == 302
    grant = Grant.objects.get()
    assert (grant.person, grant.object, grant.sight, grant.given_by) == (ines, thing, "full", oda)
    assert timezone.localtime(grant.until).strftime("%H:%M") == "00:00"
    assert ines.notices.get().text == "Oda opened pictures to you: Text of the entry"
    shown = text(signed_in(oda).get(grants))
    assert "1 grant to people from outside" in shown
    assert "End it" in shown


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"objects": "AR 0097, AR 4711"}, "No object has the number AR 4711"),
        ({"objects": ", ,"}, "Name at least one object"),
        ({"last_day": "2020-01-01"}, "over before it begins"),
        ({"last_day": "2099-01-01"}, "at most 730 days"),
        ({"person": "0"}, "what was chosen is not on offer any more"),
    ],
)
def test_a_grant_that_makes_no_sense_is_refused(
    thing: CollectionObject, signe: User, ines: User, changes: dict[str, Any], words: str
) -> None:
    answer = signed_in(signe).post(reverse("pictures:grants"), grant_form(ines, **changes))
    assert words in text(answer, 422)
    assert not Grant.objects.exists()


def test_people_of_the_house_need_no_grant(thing: CollectionObject, signe: User) -> None:
    oda = factory.curator()
    with pytest.raises(DomainError, match="no open account of somebody from outside"):
        actions.give_grants(
            actor=signe, person_id=oda.pk, object_ids=[thing.pk], sight="full",
            until=timezone.now() + timedelta(days=3), purpose="Text",
        )  # fmt: skip
    with pytest.raises(NotAllowed):
        actions.give_grants(
            actor=factory.photographer(), person_id=factory.person("I", "lender").pk,
            object_ids=[thing.pk], sight="full",
            until=timezone.now() + timedelta(days=3), purpose="Text",
        )  # fmt: skip


def test_a_grant_is_ended_with_a_reason(thing: CollectionObject, signe: User, ines: User) -> None:
    client = signed_in(signe)
    client.post(reverse("pictures:grants"), grant_form(ines))
    grant = Grant.objects.get()
    end = reverse("pictures:end_grant", args=[grant.pk])
    assert "End the grant of Ines for AR 0097?" in text(client.get(end))
    assert "at least 10" in text(client.post(end, {"reason": "done", "read_version": 1}), 422)
    sent = {"reason": "The entry is written", "read_version": 1}
    assert client.post(end, sent).status_code == 302
    assert "The entry is written" in text(client.get(reverse("pictures:grants")))


def test_a_person_is_inside_or_outside(ines: User) -> None:
    with pytest.raises(DomainError, match="works here or comes from outside"):
        set_roles(
            actor=factory.person("Hale", "keeper"), user_id=ines.pk,
            roles=["co_author", "curator"], read_roles=["co_author"],
        )  # fmt: skip


def test_an_object_without_a_picture_yet_is_named_and_nothing_to_search_means_no_search(
    thing: CollectionObject, signe: User
) -> None:
    oskar = factory.person("Oskar", "lender")
    nothing = text(signed_in(oskar).get(reverse("pictures:granted")))
    assert "0 objects are open to you" in nothing
    assert 'role="search"' not in nothing
    until = timezone.now() + timedelta(days=90)
    give: dict[str, Any] = {"actor": signe, "person_id": oskar.pk, "sight": "small"}
    give |= {"until": until, "purpose": "The parish follows its deposit"}
    actions.give_grants(**give, object_ids=[thing.pk])
    one = text(signed_in(oskar).get(reverse("pictures:granted")))
    assert "1 object is open to you" in one
    assert "AR 0097</span> The Lighthouse Wedding" in one
    assert "No picture is ready yet" in one
    assert 'role="search"' not in one
    actions.give_grants(**give, object_ids=[factory.museum_object("AR 0100").pk])
    assert 'role="search"' in text(signed_in(oskar).get(reverse("pictures:granted")))
