"""Every address that gives out pixels × what a restriction leaves × every role.

What each role may have is written down here by hand: thumbnails and full-size access copies for
the house, frames and joined pictures with all their levels for the studio, what was granted for
people from outside, and never more than the strictest restriction leaves at that moment.
"""

from __future__ import annotations

import ast
import hashlib
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import product
from pathlib import Path
from typing import Any

import pytest
import pyvips
from django.conf import settings
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from imaging_requests.deliverables.models import Comparison, Deliverable, DeliverableKind, Join
from imaging_requests.intake import store
from imaging_requests.intake.models import Frame
from imaging_requests.people.models import AuditEvent, Role, User
from imaging_requests.pictures import access, links, looks, memory, numbers, views
from imaging_requests.pictures.models import Grant, Restriction
from imaging_requests.pictures.rules import Seen
from imaging_requests.pictures.sources import identifier_of
from tests import factory
from tests.picture_scene import derive_pictures, pictured, signed_in

pytestmark = pytest.mark.django_db

ROOT = Path(__file__).parents[2] / "imaging_requests"
INSIDE = ("curator", "conservator", "photographer", "lead", "head", "keeper")
OUTSIDE = ("co_author", "lender")
STUDIO = ("photographer", "lead")
LEVELS = ("full", "small", "none")

#: What a route gives: a small picture of the whole; more than that; a small picture of one tile
#: that is more than a small one of the whole; a file with all its levels.
SMALL, FULL, TILE, DEPTH = "small", "full", "one tile of several", "all levels"


@dataclass(frozen=True, slots=True)
class Scene:
    """A joined picture of two tiles, a single picture, and a comparison of two."""

    mosaic: Deliverable
    tile: Frame
    single: Deliverable
    comparison: Comparison


Where = Callable[[Scene, User], str]


def service(which: str, *parts: str) -> Where:
    """An address of the picture service for the single picture, the joined one, or one tile."""

    def address(scene: Scene, user: User) -> str:
        return "/".join(
            [reverse("pictures:base", args=[identifier_of(getattr(scene, which))]), *parts]
        )

    return address


def by_link(*parts: str) -> Where:
    def address(scene: Scene, user: User) -> str:
        token = links.make_link(user, identifier_of(scene.single))
        return "/".join([reverse("pictures:link", args=[token]), *parts])

    return address


def joined(kind: str) -> Where:
    return lambda scene, user: reverse("deliverables:joined", args=[scene.mosaic.pk, kind])


def frame(which: str, kind: str) -> Where:
    def address(scene: Scene, user: User) -> str:
        of = scene.tile.pk if which == "tile" else scene.single.cover_id
        return reverse("intake:picture", args=[of, kind])

    return address


PART, WHOLE, LITTLE = "0,0,512,512", "full", "!256,256"
END = ("0", "default.jpg")
#: (view, what it gives, whether it is open to people from outside, address)
ROUTES: tuple[tuple[str, str, bool, Where], ...] = (
    ("region", SMALL, True, service("single", WHOLE, LITTLE, *END)),
    ("region", SMALL, True, service("single", WHOLE, "!1024,1024", *END)),
    ("region", FULL, True, service("single", PART, "512,", *END)),
    ("region", FULL, True, service("single", WHOLE, "max", *END)),
    ("region", SMALL, True, service("mosaic", WHOLE, "!1024,1024", *END)),
    ("region", FULL, True, service("mosaic", PART, "512,", *END)),
    ("region", FULL, True, service("mosaic", WHOLE, "max", *END)),
    ("region", SMALL, False, service("tile", WHOLE, LITTLE, *END)),
    ("region", TILE, False, service("tile", WHOLE, "!1024,1024", *END)),
    ("region", FULL, False, service("tile", PART, "512,", *END)),
    ("link_region", SMALL, True, by_link(WHOLE, LITTLE, *END)),
    ("link_region", FULL, True, by_link(PART, "512,", *END)),
    ("link_region", FULL, True, by_link(WHOLE, "max", *END)),
    ("picture", SMALL, False, frame("single", "256")),
    ("picture", SMALL, False, frame("single", "1024")),
    ("picture", SMALL, False, frame("tile", "256")),
    ("picture", TILE, False, frame("tile", "1024")),
    ("sheet", SMALL, False, lambda s, u: reverse("deliverables:sheet", args=[s.mosaic.pk])),
    ("joined", SMALL, False, joined("256")),
    ("joined", SMALL, False, joined("1024")),
    ("joined", DEPTH, False, joined("master")),
    ("joined", DEPTH, False, joined("inverted")),
    (
        "comparison.picture",
        FULL,
        False,
        lambda s, u: reverse("deliverables:comparison_picture", args=[s.comparison.pk]),
    ),
)


def may_have(role: str, gives: str, level: str, *, is_open_outside: bool) -> bool:
    """The table by hand."""
    if not role or (role in OUTSIDE and not is_open_outside):
        return False
    seen = "small" if role == "keeper" and level == "full" else level
    if seen == "none":
        return False
    if gives == DEPTH:
        return seen == "full" and role in STUDIO
    return gives == SMALL or seen == "full"


@pytest.fixture
def scene(stores: Path) -> Scene:
    factory.rules()
    looks.forget(), memory.forget()
    thing = factory.museum_object("AR 0097", "The Lighthouse Wedding")
    tiles = [factory.frame(tile_x=column) for column in range(2)]
    for each in tiles:
        derive_pictures(each, wide=1400, high=1400)
    mosaic = factory.deliverable(thing, "XR", "F", frames=tiles, kind=DeliverableKind.MOSAIC)
    join(mosaic)
    single = pictured(thing, "UV", "F")
    drawn = Path(settings.DERIVED_DIR) / "compared.png"
    pyvips.Image.black(1600, 900).pngsave(str(drawn))
    comparison = Comparison.objects.create(
        before=single,
        after=pictured(thing, "VF", "F"),
        asked_by=single.photographer,
        verdict="side_by_side",
        sentence="The two lie side by side.",
        picture="compared.png",
        width_px=1600,
        height_px=900,
        recipe="c" * 64,
        made_at=factory.NOW,
    )
    return Scene(mosaic, tiles[0], single, comparison)


def join(row: Deliverable) -> None:
    """The files of a joining as the job leaves them, without joining anything."""
    from imaging_requests.deliverables import joining

    plan = joining.plan_of(row)
    assert plan is not None
    master = Path(settings.DERIVED_DIR) / "joined.tif"
    pyvips.Image.black(2600, 1400).cast("ushort").tiffsave(str(master))
    sha256 = hashlib.sha256(master.read_bytes()).hexdigest()
    store.put(master, sha256=sha256, extension="tif")
    made = []
    for kind, (wide, high) in {
        "pyramid": (2600, 1400), "inverted": (2600, 1400), "1024": (1024, 551), "256": (256, 138)
    }.items():  # fmt: skip
        name = f"joined-{kind}" + (".tif" if kind in ("pyramid", "inverted") else ".jpg")
        path, picture = Path(settings.DERIVED_DIR) / name, pyvips.Image.black(wide, high, bands=3)
        if kind == "pyramid":
            picture.copy(interpretation="srgb").tiffsave(
                str(path), pyramid=True, tile=True, tile_width=512, tile_height=512,
                compression="jpeg", Q=88,
            )  # fmt: skip
        else:
            picture.write_to_file(str(path))
        made.append({"kind": kind, "path": name, "width_px": wide, "height_px": high})
    Join.objects.create(
        deliverable=row,
        recipe=plan.recipe,
        ingredients=plan.ingredients,
        verdict="joined",
        sha256=sha256,
        width_px=2600,
        height_px=1400,
        pictures=made,
        report={
            "rms_px": 0.1,
            "rms_mm": None,
            "worst_step_percent": 0.2,
            "model": "shift",
            "holes": [],
        },
    )


@pytest.fixture
def people(scene: Scene) -> dict[str, User]:
    """One person of each role; those from outside may see the object in full until tomorrow."""
    found = {role: factory.person(f"Some {role}", role) for role in (*INSIDE, *OUTSIDE)}
    found[""] = User.objects.create_user("stranger@example.org", name="Stranger")
    assert set(found) == {*Role.values, ""}, "every role is walked"
    for role in OUTSIDE:
        Grant.objects.create(
            person=found[role],
            object=scene.single.object,
            sight="full",
            purpose="Text of the entry",
            since=factory.LONG_AGO,
            until=timezone.now() + factory.hours(24),
            given_by=found["lead"],
        )
    return found


def leave(monkeypatch: pytest.MonkeyPatch, level: str) -> None:
    """Let a restriction for copyright leave this much to every role."""
    known = numbers.access_numbers()
    seen = {"full": Seen.FULL, "small": Seen.SMALL, "none": Seen.NOTHING}[level]
    left = {"copyright": dict.fromkeys(Role.values, seen)}
    changed = replace(known, table=replace(known.table, left=left))
    for module in (access, views):
        monkeypatch.setattr(module, "access_numbers", lambda: changed)
    memory.forget()


def gave(client: Client, address: str) -> bool:
    """Whether pixels came; a refusal is 403 or 404, and never an error."""
    answer: Any = client.get(address)
    body = b"".join(answer.streaming_content) if answer.streaming else answer.content
    if answer.status_code == 200:
        assert answer["Content-Type"] in ("image/jpeg", "image/png", "image/tiff")
        assert len(body) > 300
        return True
    assert answer.status_code in (403, 404), (address, answer.status_code)
    assert answer["Content-Type"].split(";")[0] in ("text/plain", "text/html", "image/svg+xml")
    return False


def test_nobody_gets_more_pixels_than_role_and_restriction_leave(
    scene: Scene, people: dict[str, User], monkeypatch: pytest.MonkeyPatch
) -> None:
    Restriction.objects.create(
        object=scene.single.object,
        kind="copyright",
        reason="Not cleared yet.",
        set_by=people["lead"],
        since=factory.LONG_AGO,
    )
    clients = {role: signed_in(user) for role, user in people.items()}
    given: Counter[str] = Counter()
    wrong, walked = [], 0
    for level in LEVELS:
        leave(monkeypatch, level)
        for (role, user), (name, gives, outside, where) in product(people.items(), ROUTES):
            address = where(scene, user)
            found = gave(clients[role], address)
            walked += 1
            given[level] += found
            if found is not may_have(role, gives, level, is_open_outside=outside):
                wrong.append((level, role or "no role", name, gives, found, address))
    assert wrong == []
    assert walked == len(LEVELS) * len(people) * len(ROUTES) == 3 * 9 * 23
    assert given == {"full": 140, "small": 74, "none": 0}, "as counted by hand from the table"


def test_a_joined_picture_with_all_levels_is_for_the_studio_and_its_taking_is_written_down(
    scene: Scene, people: dict[str, User]
) -> None:
    for kind in ("master", "inverted"):
        address = reverse("deliverables:joined", args=[scene.mosaic.pk, kind])
        for role in INSIDE:
            assert gave(signed_in(people[role]), address) is (role in STUDIO), role
    events = AuditEvent.objects.filter(code="deliverables.joined_taken")
    assert {(event.actor.name, event.after["kind"]) for event in events} == {  # type: ignore[union-attr]
        (f"Some {role}", kind) for role in STUDIO for kind in ("master", "inverted")
    }
    page = reverse("deliverables:deliverable", args=[scene.mosaic.pk])
    for role in ("curator", "lead"):
        body = signed_in(people[role]).get(page).content.decode()
        assert ("Joined picture, 16 bit" in body) is (role in STUDIO)


def test_the_pyramid_of_a_joined_picture_is_no_file_to_take(
    scene: Scene, people: dict[str, User]
) -> None:
    for kind in ("pyramid", "nothing"):
        address = reverse("deliverables:joined", args=[scene.mosaic.pk, kind])
        assert signed_in(people["lead"]).get(address).status_code == 404


#: What a view that answers with pixels calls.
GIVERS = {"FileResponse", "StreamingHttpResponse", "_give", "draw_sheet"}


def givers() -> set[str]:
    """Names of the views that answer with pixels, by what they call."""
    found = set()
    for path in ROOT.glob("*/views*.py"):
        for node in ast.parse(path.read_text()).body:
            if not isinstance(node, ast.FunctionDef) or node.name.startswith("_"):
                continue
            calls = {
                call.func.id if isinstance(call.func, ast.Name) else getattr(call.func, "attr", "")
                for call in ast.walk(node)
                if isinstance(call, ast.Call)
            }
            if calls & GIVERS:
                is_compared = path.stem == "views_comparisons"
                found.add(f"comparison.{node.name}" if is_compared else node.name)
    return found


def test_every_view_that_answers_with_pixels_is_walked() -> None:
    assert givers() == {name for name, *_ in ROUTES}
