"""The colours of the interface: neutral, evenly stepped, readable, and written in one file only."""

from __future__ import annotations

import re
from itertools import pairwise
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
STATIC = ROOT / "imaging_requests" / "static"
TOKENS = STATIC / "css" / "tokens.css"

LIGHTNESS_ENDS = (4.0, 98.0)
GREYS = 12
#: Half of one 8-bit step is at most this much L* at the dark end, where a step is widest.
ROUNDING = 0.25
READABLE = 4.5
DISCERNIBLE = 3.0

NAMED_COLOURS = (
    "aqua|beige|black|blue|brown|coral|crimson|cyan|fuchsia|gold|gray|green|grey|indigo|ivory|"
    "khaki|lavender|lime|magenta|maroon|navy|olive|orange|orchid|pink|plum|purple|red|salmon|"
    "sienna|silver|tan|teal|tomato|turquoise|violet|wheat|white|yellow"
)
HEX = r"#(?:[0-9a-f]{8}|[0-9a-f]{6}|[0-9a-f]{3,4})\b"
FUNCTION = r"\b(?:rgba?|hsla?|hwb|lab|lch|oklab|oklch|color)\("
IN_CSS = re.compile(rf"{HEX}|{FUNCTION}|(?<=[:\s,(])(?:{NAMED_COLOURS})(?=[\s;,)!])", re.I)
IN_MARKUP = re.compile(
    rf"(?:fill|stroke|color|style|bgcolor|content|stop-color)\s*=\s*[\"'][^\"'>]*"
    rf"(?:{HEX}|{FUNCTION}|\b(?:{NAMED_COLOURS})\b)",
    re.I,
)
IN_SCRIPT = re.compile(rf"[\"'`](?:{HEX}|{FUNCTION}|(?:{NAMED_COLOURS})[\"'`])", re.I)
INLINE = re.compile(r"<style\b|\sstyle\s*=|<script(?![^>]*\bsrc=)|\son[a-z]+\s*=\s*[\"']", re.I)


def linear(channel: int) -> float:
    """Undo the sRGB curve (IEC 61966-2-1) of one 8-bit channel."""
    value = channel / 255
    return value / 12.92 if value <= 0.04045 else ((value + 0.055) / 1.055) ** 2.4


def channels(colour: str) -> tuple[int, int, int]:
    red, green, blue = (int(colour[place : place + 2], 16) for place in (1, 3, 5))
    return red, green, blue


def luminance(colour: str) -> float:
    red, green, blue = map(linear, channels(colour))
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def lightness(colour: str) -> float:
    """CIE 1976 L* of an sRGB colour."""
    y = luminance(colour)
    return 116 * y ** (1 / 3) - 16 if y > 216 / 24389 else y * 24389 / 27


def contrast(one: str, other: str) -> float:
    """Contrast ratio as WCAG 2 defines it, 1 to 21."""
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def block(selector: str) -> dict[str, str]:
    """Return the custom properties of the first rule with exactly this selector."""
    text = re.sub(r"/\*.*?\*/", "", TOKENS.read_text(), flags=re.S)
    found = re.search(rf"(?:^|\}})\s*{re.escape(selector)}\s*\{{(.*?)\}}", text, re.S)
    assert found, f"tokens.css has no rule for {selector}"
    pairs = re.findall(r"(--[\w-]+):\s*(.*?);", found.group(1), re.S)
    return {name: " ".join(value.split()) for name, value in pairs}


EASEL = ':root[data-mode="easel"]:not([data-theme="light"])'


def scheme(name: str) -> dict[str, str]:
    """Resolve every colour for "light", "dark" or the darkened "easel"."""
    values = block(":root")
    if name == "easel":
        values |= block(EASEL)

    def resolve(value: str) -> str:
        pair = re.fullmatch(r"light-dark\((var\(--[\w-]+\)), (var\(--[\w-]+\))\)", value)
        if pair:
            return resolve(pair.group(1 if name == "light" else 2))
        reference = re.fullmatch(r"var\((--[\w-]+)\)", value)
        return resolve(values[reference.group(1)]) if reference else value

    resolved = {key: resolve(value) for key, value in values.items()}
    return {key: value for key, value in resolved.items() if re.fullmatch(HEX, value)}


SCHEMES = ("light", "dark", "easel")
#: What must be readable as words, and on which grounds.
WORDS = [
    (text, ground)
    for ground in ("--ground", "--ground-set-back")
    for text in ("--text", "--text-quiet", "--act", "--caution", "--stop")
] + [
    ("--text-on-mount", "--mount"),
    ("--text-on-act", "--act"),
    ("--ground", "--text"),
    ("--ground", "--line-strong"),
]
#: Edges of things that can be pressed or filled in, and the ring of focus.
EDGES = [
    ("--line-strong", "--ground"),
    ("--focus", "--ground"),
    ("--focus", "--ground-set-back"),
    ("--focus-on-mount", "--mount"),
    ("--act", "--ground"),
]


def test_greys_are_neutral_and_equally_stepped() -> None:
    tokens = block(":root")
    greys = [tokens[f"--grey-{step}"] for step in range(1, GREYS + 1)]
    assert all(len(set(channels(grey))) == 1 for grey in greys), "a grey has a hue"
    first, last = LIGHTNESS_ENDS
    step = (last - first) / (GREYS - 1)
    for place, grey in enumerate(greys):
        assert lightness(grey) == pytest.approx(first + step * place, abs=ROUNDING), grey
    steps = [lightness(after) - lightness(before) for before, after in pairwise(greys)]
    assert len(steps) == GREYS - 1
    assert steps == pytest.approx([step] * len(steps), abs=2 * ROUNDING)


def test_only_accent_amber_and_red_have_a_hue() -> None:
    coloured = {
        name
        for name, value in block(":root").items()
        if re.fullmatch(HEX, value) and len(set(channels(value))) > 1
    }
    assert coloured == {
        f"--{hue}-{depth}"
        for hue, depths in {
            "accent": ("deep", "clear"),
            "amber": ("deep", "clear"),
            "red": ("deep", "clear"),
        }.items()
        for depth in depths
    }


@pytest.mark.parametrize("name", SCHEMES)
@pytest.mark.parametrize(("text", "ground"), WORDS)
def test_words_are_readable(name: str, text: str, ground: str) -> None:
    colours = scheme(name)
    assert contrast(colours[text], colours[ground]) >= READABLE


@pytest.mark.parametrize("name", SCHEMES)
@pytest.mark.parametrize(("edge", "ground"), EDGES)
def test_edges_and_focus_are_discernible(name: str, edge: str, ground: str) -> None:
    colours = scheme(name)
    assert contrast(colours[edge], colours[ground]) >= DISCERNIBLE


def test_the_easel_never_glares() -> None:
    """In a darkened room no ground is lighter than L* 25 and no word lighter than L* 82."""
    colours = scheme("easel")
    for ground in ("--ground", "--ground-set-back", "--mount"):
        assert lightness(colours[ground]) <= 25
    for text in ("--text", "--text-quiet", "--text-on-mount"):
        assert lightness(colours[text]) <= 82


def test_contrast_and_lightness_know_their_published_ends() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert lightness("#ffffff") == pytest.approx(100)
    assert lightness("#777777") == pytest.approx(50.03, abs=0.05)
    assert contrast("#777777", "#ffffff") < READABLE < contrast("#767676", "#ffffff")


def without_comments(path: Path) -> str:
    text = path.read_text()
    if path.suffix in {".css", ".js"}:
        text = re.sub(r"/\*.*?\*/", "", text, flags=re.S)
    if path.suffix == ".js":
        return re.sub(r"(?m)^\s*//.*$", "", text)
    if path.suffix == ".html":
        text = re.sub(r"\{% comment %\}.*?\{% endcomment %\}", "", text, flags=re.S)
        return re.sub(r"\{#.*?#\}|<!--.*?-->", "", text, flags=re.S)
    return text


def faults_of(path: Path) -> list[str]:
    """Return the literal colours and the inline styles or scripts written in one file."""
    text = without_comments(path)
    patterns = {
        ".css": (IN_CSS,),
        ".js": (IN_SCRIPT,),
        ".html": (IN_MARKUP, INLINE),
        ".svg": (IN_MARKUP,),
    }[path.suffix]
    return [found.group(0) for pattern in patterns for found in pattern.finditer(text)]


def guarded_files() -> list[Path]:
    vendor = STATIC / "vendor"
    files = [
        path
        for folder in (STATIC, ROOT / "templates")
        for path in sorted(folder.rglob("*"))
        if path.suffix in {".css", ".js", ".html", ".svg"} and vendor not in path.parents
    ]
    files.remove(TOKENS)
    return files


def test_no_colour_and_no_inline_style_is_written_elsewhere() -> None:
    files = guarded_files()
    seen = {suffix: sum(path.suffix == suffix for path in files) for suffix in (".css", ".html")}
    assert seen[".css"] >= 10
    assert seen[".html"] >= 30
    faults = {str(path.relative_to(ROOT)): faults_of(path) for path in files}
    assert {name: found for name, found in faults.items() if found} == {}


@pytest.mark.parametrize(
    ("name", "planted"),
    [
        ("a.css", "p { color: #fff; }"),
        ("a.css", "p { border: 1px solid red; }"),
        ("a.css", "p { background: rgb(0 0 0 / 50%); }"),
        ("a.css", "p { box-shadow: 0 0 2px black; }"),
        ("a.js", 'line.style.color = "#00ff00";'),
        ("a.js", 'context.fillStyle = "white";'),
        ("a.html", '<rect fill="#123456"/>'),
        ("a.html", '<path stroke="black"/>'),
        ("a.html", '<p style="margin: 0">words</p>'),
        ("a.html", "<style>p { margin: 0 }</style>"),
        ("a.html", "<script>run()</script>"),
        ("a.html", '<button onclick="run()">Run</button>'),
        ("a.svg", '<path fill="white"/>'),
    ],
)
def test_the_guard_sees_a_planted_fault(tmp_path: Path, name: str, planted: str) -> None:
    path = tmp_path / name
    path.write_text(planted)
    assert faults_of(path)


@pytest.mark.parametrize(
    ("name", "harmless"),
    [
        ("a.css", "/* a white area */ p { color: var(--red-deep); white-space: nowrap; }"),
        ("a.css", "a:hover { color: currentColor; background: transparent; }"),
        ("a.js", '// black on white\nnote.textContent = "The white patch glows.";'),
        ("a.html", '<a href="#facade">Lead-white lining, red ground</a>'),
        ("a.html", '<script type="module" src="/static/js/theme.js"></script>'),
        ("a.svg", '<path fill="none" stroke="currentColor"/>'),
    ],
)
def test_the_guard_lets_the_harmless_pass(tmp_path: Path, name: str, harmless: str) -> None:
    path = tmp_path / name
    path.write_text(harmless)
    assert faults_of(path) == []
