"""Pages of capture: the day's shot list, one line at the easel, set-up cards, the light book."""

from __future__ import annotations

from datetime import date

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from imaging_requests.campaigns import actions, queries, rules
from imaging_requests.campaigns.easel_page import line_context, list_context
from imaging_requests.campaigns.forms import LightForm, NotDoneForm, add_refusal
from imaging_requests.campaigns.light_page import light_context
from imaging_requests.campaigns.models import ShotLine, ShotLineState
from imaging_requests.campaigns.policies import RECORD_LIGHT, RUN, SEE_CAMPAIGNS, SEE_SHOT_LIST
from imaging_requests.campaigns.recall_page import recall_context, recall_form
from imaging_requests.campaigns.slate_page import slate_context
from imaging_requests.campaigns.views import read_version
from imaging_requests.campaigns.words import card_figures, card_rest, local_day
from imaging_requests.collection.models import CollectionObject
from imaging_requests.people.clock import can_reckon
from imaging_requests.people.errors import DomainError
from imaging_requests.people.policies import may, requires
from imaging_requests.people.requests import signed_in


def _day(request: HttpRequest) -> date:
    """The day of the address, else today on the studio's clock."""
    today = local_day(timezone.now())
    try:
        day = date.fromisoformat(request.GET.get("date", ""))
    except ValueError:
        return today
    return day if can_reckon(day) else today


def _line(pk: int) -> ShotLine:
    line = queries.shot_line(pk)
    if line is None:
        raise Http404
    return line


@requires(SEE_SHOT_LIST)
@require_safe
def shot_list(request: HttpRequest) -> HttpResponse:
    """The day's lines in the dark; on paper with ?paper=1."""
    context = list_context(_day(request), signed_in(request))
    template = "shot_list_paper" if "paper" in request.GET else "shot_list"
    return render(request, f"campaigns/{template}.html", context)


@requires(SEE_SHOT_LIST)
@require_safe
def shot_line(request: HttpRequest, pk: int) -> HttpResponse:
    """One line with its numbers large, its cautions above the first button."""
    context = line_context(_line(pk), signed_in(request), now=timezone.now())
    return render(request, "campaigns/shot_line.html", context)


@requires(SEE_SHOT_LIST)
@require_safe
def slate(request: HttpRequest, pk: int) -> HttpResponse:
    """The slate of a line, to be photographed; with ?part=1 only the part that is renewed."""
    context = slate_context(_line(pk), now=timezone.now(), on_paper="paper" in request.GET)
    template = "slate_face" if "part" in request.GET else "slate"
    response = render(request, f"campaigns/{template}.html", context)
    response["Cache-Control"] = "no-store"
    return response


def _after(line: ShotLine) -> HttpResponse:
    """Go on to the next line that is to be shot, else back to the list."""
    following = (
        line.session.shot_lines.filter(state=ShotLineState.PLANNED, position__gt=line.position)
        .order_by("position")
        .first()
    )
    if following is not None:
        return redirect("campaigns:shot_line", pk=following.pk)
    day = local_day(line.session.starts_at)
    return redirect(f"{reverse('campaigns:shot_list')}?date={day:%Y-%m-%d}")


@requires(RUN)
@require_POST
def line_done(request: HttpRequest, pk: int) -> HttpResponse:
    """Say that a line was shot, and go on."""
    line = actions.mark_line_done(
        actor=signed_in(request), line_id=pk, read_version=read_version(request)
    )
    messages.success(request, f"{line} is done.")
    return _after(_line(pk))


@requires(RUN)
@require_POST
def line_not_done(request: HttpRequest, pk: int) -> HttpResponse:
    """Say why a line was not shot, and go on; what was typed stays if it is refused."""
    line = _line(pk)
    form = NotDoneForm(request.POST)
    if form.is_valid():
        try:
            actions.mark_line_not_done(
                actor=signed_in(request),
                line_id=pk,
                read_version=form.cleaned_data["read_version"] or 0,
                reason=rules.not_done_reason(
                    form.cleaned_data["reason"], form.cleaned_data["words"]
                ),
            )
        except DomainError as error:
            add_refusal(form, error)
        else:
            messages.info(request, f"Written down: {line} was not possible.")
            return _after(_line(pk))
    context = line_context(line, signed_in(request), now=timezone.now())
    return render(request, "campaigns/shot_line.html", {**context, "form": form}, status=422)


@requires(RUN)
@require_POST
def line_reopen(request: HttpRequest, pk: int) -> HttpResponse:
    """Take back what was said of a line."""
    actions.reopen_line(actor=signed_in(request), line_id=pk, read_version=read_version(request))
    messages.info(request, "Taken back: the line is to be shot.")
    return redirect("campaigns:shot_line", pk=pk)


@requires(RUN)
@require_POST
def session_start(request: HttpRequest, pk: int) -> HttpResponse:
    """Start a session and go to its first line."""
    session = actions.start_session(
        actor=signed_in(request), session_id=pk, read_version=read_version(request)
    )
    first = session.shot_lines.filter(state=ShotLineState.PLANNED).order_by("position").first()
    if first is None:
        return redirect("campaigns:session", pk=pk)
    return redirect("campaigns:shot_line", pk=first.pk)


@requires(RUN)
@require_POST
def session_close(request: HttpRequest, pk: int) -> HttpResponse:
    """Close a session."""
    actions.close_session(
        actor=signed_in(request), session_id=pk, read_version=read_version(request)
    )
    messages.success(request, "Closed.")
    return redirect("campaigns:session", pk=pk)


@requires(SEE_CAMPAIGNS)
@require_safe
def setup_card(request: HttpRequest, pk: int) -> HttpResponse:
    """One version of a set-up card: everything that is rebuilt."""
    card = queries.setup_card(pk)
    if card is None:
        raise Http404
    context = {
        "card": card,
        "figures": card_figures(card.values),
        "rest": card_rest(card.values),
        "answer": f"Set-up card {card}, {card.station}",
    }
    return render(request, "campaigns/setup_card.html", context)


@requires(SEE_CAMPAIGNS)
@require_safe
def setup_recall(request: HttpRequest, pk: int) -> HttpResponse:
    """Numbers from a test frame in, movements of camera, easel, exposure and lamp out."""
    card = queries.setup_card(pk)
    if card is None:
        raise Http404
    form = recall_form(card, request.GET)
    status = 422 if form.errors else 200
    context = recall_context(card, form)
    return render(request, "campaigns/setup_recall.html", context, status=status)


@requires(SEE_CAMPAIGNS)
@require_http_methods(["GET", "POST"])
def light_book(request: HttpRequest, object_pk: int) -> HttpResponse:
    """The light book of an object, and writing light from elsewhere into it."""
    thing, user = get_object_or_404(CollectionObject, pk=object_pk), signed_in(request)
    form = LightForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            actions.record_light(actor=user, object_id=object_pk, **form.cleaned_data)
        except DomainError as error:
            add_refusal(form, error)
        else:
            messages.success(request, "Written into the light book.")
            return redirect("campaigns:light_book", object_pk=object_pk)
    context = light_context(thing, now=timezone.now())
    context |= {"form": form, "may_record": may(user, RECORD_LIGHT)}
    status = 422 if form.errors else 200
    return render(request, "campaigns/light_book.html", context, status=status)
