"""The orders of the catalogue board, and the heads of its columns as links that ask for them."""

from __future__ import annotations

from functools import lru_cache
from typing import NamedTuple

from django.db.models import Case, F, IntegerField, QuerySet, TextField, Value, When
from django.db.models.expressions import OrderBy
from django.db.models.fields.json import KeyTextTransform
from django.db.models.functions import Cast
from django.db.models.lookups import Regex
from django.http import QueryDict

from imaging_requests.collection.models import Entry
from imaging_requests.progress.columns import COLUMNS, KEYS
from imaging_requests.progress.rules import RESOLVED
from imaging_requests.reckoning.truth.terms import Grade

#: Addresses whose heads a process remembers.
ADDRESSES_KEPT = 200
BY_NUMBER, NUMBER_DOWN = "", "number-down"
MOST_UNMET, LEAST_UNMET = "unmet", "least"
LEAST_DONE, MOST_DONE = "grade", "grade-down"
OPEN_IN = "open-"
#: From an entry of which nothing is done to one that is whole.
GRADES = (Grade.NOT_STARTED, Grade.IN_PROGRESS, Grade.GAP, Grade.FULL_WAIVED, Grade.FULL)
_STATUS = f"({'|'.join(sorted(RESOLVED))})"
#: The text of a cell in which every view is resolved: a list of such statuses.
_ALL_RESOLVED = rf'^\["{_STATUS}"(, ?"{_STATUS}")*\]$'
CHOICES = (
    (NUMBER_DOWN, "by number, last first"),
    (MOST_UNMET, "most unmet first"),
    (LEAST_UNMET, "nearly finished first"),
    (LEAST_DONE, "by grade, not started first"),
    (MOST_DONE, "by grade, full first"),
    (
        "One column",
        tuple((f"{OPEN_IN}{each.key}", f"open first: {each.words}") for each in COLUMNS),
    ),
)


class BoardHead(NamedTuple):
    """A head of a column: where it leads, the order it stands for now, and what a click does."""

    href: str
    sorted: str
    does: str


def in_order(entries: QuerySet[Entry], order: str) -> QuerySet[Entry]:
    """Put entries in an order; within it they keep the order of their numbers."""
    return entries.order_by(*_first(order), "pk")


def _first(order: str) -> list[str | OrderBy]:
    if order == NUMBER_DOWN:
        return ["-sort_key"]
    if order == MOST_UNMET:
        return [F("derived__unmet").desc(nulls_last=True), "sort_key"]
    if order == LEAST_UNMET:
        return [F("derived__unmet").asc(nulls_last=True), "sort_key"]
    if order in (LEAST_DONE, MOST_DONE):
        return [_grade().desc() if order == MOST_DONE else _grade().asc(), "sort_key"]
    key = order.removeprefix(OPEN_IN)
    return [_openness(key).asc(), "sort_key"] if key in KEYS else ["sort_key"]


def _grade() -> Case:
    places = [When(derived__grade=grade, then=Value(at)) for at, grade in enumerate(GRADES, 1)]
    return Case(*places, default=Value(0), output_field=IntegerField())


def _openness(key: str) -> Case:
    """Open cells first, then those in which all is resolved, then where nothing is owed."""
    cell = Cast(KeyTextTransform(key, "derived__cells"), TextField())
    return Case(
        When(derived=None, then=Value(2)),
        When(**{f"derived__cells__{key}__isnull": True}, then=Value(2)),
        When(Regex(cell, Value(_ALL_RESOLVED)), then=Value(1)),
        default=Value(0),
        output_field=IntegerField(),
    )


@lru_cache(maxsize=ADDRESSES_KEPT)
def heads(query: str) -> tuple[BoardHead, ...]:
    """Return the heads of the board for an address: entry, unmet, grade, then the columns."""
    asked = QueryDict(query)
    now = asked.get("order", BY_NUMBER)

    def head(first: str, second: str, up: str, does: tuple[str, str]) -> BoardHead:
        is_first = now == first
        wanted = second if is_first else first
        stands = "" if now not in (first, second) else "ascending" if now == up else "descending"
        return BoardHead(_address(asked, wanted), stands, does[is_first])

    found = [
        head(BY_NUMBER, NUMBER_DOWN, BY_NUMBER, ("By number", "By number, last first")),
        head(MOST_UNMET, LEAST_UNMET, LEAST_UNMET, ("Most unmet first", "Nearly finished first")),
        head(LEAST_DONE, MOST_DONE, LEAST_DONE, ("Not started first", "Full first")),
    ]
    for column in COLUMNS:
        order = f"{OPEN_IN}{column.key}"
        is_here = now == order
        found.append(
            BoardHead(
                _address(asked, BY_NUMBER if is_here else order),
                "ascending" if is_here else "",
                "By number again" if is_here else "Open first",
            )
        )
    return tuple(found)


def order_words(order: str) -> str:
    """Say an order: "most unmet first"; one that is none is by number."""
    for value, words in CHOICES:
        if value == order and isinstance(words, str):
            return words
    key = order.removeprefix(OPEN_IN)
    return f"open first: {KEYS[key].words}" if key in KEYS and key != order else "by number"


def _address(asked: QueryDict, order: str) -> str:
    wanted = asked.copy()
    wanted.pop("page", None)
    wanted.pop("order", None)
    if order:
        wanted["order"] = order
    return f"?{wanted.urlencode()}" if wanted else "?"
