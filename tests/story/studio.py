"""The scene of the story: people, rules, stations, and a camera that writes real files."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.db import connection

from imaging_requests.campaigns.actions import create_station
from imaging_requests.campaigns.models import ShotLine
from imaging_requests.demo.scenario import reduced_settings
from imaging_requests.demo.takes import Sitter, Take, photograph
from imaging_requests.intake.models import Job, JobState
from imaging_requests.people.actions import open_account
from imaging_requests.people.models import Role, User
from imaging_requests.protocols.actions import load_published

FIXTURES = Path(__file__).resolve().parents[2] / "fixtures"
PASSWORD = "lantern coast 1390"
PEOPLE = {
    "Signe": Role.LEAD,
    "Corvin": Role.HEAD,
    "Oda": Role.CURATOR,
    "Runa": Role.CONSERVATOR,
    "Amaro": Role.PHOTOGRAPHER,
}
REDUCTION = 24


def address_of(name: str) -> str:
    """Return a person's e-mail address."""
    return f"{name.lower()}@ardenmoor.example"


def open_studio() -> dict[str, User]:
    """Open accounts, publish the rules, set up two stations."""
    people = {
        name: open_account(
            actor=None, email=address_of(name), name=name, roles=[role], password=PASSWORD
        )
        for name, role in PEOPLE.items()
    }
    for kind, path, second in (
        ("studio", "studio/settings-1.json", "Corvin"),
        ("triggers", "triggers/table-1.json", "Runa"),
        ("protocol", "protocols/catalogue-3.json", "Corvin"),
    ):
        document = json.loads((FIXTURES / path).read_text())
        load_published(
            kind=kind,
            document=_reduced(document) if kind == "studio" else document,
            actor=people["Signe"],
            co_signed_by=people[second],
        )
    for code, name, techniques in (
        ("bay", "Bay", ["VF", "VC", "RK", "UV"]),
        ("ir", "Infrared stand", ["IR"]),
    ):
        create_station(actor=people["Signe"], code=code, name=name, techniques=techniques)
    return people


def _reduced(document: dict[str, Any]) -> dict[str, Any]:
    """The settings of a studio whose cameras have larger and fewer pixels, as in the demo."""
    rules = json.loads((FIXTURES / "demo" / "pictures.json").read_text())["reduced_settings"]
    return reduced_settings(document, rules=rules, reduction=REDUCTION)


def shoot(line: ShotLine, *, number: str, folder: Path, at: datetime, counter: int) -> list[Path]:
    """Photograph one shot line of an invented object into real files, oldest first."""
    facts = {row["object_number"]: row for row in _objects()}[number]["facts"]
    looks = json.loads((FIXTURES / "demo" / "pictures.json").read_text())["objects"][number]
    take = Take(
        key=str(line.pk),
        technique=line.technique,
        face=line.face,
        variant=line.variant,
        tiles=(line.tiles_across, line.tiles_down),
        exposures_ev=tuple(line.exposures_ev),
        focus_slices=line.focus_slices,
        px_per_mm=line.px_per_mm,
        starts_at=at,
        zone=settings.STUDIO_ZONE,
        folder=folder / str(line.pk),
        first_counter=counter,
    )
    sitter = Sitter(number=number, title=facts["title"], facts=facts, looks=looks, takes=(take,))
    return [frame.path for frame in photograph(sitter)]


def _objects() -> list[dict[str, dict[str, str]]]:
    return json.loads((FIXTURES / "demo" / "objects.json").read_text())["objects"]  # type: ignore[no-any-return]


@contextmanager
def workers() -> Iterator[None]:
    """Run a real worker beside the test where there is a broker; else work waits for a wait."""
    if not settings.REDIS_URL:
        yield
        return
    database = connection.settings_dict
    environment = os.environ | {
        "DATABASE_URL": f"postgresql://{database['USER']}@{database['HOST']}:{database['PORT']}"
        f"/{database['NAME']}",
        "DJANGO_SETTINGS_MODULE": "imaging_requests.config.settings",
        "IMAGING_STORE": str(settings.STORE_DIR),
        "IMAGING_SECOND_STORE": str(settings.SECOND_STORE_DIR),
        "IMAGING_DERIVED": str(settings.DERIVED_DIR),
    }
    worker = subprocess.Popen(
        [
            *(sys.executable, "-m", "celery", "--quiet", "-A", "imaging_requests.config.celery"),
            *("worker", "-P", "solo", "-Q", "ingest,pixels,plans,mail", "--loglevel", "WARNING"),
            *("--without-gossip", "--without-mingle", "--without-heartbeat"),
        ],
        env=environment,
    )
    try:
        yield
    finally:
        worker.terminate()
        worker.wait(30)


def wait_for_work(*, seconds: float = 120) -> None:
    """Wait until no background work is due or under way."""
    deadline = time.monotonic() + seconds
    while Job.objects.filter(state__in=(JobState.DUE, JobState.CLAIMED)).exists():
        if not settings.REDIS_URL:
            call_command("work", until_empty=True, verbosity=0)
        assert time.monotonic() < deadline, list(Job.objects.exclude(state=JobState.DONE).values())
        time.sleep(0.2)
    failed = Job.objects.filter(state=JobState.FAILED)
    assert not failed.exists(), list(failed.values("kind", "last_error"))


def clock(instant: datetime) -> str:
    """Write a time of day as the forms take it."""
    return instant.strftime("%H:%M")


def minutes(number: float) -> timedelta:
    """Return a stretch of minutes."""
    return timedelta(minutes=number)
