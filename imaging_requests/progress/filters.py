"""Filters of the long lists of this room."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import django_filters
from django.db.models import Q, QuerySet
from django.http import QueryDict
from django.utils.safestring import SafeString

from imaging_requests.collection.models import Entry
from imaging_requests.people.models import Role, User
from imaging_requests.people.queries import holders
from imaging_requests.people.spoken import SpokenForm
from imaging_requests.progress import board_order
from imaging_requests.progress.board import GRADE_WORDS, draw
from imaging_requests.treatments.models import Treatment, TreatmentState

#: Filter bars that a process remembers.
BARS_KEPT = 200


def _curators(request: Any) -> QuerySet[User]:
    return holders(Role.CURATOR)


def _conservators(request: Any) -> QuerySet[User]:
    return holders(Role.CONSERVATOR)


class BoardFilter(django_filters.FilterSet):
    """Narrow the board by grade, curator or words."""

    words = django_filters.CharFilter(label="Number or title", method="with_words")
    grade = django_filters.ChoiceFilter(
        label="Grade",
        field_name="derived__grade",
        choices=[(grade.value, words) for grade, words in GRADE_WORDS.items()],
        empty_label="any",
    )
    curator = django_filters.ModelChoiceFilter(
        label="Curator", queryset=_curators, empty_label="anybody"
    )
    order = django_filters.ChoiceFilter(
        label="Order",
        method="in_order",
        choices=board_order.CHOICES,
        empty_label="by number",
    )

    class Meta:
        form = SpokenForm
        model = Entry
        fields = ("words", "grade", "curator", "order")

    def with_words(self, queryset: QuerySet[Entry], name: str, value: str) -> QuerySet[Entry]:
        """Match the entry's number or title, or an object's number or title."""
        return queryset.filter(
            Q(number__iexact=value)
            | Q(title__icontains=value)
            | Q(entry_objects__object__numbers__number__icontains=value)
            | Q(entry_objects__object__title__icontains=value)
        ).distinct()

    def in_order(self, queryset: QuerySet[Entry], name: str, value: str) -> QuerySet[Entry]:
        """Order as a head of the board or the field asks."""
        return board_order.in_order(queryset, value)


@lru_cache(maxsize=BARS_KEPT)
def draw_board_filters(
    query: str, curators: tuple[tuple[int, str], ...], shown: int, total: int, clear_href: str
) -> SafeString:
    """Draw the filters of the board; remembered under everything that they show."""
    form = BoardFilter(QueryDict(query), queryset=Entry.objects.none()).form
    form.fields["curator"].widget.choices = [("", "anybody"), *curators]
    return draw(
        "components/filters.html",
        {
            "form": form,
            "shown": shown,
            "total": total,
            "noun": "entries",
            "clear_href": clear_href,
        },
    )


class TreatmentFilter(django_filters.FilterSet):
    """Narrow treatments by state or conservator."""

    state = django_filters.ChoiceFilter(
        label="Stands", choices=TreatmentState.choices, empty_label="any"
    )
    conservator = django_filters.ModelChoiceFilter(
        label="Conservator", queryset=_conservators, empty_label="anybody"
    )

    class Meta:
        form = SpokenForm
        model = Treatment
        fields = ("state", "conservator")
