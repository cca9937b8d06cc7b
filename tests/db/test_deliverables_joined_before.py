"""Joined files made before their digests were kept get the rows that the sweep reads."""

from __future__ import annotations

from importlib import import_module

import pytest
from django.apps import apps

from imaging_requests.deliverables.models import DeliverableKind, Join
from imaging_requests.intake import store
from imaging_requests.intake.actions.made import DERIVED
from imaging_requests.intake.models import MadeCopy
from tests import factory

pytestmark = pytest.mark.django_db


def test_every_joined_file_gets_its_copies_once_and_an_inverted_one_without_a_digest() -> None:
    factory.rules()
    row = factory.deliverable(
        factory.museum_object("AR 0082", "Boy with a Tern"), "XR", kind=DeliverableKind.MOSAIC
    )
    common = {"deliverable": row, "made_at": factory.LONG_AGO, "size_bytes": 10}
    joined = Join.objects.create(
        recipe="a" * 64, verdict="joined", sha256="b" * 64,
        pictures=[{"kind": "inverted", "path": "bb/i.tif"}, {"kind": "256", "path": "bb/s.jpg"}],
        **common,
    )  # fmt: skip
    Join.objects.create(recipe="c" * 64, verdict="not_joined", sha256="", **common)
    migration = import_module(
        "imaging_requests.deliverables.migrations.0002_joined_files_have_copies"
    )
    for _ in range(2):
        migration.add_copies(apps, None)
    kept = {copy.place: copy for copy in MadeCopy.objects.all()}
    assert set(kept) == {*store.PLACES, DERIVED}
    for place in store.PLACES:
        assert kept[place].path == f"bb/bb/{joined.sha256}.tif"
        assert (kept[place].is_good, kept[place].verified_at) == (True, factory.LONG_AGO)
    assert (kept[DERIVED].path, kept[DERIVED].sha256, kept[DERIVED].is_good) == (
        "bb/i.tif", "", False
    )  # fmt: skip
