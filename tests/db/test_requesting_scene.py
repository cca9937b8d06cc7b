"""The builders of the tests make rows that the database accepts."""

import pytest

from tests import factory


@pytest.mark.django_db
def test_builders_make_a_whole_scene() -> None:
    obj = factory.museum_object("AR 0070", "The Quarantine Island")
    entry = factory.entry(obj, number="23")
    view = factory.owed_view(obj, demanded_by=entry)
    factory.treatment(obj)
    line = factory.request_line(factory.request(), obj)
    factory.owed_view(obj, "RK", "F", "L", demanded_by=line)
    session = factory.session()
    shot = factory.shot_line(session, obj, meets=[view])
    factory.rules()
    assert list(shot.owed_views.all()) == [view]
    assert view.demands.get().entry == entry
    assert obj.numbers.get().number == "AR 0070"
