"""Four people, one object: wished, planned, shot, filed, treated, fallen back, whole again.

Everything goes through the pages, with real files. On PostgreSQL and Redis a separate worker
process does the background work.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from django.utils import timezone

from imaging_requests.campaigns.models import Session, ShotLine
from imaging_requests.collection.models import Catalogue, CollectionObject, Entry
from imaging_requests.deliverables.models import Deliverable
from imaging_requests.intake.models import Copy, Frame
from imaging_requests.people.audit import broken_links
from imaging_requests.progress.settle import verify
from imaging_requests.treatments.models import Intervention
from tests.story import studio
from tests.story.pages import Person

pytestmark = [pytest.mark.slow, pytest.mark.django_db(transaction=True)]
NUMBER = "AR 0015"
LONG_AGO = datetime(1990, 1, 1, tzinfo=UTC)


def test_the_main_job_from_wish_to_whole_entry_and_back_again(stores: Path, tmp_path: Path) -> None:
    studio.open_studio()
    people = {
        name: Person(studio.address_of(name), studio.PASSWORD)
        for name in ("Signe", "Oda", "Runa", "Amaro")
    }
    with studio.workers():
        tell(people, tmp_path)
    assert Frame.objects.count() >= 18 + 6
    assert Copy.objects.filter(is_good=True).count() == 2 * Frame.objects.count()
    assert list(broken_links()) == []
    assert verify() == []


def tell(people: Mapping[str, Any], tmp_path: Path) -> None:
    """Tell the story with people of either kind, with or without a browser."""
    signe, oda, runa, amaro = (people[name] for name in ("Signe", "Oda", "Runa", "Amaro"))
    start_catalogue(oda, runa)
    oda_wishes(oda)
    signe_agrees_and_plans(signe)
    amaro_shoots_everything(amaro, tmp_path)
    signe_accepts_everything(signe)
    signe_files(signe)
    entry = Entry.objects.get()
    oda.open(f"/entries/{entry.pk}/").sees("Entry 5 is fully documented")
    oda.open(f"/catalogues/{entry.catalogue_id}/").sees("1 of 1 entry is fully documented")
    runa_treats(runa)
    oda.open(f"/entries/{entry.pk}/").sees(
        "has fallen back", "changed UV of the front", "out of date"
    )
    oda.open(f"/catalogues/{entry.catalogue_id}/").sees("0 of 1 entry")
    signe_plans_again(signe)
    amaro_shoots_everything(amaro, tmp_path)
    signe_accepts_everything(signe)
    signe_files(signe)
    oda.open(f"/entries/{entry.pk}/").sees("Entry 5 is fully documented")


def start_catalogue(oda: Person, runa: Person) -> None:
    oda.open("/catalogues/new/").send("Start it", title="The Lantern Coast")
    catalogue = Catalogue.objects.get()
    oda.open(f"/catalogues/{catalogue.pk}/").follow("Add an entry")
    oda.send("Add the entry", number="5", title="Night Ferry")
    oda.send("Add the object", number=NUMBER, title="Night Ferry")
    oda.sees("AR 0015")
    thing = CollectionObject.objects.get()
    runa.open(f"/objects/{thing.pk}/").sees("Facts missing").follow("Record facts")
    runa.send(
        "Record these facts",
        height_mm=240,
        width_mm=180,
        depth_mm=2,
        warp_mm=0,
        weight_kg=1.2,
        support="copper",
        framed="yes",
        glazed="no",
        sealed="no",
        light_class="low",
    )
    runa.sees("still lacks 8 of the 8 views it is owed")


def oda_wishes(oda: Person) -> None:
    thing = CollectionObject.objects.get()
    oda.open(f"/objects/{thing.pk}/").follow("Ask for pictures")
    ticks = oda.ticks("See what is there already", "views")
    uv_back = next(tick for tick in ticks if "UV" in tick and "B" in tick)
    oda.send(
        "See what is there already", views=[uv_back], purpose="text", why="Is the stamp older?"
    )
    oda.sees("File this request").send("File this request")
    oda.sees("is filed")


def signe_agrees_and_plans(signe: Person) -> None:
    signe.open("/requests/triage/").sees("Is the stamp older?")
    lines = signe.ticks("Agree to the ticked", "lines")
    signe.send("Agree to the ticked", lines=lines)
    signe.sees("Agreed to 1 wish")
    today = timezone.localdate()
    signe.open("/campaigns/new/").send(
        "Open the campaign",
        name="Autumn colour",
        starts_on=(today - studio.minutes(60 * 24)).isoformat(),
        ends_on=(today + studio.minutes(60 * 24 * 30)).isoformat(),
    )
    plan_sessions(signe, {"Bay": 200, "Infrared stand": 180})


def signe_plans_again(signe: Person) -> None:
    plan_sessions(signe, {"Bay": 20})


def plan_sessions(signe: Person, ago_minutes: dict[str, float]) -> None:
    """Hold a slot at each station for everything that is owed there, and confirm it."""
    start = timezone.localtime()
    for index, (station, ago) in enumerate(ago_minutes.items()):
        begins = start - studio.minutes(ago - index * 50)
        signe.open("/campaigns/").follow("Autumn colour").follow("session")
        signe.send(
            "Hold this slot",
            station=signe.choice("Hold this slot", "station", station),
            photographer=signe.choice("Hold this slot", "photographer", "Amaro"),
            day=begins.date().isoformat(),
            starts=studio.clock(begins),
            ends=studio.clock(begins + studio.minutes(45)),
            handlers=2,
        )
        session = Session.objects.latest("pk")
        signe.open(f"/campaigns/sessions/{session.pk}/").follow("Add views")
        signe.send("Add the ticked", views=signe.ticks("Add the ticked", "views"))
        signe.open(f"/campaigns/sessions/{session.pk}/").send("Confirm")
        session.refresh_from_db()
        assert session.state == "confirmed", signe.words


def amaro_shoots_everything(amaro: Person, tmp_path: Path) -> None:
    """Work the shot lists off: shoot, drop the files, hand in, mark done, close.

    After a treatment the camera's clock shows a time after its end.
    """
    ends = Intervention.objects.filter(finished_at__isnull=False).values_list("finished_at")
    earliest = max((ended for (ended,) in ends), default=LONG_AGO) + studio.minutes(0.05)
    for session in Session.objects.filter(state="confirmed"):
        amaro.open(f"/campaigns/sessions/{session.pk}/").send("Start")
        at = max(session.starts_at + studio.minutes(2), earliest)
        for line in session.shot_lines.order_by("position"):
            shoot_line(amaro, line, tmp_path, at)
            at += studio.minutes(2 if earliest.year < 2000 else 0)
        amaro.open(f"/campaigns/sessions/{session.pk}/").send("Close")
        session.refresh_from_db()
        assert session.state == "closed", amaro.words


def shoot_line(amaro: Person, line: ShotLine, tmp_path: Path, at: object) -> None:
    counter = 1000 * line.pk % 9000
    paths = studio.shoot(line, number=NUMBER, folder=tmp_path, at=at, counter=counter)  # type: ignore[arg-type]
    amaro.open(f"/campaigns/shot-list/{line.pk}/").follow("files")
    amaro.send("Go on to the files")
    files = [path.open("rb") for path in paths]
    amaro.send("Send the files", files=files)
    for file in files:
        file.close()
    drop = amaro.address
    studio.wait_for_work()
    amaro.open(drop).misses("sorting table").sees("You may format the card")
    picture = Deliverable.objects.filter(shot_line=line).latest("pk")
    assert picture.is_complete, picture.missing
    amaro.open(f"/deliverables/{picture.pk}/").send("Hand in")
    amaro.open(f"/campaigns/shot-list/{line.pk}/").send("Done")


def signe_accepts_everything(signe: Person) -> None:
    signe.open("/deliverables/reviews/")
    waiting = list(Deliverable.objects.filter(state="to_review").values_list("pk", flat=True))
    assert waiting
    for pk in waiting:
        signe.open(f"/deliverables/reviews/{pk}/").send("Accept")
    assert not Deliverable.objects.filter(state="to_review").exists(), signe.words


def signe_files(signe: Person) -> None:
    entry = Entry.objects.get()
    signe.open(f"/entries/{entry.pk}/").follow("File what is accepted")
    signe.send("File accepted pictures", pictures=signe.ticks("File accepted pictures", "pictures"))
    signe.sees("is sealed")


def runa_treats(runa: Person) -> None:
    thing = CollectionObject.objects.get()
    runa.open(f"/objects/{thing.pk}/").follow("Plan a treatment")
    runa.send("Plan it", title="Surface cleaning", scope=["VF F", "VC F", "RK F", "UV F"])
    kind = runa.choice("Add the step", "type_row", "Surface cleaning")
    runa.send("Add the step", type_row=kind)
    runa.sees("step 1 may start")
    runa.send("Start the step").sees("Step 1 has started")
    runa.send("Finish the step").sees("Step 1 is finished")
