"""What the pages of restrictions, grants and granted pictures show."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.db.models import Q, QuerySet
from django.urls import reverse

from imaging_requests.collection.models import CollectionObject
from imaging_requests.deliverables import joined
from imaging_requests.deliverables.models import (
    Deliverable,
    DeliverableState,
    Package,
    PackageItem,
)
from imaging_requests.deliverables.queries import package_address
from imaging_requests.deliverables.shown import day
from imaging_requests.people.models import User
from imaging_requests.people.policies import may
from imaging_requests.pictures import sources
from imaging_requests.pictures.access import (
    decisions,
    families,
    restrictions_in_force,
)
from imaging_requests.pictures.forms import PICTURE, SURFACE, WHOLE
from imaging_requests.pictures.models import Grant, Restriction
from imaging_requests.pictures.policies import GRANT, READ_RESTRICTIONS, RESTRICT
from imaging_requests.pictures.rules import Decision, Seen
from imaging_requests.reckoning.truth.words import FACE_WORDS, TECHNIQUE_WORDS
from imaging_requests.requesting.words import numbers_of, view_words

THUMB = "full/!256,256/0/default.jpg"
# A miniature has fewer pixels; without the circumflex a larger size is refused.
LARGE = "full/^!1024,1024/0/default.jpg"
AN_INSTANT = timedelta(microseconds=1)
WHOLE_SIZE = "full/max/0/default.jpg"


def scopes(thing: CollectionObject) -> list[tuple[str, str]]:
    """Return what of an object may be restricted, with its words."""
    pictures: dict[Any, Deliverable] = {}
    for row in Deliverable.objects.filter(object=thing).order_by("captured_at", "version"):
        pictures[row.chain] = row
    surfaces = sorted({row.surface for row in pictures.values()})
    faces = sorted({*"FBE", *(surface[0] for surface in surfaces)} - {"T"})
    found = [(WHOLE, "The whole object with its parts")]
    found += [
        (f"{SURFACE}{face}", f"{FACE_WORDS.get(face, face).capitalize()}, all surfaces")
        for face in faces
    ]
    found += [(f"{SURFACE}{surface}", f"Surface {surface}") for surface in surfaces]
    found += [
        (f"{PICTURE}{chain}", f"{row}, captured {day(row.captured_at)}")
        for chain, row in pictures.items()
    ]
    return found


@dataclass(frozen=True)
class RestrictionLine:
    """One restriction in words."""

    row: Restriction
    what: str
    kind: str
    reason: str
    since: str
    until: str
    who: str
    inherited_from: str
    lift_href: str
    packages: tuple[dict[str, Any], ...] = ()


def restriction_lines(
    rows: Iterable[Restriction],
    thing: CollectionObject,
    *,
    may_lift: bool,
    handed: Sequence[PackageItem] = (),
) -> list[RestrictionLine]:
    """Say restrictions in words; those of a whole name it, and those of `handed` their packages."""
    listed = list(rows)
    numbers = numbers_of({row.object_id for row in listed})
    names = {
        row.chain: str(row)
        for row in Deliverable.objects.filter(
            chain__in={row.chain for row in listed if row.chain}
        ).order_by("version")
    }
    return [
        RestrictionLine(
            row=row,
            what=_scope_words(row, names),
            kind=str(row.get_kind_display()),
            reason=row.reason,
            since=day(row.since),
            until=day(row.until),
            who=str(row.set_by),
            inherited_from=numbers[row.object_id] if row.object_id != thing.pk else "",
            lift_href=reverse("pictures:lift", args=[row.pk]) if may_lift else "",
            packages=_packages_under(row, handed),
        )
        for row in listed
    ]


def sealed_items(thing: CollectionObject) -> list[PackageItem]:
    """Return the places in sealed packages of an object's pictures and those of its parts."""
    wanted, pending = {thing.pk}, {thing.pk}
    while pending:
        parts = CollectionObject.objects.filter(part_of__in=pending).values_list("pk", flat=True)
        pending = set(parts) - wanted
        wanted |= pending
    return list(
        PackageItem.objects.filter(
            package__state=Package.State.SEALED, deliverable__object__in=wanted
        )
        .select_related("package", "deliverable")
        .prefetch_related("package__deliveries")
        .order_by("-package__sealed_at", "-package")
    )


def _packages_under(row: Restriction, handed: Sequence[PackageItem]) -> tuple[dict[str, Any], ...]:
    """Return the packages that hold pictures under a restriction, each with who has it."""
    found: dict[int, dict[str, Any]] = {}
    for item in handed:
        picture = item.deliverable
        if row.techniques and picture.technique not in row.techniques:
            continue
        if row.chain is not None and picture.chain != row.chain:
            continue
        if row.surface and row.surface not in (picture.face, picture.surface):
            continue
        found[item.package_id] = {
            "number": item.package.number,
            "href": package_address(item.package),
            "who": ", ".join(each.recipient for each in item.package.deliveries.all()),
        }
    return tuple(found.values())


def _scope_words(row: Restriction, names: dict[Any, str]) -> str:
    if row.chain is not None:
        words = names.get(row.chain, "one picture")
    elif row.surface:
        face = FACE_WORDS.get(row.surface[0], row.surface)
        words = face if len(row.surface) == 1 else f"surface {row.surface}"
    else:
        words = "the whole object"
    techniques = [TECHNIQUE_WORDS.get(each, each) for each in row.techniques]
    return f"{words}, {', '.join(techniques)} only" if techniques else words


def covering(thing: CollectionObject, now: datetime) -> list[Restriction]:
    """Return what is in force on an object: its own, and what its whole passes on."""
    family = families([thing.pk])[thing.pk]
    return [
        row
        for row in restrictions_in_force(family, now)
        if row.object_id == thing.pk or (not row.surface and row.chain is None)
    ]


def restrictions_context(thing: CollectionObject, user: User, now: datetime) -> dict[str, Any]:
    """What the page of an object's restrictions shows."""
    in_force = covering(thing, now)
    over = (
        Restriction.objects.filter(object=thing)
        .exclude(pk__in=[row.pk for row in in_force])
        .select_related("set_by", "lifted_by")
    )
    number = numbers_of([thing.pk])[thing.pk]
    may_restrict = may(user, RESTRICT)
    count = len(in_force)
    answer = (
        f"{number} has no restriction"
        if not count
        else f"{number} has {count} restriction{'' if count == 1 else 's'} in force"
    )
    return {
        "thing": thing,
        "number": number,
        "answer": answer,
        "sub": thing.title,
        "crumbs": [{"label": number, "href": reverse("progress:object", args=[thing.pk])}],
        "in_force": restriction_lines(
            in_force, thing, may_lift=may_restrict, handed=sealed_items(thing) if in_force else ()
        ),
        "over": restriction_lines(over, thing, may_lift=False),
        "may_restrict": may_restrict,
        "grants": grant_lines(
            Grant.objects.filter(object=thing, ended_at=None, until__gt=now), user, now
        ),
        "grant_href": f"{reverse('pictures:grants')}?object={number}" if may(user, GRANT) else "",
    }


def whose_eyes(thing: CollectionObject, user: User, now: datetime) -> dict[str, Any] | None:
    """What the page of an object says about who sees its pictures; nothing to who may not read it.

    A fixed number of queries, whatever is restricted and granted.
    """
    if not may(user, READ_RESTRICTIONS):
        return None
    grants = Grant.objects.filter(object=thing, ended_at=None, since__lte=now, until__gt=now)
    number = numbers_of([thing.pk])[thing.pk]
    return {
        "restrictions": restriction_lines(covering(thing, now), thing, may_lift=False),
        "grants": [
            {
                "person": str(row.person),
                "sight": str(row.get_sight_display()),
                "last_day": day(row.until - AN_INSTANT),
            }
            for row in grants.select_related("person")
        ],
        "may_restrict": may(user, RESTRICT),
        "grant_href": f"{reverse('pictures:grants')}?object={number}" if may(user, GRANT) else "",
    }


def grant_lines(rows: QuerySet[Grant], user: User, now: datetime) -> list[dict[str, Any]]:
    """Say grants in words, with the way to end those in force."""
    listed = list(rows.select_related("person", "given_by", "ended_by", "object"))
    numbers = numbers_of({row.object_id for row in listed})
    return [
        {
            "person": str(row.person),
            "number": numbers[row.object_id],
            "href": reverse("progress:object", args=[row.object_id]),
            "sight": str(row.get_sight_display()),
            "last_day": day(row.until - AN_INSTANT),
            "purpose": row.purpose,
            "given_by": str(row.given_by),
            "ended": f"{day(row.ended_at)} by {row.ended_by}: {row.ended_because}"
            if row.ended_at
            else ("over" if row.until <= now else ""),
            "end_href": reverse("pictures:end_grant", args=[row.pk])
            if row.ended_at is None and row.until > now and may(user, GRANT, row.object)
            else "",
        }
        for row in listed
    ]


# For people from outside


def granted_objects(user: User, now: datetime, words: str = "") -> list[CollectionObject]:
    """Return the objects that grants in force open to the person, with their parts.

    `words` narrows by number or title, among these objects only.
    """
    granted = set(
        Grant.objects.filter(person=user, ended_at=None, since__lte=now, until__gt=now).values_list(
            "object", flat=True
        )
    )
    pending = set(granted)
    while pending:
        parts = set(
            CollectionObject.objects.filter(part_of__in=pending).values_list("pk", flat=True)
        )
        pending = parts - granted
        granted |= parts
    rows = CollectionObject.objects.filter(pk__in=granted)
    if words:
        rows = rows.filter(
            Q(title__icontains=words) | Q(numbers__number__icontains=words)
        ).distinct()
    return list(rows.order_by("title", "pk"))


def without_pictures(things: Sequence[CollectionObject]) -> list[CollectionObject]:
    """Keep the objects of which nobody has accepted a picture yet, open or closed."""
    pictured = set(
        Deliverable.objects.filter(
            object__in=[thing.pk for thing in things], state=DeliverableState.ACCEPTED
        ).values_list("object_id", flat=True)
    )
    return [thing for thing in things if thing.pk not in pictured]


@dataclass(frozen=True)
class GrantedPicture:
    """A picture as somebody from outside sees it listed."""

    identifier: str
    words: str
    captured: str
    src: str
    large: str
    full: str


def granted_pictures(
    user: User, things: Sequence[CollectionObject], now: datetime
) -> dict[int, list[GrantedPicture]]:
    """Return by object the accepted pictures that are open to the person now."""
    rows = list(
        Deliverable.objects.filter(
            object__in=[thing.pk for thing in things], state=DeliverableState.ACCEPTED
        ).order_by("object", "technique", "face", "variant", "-captured_at")
    )
    found = decisions(user, rows, now=now)
    whole = joined.standing_joins(rows)
    listed: dict[int, list[GrantedPicture]] = defaultdict(list)
    for row in rows:
        is_there = row.kind not in sources.OF_TILES or row.pk in whole
        if found[row.pk].seen is not Seen.NOTHING and is_there:
            listed[row.object_id].append(_granted(row, found[row.pk]))
    return listed


def _granted(row: Deliverable, found: Decision) -> GrantedPicture:
    identifier = sources.identifier_of(row)
    address = reverse("pictures:base", args=[identifier])
    return GrantedPicture(
        identifier=identifier,
        words=view_words(row.technique, row.face, row.variant, row.surface),
        captured=day(row.captured_at),
        src=f"{address}/{THUMB}",
        large=f"{address}/{LARGE}",
        full=f"{address}/{WHOLE_SIZE}" if found.seen is Seen.FULL else "",
    )
