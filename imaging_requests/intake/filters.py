"""Filters of the lists of drops and of the sorting table."""

from __future__ import annotations

from typing import Any

import django_filters
from django.db.models import QuerySet

from imaging_requests.intake.decisions import WHY_WORDS
from imaging_requests.intake.models import Drop, Frame
from imaging_requests.people.spoken import SpokenForm

OPEN, PERSON = "open", "person"


class DropFilter(django_filters.FilterSet):
    """Which drops are listed."""

    show = django_filters.ChoiceFilter(
        label="Show",
        choices=((OPEN, "open drops"), (PERSON, "drops with files that need a person")),
        method="only",
        empty_label="all drops",
    )
    number = django_filters.CharFilter(label="Number", lookup_expr="icontains")

    class Meta:
        form = SpokenForm
        model = Drop
        fields: list[str] = []

    def only(self, drops: QuerySet[Any], name: str, value: str) -> QuerySet[Any]:
        """Keep what was asked for; `drops` carries the counts of `queries.drops`."""
        if value == OPEN:
            return drops.filter(state=Drop.State.OPEN)
        return drops.exclude(refused=0, waiting=0)


class FrameFilter(django_filters.FilterSet):
    """Which frames of the sorting table are shown."""

    drop = django_filters.CharFilter(
        label="Drop", field_name="arrivals__drop__number", lookup_expr="icontains", distinct=True
    )
    why = django_filters.ChoiceFilter(
        label="Reason",
        field_name="waiting_reason",
        choices=sorted(WHY_WORDS.items(), key=lambda each: each[1]),
        empty_label="every reason",
    )
    name = django_filters.CharFilter(
        label="File name", field_name="first_name", lookup_expr="icontains"
    )
    because = django_filters.CharFilter(
        label="Words of the reason", field_name="waiting_because", lookup_expr="icontains"
    )

    class Meta:
        form = SpokenForm
        model = Frame
        fields: list[str] = []
