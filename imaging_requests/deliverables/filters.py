"""The filter of the review queue."""

from __future__ import annotations

from typing import Any

import django_filters
from django import forms
from django.db.models import QuerySet

from imaging_requests.deliverables.models import Deliverable
from imaging_requests.people.models import Role, User
from imaging_requests.people.queries import holders
from imaging_requests.people.spoken import SpokenForm
from imaging_requests.requesting.models import Technique


def _photographers(request: Any) -> QuerySet[User]:
    return holders(Role.PHOTOGRAPHER, Role.LEAD)


class ReviewFilter(django_filters.FilterSet):
    """Narrow the queue by technique, photographer, or how long a picture has waited."""

    technique = django_filters.ChoiceFilter(
        label="Technique", choices=Technique.choices, empty_label="any"
    )
    photographer = django_filters.ModelChoiceFilter(
        label="Photographer", queryset=_photographers, empty_label="anybody"
    )
    waiting_since = django_filters.DateFilter(
        label="Waiting since",
        field_name="handed_in_at",
        lookup_expr="date__lte",
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
    )

    class Meta:
        form = SpokenForm
        model = Deliverable
        fields = ("technique", "photographer", "waiting_since")
