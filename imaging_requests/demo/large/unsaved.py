"""Rows of models that are not stored: the rules read them, and `Rows` carries what they hold."""

from __future__ import annotations

from typing import Any, Generic, TypeVar

from django.db import models

M = TypeVar("M", bound=models.Model)


class Unsaved(Generic[M]):
    """Makes rows of one model by the hundred thousand: its defaults are looked up once.

    Rows that name no value for a list or dictionary share one, so nobody may alter it.
    """

    def __init__(self, model: type[M]) -> None:
        self._model = model
        self._defaults = {f.attname: f.get_default() for f in model._meta.concrete_fields}

    def __call__(self, **given: Any) -> M:
        """Return a row; values are named by their columns, and `id` is the key."""
        return self._model(*(self._defaults | given).values())
