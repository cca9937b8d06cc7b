"""Pages of the sorting table: place in bulk, undo, and decide about cameras' clocks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_POST

from imaging_requests.campaigns.models import Session
from imaging_requests.intake import actions, pages, pages_sorting, queries
from imaging_requests.intake.actions.placing import Outcome
from imaging_requests.intake.clocks import offset_words
from imaging_requests.intake.filters import FrameFilter
from imaging_requests.intake.forms import MovedForm, posted_frames
from imaging_requests.intake.models import CameraClock, SortingStep
from imaging_requests.intake.policies import PLACE, UPLOAD
from imaging_requests.intake.views import back_of
from imaging_requests.people.errors import DomainError
from imaging_requests.people.policies import may, requires
from imaging_requests.people.requests import signed_in, whole_number

STEPS_SHOWN = 6
REFUSALS_SHOWN = 8
FILLED_NOTHING = (
    "Nothing was filled, since the order is another one now. Look at the frames that are left, and "
    "fill again."
)
REFUSED_SHOWN = 50


@requires(PLACE)
@require_http_methods(["GET", "POST"])
def sorting_table(request: HttpRequest) -> HttpResponse:
    """Show frames that wait for a person, and place or set aside those that are ticked."""
    session = Session.objects.filter(pk=whole_number(request.GET.get("session")) or 0).first()
    if request.method != "POST":
        return _table(request, session)
    sent = pages_sorting.sent_page(posted_frames(request.POST), session, request.POST)
    refusals = _sort(request, sent) if sent.form.is_valid() else []
    if sent.form.is_valid() and not refusals:
        return redirect(request.get_full_path())
    again = pages_sorting.page_again(sent, session, request.POST)
    return _table(request, session, again=again, refusals=refusals)


def _table(
    request: HttpRequest,
    session: Session | None,
    *,
    again: pages_sorting.SortingPage | None = None,
    refusals: Sequence[str] = (),
) -> HttpResponse:
    """Show the table; `again`: a page that was not taken as it was sent, with what was refused."""
    chosen = FrameFilter(request.GET, queryset=queries.waiting_frames())
    in_order = queries.in_order_of_table(chosen.qs)
    page = Paginator(in_order, pages_sorting.FRAMES_PER_PAGE).get_page(request.GET.get("page"))
    rows = queries.rows_of_table(list(page.object_list)) if again is None else []
    context = {
        "filter": chosen,
        "page": page,
        "table": again or pages_sorting.sorting_page(rows, session, None),
        "refusals": refusals[:REFUSALS_SHOWN],
        "more_refusals": max(0, len(refusals) - REFUSALS_SHOWN),
        "session": session,
        "sessions": queries.open_sessions()[: pages.SESSIONS_OFFERED],
        "steps": queries.recent_steps()[:STEPS_SHOWN],
        "clocks": pages_sorting.clock_rows(queries.proposed_clocks()),
        "spares": queries.spare_frames()[: pages_sorting.FRAMES_PER_PAGE],
        "refused": queries.refused_files(request.GET.get("drop", ""))[:REFUSED_SHOWN],
        "may_give_up": may(signed_in(request), UPLOAD),
    }
    status = 422 if request.method == "POST" else 200
    return render(request, "intake/sorting_table.html", context, status=status)


def _sort(request: HttpRequest, table: pages_sorting.SortingPage) -> list[str]:
    """Do with the ticked frames what was asked, and say what was not done.

    Places in the order shown are not filled if a frame of that order has left the table: each
    later one would get the place of another.
    """
    user, form, act = signed_in(request), table.form, request.POST.get("act")
    refusals = pages_sorting.gone_words(form, table.sheets)
    if act == "aside":
        outcome = actions.set_aside_frames(actor=user, versions=form.versions())
    elif act == "fill":
        choices, said = table.choices_in_order()
        if refusals:
            choices, said = [], said or FILLED_NOTHING
        outcome = actions.place_frames(actor=user, choices=choices)
        refusals += [said] if said else []
    else:
        outcome = actions.place_frames(actor=user, choices=form.choices())
    refusals += outcome.refusals
    if outcome.moved:
        _say(request, replace(outcome, refusals=()), "set aside" if act == "aside" else "placed")
    elif not refusals:
        refusals.append("No frame was ticked, or no place was chosen.")
    return refusals


def _say(request: HttpRequest, outcome: Outcome, done: str) -> None:
    for refusal in outcome.refusals:
        messages.error(request, refusal)
    if outcome.moved:
        number = len(outcome.moved)
        frames = f"{number} frame is" if number == 1 else f"{number} frames are"
        messages.success(request, f"{frames} {done}.")
    elif not outcome.refusals:
        messages.warning(request, "No frame was ticked, or no place was chosen.")


@requires(PLACE)
@require_POST
def take_back(request: HttpRequest) -> HttpResponse:
    """Undo: put frames that were placed or set aside back on the sorting table."""
    form = MovedForm(request.POST)
    if form.is_valid():
        outcome = actions.take_back_frames(
            actor=signed_in(request), versions=form.cleaned_data["moved"]
        )
        _say(request, outcome, "back on the sorting table")
    else:
        messages.error(request, "It is not clear what to undo. Reload the page and try again.")
    return redirect(back_of(request))


@requires(PLACE)
@require_POST
def step_undo(request: HttpRequest, pk: int) -> HttpResponse:
    """Undo all that one step has moved."""
    get_object_or_404(SortingStep, pk=pk)
    try:
        outcome = actions.undo_step(actor=signed_in(request), step_id=pk)
    except DomainError as error:
        messages.error(request, str(error))
    else:
        _say(request, outcome, "back on the sorting table")
    return redirect(back_of(request))


@requires(PLACE)
@require_POST
def clock_decide(request: HttpRequest, pk: int) -> HttpResponse:
    """Agree to a proposed clock, or decline it."""
    get_object_or_404(CameraClock, pk=pk)
    agrees = request.POST.get("agrees") == "yes"
    try:
        clock = actions.decide_clock(actor=signed_in(request), clock_id=pk, agrees=agrees)
    except DomainError as error:
        messages.error(request, str(error))
    else:
        off = offset_words(clock.offset_s)
        said = f"taken as {off}; its frames are laid out anew" if agrees else "left as it is"
        messages.success(request, f"The clock of {clock.body_serial or 'the camera'} is {said}.")
    return redirect(back_of(request))
