"""Filters of the lists of requests and waivers."""

from __future__ import annotations

from datetime import timedelta

import django_filters
from django.db.models import Q, QuerySet
from django.utils import timezone

from imaging_requests.people.spoken import SpokenForm
from imaging_requests.requesting.models import (
    LineState,
    Purpose,
    Request,
    Waiver,
    WaiverReason,
)


class RequestFilter(django_filters.FilterSet):
    """Narrow requests by words, state, purpose and whose they are."""

    words = django_filters.CharFilter(label="Look for", method="with_words")
    whose = django_filters.ChoiceFilter(
        label="Whose", method="of_whom", choices=(("mine", "mine"),), empty_label="everybody's"
    )
    state = django_filters.ChoiceFilter(
        label="With lines",
        field_name="lines__state",
        choices=LineState.choices,
        empty_label="in any state",
        distinct=True,
    )
    purpose = django_filters.ChoiceFilter(
        label="For", choices=Purpose.choices, empty_label="anything"
    )

    class Meta:
        form = SpokenForm
        model = Request
        fields = ("words", "whose", "state", "purpose")

    def with_words(self, queryset: QuerySet[Request], name: str, value: str) -> QuerySet[Request]:
        """Match the request's number, its person, or an object's number or title."""
        return queryset.filter(
            Q(number__iexact=value)
            | Q(requester__name__icontains=value)
            | Q(lines__object__numbers__number__icontains=value)
            | Q(lines__object__title__icontains=value)
        ).distinct()

    def of_whom(self, queryset: QuerySet[Request], name: str, value: str) -> QuerySet[Request]:
        """Only the reader's own."""
        return queryset.filter(requester=self.request.user)


class WaiverFilter(django_filters.FilterSet):
    """Narrow the waiver book."""

    words = django_filters.CharFilter(label="Number or title", method="with_words")
    reason_code = django_filters.ChoiceFilter(
        label="Reason", choices=WaiverReason.choices, empty_label="any"
    )
    holds = django_filters.ChoiceFilter(
        label="Holds",
        method="that_hold",
        choices=(("now", "in force"), ("soon", "lapse within 30 days"), ("over", "over")),
        empty_label="now or no more",
    )

    class Meta:
        form = SpokenForm
        model = Waiver
        fields = ("words", "reason_code", "holds")

    def with_words(self, queryset: QuerySet[Waiver], name: str, value: str) -> QuerySet[Waiver]:
        """Match the object's number or title."""
        return queryset.filter(
            Q(owed_view__object__numbers__number__icontains=value)
            | Q(owed_view__object__title__icontains=value)
        ).distinct()

    def that_hold(self, queryset: QuerySet[Waiver], name: str, value: str) -> QuerySet[Waiver]:
        """In force, about to lapse, or over."""
        if value == "over":
            return queryset.filter(ended_at__isnull=False)
        found = queryset.filter(ended_at=None)
        if value == "soon":
            found = found.filter(lapses_at__lte=timezone.now() + timedelta(days=SOON_DAYS))
        return found


#: The waiver book points out what lapses within this many days.
SOON_DAYS = 30
