"""Create the tables of a room at once.

Django renders all models anew for every model that a migration adds, with everything that points
at them. With all models of a room in one operation that happens once a room, and setting up takes
less than half the time.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.db.backends.base.schema import BaseDatabaseSchemaEditor
from django.db.migrations import CreateModel
from django.db.migrations.operations.base import Operation
from django.db.migrations.state import ProjectState


class CreateModels(Operation):
    """Create several models, in this order."""

    serialization_expand_args = ["models"]

    def __init__(self, models: Sequence[CreateModel]) -> None:
        self.models = list(models)

    def deconstruct(self) -> tuple[str, list[Any], dict[str, Any]]:
        """Return how the operation is written in a migration."""
        return type(self).__name__, [self.models], {}

    def state_forwards(self, app_label: str, state: ProjectState) -> None:
        """Add the models; what was rendered before is left behind and made again when asked for."""
        state.__dict__.pop("apps", None)
        for model in self.models:
            model.state_forwards(app_label, state)

    def database_forwards(
        self,
        app_label: str,
        schema_editor: BaseDatabaseSchemaEditor,
        from_state: ProjectState,
        to_state: ProjectState,
    ) -> None:
        """Create the tables."""
        for model in self.models:
            model.database_forwards(app_label, schema_editor, from_state, to_state)

    def database_backwards(
        self,
        app_label: str,
        schema_editor: BaseDatabaseSchemaEditor,
        from_state: ProjectState,
        to_state: ProjectState,
    ) -> None:
        """Drop the tables, the last one first."""
        for model in reversed(self.models):
            model.database_backwards(app_label, schema_editor, from_state, to_state)

    def describe(self) -> str:
        """Say what the operation does."""
        return f"Create {', '.join(model.name for model in self.models)}"
