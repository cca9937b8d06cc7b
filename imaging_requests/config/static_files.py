"""Static files whose addresses are worked out once: every page asks for the same dozen."""

from __future__ import annotations

from collections.abc import Callable
from functools import cached_property

from django.contrib.staticfiles.storage import StaticFilesStorage
from django.urls import get_script_prefix
from whitenoise.storage import CompressedManifestStaticFilesStorage

Address = Callable[[str | None], str]
_Known = dict[tuple[str, str | None], str]


def _remembered(known: _Known, name: str | None, work_out: Address) -> str:
    key = (get_script_prefix(), name)
    if key not in known:
        known[key] = work_out(name)
    return known[key]


class DeskFiles(StaticFilesStorage):
    """Files served from where they lie."""

    @cached_property
    def known(self) -> _Known:
        """The addresses worked out so far."""
        return {}

    def url(self, name: str | None) -> str:
        """Return the address of a file, the same until the process ends."""
        return _remembered(self.known, name, super().url)


class CollectedFiles(CompressedManifestStaticFilesStorage):
    """Files collected under names that say what is in them, and compressed."""

    @cached_property
    def known(self) -> _Known:
        """The addresses worked out so far."""
        return {}

    def url(self, name: str | None, force: bool = False) -> str:
        """Return the address of a file, the same until the process ends."""
        if force:
            return str(super().url(name, force=True))
        return _remembered(self.known, name, super().url)
