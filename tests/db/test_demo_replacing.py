"""The demo never touches what no demo made."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from imaging_requests.demo import replacing
from imaging_requests.people.errors import DomainError
from tests import factory

PEOPLE = frozenset({"oda@ardenmoor.example"})


@pytest.fixture
def folder(tmp_path: Path, stores: Path, settings: Any) -> Path:
    settings.DATA_DIR = tmp_path
    settings.CELERY_BROKER_FOLDER = tmp_path / "broker"
    return tmp_path


@pytest.mark.django_db
def test_an_empty_place_is_free(folder: Path) -> None:
    assert replacing.make_room(addresses=PEOPLE) is False


@pytest.mark.django_db
def test_accounts_without_a_marker_are_somebodys(folder: Path) -> None:
    factory.person("Oda", "curator")
    with pytest.raises(DomainError, match="holds 1 account that no demo made") as refused:
        replacing.make_room(addresses=PEOPLE)
    assert "IMAGING_DATA_DIR" in str(refused.value)


@pytest.mark.django_db
def test_a_strange_account_in_a_demo_protects_it(folder: Path) -> None:
    replacing.mark()
    factory.person("Oda", "curator")
    factory.person("Brann", "curator")
    with pytest.raises(DomainError, match="holds 1 account that no demo made"):
        replacing.make_room(addresses=PEOPLE)
    assert replacing.marker_path().exists()


@pytest.mark.django_db
def test_a_store_with_files_and_no_marker_is_somebodys(folder: Path) -> None:
    master = folder / "store" / "ab" / "abcd.tif"
    master.parent.mkdir(parents=True)
    master.write_bytes(b"II*\0")
    with pytest.raises(DomainError, match="holds files that no demo made"):
        replacing.make_room(addresses=PEOPLE)
    assert master.read_bytes() == b"II*\0"


@pytest.mark.django_db
def test_a_marker_of_another_database_frees_nothing(folder: Path) -> None:
    replacing.mark()
    found = json.loads(replacing.marker_path().read_text())
    found["database"][3] = "/somewhere/else.sqlite3"
    replacing.marker_path().write_text(json.dumps(found))
    with pytest.raises(DomainError, match="made with another database or other stores"):
        replacing.make_room(addresses=PEOPLE)


@pytest.mark.django_db
def test_no_password_is_written_into_the_marker(folder: Path, settings: Any) -> None:
    replacing.mark()
    text = replacing.marker_path().read_text()
    password = str(settings.DATABASES["default"].get("PASSWORD") or "not set at desk size")
    assert password not in text
    assert set(json.loads(text)) == {"database", "stores", "made_at"}
