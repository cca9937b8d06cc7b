"""The large museum's references are set aside while it is written, and nothing slips through."""

from __future__ import annotations

import pytest
from django.db import IntegrityError, connection, transaction

from imaging_requests.collection.models import Face
from imaging_requests.demo.large import constraints, load
from imaging_requests.people.errors import DomainError


def schema() -> list[tuple[str, ...]]:
    """Every reference and index of the database as it says them itself."""
    statement = (
        "SELECT conname, pg_get_constraintdef(oid) FROM pg_constraint WHERE contype = 'f' "
        "UNION SELECT indexname, indexdef FROM pg_indexes WHERE schemaname = 'public'"
        if connection.vendor == "postgresql"
        else "SELECT name, COALESCE(sql, '') FROM sqlite_master"
    )
    with connection.cursor() as cursor:
        cursor.execute(statement)
        return sorted(cursor.fetchall())


def test_everything_comes_back_whatever_happens(db: None) -> None:
    before = schema()
    seen = []

    def cut_short() -> None:
        with constraints.checked_at_the_end():
            seen.extend(schema())
            raise ValueError("cut short")

    with pytest.raises(ValueError, match="cut short"):
        cut_short()
    assert (seen != before) == (connection.vendor == "postgresql")
    assert schema() == before
    assert constraints.is_whole()


def test_a_wrong_reference_is_found_at_the_end(db: None) -> None:
    def go_wrong() -> None:
        with transaction.atomic():
            with constraints.checked_at_the_end():
                Face.objects.create(object_id=7, code="F")
            connection.check_constraints()

    with pytest.raises(IntegrityError):
        go_wrong()


def test_a_database_without_its_references_is_refused(
    db: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("imaging_requests.demo.large.loading.is_whole", lambda: False)
    with pytest.raises(DomainError, match="cut short"):
        load(10, workers=0)
