"""Refusals in the users' words: what happened, why, and what to do next."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any


class DomainError(Exception):
    """Something that cannot be done, with a sentence for people and a stable code for programs.

    `message` says what and why, `next_step` what to do now; `data` carries the values named in
    the message. The HTTP status is the one place where the kind of refusal meets the web.
    """

    status = 422

    def __init__(
        self,
        message: str,
        *,
        code: str,
        next_step: str = "",
        data: Mapping[str, Any] | None = None,
    ) -> None:
        super().__init__(message)
        self.message = message
        self.code = code
        self.next_step = next_step
        self.data = dict(data or {})

    def __str__(self) -> str:
        return f"{self.message} {self.next_step}".strip()


class NotAllowed(DomainError):
    """The person may see the thing but not do this to it."""

    status = 403


class StaleWrite(DomainError):
    """Somebody else changed the row since it was read; `differences` shows what is different.

    Each difference is (label, value now, value that was about to be written).
    """

    status = 409

    def __init__(
        self,
        message: str,
        *,
        differences: list[tuple[str, str, str]],
        next_step: str = "",
    ) -> None:
        usual = (
            "Look at the differences, then save again if your values still hold."
            if differences
            else "Load the page again, look, and repeat your step if it is still wanted."
        )
        super().__init__(message, code="stale_write", next_step=next_step or usual)
        self.differences = differences


class IllegalStep(DomainError):
    """A life cycle does not know this step from where the thing stands now."""

    status = 409


class Contradiction(DomainError):
    """The database itself refused a row; nothing else had seen it coming."""

    status = 409

    def __init__(self) -> None:
        super().__init__(
            "This contradicts what is recorded already: most often a number, a name or a place "
            "that somebody else saved a moment ago.",
            code="people.contradiction",
            next_step="Go back, look at what is there now, and send yours again with another "
            "value.",
        )
