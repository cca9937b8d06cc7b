"""Six worked examples, every number: from copper plate to oversized canvas."""

import pytest

from imaging_requests.reckoning.shots import ShotList
from tests.pure.shot_samples import facts, shot_list

COPPER = facts(height_mm=240, width_mm=180, depth_mm=2, warp_mm=0, weight_kg=1.2, support="copper")
CANVAS = facts()
WING = facts(
    height_mm=1480,
    width_mm=560,
    depth_mm=18,
    warp_mm=14,
    weight_kg=16,
    support="panel",
    framed=False,
    painted_faces=["F", "B"],
)
OVERSIZED = facts(height_mm=2650, width_mm=3900, depth_mm=45, warp_mm=25, weight_kg=95)
GOUACHE = facts(
    height_mm=610,
    width_mm=480,
    depth_mm=12,
    warp_mm=3,
    weight_kg=6,
    glazed=True,
    sealed=True,
    flash_allowed=False,
    light_class="high",
)
WARPED = facts(height_mm=330, width_mm=250, depth_mm=12, warp_mm=16, weight_kg=3, support="panel")

# view: (tiles, exposures, minutes)
VIEWS = {
    "copper": (
        COPPER,
        {
            "VF-F": ((1, 1), 1, 28.5),
            "VC-F": ((1, 1), 1, 24),
            "RK-F-L": ((1, 1), 3, 16),
            "UV-F": ((1, 1), 4, 28),
            "VF-B": ((1, 1), 1, 28.5),
            "RK-B-L": ((1, 1), 3, 16),
            "UV-B": ((1, 1), 4, 28),
            "IR-F": ((1, 1), 1, 46),
        },
    ),
    "canvas": (
        CANVAS,
        {
            "VF-F": ((1, 2), 1, 30),
            "VC-F": ((1, 2), 1, 26),
            "RK-F-L": ((1, 1), 3, 16),
            "RK-F-T": ((1, 1), 3, 16),
            "UV-F": ((1, 1), 4, 28),
            "VF-B": ((1, 2), 1, 30),
            "RK-B-L": ((1, 1), 3, 16),
            "UV-B": ((1, 1), 4, 28),
            "IR-F": ((2, 3), 1, 106),
            "XR": ((2, 3), 1, 71),
        },
    ),
    "wing": (
        WING,
        {
            "VF-F": ((1, 2), 1, 30),
            "VC-F": ((1, 2), 1, 26),
            "RK-F-L": ((1, 1), 3, 16),
            "RK-F-T": ((1, 1), 5, 18),
            "UV-F": ((1, 2), 4, 31),
            "VF-B": ((1, 2), 1, 30),
            "VC-B": ((1, 2), 1, 26),
            "RK-B-L": ((1, 1), 3, 16),
            "RK-B-T": ((1, 1), 5, 18),
            "UV-B": ((1, 2), 4, 31),
            "VF-E": ((4, 1), 1, 25),
            "IR-F": ((2, 4), 1, 130),
            "IR-B": ((2, 4), 1, 130),
            "XR": ((2, 4), 1, 87),
        },
    ),
    "oversized": (
        OVERSIZED,
        {
            "VF-F": ((4, 2), 1, 39),
            "VC-F": ((4, 2), 1, 38),
            "RK-F-L": ((2, 1), 5, 23),
            "RK-F-T": ((2, 1), 5, 23),
            "UV-F": ((4, 3), 4, 61),
            "VF-B": ((4, 2), 1, 39),
            "RK-B-L": ((2, 1), 5, 23),
            "UV-B": ((4, 3), 4, 61),
            "IR-F": ((6, 4), 1, 322),
            "XR": ((12, 7), 1, 695),
        },
    ),
    "gouache": (GOUACHE, {"VC-F": ((1, 1), 1, 24)}),
    "warped": (
        WARPED,
        {
            "VF-F": ((1, 1), 1, 30),
            "VC-F": ((1, 1), 1, 26),
            "RK-F-L": ((1, 1), 3, 16),
            "RK-F-T": ((1, 1), 3, 16),
            "UV-F": ((1, 1), 4, 28),
            "VF-B": ((1, 1), 1, 30),
            "RK-B-L": ((1, 1), 3, 16),
            "UV-B": ((1, 1), 4, 28),
            "VF-E": ((4, 1), 1, 25),
            "IR-F": ((1, 1), 1, 46),
            "XR": ((1, 1), 1, 31),
        },
    ),
}

# station: (minutes, with reserve); then frames, desk minutes
TOTALS = {
    "copper": (COPPER, {"bay": (194, 225), "ir": (61, 75)}, 18, 113),
    "canvas": (CANVAS, {"bay": (215, 250), "ir": (121, 140), "xray": (71, 85)}, 35, 209),
    "wing": (WING, {"bay": (307, 355), "ir": (300, 345), "xray": (87, 105)}, 68, 307),
    "oversized": (
        OVERSIZED,
        {"bay": (382, 440), "ir": (367, 425), "xray": (695, 800)},
        258,
        713,
    ),
    "gouache": (GOUACHE, {"bay": (39, 45)}, 1, 15),
    "warped": (WARPED, {"bay": (240, 280), "ir": (61, 75), "xray": (31, 40)}, 29, 187),
}


@pytest.mark.parametrize("name", VIEWS)
def test_every_view_has_its_tiles_exposures_and_minutes(name):
    known, expected = VIEWS[name]
    found = {v.view: (v.tiles, len(v.exposures_ev), v.minutes) for v in shot_list(known).views}
    assert found == expected
    assert list(found) == list(expected), "the order of the visit"


@pytest.mark.parametrize("name", TOTALS)
def test_station_totals_frames_and_desk_minutes(name):
    known, stations, frames, desk = TOTALS[name]
    answer = shot_list(known)
    assert {s.station: (s.minutes, s.minutes_with_reserve) for s in answer.stations} == stations
    assert answer.frames == frames
    assert answer.desk_minutes == desk


def reasons(answer: ShotList) -> dict[str, str]:
    return {skipped.view: skipped.reason for skipped in answer.not_applicable}


def test_copper_has_no_xray_by_rule_and_is_held_by_the_edges():
    answer = shot_list(COPPER)
    assert len(answer.views) == 8
    assert reasons(answer) == {
        "XR": "the metal plate hides the paint at the voltages used for canvas"
    }
    assert answer.view("VF-F").px_per_mm == 24
    assert answer.view("VF-F").field_mm == pytest.approx((483.3, 362.5), abs=0.1)
    assert answer.view("RK-F-L").lamp.fall_off_ev == 0.17
    assert answer.moves.unframe_min == 45
    assert any("hold it by the edges" in text for text in answer.cautions)
    assert any("cross-polarise" in text for text in answer.view("VF-F").cautions)


def test_canvas_geometry_and_near_misses():
    answer = shot_list(CANVAS)
    assert answer.view("VF-F").field_mm == pytest.approx((966.7, 725), abs=0.1)
    assert answer.view("VF-F").orientation == "landscape"
    assert answer.view("RK-F-L").lamp.fall_off_ev == 0.64
    assert answer.view("RK-F-T").lamp.fall_off_ev == 0.77
    assert answer.view("IR-F").field_mm == (512, 512)
    assert answer.view("XR").orientation == "sideways"
    visible, infrared = answer.near_misses
    assert visible.views == ("VF-F", "VC-F", "VF-B")
    assert (visible.px_per_mm, round(visible.ppi), visible.change_percent) == (11.15, 283, -7.1)
    assert (visible.count_now, visible.count_then, visible.needs_lead) == (2, 1, True)
    assert infrared.views == ("IR-F",)
    assert (infrared.px_per_mm, infrared.change_percent) == (7.81, -2.4)
    assert (infrared.count_now, infrared.count_then) == (6, 4)
    assert (infrared.saves_minutes, infrared.needs_lead) == (24, False)
    assert infrared.sentence == (
        "IR-F: 2.4 % less density (7.81 px/mm, 198 ppi) saves 2 of 6 tiles, 24 min."
    )


def test_canvas_raking_line_names_lamp_card_and_caution():
    line = shot_list(CANVAS).view("RK-F-L")
    assert (line.px_per_mm, line.exposures_ev, line.frames, line.people) == (6, (-1, 0, 1), 3, 1)
    assert (line.lamp.azimuth_deg, line.lamp.elevation_deg) == (270, 10)
    assert line.lamp.distance_mm == 3000
    assert line.setup_card == "BAY-RK-06"
    assert line.anchors == ("CUR",)
    assert any("no flakes are loose" in text for text in line.cautions)


def test_wing_turns_once_at_each_station_and_warns_about_two_faces():
    answer = shot_list(WING)
    assert len(answer.views) == 14
    assert answer.view("VF-F").orientation == "portrait"
    assert answer.view("RK-F-L").lamp.fall_off_ev == 0.49
    assert answer.view("RK-F-T").lamp.fall_off_ev == 1.16
    assert answer.view("UV-F").frames == 8
    assert (answer.station("bay").placing_min, answer.station("bay").turn_min) == (25, 15)
    assert (answer.station("ir").placing_min, answer.station("ir").turn_min) == (25, 15)
    assert (answer.moves.people, answer.moves.unframe_min) == (2, 0)
    assert any("rests touch the edges only" in text for text in answer.cautions)


def test_oversized_canvas_needs_two_rental_days_and_four_people():
    answer = shot_list(OVERSIZED)
    visible = answer.view("VF-F")
    assert visible.orientation == "portrait"
    assert visible.field_mm == pytest.approx((1450, 1933.3), abs=0.1)
    assert visible.joined_px == (23640, 16500)
    assert visible.joined_bytes == pytest.approx(2.3e9, rel=0.02)
    assert answer.view("RK-F-L").lamp.fall_off_ev == 1.96
    assert answer.view("RK-F-T").lamp.fall_off_ev == 1.47
    assert answer.view("RK-F-L").frames == 10
    assert answer.view("UV-F").frames == 48
    assert answer.view("IR-F").field_mm == pytest.approx((819.2, 819.2))
    assert answer.view("XR").orientation == "upright"
    assert answer.station("xray").day_split == ((49, 415), (35, 303))
    assert (answer.moves.fetch_min, answer.moves.return_min) == (60, 60)
    assert (answer.moves.people, answer.moves.lift) == (4, True)
    near = next(miss for miss in answer.near_misses if "VF-F" in miss.views)
    assert (near.px_per_mm, near.change_percent) == (5.74, -4.4)
    assert (near.count_now, near.count_then) == (8, 6)
    assert any("three re-registration markers per edge" in text for text in answer.cautions)
    assert sum("more than the cap of 10 min" in text for text in answer.cautions) == 2


def test_sealed_gouache_owes_one_view_and_says_why_nine_are_not_applicable():
    answer = shot_list(GOUACHE)
    said = reasons(answer)
    assert len(said) == 9
    assert "flash is forbidden" in said["VF-F"]
    assert {view for view, reason in said.items() if "cannot be unframed" in reason} == {
        "RK-F-L",
        "RK-F-T",
        "UV-F",
        "IR-F",
        "VF-B",
        "RK-B-L",
        "UV-B",
        "XR",
    }
    assert answer.dose.light_lxh == 600
    assert answer.dose.yearly_share_lxh == 1500
    assert not answer.dose.over_share
    assert any("at 500 lx it would cost 200" in note for note in answer.notes)
    assert any("black cloth opposite the glass" in text for text in answer.cautions)
    assert any("caption" in text for text in answer.cautions)


def test_small_warped_panel_needs_two_focus_slices_or_a_smaller_aperture():
    answer = shot_list(WARPED)
    visible = answer.view("VF-F")
    assert (visible.orientation, visible.focus_slices, visible.frames) == ("portrait", 2, 2)
    assert visible.field_mm == pytest.approx((362.5, 483.3), abs=0.1)
    assert answer.view("RK-F-L").focus_slices == 1
    assert visible.notes == (
        "At f/8 12.9 mm are sharp and the warp is 16 mm: 2 focus slices. "
        "At f/11 (17.7 mm) 1 would do.",
    )


@pytest.mark.parametrize("name", VIEWS)
def test_expected_files_are_frames_and_auxiliary_frames(name):
    answer = shot_list(VIEWS[name][0])
    assert answer.expected_files == answer.frames + sum(a.count for a in answer.auxiliary)
    assert answer.expected_files == sum(count for _, count in answer.expected_files_by_station)


def test_auxiliary_frames_of_the_canvas_by_set_up():
    counted = {(a.role, a.technique): a.count for a in shot_list(CANVAS).auxiliary}
    assert counted == {
        ("slate", None): 1,
        ("target", None): 1,
        ("flat", "VF"): 1,
        ("flat", "VC"): 1,
        ("flat", "IR"): 1,
        ("ambient", "UV"): 1,
        ("dark", "IR"): 1,
    }


def test_light_of_one_canvas_visit_adds_up_on_the_painted_face():
    answer = shot_list(CANVAS)
    lamp = {v.view: v.light_lxh for v in answer.views}
    assert lamp["VF-F"] == pytest.approx(83, abs=0.5)
    assert lamp["VC-F"] == 650
    assert lamp["RK-F-L"] + lamp["RK-F-T"] == pytest.approx(267, abs=0.5)
    assert lamp["IR-F"] == 1200
    assert answer.dose.light_lxh == pytest.approx(2200, abs=1)


def test_visit_order_turns_once_and_shoots_ultraviolet_last_on_each_face():
    order = [step.view or step.do for step in shot_list(CANVAS).order if step.station == "bay"]
    assert order == [
        "place",
        "VF-F",
        "VC-F",
        "RK-F-L",
        "RK-F-T",
        "UV-F",
        "turn",
        "VF-B",
        "RK-B-L",
        "UV-B",
    ]


def test_a_plain_canvas_has_nothing_to_note():
    assert shot_list(CANVAS).notes == ()
