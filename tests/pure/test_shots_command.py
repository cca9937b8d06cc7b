"""The command: facts file in, JSON or table out, sentences and exit code 2 for what is wrong."""

import io
import json

import jsonschema
import pytest
from django.core.management import call_command

from imaging_requests.reckoning.schemas import load_schema
from tests.pure.shot_samples import FIXTURES, document, load


def run(*arguments, stdin=None, monkeypatch=None):
    """Exit code, standard output and standard error of one run."""
    if stdin is not None:
        monkeypatch.setattr("sys.stdin", io.StringIO(stdin))
    out, err = io.StringIO(), io.StringIO()
    try:
        call_command("shot_list", *arguments, stdout=out, stderr=err)
    except SystemExit as end:
        return end.code, out.getvalue(), err.getvalue()
    return 0, out.getvalue(), err.getvalue()


@pytest.fixture
def written(tmp_path):
    def write(content, name="FACTS.json"):
        path = tmp_path / name
        text = content if isinstance(content, str) else json.dumps(content)
        path.write_text(text, encoding="utf-8")
        return str(path)

    return write


def test_json_answer_fits_the_schema_and_has_the_agreed_numbers(written):
    code, out, err = run(written(document()), "--json")
    answer = json.loads(out)
    jsonschema.validate(answer, load_schema("shot_list"))
    assert (code, err) == (0, "")
    views = {view["view"]: view for view in answer["views"]}
    assert views["IR-F"]["tiles"] == [2, 3]
    assert views["RK-F-L"]["exposures_ev"] == [-1, 0, 1]
    bay = next(s for s in answer["stations"] if s["station"] == "bay")
    assert (bay["minutes"], bay["minutes_with_reserve"]) == (215, 250)


def test_table_names_views_totals_and_near_misses(written):
    code, out, err = run(written(document()))
    assert (code, err) == (0, "")
    assert out.startswith("Shot list AR 0011 – protocol catalogue 3, settings studio 1\n")
    (line,) = [line for line in out.splitlines() if line.startswith("XR ")]
    assert line.split() == ["XR", "2", "×", "3", "sideways", "0", "1", "10", "6", "71", "59",
                            "XRAY-XR-10"]  # fmt: skip
    assert "Station bay: 215 min (with placing 15 and one turn 10), 250 min with reserve" in out
    assert "Files to arrive: 42 (35 frames of views, the rest auxiliary)" in out
    assert "saves 2 of 6 tiles, 24 min." in out


def test_table_of_the_oversized_canvas_shows_rental_days(written):
    _, out, _ = run(written(document(height_mm=2650, width_mm=3900)))
    assert "800 min with reserve; 49 plates 415 min; 35 plates 303 min" in out


def test_standard_input_is_read(monkeypatch):
    code, out, _ = run("-", "--json", stdin=json.dumps(document()), monkeypatch=monkeypatch)
    assert code == 0
    assert json.loads(out)["object"] == "AR 0011"


BAD = [
    ({"height_mm": -1}, "height_mm is -1 mm, but the height must be more than 0 mm."),
    ({"height_mm": 0}, "height_mm is 0 mm"),
    ({"height_mm": 1e9}, "more than the studio believes"),
    ({"height_mm": "tall"}, "height_mm is the text “tall”"),
    ({"warp_mm": None}, "warp_mm is missing: the warp of the object is not known."),
    (
        {"outline_mm": [[0, 0], [920, 0], [920, 740], [0, 740]]},
        "height and width look swapped. Swap them?",
    ),
]


@pytest.mark.parametrize(("changes", "words"), BAD, ids=lambda value: str(value)[:30])
def test_bad_facts_end_with_sentences_and_exit_code_2(written, changes, words):
    code, out, err = run(written(document(**changes)))
    assert code == 2
    assert out == ""
    assert words in err
    assert "Traceback" not in err


def test_questions_also_come_as_json(written):
    code, out, err = run(written(document(depth_mm=None)), "--json")
    answer = json.loads(out)
    jsonschema.validate(answer, load_schema("shot_list"))
    assert code == 2
    assert answer["views"] == []
    assert answer["questions"][0]["fact"] == "depth_mm"
    assert "depth_mm is missing" in err


def test_a_provisional_list_is_made_and_marked(written):
    code, out, err = run(written(document(depth_mm=None)), "--provisional")
    assert (code, err) == (0, "")
    assert "PROVISIONAL" in out
    assert "? depth_mm is missing" in out
    assert "XRAY-XR-10" in out


@pytest.mark.parametrize(
    ("content", "words"),
    [
        ("{", "are not valid JSON: line 1"),
        ("[1, 2]", "must be one JSON object"),
        ("", "are not valid JSON"),
        ("[" * 100_000, "lists stand inside lists"),
        ('{"height_mm": 1' + "0" * 5000 + "}", "thousands of digits"),
        (document(height_mm=10**400), "height_mm has 401 digits"),
        (document(outline_mm=[[0, 0], [10**400, 0], [0, 9]]), "outline_mm has 401 digits"),
    ],
)
def test_a_file_that_is_no_facts_document(written, content, words):
    code, _, err = run(written(content))
    assert code == 2
    assert words in err


def test_a_name_given_twice_is_refused_not_silently_halved(written):
    twice = json.dumps(document())[:-1] + ', "height_mm": 9200}'
    code, out, err = run(written(twice))
    assert (code, out) == (2, "")
    assert "give height_mm twice (920 and 9200). Keep the right one." in err


def test_a_file_that_is_not_there(tmp_path):
    code, _, err = run(str(tmp_path / "nowhere.json"))
    assert code == 2
    assert "cannot be read from" in err
    assert "No such file" in err


def test_bytes_that_are_no_text(tmp_path):
    path = tmp_path / "FACTS.json"
    path.write_bytes(b"\xff\xfe\x00\xd8")
    code, _, err = run(str(path))
    assert code == 2
    assert "not text in UTF-8" in err


def test_an_unknown_name_is_noted_but_the_list_is_made(written):
    code, out, err = run(written(document(colour="red")), "--json")
    assert code == 0
    assert json.loads(out)["views"]
    assert err.startswith("Note: “colour” is not an object fact")


def test_another_protocol_and_other_settings(written):
    facts_path = written(document())
    version_2 = str(FIXTURES / "protocols" / "catalogue-2.json")
    _, out, _ = run(facts_path, "--json", "--protocol", version_2)
    assert len(json.loads(out)["views"]) == 8
    settings = load("studio/settings-1.json")
    settings["values"]["reserve.factor"]["value"] = 1
    _, out, _ = run(facts_path, "--json", "--studio-settings", written(settings, "s.json"))
    assert json.loads(out)["stations"][0]["minutes_with_reserve"] == 215


def test_a_bad_protocol_is_refused_in_words(written):
    protocol = load("protocols/catalogue-3.json")
    protocol["lines"][0]["face"] = "front"
    code, _, err = run(written(document()), "--protocol", written(protocol, "p.json"))
    assert code == 2
    assert "Line painted.vf: the face is “front”" in err
