"""Pages about what is known of an object."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from imaging_requests.collection import actions, queries
from imaging_requests.collection.forms import FactsForm
from imaging_requests.collection.policies import RECORD_FACTS
from imaging_requests.people.errors import DomainError, StaleWrite
from imaging_requests.people.policies import requires
from imaging_requests.people.requests import signed_in


@requires(RECORD_FACTS)
@require_http_methods(["GET", "POST"])
def facts(request: HttpRequest, pk: int) -> HttpResponse:
    """Record sizes and condition; everything that follows from them is derived anew."""
    thing = get_object_or_404(queries.objects_with_numbers(), pk=pk)
    known = queries.facts_now(pk, timezone.now())
    form = FactsForm(request.POST or None, initial=FactsForm.initial_of(known))
    differences: list[tuple[str, str, str]] = []
    status, asks_turned = 200, bool(request.POST.get("is_turned"))
    if request.method == "POST":
        status = 422
        if form.is_valid():
            values = dict(form.cleaned_data)
            read_record, is_turned = values.pop("read_record"), values.pop("is_turned")
            try:
                actions.record_facts(
                    actor=signed_in(request),
                    object_id=pk,
                    values=values,
                    read_record=read_record,
                    is_turned=is_turned,
                )
            except StaleWrite as error:
                form.add_error(None, str(error))
                form.data = {**request.POST.dict(), "read_record": known.pk if known else ""}
                differences, status = error.differences, error.status
            except DomainError as error:
                form.add_error(None, str(error))
                asks_turned = error.code == actions.SIDES_TURNED
            else:
                messages.success(request, "Recorded. What follows from it is derived anew.")
                return redirect("progress:object", pk=pk)
    context = {"form": form, "thing": thing, "known": known, "differences": differences}
    context["asks_turned"] = asks_turned
    return render(request, "collection/facts.html", context, status=status)
