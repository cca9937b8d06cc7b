"""What the desk size needs before it starts: folders, a key of its own, tables, front-end files."""

from __future__ import annotations

import os

from django.conf import settings
from django.core.management import call_command
from django.core.management.utils import get_random_secret_key


def prepare(*, verbosity: int = 1) -> None:
    """Make folders and key, bring the tables up to date, fetch front-end files if they are missing.

    Running it twice does nothing the second time.
    """
    for folder in (
        settings.DATA_DIR,
        settings.STORE_DIR,
        settings.SECOND_STORE_DIR,
        settings.DERIVED_DIR,
        settings.QUARANTINE_DIR,
        settings.STATIC_ROOT,
    ):
        folder.mkdir(parents=True, exist_ok=True)
    if settings.IS_DESK and not settings.SECRET_KEY_FILE.exists():
        descriptor = os.open(settings.SECRET_KEY_FILE, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(descriptor, "w") as file:
            file.write(get_random_secret_key())
    call_command("migrate", interactive=False, verbosity=0)
    call_command("fetch_frontend", verbosity=verbosity)
