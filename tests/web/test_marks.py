"""Marks, the board's cells and the components keep their promises to the pages."""

from __future__ import annotations

import re
from pathlib import Path
from xml.etree import ElementTree

import pytest
from django.http import HttpRequest
from django.template import Context, Template
from django.template.loader import get_template, render_to_string

from imaging_requests.people.templatetags import marks
from imaging_requests.reckoning.truth.terms import Status

ROOT = Path(__file__).resolve().parents[2]
COMPONENTS = ROOT / "templates" / "components"
SYMBOL = "{http://www.w3.org/2000/svg}symbol"


def drawn_symbols() -> set[str]:
    tree = ElementTree.parse(ROOT / "imaging_requests" / "static" / "img" / "marks.svg")
    return {symbol.attrib["id"] for symbol in tree.iter(SYMBOL)}


def page(source: str, **context: object) -> str:
    return Template("{% load marks %}" + source).render(Context(context))


def test_every_status_has_its_own_mark_and_word() -> None:
    assert {marks.mark_name(each, marks.STATUS_WORDS) for each in Status} == set(marks.STATUS_WORDS)
    assert len(set(marks.STATUS_WORDS.values())) == len(Status) == 15


def test_every_word_has_a_drawing_and_every_drawing_a_word() -> None:
    named = {*marks.STATUS_WORDS, *marks.VERDICT_WORDS, *marks.SIGN_WORDS}
    assert named == drawn_symbols()


@pytest.mark.parametrize("spelt", ["to_review", "to review", "To-Review", Status.TO_REVIEW])
def test_a_status_is_known_however_it_is_spelt(spelt: object) -> None:
    shown = page("{% status value %}", value=spelt)
    assert "marks.svg#to-review" in shown
    assert "<span>to review</span>" in shown


def test_a_status_without_a_mark_fails_the_page() -> None:
    with pytest.raises(ValueError, match="no mark for 'done'"):
        page('{% status "done" %}')


def test_blocked_says_until_when() -> None:
    assert "blocked until 3 Aug" in page('{% status "blocked" until="3 Aug" %}')


def test_cannot_tell_is_not_shown_as_a_pass() -> None:
    shown = page('{% verdict "cannot_tell" %}')
    assert "cannot tell" in shown
    assert "pass" not in shown


def test_the_legend_keeps_its_order_and_holds_what_was_asked_for() -> None:
    shown = page("{% status_legend chosen %}", chosen=["filed", "open"])
    assert re.findall(r"<span>([a-z ]+)</span>", shown) == ["open", "filed"]
    assert "no mark" not in shown
    assert "no mark: <span>not owed</span>" in page('{% status_legend empty="not owed" %}')


@pytest.mark.parametrize(
    ("statuses", "words"),
    [
        (["filed"], "filed"),
        (["filed", "filed", "sent_back"], "1 sent back, 2 filed"),
        (["open"] * 6, "6 open"),
    ],
)
def test_a_cell_says_in_words_what_it_draws(statuses: list[str], words: str) -> None:
    shown = marks.board_cells([{"statuses": statuses, "href": "/there"}], [True])
    assert f">{words}</span>" in shown
    assert shown.count("<svg") == min(len(statuses), marks.DRAWN_AT_MOST)
    assert "board__first" in shown


def test_a_cell_tells_met_from_unmet_and_from_not_owed() -> None:
    shown = marks.board_cells(
        [None, {"statuses": ["filed", "waived"]}, {"statuses": ["filed", "open"]}],
        [False, False, False],
    )
    not_owed, met, unmet = shown.split("</td>")[:3]
    assert "not owed" in not_owed
    assert "unmet" not in met
    assert "board__cell--unmet" in unmet


def test_an_address_in_a_cell_cannot_break_out() -> None:
    shown = marks.board_cells([{"statuses": ["open"], "href": '/?a="><b>'}], [False])
    assert "<b>" not in shown


def test_a_row_with_a_cell_too_few_is_refused() -> None:
    with pytest.raises(ValueError, match="zip"):
        marks.board_cells([None], [False, False])


@pytest.mark.parametrize(
    ("cookie", "written"), [("dark", ' data-theme="dark"'), ("", ""), ('"><script>', "")]
)
def test_only_a_known_theme_is_written_into_the_page(cookie: str, written: str) -> None:
    request = HttpRequest()
    request.COOKIES["theme"] = cookie
    assert page("{% theme_attribute %}", request=request) == written


def test_an_address_keeps_the_other_parameters() -> None:
    request = HttpRequest()
    request.GET = request.GET.copy()
    request.GET.update({"grade": "full", "page": "3"})
    assert page("{% address_with page=None %}", request=request) == "?grade=full"
    assert page("{% address_with page=4 %}", request=request) == "?grade=full&amp;page=4"


def component_files() -> list[Path]:
    return sorted(COMPONENTS.glob("*.html"))


def test_there_are_components_to_check() -> None:
    assert len(component_files()) >= 25


@pytest.mark.parametrize("path", component_files(), ids=lambda path: path.stem)
def test_a_component_names_its_variables_and_includes_receive_only_them(path: Path) -> None:
    text = path.read_text()
    assert re.match(r"(\{% load [\w ]+ %\})?\{% comment %\}\n[^{]*\n\w+", text), (
        "no list of variables"
    )
    assert all(" only %}" in each for each in re.findall(r"\{% include .*?%\}", text))
    get_template(f"components/{path.name}")


@pytest.mark.parametrize("path", component_files(), ids=lambda path: path.stem)
def test_the_guide_lists_the_component(path: Path) -> None:
    guide = (ROOT / "docs" / "look.md").read_text()
    assert f"`{path.name}`" in guide or path.name == "legend.html"


def test_a_picture_says_how_it_is_shown() -> None:
    shown = render_to_string(
        "components/picture.html",
        {
            "src": "/a.jpg",
            "alt": "AR 0058, X-ray",
            "technique": "X-radiograph",
            "face": "through",
            "status": "out_of_date",
            "is_tone_stretched": True,
            "is_inverted": True,
        },
    )
    for words in ("tone stretched", "X-ray inverted", "out of date", 'alt="AR 0058, X-ray"'):
        assert words in shown


def test_an_action_that_is_not_open_gives_its_reason_and_no_button() -> None:
    shown = render_to_string(
        "components/actions.html",
        {"actions": [{"label": "Start", "not_because": "UV of the front is missing."}]},
    )
    assert "UV of the front is missing." in shown
    assert "<button" not in shown


def test_a_missing_frame_stays_in_its_place_in_the_bracket() -> None:
    frames = [{"ev": "−1", "src": "/a.jpg", "alt": "minus one"}, {"ev": "0"}]
    shown = render_to_string("components/bracket.html", {"caption": "RK", "frames": frames})
    assert shown.index("minus one") < shown.index("missing") < shown.index("0 EV")
