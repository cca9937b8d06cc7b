"""Open the first accounts of a new installation and publish its first rules."""

from __future__ import annotations

import json
import re
import secrets
from email.utils import parseaddr
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import transaction

from imaging_requests.config.desk import prepare
from imaging_requests.people.actions import open_account
from imaging_requests.people.errors import DomainError
from imaging_requests.people.models import Role, User
from imaging_requests.protocols.actions import load_published

FIRST_RULES = (
    ("studio", "studio/settings-1.json", Role.HEAD),
    ("triggers", "triggers/table-1.json", Role.CONSERVATOR),
    ("protocol", "protocols/catalogue-3.json", Role.HEAD),
)


class Command(BaseCommand):
    """Run it once, on an empty installation; it refuses when there is any account."""

    help = "Open the first accounts and publish the first protocol, trigger table and settings."

    def add_arguments(self, parser: CommandParser) -> None:
        for role in (Role.KEEPER, Role.LEAD, Role.HEAD, Role.CONSERVATOR):
            parser.add_argument(
                f"--{role}", required=True, metavar='"Name <e-mail address>"', help=str(role.label)
            )

    def handle(self, *args: Any, **options: Any) -> None:
        if settings.IS_DESK:
            prepare(verbosity=0)
        if User.objects.exists():
            raise CommandError(
                "There are accounts already. The system keeper opens more on the page Accounts."
            )
        try:
            with transaction.atomic():
                opened = self._open_accounts(options)
                for kind, name, second in FIRST_RULES:
                    document = json.loads((settings.BASE_DIR / "fixtures" / name).read_text())
                    load_published(
                        kind=kind,
                        document=document,
                        actor=opened[Role.LEAD][0],
                        co_signed_by=opened[second][0],
                    )
        except DomainError as error:
            raise CommandError(str(error)) from error
        for role, (user, password) in opened.items():
            self.stdout.write(f"{Role(role).label}: {user.email}, first password {password}")
        self.stdout.write("Each changes the password under “Your account” at the first sign-in.")

    def _open_accounts(self, options: dict[str, Any]) -> dict[str, tuple[User, str]]:
        people: dict[str, list[str]] = {}
        for role in (Role.KEEPER, Role.LEAD, Role.HEAD, Role.CONSERVATOR):
            people.setdefault(options[role.value], []).append(role.value)
        opened: dict[str, tuple[User, str]] = {}
        for written, roles in people.items():
            name, email = parseaddr(written)
            if not name or not re.fullmatch(r"[^@\s]+@[^@\s]+", email):
                raise CommandError(f'Write “{written}” as "Name <name@museum.example>".')
            password = secrets.token_urlsafe(12)
            user = open_account(actor=None, email=email, name=name, roles=roles, password=password)
            opened.update(dict.fromkeys(roles, (user, password)))
        return opened
