"""Sign-in, sign-out, accounts, and the page for a form that came without its token."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth import login, logout, update_session_auth_hash
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST

from imaging_requests.people import actions, queries
from imaging_requests.people.errors import DomainError
from imaging_requests.people.forms import (
    AccountForm,
    OpenForm,
    OwnPasswordForm,
    RolesForm,
    SignInForm,
)
from imaging_requests.people.leaving import ahead_of
from imaging_requests.people.models import User
from imaging_requests.people.policies import KEEP_ACCOUNTS, OWN_VISIT, public, requires
from imaging_requests.people.requests import own_page, signed_in


@public
@never_cache
@require_http_methods(["GET", "POST"])
def sign_in(request: HttpRequest) -> HttpResponse:
    """Let a person in and lead them to their own first page."""
    asked = request.POST.get("next") or request.GET.get("next")
    target = own_page(request, asked) or reverse("progress:first_page")
    form = SignInForm(request, data=request.POST or None)
    if request.method == "POST" and form.is_valid():
        login(request, form.get_user())
        return redirect(target)
    status = 422 if request.method == "POST" else 200
    return render(request, "people/sign_in.html", {"form": form, "next": target}, status=status)


@requires(OWN_VISIT)
@require_POST
def sign_out(request: HttpRequest) -> HttpResponse:
    """End the visit."""
    logout(request)
    return redirect("people:sign_in")


@requires(KEEP_ACCOUNTS)
@require_http_methods(["GET", "POST"])
def accounts(request: HttpRequest) -> HttpResponse:
    """List everybody with an account, and open a new one."""
    form = AccountForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            user = actions.open_account(
                actor=signed_in(request),
                email=form.cleaned_data["email"],
                name=form.cleaned_data["name"],
                roles=form.cleaned_data["roles"],
                password=form.cleaned_data["password"],
            )
        except DomainError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, f"{user.name} has an account now.")
            return redirect("people:accounts")
    context = {"form": form, "people": queries.people_with_roles()}
    status = 422 if form.errors else 200
    return render(request, "people/accounts.html", context, status=status)


@requires(KEEP_ACCOUNTS)
@require_http_methods(["GET", "POST"])
def account(request: HttpRequest, pk: int) -> HttpResponse:
    """Change what a person may do, or close the account."""
    person = get_object_or_404(User, pk=pk)
    if {"is_open", "read_open"} & request.POST.keys():
        return _open_or_close(request, person)
    form = _roles_form(person, request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            actions.set_roles(actor=signed_in(request), user_id=pk, **form.cleaned_data)
        except DomainError as error:
            form.add_error(None, str(error))
        else:
            messages.success(request, f"The roles of {person.name} are saved.")
            return redirect("people:accounts")
    return _account_page(request, person, form)


def _open_or_close(request: HttpRequest, person: User) -> HttpResponse:
    form = OpenForm(request.POST)
    if not form.is_valid():
        refusal = " ".join(str(text) for texts in form.errors.values() for text in texts)
        return _account_page(request, person, _roles_form(person), refusal=refusal, status=422)
    try:
        actions.set_open(
            actor=signed_in(request),
            user_id=person.pk,
            is_open=form.says("is_open"),
            read_open=form.says("read_open"),
        )
    except DomainError as error:
        person.refresh_from_db()
        page = _roles_form(person)
        return _account_page(request, person, page, refusal=str(error), status=error.status)
    return redirect("people:account", pk=person.pk)


def _roles_form(person: User, data: QueryDict | None = None) -> RolesForm:
    held = sorted(person.role_holdings.filter(held_until=None).values_list("role", flat=True))
    return RolesForm(data, initial={"roles": held, "read_roles": " ".join(held)})


def _account_page(
    request: HttpRequest, person: User, form: RolesForm, *, refusal: str = "", status: int = 200
) -> HttpResponse:
    context = {
        "form": form,
        "person": person,
        "refusal": refusal,
        "ahead": ahead_of(person, timezone.now()),
    }
    status = 422 if form.errors else status
    return render(request, "people/account.html", context, status=status)


@requires(OWN_VISIT)
@require_http_methods(["GET", "POST"])
def own_account(request: HttpRequest) -> HttpResponse:
    """Change one's own password and see one's own roles."""
    user = signed_in(request)
    form = OwnPasswordForm(request.POST or None, user=user)
    if request.method == "POST" and form.is_valid():
        actions.change_password(actor=user, password=form.cleaned_data["new"])
        update_session_auth_hash(request, user)
        messages.success(request, "Your new password is set.")
        return redirect("people:own_account")
    status = 422 if form.errors else 200
    return render(request, "people/own_account.html", {"form": form}, status=status)


@requires(OWN_VISIT)
@require_POST
def notices_read(request: HttpRequest) -> HttpResponse:
    """Put the notices away."""
    actions.read_notices(actor=signed_in(request))
    return redirect("progress:first_page")


@public
def csrf_failure(request: HttpRequest, reason: str = "") -> HttpResponse:
    """Say in words that a form was too old or came from elsewhere."""
    return render(request, "errors/403.html", {"stale_form": True}, status=403)
