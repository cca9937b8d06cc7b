"""Filters of campaigns and of what can be planned."""

from __future__ import annotations

import django_filters
from django.db.models import Q, QuerySet
from django.utils import timezone

from imaging_requests.campaigns.models import Campaign
from imaging_requests.collection.models import Catalogue
from imaging_requests.people.spoken import SpokenForm
from imaging_requests.requesting.models import Anchor, OwedView, Technique


class CampaignFilter(django_filters.FilterSet):
    """Narrow campaigns by words and by when they are."""

    words = django_filters.CharFilter(label="Name or goal", method="with_words")
    when = django_filters.ChoiceFilter(
        label="When",
        method="at_time",
        choices=(("now", "running"), ("ahead", "to come"), ("over", "over")),
        empty_label="any",
    )

    class Meta:
        form = SpokenForm
        model = Campaign
        fields = ("words", "when")

    def with_words(self, queryset: QuerySet[Campaign], name: str, value: str) -> QuerySet[Campaign]:
        """Match name or goal."""
        return queryset.filter(Q(name__icontains=value) | Q(goal__icontains=value))

    def at_time(self, queryset: QuerySet[Campaign], name: str, value: str) -> QuerySet[Campaign]:
        """Running today, to come, or over."""
        today = timezone.localdate()
        if value == "now":
            return queryset.filter(starts_on__lte=today, ends_on__gte=today)
        if value == "ahead":
            return queryset.filter(starts_on__gt=today)
        return queryset.filter(ends_on__lt=today)


class PickFilter(django_filters.FilterSet):
    """Narrow the views that can be planned."""

    words = django_filters.CharFilter(label="Number or title", method="with_words")
    technique = django_filters.ChoiceFilter(
        label="Technique", choices=Technique.choices, empty_label="any"
    )
    anchor = django_filters.ChoiceFilter(
        label="As of", choices=Anchor.choices, empty_label="any state"
    )
    catalogue = django_filters.ModelChoiceFilter(
        label="Catalogue",
        queryset=Catalogue.objects.all(),
        method="of_catalogue",
        empty_label="any",
    )

    class Meta:
        form = SpokenForm
        model = OwedView
        fields = ("words", "technique", "anchor", "catalogue")

    def with_words(self, queryset: QuerySet[OwedView], name: str, value: str) -> QuerySet[OwedView]:
        """Match the object's number or title."""
        return queryset.filter(
            Q(object__numbers__number__icontains=value) | Q(object__title__icontains=value)
        ).distinct()

    def of_catalogue(
        self, queryset: QuerySet[OwedView], name: str, value: Catalogue
    ) -> QuerySet[OwedView]:
        """Views that an entry of the catalogue asks for."""
        return queryset.filter(demands__entry__catalogue=value, demands__until=None).distinct()
