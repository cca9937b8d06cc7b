"""Room light and cold lamps under ultraviolet: told from frames that are no part of the picture."""

from __future__ import annotations

from datetime import timedelta

import numpy as np
import pytest
from django.test import Client
from django.urls import reverse

from imaging_requests.campaigns.models import ShotLine
from imaging_requests.deliverables import shown
from imaging_requests.deliverables.models import Deliverable
from imaging_requests.imaging.synthesis import Technique
from imaging_requests.imaging.synthesis.shot import Role
from imaging_requests.intake.models import FileCheck, Frame, FrameRole, FrameState
from tests import factory
from tests.intake_scene import bring, frame_of, open_drop, settle, tiff
from tests.pure.measure_samples import shoot

pytestmark = [
    pytest.mark.django_db,
    pytest.mark.usefixtures("stores"),
    pytest.mark.any_database,
]


def line_of(tiles: int) -> ShotLine:
    factory.rules()
    obj = factory.museum_object("AR 0070", "The Quarantine Island")
    return factory.shot_line(
        factory.session(by=factory.photographer()),
        obj,
        meets=[factory.owed_view(obj)],
        px_per_mm=2.5,
        tiles_across=tiles,
        exposures_ev=[0],
        expected_files=tiles,
    )


def master(line: ShotLine, minute: int, pixels: np.ndarray) -> bytes:
    at = line.session.starts_at + timedelta(minutes=minute)
    return tiff(at=at, exposure_s=8, picture=pixels)


def check(rule: str) -> FileCheck:
    return FileCheck.objects.get(rule=rule)


def test_a_frame_with_the_lamps_off_is_kept_by_hand_and_tells_how_dark_the_room_was(
    client: Client,
) -> None:
    line = line_of(1)
    amaro = line.session.photographer
    drop = open_drop(amaro, line=line)
    bring(drop, "UV.tif", master(line, 10, shoot(Technique.FLUORESCENCE).pixels))
    settle()
    assert check("U2").verdict == "cannot_tell"
    assert "no frame with the lamps off" in check("U2").sentence

    lit_room = shoot(Technique.FLUORESCENCE, role=Role.AMBIENT, room_light=0.05)
    arrival = bring(drop, "room.tif", master(line, 12, lit_room.pixels))
    settle()
    frame = frame_of(arrival)
    assert frame.state == FrameState.WAITING
    client.force_login(amaro)
    page = client.get(reverse("intake:sorting_table")).content.decode()
    place = f"{line.pk}:0:0:0:0:ambient"
    assert f'value="{place}"' in page
    assert "lamps off, exposure 0" in page
    answer = client.post(
        reverse("intake:sorting_table"),
        {
            f"tick-{frame.pk}": "on",
            f"version-{frame.pk}": frame.row_version,
            f"place-{frame.pk}": place,
            "act": "place",
        },
    )
    assert answer.status_code == 302
    settle()
    frame.refresh_from_db()
    assert (frame.state, frame.role) == (FrameState.PLACED, FrameRole.AMBIENT)
    row = Deliverable.objects.get()
    assert row.deliverable_frames.count() == 1
    assert check("U2").verdict == "fail"
    assert "The room is not dark" in check("U2").sentence
    assert check("U2").frame_id == row.deliverable_frames.get().frame_id


@pytest.mark.parametrize("value", ["1:0:0:0:0:banana", "1:0:0:0:0:ambient:view", "1:0:0"])
def test_a_place_that_nobody_offered_is_refused(client: Client, value: str) -> None:
    line = line_of(1)
    frame = factory.frame(
        state=FrameState.WAITING, waiting_because="Reason.", captured_at=line.session.starts_at
    )
    client.force_login(line.session.photographer)
    sent = {f"tick-{frame.pk}": "on", f"version-{frame.pk}": 1, f"place-{frame.pk}": value}
    answer = client.post(reverse("intake:sorting_table"), sent | {"act": "place"})
    assert answer.status_code == 422
    assert Frame.objects.get().state == FrameState.WAITING


@pytest.mark.parametrize(
    ("ev", "has_target", "verdict"),
    [(-0.2, True, "fail"), (0, False, "cannot_tell")],
)
def test_the_lamps_are_held_against_themselves_from_the_first_to_the_last_tile(
    ev: float, has_target: bool, verdict: str
) -> None:
    line = line_of(2)
    drop = open_drop(line.session.photographer, line=line)
    first = shoot(Technique.FLUORESCENCE)
    last = shoot(Technique.FLUORESCENCE, ev=ev, noise_seed=3, has_target=has_target)
    for number, exposure in enumerate((first, last)):
        bring(drop, f"UV{number}.tif", master(line, 10 + number, exposure.pixels))
    settle()
    row = Deliverable.objects.get()
    assert row.is_complete
    warm_up = check("U8")
    assert warm_up.verdict == verdict
    assert warm_up.frame_id == row.deliverable_frames.order_by("frame__captured_at").last().frame_id
    if verdict == "fail":
        assert "they were not warm" in warm_up.sentence


def test_where_a_finding_lies_is_kept_and_shown(client: Client) -> None:
    line = line_of(1)
    drop = open_drop(line.session.photographer, line=line)
    exposure = shoot(Technique.FLUORESCENCE, has_barrier_filter=False)
    bring(drop, "UV.tif", master(line, 10, exposure.pixels))
    settle()
    slip = check("U1")
    left, top, width, height = slip.place_px
    assert 0 <= left < left + width <= slip.frame.width_px
    assert 0 <= top < top + height <= slip.frame.height_px
    spot = shown.spot_of(slip)
    assert spot is not None
    assert spot.words.startswith("lower left")
    assert 0 <= spot.left <= spot.left + spot.across <= 48
    assert 0 <= spot.top <= spot.top + spot.down <= spot.height

    row = Deliverable.objects.get()
    client.force_login(factory.lead())
    page = client.get(reverse("deliverables:review", args=[row.pk])).content.decode()
    assert f"Where: {spot.words}" in page
    assert page.count('class="spot__box"') >= 1
