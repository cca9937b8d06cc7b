"""Users and the roles they hold, the append-only audit trail, and the row version base."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, ClassVar

from django.contrib.auth.models import AbstractBaseUser, BaseUserManager
from django.db import connection, models
from django.db.models import F, Q
from django.db.models.functions import Lower
from django.utils import timezone


class Role(models.TextChoices):
    """What a person is in the house; one person may be several things."""

    CURATOR = "curator", "Curator"
    CONSERVATOR = "conservator", "Conservator"
    PHOTOGRAPHER = "photographer", "Photographer"
    LEAD = "lead", "Imaging lead"
    HEAD = "head", "Department head"
    KEEPER = "keeper", "System keeper"
    CO_AUTHOR = "co_author", "Co-author outside"
    LENDER = "lender", "Lender or owner"


class UserManager(BaseUserManager["User"]):
    """Makes users by e-mail address; there is no user name."""

    def create_user(
        self, email: str, password: str | None = None, *, derived: str = "", **extra: Any
    ) -> User:
        """Create a user; the address is kept in lower case, unique as people read it."""
        user = self.model(email=email.strip().lower(), **extra)
        if derived:
            user.password = derived
        else:
            user.set_password(password)
        user.full_clean()
        user.save(using=self._db)
        return user

    def get_by_natural_key(self, username: str | None) -> User:
        """Find a user whatever the case in which the address was typed."""
        return self.get(email=(username or "").strip().lower())


class User(AbstractBaseUser):
    """A person who signs in with an e-mail address."""

    email = models.EmailField("e-mail address", unique=True, max_length=254)
    name = models.CharField(max_length=120)
    is_active = models.BooleanField(default=True)
    joined_at = models.DateTimeField(default=timezone.now)

    USERNAME_FIELD = "email"
    REQUIRED_FIELDS: ClassVar[list[str]] = ["name"]
    objects = UserManager()

    class Meta:
        ordering = ("name", "pk")
        constraints = (
            models.CheckConstraint(condition=~Q(name=""), name="user_has_a_name"),
            models.CheckConstraint(
                condition=Q(email=Lower("email")), name="user_email_is_lower_case"
            ),
        )

    def __str__(self) -> str:
        return self.name

    @property
    def roles(self) -> frozenset[str]:
        """The roles held now; none for a closed account. Read once for each instance."""
        if not self.is_active:
            return frozenset()
        cached: frozenset[str] | None = self.__dict__.get("_roles")
        if cached is None:
            with connection.cursor() as cursor:
                cursor.execute(ROLES_NOW, [self.pk])
                cached = frozenset(role for (role,) in cursor.fetchall())
            self.__dict__["_roles"] = cached
        return cached

    def has_role(self, *roles: str) -> bool:
        """Tell whether the person holds one of `roles` now."""
        return bool(self.roles.intersection(roles))


class RoleHolding(models.Model):
    """From when to when a person held a role."""

    user = models.ForeignKey(User, on_delete=models.PROTECT, related_name="role_holdings")
    role = models.CharField(max_length=20, choices=Role.choices)
    held_from = models.DateTimeField(default=timezone.now)
    held_until = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ("user", "role", "held_from")
        constraints = (
            models.UniqueConstraint(
                fields=("user", "role"),
                condition=Q(held_until=None),
                name="role_held_once_at_a_time",
            ),
            models.CheckConstraint(
                condition=Q(held_until=None) | Q(held_until__gt=F("held_from")),
                name="role_held_from_before_until",
            ),
        )

    def __str__(self) -> str:
        return f"{self.user} as {self.get_role_display()}"


#: Every page asks this, so it is written down instead of composed anew.
ROLES_NOW = f"""
    SELECT role FROM {RoleHolding._meta.db_table} WHERE user_id = %s AND held_until IS NULL
"""


class AuditEvent(models.Model):
    """One thing that somebody did, never changed; each row carries the hash of the last."""

    code = models.CharField(max_length=80)
    actor = models.ForeignKey(
        User, null=True, blank=True, on_delete=models.PROTECT, related_name="audit_events"
    )
    recorded_at = models.DateTimeField()
    valid_at = models.DateTimeField()
    subject_type = models.CharField(max_length=60)
    subject_id = models.CharField(max_length=40)
    object_id = models.BigIntegerField(null=True, blank=True)
    before = models.JSONField(default=dict)
    after = models.JSONField(default=dict)
    reason = models.TextField(blank=True)
    previous_hash = models.CharField(max_length=64)
    hash = models.CharField(max_length=64, unique=True)

    class Meta:
        ordering = ("pk",)
        indexes = (
            models.Index(fields=("subject_type", "subject_id"), name="audit_by_subject"),
            models.Index(fields=("object_id", "recorded_at"), name="audit_by_object"),
        )

    def __str__(self) -> str:
        return f"{self.code} {self.subject_type} {self.subject_id}"


class AuditHead(models.Model):
    """The single row that holds the last hash; locking it puts events into one order."""

    hash = models.CharField(max_length=64)

    class Meta:
        constraints = (models.CheckConstraint(condition=Q(pk=1), name="one_audit_head"),)

    def __str__(self) -> str:
        return self.hash


class Notice(models.Model):
    """A sentence for one person, shown on the first page until read."""

    user = models.ForeignKey(User, on_delete=models.CASCADE, related_name="notices")
    created_at = models.DateTimeField(default=timezone.now)
    text = models.TextField()
    url = models.CharField(max_length=300, blank=True)
    read_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ("-created_at", "-pk")
        indexes = (models.Index(fields=("user", "read_at"), name="notice_unread"),)

    def __str__(self) -> str:
        return self.text


class Versioned(models.Model):
    """A row that people edit: a write names the version it read, and a stale one is refused."""

    row_version = models.PositiveIntegerField(default=1)

    class Meta:
        abstract = True

    def written_with(self) -> Iterable[models.Model]:
        """Rows of its own whose changes raise its version, besides changes of itself."""
        return ()

    def was_changed_by_program(self) -> bool:
        """Whether its version was raised last by background work and not by a person."""
        return False
