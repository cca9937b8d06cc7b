"""What must hold before the program starts: two places of masters that are truly two."""

from __future__ import annotations

from typing import Any

from django.core.checks import CheckMessage, Error

from imaging_requests.intake import store


def check_places(**_: Any) -> list[CheckMessage]:
    """Refuse to start with places of masters that are one, or in each other's place."""
    return [Error(trouble, id="intake.E001") for trouble in store.troubles_of_settings()]
