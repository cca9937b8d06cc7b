"""Two pictures in two conditions differ exactly where the treatment between them says."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from imaging_requests.imaging.synthesis import (
    BackFinish,
    Change,
    Condition,
    Direction,
    Face,
    Losses,
    Painting,
    PaintingSpec,
    Rect,
    Scene,
    Shot,
    Subject,
    Support,
    Technique,
    Varnish,
    build_painting,
    capture,
)

CANVAS = PaintingSpec(seed=6, width_mm=330, height_mm=270, subject=Subject.STILL_LIFE, warp_mm=4)
PANEL = PaintingSpec(
    seed=6,
    width_mm=330,
    height_mm=270,
    subject=Subject.STILL_LIFE,
    support=Support.PANEL,
    is_cradled=True,
    depth_mm=20,
    warp_mm=9,
)
VIEWS = {
    "VIS-F": (Technique.FLASH, Face.FRONT, None),
    "RK-F": (Technique.RAKING, Face.FRONT, Direction.LEFT),
    "UV-F": (Technique.FLUORESCENCE, Face.FRONT, None),
    "IR-F": (Technique.INFRARED, Face.FRONT, None),
    "XR": (Technique.X_RAY, Face.THROUGH, None),
    "VIS-B": (Technique.FLASH, Face.BACK, None),
    "UV-B": (Technique.FLUORESCENCE, Face.BACK, None),
}
# Change of the encoded picture, share of full scale, that counts as seen and as unseen: the mean of
# the 40 most changed pixels for "seen" (small areas count), of all pixels for "unseen".
SEEN = 0.03
UNSEEN = 0.0025


@pytest.fixture(scope="module")
def paintings() -> dict[str, Painting]:
    return {
        "canvas": build_painting(CANVAS, px_per_mm=1.0),
        "panel": build_painting(PANEL, px_per_mm=1.0),
    }


def frame(painting: Painting, condition: Condition, view: str) -> NDArray[np.float64]:
    technique, face, direction = VIEWS[view]
    spec = painting.spec
    shot = Shot(
        technique=technique,
        face=face,
        direction=direction,
        noise=0.0,
        px_per_mm=1.0,
        has_target=False,
        tile=Rect(x=0, y=0, width=spec.width_mm, height=spec.height_mm),
    )
    return capture(Scene(painting, condition), shot).pixels.astype(float) / 65535


ALL = set(VIEWS)
CASES = [
    ("canvas", [], Change.SURFACE_CLEANED, {"VIS-F", "UV-F"}),
    ("canvas", [], Change.VARNISH_REMOVED, {"VIS-F", "UV-F"}),
    ("canvas", [], Change.VARNISH_THINNED, {"VIS-F", "UV-F"}),
    ("canvas", [Change.VARNISH_REMOVED], Change.VARNISHED, {"UV-F"}),
    ("canvas", [], Change.OLD_FILLS_REMOVED, {"VIS-F", "RK-F", "UV-F", "IR-F", "XR"}),
    ("canvas", [Change.OLD_FILLS_REMOVED], Change.FILLED, {"VIS-F", "RK-F", "XR"}),
    ("canvas", [Change.OLD_FILLS_REMOVED, Change.FILLED], Change.RETOUCHED, {"VIS-F", "UV-F"}),
    ("canvas", [], Change.FLAKES_LAID, {"RK-F"}),
    ("canvas", [], Change.FACED, {"VIS-F", "RK-F", "UV-F"}),
    ("canvas", [], Change.LINED, {"XR", "VIS-B", "UV-B"}),
    ("canvas", [Change.LINED], Change.LINING_REMOVED, {"XR", "VIS-B", "UV-B"}),
    (
        "canvas",
        [Change.LINED, Change.LINING_REMOVED],
        Change.BACK_RESIDUE_REMOVED,
        {"VIS-B", "UV-B"},
    ),
    ("canvas", [], Change.STRETCHER_REPLACED, {"RK-F", "XR", "VIS-B"}),
    ("canvas", [], Change.TORN, {"VIS-F", "RK-F", "XR", "VIS-B"}),
    ("canvas", [Change.TORN], Change.TEAR_REPAIRED, {"VIS-F", "RK-F", "XR", "VIS-B"}),
    ("canvas", [], Change.EDGES_REINFORCED, {"VIS-B"}),
    ("canvas", [], Change.BACK_CLEANED, {"VIS-B"}),
    ("canvas", [], Change.LABEL_REMOVED, {"VIS-B", "UV-B"}),
    ("canvas", [], Change.BACKING_BOARD_FITTED, {"VIS-B", "UV-B"}),
    ("canvas", [], Change.WATER_DAMAGED, {"VIS-F", "VIS-B"}),
    ("panel", [], Change.CRADLE_REMOVED, {"XR", "VIS-B"}),
    ("panel", [], Change.AUXILIARY_SUPPORT_FITTED, {"VIS-B"}),
    ("panel", [], Change.WOOD_CONSOLIDATED, {"VIS-B"}),
]
UNTOUCHED = {
    Change.SURFACE_CLEANED: {"XR", "VIS-B", "UV-B", "IR-F"},
    Change.VARNISH_REMOVED: {"XR", "IR-F", "VIS-B", "UV-B"},
    Change.FLAKES_LAID: {"XR", "IR-F", "UV-F", "VIS-B"},
    Change.RETOUCHED: {"XR", "RK-F", "VIS-B"},
    Change.LINED: {"IR-F", "UV-F", "VIS-F"},
    Change.CRADLE_REMOVED: {"IR-F", "UV-F"},
    Change.BACK_CLEANED: {"VIS-F", "RK-F", "UV-F", "IR-F", "XR"},
    Change.LABEL_REMOVED: {"VIS-F", "RK-F", "UV-F", "IR-F", "XR"},
    Change.BACKING_BOARD_FITTED: {"VIS-F", "RK-F", "UV-F", "IR-F", "XR"},
}


@pytest.mark.parametrize(
    ("name", "earlier", "change", "seen"), CASES, ids=[case[2].value for case in CASES]
)
def test_a_change_shows_where_it_must(
    paintings: dict[str, Painting], name: str, earlier: list[Change], change: Change, seen: set[str]
) -> None:
    painting = paintings[name]
    before = Condition.initial(painting.spec)
    for step in earlier:
        before = before.after(step)
    after = before.after(change)
    assert after != before
    for view in sorted(seen):
        gap = np.abs(frame(painting, before, view) - frame(painting, after, view))
        assert np.sort(gap, axis=None)[-40:].mean() > SEEN, view
    for view in sorted(UNTOUCHED.get(change, set())):
        gap = np.abs(frame(painting, before, view) - frame(painting, after, view))
        assert gap.mean() < UNSEEN, view


def test_every_change_has_an_effect_somewhere() -> None:
    start = Condition.initial(PANEL)
    rich = replace(
        start,
        is_faced=True,
        is_lined=True,
        has_back_residue=True,
        has_backing_board=True,
        has_tear=True,
    )
    for change in Change:
        assert start.after(change) != start or rich.after(change) != rich, change


def test_old_retouching_is_dark_under_ultraviolet_and_gone_once_removed(
    paintings: dict[str, Painting],
) -> None:
    painting = paintings["canvas"]
    aged = Condition.initial(CANVAS)
    where = painting.front.overpaint > 0.8
    assert where.mean() > 0.001
    with_it = frame(painting, aged, "UV-F").mean(2)[where]
    without = frame(painting, aged.after(Change.OVERPAINT_REMOVED), "UV-F").mean(2)[where]
    assert np.median(with_it) < 0.6 * np.median(without)


def test_a_cleaning_window_stays_inside_its_rectangle(paintings: dict[str, Painting]) -> None:
    painting = paintings["canvas"]
    window = Rect(x=120, y=90, width=40, height=30)
    before = Condition.initial(CANVAS)
    after = before.with_cleaning_windows(window)
    gap = np.abs(frame(painting, before, "UV-F") - frame(painting, after, "UV-F")).max(2)
    inside = gap[95:115, 125:155]
    outside = gap.copy()
    outside[85:125, 115:165] = 0
    assert inside.mean() > SEEN
    assert outside.max() < 1e-4


def test_aged_varnish_glows_green_and_turns_white_to_yellow(paintings: dict[str, Painting]) -> None:
    painting = paintings["canvas"]
    aged = Condition.initial(CANVAS)
    clean = aged.after(Change.VARNISH_REMOVED)
    glow = frame(painting, aged, "UV-F") ** 2 - frame(painting, clean, "UV-F") ** 2
    assert glow[..., 1].mean() > glow[..., 0].mean()
    assert glow[..., 1].mean() > glow[..., 2].mean()
    seen = frame(painting, aged, "VIS-F") ** 2
    bare = frame(painting, clean, "VIS-F") ** 2
    assert (seen[..., 2] / seen[..., 0]).mean() < (bare[..., 2] / bare[..., 0]).mean()


def test_labels_stay_the_same_while_other_things_change() -> None:
    spec = replace(CANVAS, number="AR 0038", title="Harbour Fire")
    painting = build_painting(spec, px_per_mm=1.0)
    before = Condition.initial(spec)
    taped = before.after(Change.EDGES_REINFORCED)
    middle = (slice(70, 200), slice(70, 260))
    gap = np.abs(frame(painting, before, "VIS-B")[middle] - frame(painting, taped, "VIS-B")[middle])
    assert gap.max() < 0.01


@pytest.mark.parametrize(
    ("support", "finish"),
    [
        (Support.PANEL, BackFinish.METAL_LEAF),
        (Support.PANEL, BackFinish.GREY_PAINT),
        (Support.COPPER, BackFinish.GREY_PAINT),
        (Support.COPPER, BackFinish.BARE),
    ],
)
def test_backs_have_their_finish(support: Support, finish: BackFinish) -> None:
    spec = PaintingSpec(
        seed=2,
        width_mm=200,
        height_mm=150,
        support=support,
        back_finish=finish,
        subject=Subject.MARBLING,
        depth_mm=10,
    )
    bare = replace(spec, back_finish=BackFinish.BARE)
    shown = frame(build_painting(spec, px_per_mm=1.0), Condition.initial(spec), "VIS-B")
    plain = frame(build_painting(bare, px_per_mm=1.0), Condition.initial(bare), "VIS-B")
    if finish is BackFinish.BARE:
        np.testing.assert_array_equal(shown, plain)
    else:
        assert np.abs(shown - plain).mean() > 0.03


def test_lead_in_the_lining_hides_everything_from_x_rays() -> None:
    spec = replace(CANVAS, is_lined=True, has_lead_lining=True)
    film = frame(build_painting(spec, px_per_mm=1.0), Condition.initial(spec), "XR")
    clear = replace(spec, has_lead_lining=False)
    legible = frame(build_painting(clear, px_per_mm=1.0), Condition.initial(clear), "XR")
    assert film[30:-30, 30:-30].std() < 0.2 * legible[30:-30, 30:-30].std()


def test_impossible_facts_are_refused() -> None:
    with pytest.raises(ValueError, match="Only a panel"):
        replace(CANVAS, is_cradled=True)
    with pytest.raises(ValueError, match="Only a canvas"):
        replace(PANEL, is_cradled=False, is_lined=True)


def test_the_starting_condition_follows_the_facts() -> None:
    assert Condition.initial(PANEL).is_cradled
    assert Condition.initial(PANEL).slackness == 0
    assert Condition.initial(CANVAS).varnish is Varnish.AGED
    assert Condition.initial(CANVAS).losses is Losses.OLD_FILLS
