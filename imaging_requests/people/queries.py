"""Reads about people."""

from __future__ import annotations

from django.db.models import Prefetch, QuerySet

from imaging_requests.people.models import Role, RoleHolding, User


def people_with_roles() -> QuerySet[User]:
    """Everybody, open accounts first, each with the roles held now."""
    return User.objects.order_by("-is_active", "name").prefetch_related(
        Prefetch(
            "role_holdings",
            queryset=RoleHolding.objects.filter(held_until=None),
            to_attr="present_holdings",
        )
    )


def holders(*roles: Role) -> QuerySet[User]:
    """Everybody who holds one of `roles` now and may sign in."""
    return (
        User.objects.filter(
            is_active=True, role_holdings__role__in=roles, role_holdings__held_until=None
        )
        .distinct()
        .order_by("name")
    )
