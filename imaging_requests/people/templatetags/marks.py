"""Marks with their words: where an owed view stands, what a check found, how a picture is shown."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from functools import lru_cache
from html import escape
from typing import Any

from django import template
from django.templatetags.static import static
from django.utils.html import format_html
from django.utils.safestring import SafeString, mark_safe

from imaging_requests.people import names

register = template.Library()

#: Every status of an owed view, in the order of the legend, with the word people read.
STATUS_WORDS: dict[str, str] = {
    "open": "open",
    "planned": "planned",
    "captured": "captured",
    "to-review": "to review",
    "sent-back": "sent back",
    "accepted": "accepted",
    "filed": "filed",
    "out-of-date": "out of date",
    "undecided": "undecided",
    "recalled": "recalled",
    "blocked": "blocked",
    "waived": "waived",
    "not-applicable": "not applicable",
    "replaced": "replaced",
    "lost": "lost",
}

#: What a check can find. "Cannot tell" is never shown as a pass.
VERDICT_WORDS: dict[str, str] = {
    "pass": "pass",
    "warn": "warn",
    "fail": "fail",
    "cannot-tell": "cannot tell",
}

#: How a picture or a place is shown, when that needs saying.
SIGN_WORDS: dict[str, str] = {
    "tone-stretched": "tone stretched",
    "inverted": "X-ray inverted",
    "mirrored": "mirrored for overlay",
    "warn": "caution",
    "easel": "imaging studio",
}

#: A view in one of these wants nothing more.
MET = frozenset({"filed", "waived", "not-applicable", "replaced"})

NOT_OWED = '<span class="unseen">not owed</span>'
DRAWN_AT_MOST = 4
SHEET = "img/marks.svg"
THEMES = frozenset({"light", "dark"})


def mark_name(value: object, words: Mapping[str, str]) -> str:
    """Turn `to_review`, `to review` or `to-review` into the name of the mark, or refuse.

    A value that has no mark raises ValueError: a wrong mark is worse than a failing page.
    """
    name = str(getattr(value, "value", value)).strip().lower().replace("_", "-").replace(" ", "-")
    if name == "blocked-until":
        name = "blocked"
    if name not in words:
        raise ValueError(f"There is no mark for {value!r}; known are {', '.join(words)}.")
    return name


def drawing(name: str, sheet: str = "") -> SafeString:
    """Return the bare drawing of one mark; its word must stand beside it.

    `sheet` is the address of the file of marks, for a caller that draws many.
    """
    return format_html(
        '<svg class="mark" width="16" height="16" aria-hidden="true"><use href="{}#{}"/></svg>',
        sheet or static(SHEET),
        name,
    )


@register.simple_tag
def status_mark(status: object) -> SafeString:
    """Show the mark alone; the word is there for a screen reader and under the pointer."""
    name = mark_name(status, STATUS_WORDS)
    word = STATUS_WORDS[name]
    return format_html(
        '<span class="status" title="{}">{}<span class="unseen">{}</span></span>',
        word,
        drawing(name),
        word,
    )


@register.simple_tag
def status(status: object, until: str = "") -> SafeString:
    """Show the mark with its word; `until` follows the word ("blocked until 3 Aug")."""
    name = mark_name(status, STATUS_WORDS)
    word = STATUS_WORDS[name]
    if until:
        word = f"{word} until {until}"
    return format_html('<span class="status">{}<span>{}</span></span>', drawing(name), word)


@register.simple_tag
def verdict(found: object) -> SafeString:
    """Show what a check found: shape, word, then hue."""
    name = mark_name(found, VERDICT_WORDS)
    return format_html(
        '<span class="verdict verdict--{}">{}<span>{}</span></span>',
        name,
        drawing(name),
        VERDICT_WORDS[name],
    )


@register.simple_tag
def sign(name: object, word: str = "") -> SafeString:
    """Show a sign such as "tone stretched" with its word or with `word` in its place."""
    known = mark_name(name, SIGN_WORDS)
    return format_html(
        '<span class="sign">{}<span>{}</span></span>', drawing(known), word or SIGN_WORDS[known]
    )


@register.simple_tag
def mark_only(name: str) -> SafeString:
    """Draw a mark without any word, for a place where the word already stands beside it."""
    return drawing(mark_name(name, {**STATUS_WORDS, **VERDICT_WORDS, **SIGN_WORDS}))


@register.inclusion_tag("components/legend.html")
def status_legend(statuses: Iterable[object] | None = None, *, empty: str = "") -> dict[str, Any]:
    """List the marks with their words: all of them, or those in `statuses`, in the fixed order.

    `empty` says what a place without any mark means, where there are such places.
    """
    chosen = (
        set(STATUS_WORDS)
        if statuses is None
        else {mark_name(each, STATUS_WORDS) for each in statuses}
    )
    return {
        "entries": [(drawing(n), word) for n, word in STATUS_WORDS.items() if n in chosen],
        "empty": empty,
    }


def words_of_cell(statuses: Iterable[object]) -> str:
    """Say a cell in words: "filed", or "2 filed, 1 sent back" when several views share it."""
    counts = Counter(mark_name(each, STATUS_WORDS) for each in statuses)
    if counts.total() == 1:
        return STATUS_WORDS[next(iter(counts))]
    return ", ".join(f"{counts[n]} {word}" for n, word in STATUS_WORDS.items() if n in counts)


@lru_cache(maxsize=4096)
def cell_inside(sheet: str, statuses: tuple[str, ...]) -> tuple[str, str]:
    """Return the class of a cell and what it draws; few cells of a board differ in these."""
    names = [mark_name(each, STATUS_WORDS) for each in statuses]
    drawn = "".join(drawing(name, sheet) for name in names[:DRAWN_AT_MOST])
    if len(names) > DRAWN_AT_MOST:
        drawn += f"<small>+{len(names) - DRAWN_AT_MOST}</small>"
    drawn += f'<span class="board__word">{words_of_cell(names)}</span>'
    return ("" if MET.issuperset(names) else " board__cell--unmet"), drawn


@register.simple_tag
def board_cells(cells: Iterable[Mapping[str, Any] | None], groups: Iterable[bool]) -> SafeString:
    """Render the cells of one row of the board; None is a view that is not owed.

    A cell is {"statuses": [...], "href": "..."}: one status for each view that shares the cell,
    at most four are drawn and the rest are counted in words. `groups` says for each column
    whether it opens a new group. One string per row, because a board has thousands of cells.
    """
    sheet = static(SHEET)
    parts: list[str] = []
    for cell, opens_group in zip(cells, groups, strict=True):
        classes = "board__cell board__first" if opens_group else "board__cell"
        if cell is None:
            parts.append(f'<td class="{classes}">{NOT_OWED}</td>')
            continue
        unmet, drawn = cell_inside(sheet, tuple(cell["statuses"]))
        href = cell.get("href")
        inner = f'<a href="{escape(str(href))}">{drawn}</a>' if href else f"<span>{drawn}</span>"
        parts.append(f'<td class="{classes}{unmet}">{inner}</td>')
    return mark_safe("".join(parts))


@register.filter
def words(value: object) -> str:
    """Write a code such as `full_with_waivers` as people read it: "full with waivers"."""
    return str(getattr(value, "value", value)).replace("_", " ").replace("-", " ")


register.filter("shown_name", names.shown_name)


@register.filter
def figure(value: object) -> str:
    """Write a whole number with commas between thousands; leave anything else as it is."""
    return f"{value:,}" if isinstance(value, int) else str(value)


@register.simple_tag(takes_context=True)
def theme_attribute(context: Mapping[str, Any]) -> SafeString:
    """Write the person's stored choice of light or dark on <html>; nothing when there is none."""
    request = context.get("request")
    choice = request.COOKIES.get("theme", "") if request is not None else ""
    return format_html(' data-theme="{}"', choice) if choice in THEMES else mark_safe("")


@register.simple_tag(takes_context=True)
def address_with(context: Mapping[str, Any], **changes: object) -> str:
    """Return the query string of this page with some parameters changed; None removes one."""
    request = context["request"]
    query = request.GET.copy()
    for name, value in changes.items():
        if value is None:
            query.pop(name, None)
        else:
            query[name] = str(value)
    return f"?{query.urlencode()}" if query else "?"
