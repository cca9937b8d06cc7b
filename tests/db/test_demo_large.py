"""The large museum is what the program itself would have made of its rows."""

from __future__ import annotations

from collections import Counter
from datetime import UTC, datetime
from typing import Any

import pytest

from imaging_requests.collection.models import Catalogue, CollectionObject, StaleMark
from imaging_requests.demo.large import chunk as chunks
from imaging_requests.demo.large import load
from imaging_requests.demo.large.chunk import Maker
from imaging_requests.demo.large.ground import lay_ground
from imaging_requests.demo.large.rows import TABLES
from imaging_requests.demo.large.sizes import LARGEST, plan
from imaging_requests.people.errors import DomainError
from imaging_requests.progress.gather import gather_cases
from imaging_requests.progress.models import (
    CatalogueStatus,
    EntryStatus,
    ObjectStatus,
    ViewStatus,
)
from imaging_requests.progress.settle import rederive, verify
from imaging_requests.reckoning.truth.facts import ObjectCase
from imaging_requests.requesting.models import Demand, NotApplicable, OwedView, Waiver

OBJECTS = 150
NOW = datetime(2026, 4, 16, 8, 0, tzinfo=UTC)
CACHES = (ViewStatus, ObjectStatus, EntryStatus, CatalogueStatus)
DUTIES = (OwedView, Demand, NotApplicable, Waiver)


@pytest.fixture
def loaded(db: None, monkeypatch: pytest.MonkeyPatch) -> dict[int, ObjectCase]:
    """A small museum made by the large one's means, and the cases its statuses came from."""
    seen: dict[int, ObjectCase] = {}
    derive = chunks.derive_object

    def noting(case: ObjectCase, **how: Any) -> Any:
        seen[int(case.object_id)] = case
        return derive(case, **how)

    monkeypatch.setattr(chunks, "derive_object", noting)
    load(OBJECTS, now=NOW, workers=0)
    return seen


def as_read(case: ObjectCase) -> dict[str, Counter[Any]]:
    """A case file without the order of its records, which depends on the database."""
    names = set(ObjectCase.__dataclass_fields__) - {"object_id"}
    return {name: Counter(getattr(case, name)) for name in names}


def snapshot(models: tuple[Any, ...]) -> list[Any]:
    return [sorted(model.objects.values_list(), key=str) for model in models]


def test_rows_and_caches_are_those_that_the_program_derives(
    loaded: dict[int, ObjectCase],
) -> None:
    assert len(loaded) == OBJECTS == CollectionObject.objects.count()
    gathered = gather_cases(loaded)
    for pk, case in loaded.items():
        assert as_read(gathered[pk]) == as_read(case), f"object {pk}"
    assert verify(now=NOW) == []

    duties, caches = snapshot(DUTIES), snapshot(CACHES)
    rederive(list(loaded), now=NOW)
    assert snapshot(DUTIES) == duties
    assert snapshot(CACHES) == caches
    assert not StaleMark.objects.exists()

    views = OwedView.objects.count()
    assert 30 < views / OBJECTS < 50
    assert OwedView.objects.filter(ended_at__isnull=False).exists()
    assert len(set(ViewStatus.objects.values_list("status", flat=True))) > 8
    assert len(set(EntryStatus.objects.values_list("grade", flat=True))) > 2
    assert CollectionObject.objects.filter(entry_objects=None).exists()

    late = CollectionObject.objects.create(title="Late arrival")
    assert late.pk > OBJECTS, "new rows get keys behind the loaded ones"


def test_it_never_mixes_with_another_museum(db: None) -> None:
    Catalogue.objects.create(title="The Lantern Coast")
    with pytest.raises(DomainError, match="There is a museum in this database already"):
        load(OBJECTS, workers=0)
    assert not CollectionObject.objects.exists()


def test_the_same_day_gives_the_same_rows(db: None) -> None:
    museum = plan(OBJECTS)
    ground = lay_ground(now=NOW, objects=OBJECTS, catalogues=museum.catalogues)
    first, second = (Maker.ready(ground).make(0, museum.chunks[0]) for _ in range(2))
    for table in TABLES:
        assert first.by_table[table] == second.by_table[table], table.model.__name__


@pytest.mark.parametrize("objects", [1_000, 10_000])
def test_every_size_has_the_same_largest_catalogue(objects: int) -> None:
    museum = plan(objects)
    assert max(museum.catalogues) == museum.catalogues[0] == LARGEST
    placed = [pk for chunk in museum.chunks for unit in chunk for pk in unit.objects]
    assert placed == list(range(1, objects + 1))
    alone = sum(len(u.objects) for chunk in museum.chunks for u in chunk if not u.entries)
    assert alone >= objects * 0.3
