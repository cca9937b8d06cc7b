"""Refusals of the intake that the web answers with a status of their own."""

from __future__ import annotations

from imaging_requests.people.errors import DomainError


class WrongOffsetError(DomainError):
    """The sender and the program do not agree on how much has arrived."""

    status = 409


class TooLargeError(DomainError):
    """The file is larger than the house takes, or than was announced."""

    status = 413


class NoRoomError(DomainError):
    """The disk cannot take this file now."""

    status = 507
