"""The house before the first picture: people, rules, catalogue, entries, objects, whereabouts."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import datetime
from functools import partial
from typing import Any

from django.contrib.auth.hashers import make_password

from imaging_requests.campaigns import actions as campaigns
from imaging_requests.collection import actions as collection
from imaging_requests.collection.models import Catalogue, CollectionObject, Entry, Support
from imaging_requests.demo import opening
from imaging_requests.demo.scenario import Thing, fixture
from imaging_requests.demo.world import Step, World
from imaging_requests.people import actions as people
from imaging_requests.people.models import User
from imaging_requests.progress.acts_merging import merge
from imaging_requests.protocols import actions as protocols
from imaging_requests.requesting.known_facts import REMARKS

WORDS_OF_SUPPORT = {"paper_on_canvas": Support.PAPER}
TAKEN_OVER = (
    "height_mm",
    "width_mm",
    "depth_mm",
    "warp_mm",
    "weight_kg",
    "framed",
    "glazed",
    "sealed",
    "flash_allowed",
    "uv_allowed",
    "light_class",
)


def build(world: World) -> None:
    """Make the house as it stood when it began to use the program: people and objects."""
    opened = world.calendar.on(world.calendar.day(world.scenario["museum"]["opened_on"]), "08:00")
    _open_accounts(world, opened)
    _register_objects(world, opened)
    for row in world.scenario.mine(world.scenario["museum"]["doubles"]):
        _register_double(world, row, opened)


def steps(world: World) -> Iterator[Step]:
    """Yield what happens to rules, catalogue, studio and whereabouts."""
    museum = world.scenario["museum"]
    at = world.calendar.at
    for row in museum["rules"]:
        yield Step(at(row["on"]), 0, f"{row['kind']} published", partial(_publish, world, row))
    begun = at(museum["entries_on"])
    yield Step(begun, 0, "catalogue begun", partial(_fill_catalogue, world))
    yield Step(begun, 1, "studio set up", partial(_prepare_studio, world))
    for row in museum["rules_later"]:
        yield Step(at(row["on"]), 0, f"{row['kind']} published", partial(_publish, world, row))
        yield Step(at(row["on"]), 1, "entries moved", partial(_move_entries, world, row))
    for row in museum["drafts"]:
        yield Step(at(row["on"]), 0, f"{row['kind']} drafted", partial(_draft, world, row))
    for row in world.scenario["campaigns"]["cards"]:
        yield Step(at(row["on"]), 0, f"card {row['code']}", partial(_write_card, world, row))
    for row in world.scenario.mine(museum["places"]):
        yield Step(at(row["since"]), 0, f"{row['object']} moved", partial(_move, world, row))
    for row in world.scenario.mine(museum["doubles"]):
        yield Step(at(row["on"]), 0, f"{row['double']} merged", partial(_merge, world, row))
    for row in world.scenario.mine(museum["renumbered"]):
        what = partial(_renumber, world, row)
        yield Step(at(row["on"]), 0, f"{row['object']} renumbered", what)
    read = at(museum["notices_read_on"])
    yield Step(read, 9, "notices read", partial(_read_notices, world, read))
    for row in world.scenario.mine(museum["unavailable"]):
        yield Step(at(row["recorded"]), 0, "availability", partial(_hold_back, world, row))
    yield from opening.steps(world)


def _open_accounts(world: World, opened: datetime) -> None:
    """Everybody has the password that the demo prints; deriving it once saves a second a person."""
    data = world.scenario["people"]
    derived = make_password(data["password"])
    for row in data["people"]:
        world.people[row["name"]] = people.open_account(
            actor=None,
            email=row["email"],
            name=row["name"],
            roles=row["roles"],
            password=data["password"],
            derived=derived,
            now=opened,
        )


def _read_notices(world: World, now: datetime) -> None:
    """Everybody has read what they were told until the last Friday, as people do."""
    for person in User.objects.filter(is_active=True):
        people.read_notices(actor=person, now=now)


def _document(world: World, row: Mapping[str, Any]) -> dict[str, Any]:
    if row["kind"] == "studio":
        return world.scenario.studio_document
    document: dict[str, Any] = fixture(row["file"])
    return document


def _publish(world: World, row: Mapping[str, Any]) -> None:
    version = protocols.load_published(
        kind=row["kind"],
        document=_document(world, row),
        actor=world.people[row["signed_by"]],
        co_signed_by=world.people[row["co_signed_by"]],
        now=world.calendar.at(row["on"]),
    )
    if row["kind"] == "protocol":
        world.protocols[version.number] = version.pk


def _draft(world: World, row: Mapping[str, Any]) -> None:
    protocols.draft_version(
        actor=world.people[row["by"]],
        kind=row["kind"],
        document=_document(world, row),
        now=world.calendar.at(row["on"]),
    )


def _move_entries(world: World, row: Mapping[str, Any]) -> None:
    number = _document(world, row)["version"]
    for pk in world.entries.values():
        _pin(world, pk, number, row["entries_move"], world.calendar.at(row["on"]))


def _pin(world: World, entry_id: int, number: int, reason: str, now: datetime) -> None:
    protocols.move_entry_pin(
        actor=world.people["Signe"],
        entry_id=entry_id,
        read_version=Entry.objects.get(pk=entry_id).row_version,
        protocol_id=world.protocols[number],
        reason=reason,
        now=now,
    )


def _register_objects(world: World, opened: datetime) -> None:
    museum = world.scenario["museum"]
    keeper, conservator = world.people["Oda"], world.people["Runa"]
    for thing in world.scenario.things:
        if thing.number not in world.scenario.numbers:
            continue
        row = collection.create_object(
            actor=keeper,
            title=thing.facts["title"],
            number=_first_number(museum, thing.number),
            kind=thing.facts["kind"],
            faces=_faces(thing),
            in_force_from=world.calendar.day(museum["opened_on"]),
            now=opened,
            **museum["owners"].get(thing.number, {}),
        )
        world.objects[thing.number] = row.pk
        _record_facts(row, thing, conservator, opened)
        if not _has_place_at_first(museum, thing.number):
            _stand(world, thing.number, museum["place"], opened)


def _has_place_at_first(museum: Mapping[str, Any], number: str) -> bool:
    return any(
        place["object"] == number and place["since"].startswith(museum["opened_on"])
        for place in museum["places"]
    )


def _first_number(museum: Mapping[str, Any], number: str) -> str:
    """The number under which an object came into the house."""
    old = {row["object"]: row["old"] for row in museum["renumbered"]}
    return str(old.get(number, number))


def _register_double(world: World, row: Mapping[str, Any], opened: datetime) -> None:
    """Register a second record of an object, by which nobody noticed that it is the same."""
    double = collection.create_object(
        actor=world.people["Matthis"],
        title=row["title"],
        number=row["double"],
        in_force_from=world.calendar.day(world.scenario["museum"]["opened_on"]),
        now=opened,
    )
    world.objects[row["double"]] = double.pk


def _merge(world: World, row: Mapping[str, Any]) -> None:
    double_id = world.objects[row["double"]]
    merge(
        actor=world.people[row["by"]],
        double_id=double_id,
        read_version=CollectionObject.objects.get(pk=double_id).row_version,
        into_id=world.objects[row["object"]],
        reason=row["reason"],
        now=world.calendar.at(row["on"]),
    )


def _renumber(world: World, row: Mapping[str, Any]) -> None:
    now = world.calendar.at(row["on"])
    collection.renumber_object(
        actor=world.people[row["by"]],
        object_id=world.objects[row["object"]],
        number=row["object"],
        on=now.date(),
        reason=row["reason"],
        now=now,
    )


def _faces(thing: Thing) -> dict[str, str]:
    if thing.is_two_sided:
        return {"F": "inner side", "B": "outer side", "E": ""}
    return {"F": "", "B": "", "E": ""}


def _record_facts(row: CollectionObject, thing: Thing, conservator: User, opened: datetime) -> None:
    facts = thing.facts
    values: dict[str, Any] = {name: facts[name] for name in TAKEN_OVER}
    support = facts["support"]
    values |= {
        "support": WORDS_OF_SUPPORT.get(support, support),
        "painted_faces": "".join(facts["painted_faces"]) or "F",
        "is_lined": thing.looks.get("is_lined", False),
        "flaking": facts.get("flaking", "none"),
        "notes": sorted(name for name in REMARKS if facts.get(name) is True),
        "measured_on": opened.date(),
        "method": "tape and callipers, unframed",
    }
    collection.record_facts(actor=conservator, object_id=row.pk, values=values, now=opened)


def _stand(world: World, number: str, place: str, since: datetime) -> None:
    collection.record_stay(
        actor=world.people["Oda"],
        object_id=world.objects[number],
        place=place,
        since=since,
        confirmed_by="Art handlers",
        now=since,
    )


def _move(world: World, row: Mapping[str, Any]) -> None:
    _stand(world, row["object"], row["place"], world.calendar.at(row["since"]))


def _hold_back(world: World, row: Mapping[str, Any]) -> None:
    at = world.calendar.at
    collection.record_unavailability(
        actor=world.people["Signe"],
        object_id=world.objects[row["object"]],
        reason=row["reason"],
        since=at(row["since"]),
        until=at(row["until"]) if "until" in row else None,
        note=row["note"],
        blocks_capture=row["blocks_capture"],
        techniques=row.get("techniques", ()),
        now=at(row["recorded"]),
    )


def _fill_catalogue(world: World) -> None:
    museum, day = world.scenario["museum"], world.calendar.day
    now = world.calendar.at(museum["entries_on"])
    data = museum["catalogue"]
    catalogue = collection.create_catalogue(
        actor=world.people["Oda"],
        title=data["title"],
        edition=data["edition"],
        image_lock_on=day(data["image_lock_on"]),
        text_lock_on=day(data["text_lock_on"]),
        printing_on=day(data["printing_on"]),
        now=now,
    )
    for entry in world.scenario.entries:
        _add_entry(world, catalogue, entry, now)


def _add_entry(world: World, catalogue: Catalogue, entry: Mapping[str, Any], now: datetime) -> None:
    data = world.scenario["people"]
    curators = {no: name for name, numbers in data["curators"].items() for no in numbers}
    row = collection.create_entry(
        actor=world.people["Oda"],
        catalogue=catalogue,
        number=entry["no"],
        title=entry["title"],
        curator=world.people[curators[entry["no"]]],
        weight=data["weights"].get(entry["no"], 3),
        now=now,
    )
    world.entries[entry["no"]] = row.pk
    for position, number in enumerate(entry["objects"], 1):
        collection.put_into_entry(
            actor=world.people["Oda"],
            entry_id=row.pk,
            object_id=world.objects[number],
            position=position,
            now=now,
        )
    first = min(world.protocols)
    _pin(world, row.pk, first, "The version in force when the programme began.", now)


def _prepare_studio(world: World) -> None:
    """Set up stations and campaigns."""
    data, day = world.scenario["campaigns"], world.calendar.day
    lead = world.people["Signe"]
    now = world.calendar.at(world.scenario["museum"]["entries_on"])
    for row in data["stations"]:
        station = campaigns.create_station(
            actor=lead, code=row["code"], name=row["name"], techniques=row["techniques"], now=now
        )
        world.stations[row["code"]] = station.pk
    for row in data["campaigns"]:
        campaign = campaigns.create_campaign(
            actor=lead,
            name=row["name"],
            goal=row["goal"],
            starts_on=day(row["from"]),
            ends_on=day(row["to"]),
            now=now,
        )
        world.campaigns[row["code"]] = campaign.pk


def _write_card(world: World, row: Mapping[str, Any]) -> None:
    campaigns.write_setup_card(
        actor=world.people["Signe"],
        code=row["code"],
        station_id=world.stations[row["station"]],
        technique=row["technique"],
        values=row["values"],
        note=row["note"],
        now=world.calendar.at(row["on"]),
    )
