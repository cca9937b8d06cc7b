"""Who may do what: every act is declared once, and views, buttons and actions all ask here.

An act names the roles that may do it and, where it matters, a rule about the thing itself. The
same act answers a view (`requires`), a button (`may`) and an action (`demand`), so a button that
is shown always works and an action never trusts the page it was called from.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import wraps
from typing import Any, TypeVar

from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.models import AnonymousUser
from django.http import HttpRequest, HttpResponseBase

from imaging_requests.people.errors import NotAllowed
from imaging_requests.people.models import Role, User

View = TypeVar("View", bound=Callable[..., HttpResponseBase])
Rule = Callable[[User, Any], str]

#: Roles of people who do not work here; they see the pictures granted to them and nothing else.
OUTSIDE = frozenset({str(Role.CO_AUTHOR), str(Role.LENDER)})
EVERYONE_INSIDE = frozenset(Role.values) - OUTSIDE
EVERYBODY = EVERYONE_INSIDE | OUTSIDE
WORKING_ROLES = frozenset({Role.CURATOR, Role.CONSERVATOR, Role.PHOTOGRAPHER, Role.LEAD, Role.HEAD})


@dataclass(frozen=True)
class Act:
    """Something people do, the roles that may, and an optional rule about its subject.

    `rule(user, subject)` returns an empty string if the act is allowed, else the reason.
    """

    code: str
    sentence: str
    roles: frozenset[str]
    rule: Rule | None = None


ACTS: dict[str, Act] = {}


def act(code: str, sentence: str, *, roles: frozenset[str], rule: Rule | None = None) -> Act:
    """Declare an act; a code is declared once."""
    if code in ACTS:
        raise ValueError(f"The act {code} is declared twice.")
    ACTS[code] = Act(code=code, sentence=sentence, roles=frozenset(roles), rule=rule)
    return ACTS[code]


def _named(roles: frozenset[str]) -> str:
    names = [str(Role(role).label).lower() for role in Role.values if role in roles]
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} or {names[-1]}"


def why_not(user: User | AnonymousUser, wanted: Act, subject: Any = None) -> str:
    """Return why the person may not do this, or an empty string if they may."""
    if not isinstance(user, User) or not user.is_active:
        return "Sign in first."
    if not user.has_role(*wanted.roles):
        return f"{wanted.sentence} is for the {_named(wanted.roles)}."
    if wanted.rule is not None and subject is not None:
        return wanted.rule(user, subject)
    return ""


def may(user: User | AnonymousUser, wanted: Act, subject: Any = None) -> bool:
    """Tell whether the person may do this now."""
    return not why_not(user, wanted, subject)


def demand(user: User, wanted: Act, subject: Any = None) -> None:
    """Refuse with the reason if the person may not do this; for actions."""
    reason = why_not(user, wanted, subject)
    if reason:
        raise NotAllowed(
            reason, code=f"not_allowed.{wanted.code}", next_step="Ask somebody who may."
        )


def requires(wanted: Act) -> Callable[[View], View]:
    """Declare the act of a view and refuse everybody who has not one of its roles.

    The rule about the subject is asked by the action, under lock.
    """

    def decorate(view: View) -> View:
        @wraps(view)
        def checked(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
            if isinstance(request.user, User):
                demand(request.user, wanted)
            return view(request, *args, **kwargs)

        checked.act = wanted  # type: ignore[attr-defined]
        return checked  # type: ignore[return-value]

    return decorate


def is_outside(user: User | AnonymousUser) -> bool:
    """Tell whether the person has no role inside; what is closed does not exist for them."""
    return not isinstance(user, User) or not user.has_role(*EVERYONE_INSIDE)


def declares(wanted: Act) -> Callable[[View], View]:
    """Declare the act of a view that demands it itself, because it remembers the answer."""

    def decorate(view: View) -> View:
        view.act = wanted  # type: ignore[attr-defined]
        return view

    return decorate


def public(view: View) -> View:
    """Declare a view that needs no sign-in; the permission walk lists these by name."""
    open_view = login_not_required(view)
    open_view.act = None  # type: ignore[attr-defined]
    return open_view


READ = act("people.read", "Reading the catalogue", roles=EVERYONE_INSIDE)
OWN_VISIT = act("people.own_visit", "Keeping the own account", roles=EVERYBODY)
KEEP_ACCOUNTS = act("people.keep_accounts", "Keeping accounts", roles=frozenset({Role.KEEPER}))
