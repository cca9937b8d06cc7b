"""Records that are frozen for whoever writes code, and quick to make.

A frozen dataclass writes every field of a new record through ``object.__setattr__``. One object's
history is many hundred records, read again for every page that shows it, and this alone took a
quarter of the time. :func:`record` lets a new record fill its slots directly instead. The type
checker still refuses whoever assigns to a field; Python itself no longer does.

>>> from dataclasses import dataclass
>>> @record
... @dataclass(frozen=True, slots=True)
... class Day:
...     number: int
...     month: int = 1
>>> Day(3) == Day(3, 1), hash(Day(3)) == hash(Day(3)), Day(number=4)
(True, True, Day(number=4, month=1))
"""

from __future__ import annotations

from dataclasses import MISSING, Field, field, fields, make_dataclass
from typing import Any, TypeVar

T = TypeVar("T")


def record(cls: type[T]) -> type[T]:
    """Make the records of a frozen dataclass with slots quickly; stands above ``@dataclass``.

    :class:`TypeError`: the class works something out after its fields, which this leaves out.
    """
    if hasattr(cls, "__post_init__"):
        raise TypeError(f"{cls.__name__} has a __post_init__, which a record may not have.")
    plain = make_dataclass(cls.__name__, [(f.name, Any, _same(f)) for f in fields(cls)])  # type: ignore[arg-type]
    cls.__init__ = plain.__init__  # type: ignore[misc, method-assign]
    del cls.__setattr__, cls.__delattr__
    return cls


def _same(of: Field[Any]) -> Any:
    if of.default is not MISSING:
        return field(default=of.default, kw_only=of.kw_only)
    if of.default_factory is not MISSING:
        return field(default_factory=of.default_factory, kw_only=of.kw_only)
    return field(kw_only=of.kw_only)
