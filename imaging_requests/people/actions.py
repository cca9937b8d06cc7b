"""Writes about people: accounts, roles, passwords, notices."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import datetime

from django.db import transaction
from django.utils import timezone

from imaging_requests.people import audit
from imaging_requests.people.errors import DomainError, StaleWrite
from imaging_requests.people.models import AuditEvent, Notice, Role, RoleHolding, User
from imaging_requests.people.policies import EVERYONE_INSIDE, KEEP_ACCOUNTS, OUTSIDE, demand

#: Called inside the transaction in which somebody loses what they may do: (actor, person, instant).
LeavingRule = Callable[[User, User, datetime], None]
_leaving_rules: list[LeavingRule] = []


def add_leaving_rule(rule: LeavingRule) -> None:
    """Let an outer room end what it gave a person who leaves; called once at start."""
    if rule not in _leaving_rules:
        _leaving_rules.append(rule)


def _leave(actor: User, user: User, now: datetime) -> None:
    for rule in _leaving_rules:
        rule(actor, user, now)


def _refuse_mixture(roles: set[str]) -> None:
    if roles & OUTSIDE and roles & EVERYONE_INSIDE:
        raise DomainError(
            "A person works here or comes from outside, not both.",
            code="people.inside_or_outside",
            next_step="Take either the roles of the house or those from outside.",
        )


@transaction.atomic
def open_account(
    *,
    actor: User | None,
    email: str,
    name: str,
    roles: Iterable[str],
    password: str,
    derived: str = "",
    now: datetime | None = None,
) -> User:
    """Open an account with its first roles. `actor` is None only when a command does it.

    `derived`: what was derived of the same password before; deriving takes a second on purpose.
    """
    if actor is not None:
        demand(actor, KEEP_ACCOUNTS)
    now = now or timezone.now()
    roles = [str(role) for role in roles]
    _refuse_mixture(set(roles))
    user = User.objects.create_user(
        email, password, derived=derived, name=name.strip(), joined_at=now
    )
    for role in sorted(set(roles)):
        RoleHolding.objects.create(user=user, role=Role(role), held_from=now)
    audit.record(
        "people.account_opened",
        actor=actor,
        subject=user,
        after={"email": user.email, "roles": sorted(set(roles))},
        now=now,
    )
    return user


@transaction.atomic
def set_roles(
    *,
    actor: User,
    user_id: int,
    roles: Iterable[str],
    read_roles: Iterable[str],
    now: datetime | None = None,
) -> User:
    """Give and take roles; what was held before stays in the history.

    `read_roles` are the roles that were on the page: if others are held by now, nothing is saved.
    """
    demand(actor, KEEP_ACCOUNTS)
    now = now or timezone.now()
    user = User.objects.select_for_update().get(pk=user_id)
    wanted = {str(Role(role)) for role in roles}
    _refuse_mixture(wanted)
    held = set(user.role_holdings.filter(held_until=None).values_list("role", flat=True))
    if held != set(read_roles):
        raise StaleWrite(
            f"The roles of {user.name} were changed while you were working on them.",
            differences=[("Roles", _listed(held), _listed(wanted))],
        )
    if actor.pk == user.pk and Role.KEEPER in held and Role.KEEPER not in wanted:
        raise DomainError(
            "You cannot take the keeper's role from yourself: nobody could give it back.",
            code="people.last_keeper",
            next_step="Ask another keeper to do it.",
        )
    user.role_holdings.filter(held_until=None, role__in=held - wanted).update(held_until=now)
    for role in sorted(wanted - held):
        RoleHolding.objects.create(user=user, role=role, held_from=now)
    if held & OUTSIDE and not wanted & OUTSIDE:
        _leave(actor, user, now)
    audit.record(
        "people.roles_set",
        actor=actor,
        subject=user,
        before={"roles": sorted(held)},
        after={"roles": sorted(wanted)},
        now=now,
    )
    return user


def _listed(roles: Iterable[str]) -> str:
    return ", ".join(str(Role(role).label) for role in sorted(roles)) or "none"


@transaction.atomic
def set_open(
    *,
    actor: User,
    user_id: int,
    is_open: bool,
    read_open: bool,
    now: datetime | None = None,
) -> User:
    """Close an account at once, or open it again; the name stays in the history.

    `read_open` is how the account stood on the page: if it stands otherwise by now, nothing is
    saved, and whoever asked is told what was done meanwhile and by whom.
    """
    demand(actor, KEEP_ACCOUNTS)
    user = User.objects.select_for_update().get(pk=user_id)
    if user.is_active != read_open:
        raise _opened_or_closed_meanwhile(user, is_open)
    if user.is_active == is_open:
        raise DomainError(
            f"The account of {user.name} is {_stand(is_open)} already, so nothing was changed.",
            code="people.account_unchanged",
        )
    if actor.pk == user.pk:
        raise DomainError(
            "You cannot close your own account.",
            code="people.own_account",
            next_step="Ask another keeper to do it.",
        )
    user.is_active = is_open
    user.save(update_fields=["is_active"])
    if not is_open:
        _leave(actor, user, now or timezone.now())
    audit.record(
        "people.account_opened_again" if is_open else "people.account_closed",
        actor=actor,
        subject=user,
        before={"is_active": not is_open},
        after={"is_active": is_open},
        now=now,
    )
    return user


def _stand(is_open: bool) -> str:
    return "open" if is_open else "closed"


def _opened_or_closed_meanwhile(user: User, is_open: bool) -> StaleWrite:
    last = (
        AuditEvent.objects.filter(
            subject_type=User._meta.label_lower,
            subject_id=str(user.pk),
            code__in=("people.account_opened_again", "people.account_closed"),
        )
        .select_related("actor")
        .order_by("-pk")
        .first()
    )
    who = last.actor.name if last is not None and last.actor is not None else "Somebody"
    done = "opened" if user.is_active else "closed"
    return StaleWrite(
        f"{who} {done} the account of {user.name} while you had this page open.",
        differences=[("Account", _stand(user.is_active), _stand(is_open))],
    )


@transaction.atomic
def change_password(*, actor: User, password: str) -> None:
    """Set the person's own password; the value itself is never recorded."""
    actor.set_password(password)
    actor.save(update_fields=["password"])
    audit.record("people.password_changed", actor=actor, subject=actor)


def tell(users: Iterable[User], text: str, url: str = "", *, now: datetime | None = None) -> None:
    """Leave a notice for each person, once, inside the caller's transaction."""
    unique = {user.pk: user for user in users}
    Notice.objects.bulk_create(
        Notice(user=user, text=text, url=url, created_at=now or timezone.now())
        for user in unique.values()
    )


@transaction.atomic
def read_notices(*, actor: User, now: datetime | None = None) -> None:
    """Mark the person's notices as read."""
    actor.notices.filter(read_at=None).update(read_at=now or timezone.now())
