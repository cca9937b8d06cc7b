"""Names of files as they were received, which never show themselves in a misleading order.

Some characters turn the order in which a line of text is shown: with U+202E in it, a name that
ends in ``.exe`` can look as if it ended in ``.tif`` (Unicode Standard Annex 9, "Unicode
Bidirectional Algorithm", section 2; and Unicode Technical Report 36, section 2.5). Such names are
kept exactly as they came, and shown with these characters written out; so are line breaks and
other control characters.
"""

from __future__ import annotations

import re
from typing import Any

from django.db import models
from django.utils.html import escape
from django.utils.safestring import SafeString

#: Marks, embeddings, overrides and isolates of direction (Unicode Standard Annex 9, section 2).
TURNING = re.compile("[\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069]")
#: Control characters (category Cc), and the separators of lines and paragraphs.
CONTROL = re.compile("[\x00-\x1f\x7f-\x9f\u2028\u2029]")
WRITTEN_OUT = re.compile(f"{TURNING.pattern}|{CONTROL.pattern}")


def shown_name(name: str) -> str:
    """Return a name for people's eyes: characters that turn the order or break lines written out.

    >>> shown_name("a\\u202efit.exe"), shown_name("one\\ntwo.tif")
    ('a[U+202E]fit.exe', 'one[U+000A]two.tif')
    """
    return WRITTEN_OUT.sub(lambda found: f"[U+{ord(found.group()):04X}]", str.__str__(name))


class ReceivedName(str):
    """A name as it was received; what is said or shown of it has its order written out.

    Comparing, hashing and storing take the name itself.

    >>> name = ReceivedName("a\\u202efit.exe")
    >>> f"{name} is here", name == "a\\u202efit.exe"
    ('a[U+202E]fit.exe is here', True)
    """

    __slots__ = ()

    def __str__(self) -> str:
        return shown_name(self)

    def __format__(self, format_spec: str) -> str:
        return format(shown_name(self), format_spec)

    def __html__(self) -> SafeString:
        return escape(shown_name(self))


class ReceivedNameField(models.CharField):
    """A column of text whose values are `ReceivedName`s; for the database it is like any other."""

    def from_db_value(self, value: str | None, *_: Any) -> ReceivedName | None:
        return None if value is None else ReceivedName(value)

    def deconstruct(self) -> Any:
        name, _, args, kwargs = super().deconstruct()
        return name, "django.db.models.CharField", args, kwargs
