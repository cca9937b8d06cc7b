"""A protocol line that prefers the cleaned state: drafts, demands, statuses, forecasts."""

from __future__ import annotations

import copy
from datetime import datetime, timedelta
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from imaging_requests.collection.models import CollectionObject, Entry
from imaging_requests.people.errors import DomainError
from imaging_requests.people.models import User
from imaging_requests.progress.models import EntryStatus, ViewStatus
from imaging_requests.progress.rehearsal_work import rehearse
from imaging_requests.progress.rehearsing import try_draft
from imaging_requests.progress.settle import settle, verify
from imaging_requests.protocols import actions, compare, trial
from imaging_requests.protocols.models import EntryPin, ProtocolVersion, RuleKind
from imaging_requests.protocols.rules import read_definition
from imaging_requests.reckoning import shots
from imaging_requests.reckoning.shots.answer import as_data
from imaging_requests.requesting.derivation import sync_owed_views
from imaging_requests.requesting.models import Demand, OwedView
from imaging_requests.treatments.models import Intervention, InterventionRecord, Treatment
from tests import factory
from tests import progress_scene as scene
from tests.db.test_protocols_rules import document
from tests.pure.shot_samples import PROTOCOL_3, SETTINGS

pytestmark = pytest.mark.django_db
NOW = factory.NOW
LATER = NOW + timedelta(hours=1)
FACTS = shots.ObjectFacts(**(trial._KNOWN | trial.INVENTED["a canvas"]))


def preferring(**changes: Any) -> dict[str, Any]:
    """Protocol version 3 with a preference on infrared, or with other changes of that line."""
    whole = document(RuleKind.PROTOCOL, version=5)
    line = next(each for each in whole["lines"] if each["id"] == "painted.ir")
    line.update({"preferred": "cleaned"} | changes)
    return whole


def published(definition: dict[str, Any]) -> ProtocolVersion:
    return ProtocolVersion.objects.create(
        name="catalogue",
        number=definition["version"],
        state="published",
        definition=definition,
        **factory._signatures(),
    )


@pytest.fixture
def signe() -> User:
    factory.rules()
    return factory.lead()


@pytest.fixture
def canvas(signe: User) -> CollectionObject:
    """A canvas whose entry follows the version that prefers the cleaned state in infrared."""
    thing = factory.museum_object("AR 0091")
    factory.entry(thing, number="91", pinned_to=published(preferring()))
    return thing


# Drafts


def test_a_line_may_prefer_the_cleaned_state_and_no_other(signe: User) -> None:
    trial.demand_usable(RuleKind.PROTOCOL, preferring(), protocol=PROTOCOL_3, settings=SETTINGS)
    for changes, said in (
        ({"preferred": "framed"}, "preferred must be one of “cleaned”"),
        ({"anchor": "BT"}, "beside the present one (CUR), which counts as second best"),
        ({"face": "unpainted_back"}, "there is none of a back without paint"),
        ({"face": "E"}, "there is none of the edges"),
    ):
        with pytest.raises(DomainError) as refusal:
            trial.demand_usable(RuleKind.PROTOCOL, preferring(**changes))
        assert said in " ".join(refusal.value.data["sentences"]), changes


def test_two_versions_are_compared_in_words() -> None:
    older, newer = document(RuleKind.PROTOCOL), preferring()
    found = compare.differences(RuleKind.PROTOCOL, older, newer)
    assert [(each.place, each.part, each.before, each.after) for each in found] == [
        (
            "Line painted.ir",
            "preferred",
            "–",
            "the cleaned state, before retouching",
        )
    ]
    older["lines"] = [line for line in older["lines"] if line["id"] != "painted.ir"]
    added = compare.differences(RuleKind.PROTOCOL, older, newer)[0].after
    assert "preferred: the cleaned state, before retouching" in added


def test_the_shot_list_says_what_is_preferred_and_is_else_the_same() -> None:
    plain, other = (
        as_data(
            shots.derive_shot_list(FACTS, protocol=shots.read_protocol(each), settings=SETTINGS)
        )
        for each in (document(RuleKind.PROTOCOL, version=5), preferring())
    )
    note = "Preferred is the cleaned state, before retouching; as it is now is second best."
    (view,) = (view for view in other["views"] if view["technique"] == "IR")
    assert view["notes"][-1] == other["notes"][-1] == note
    view["notes"].remove(note)
    other["notes"].remove(note)
    assert other == plain


def test_two_lines_of_one_version_prefer_a_state_only_if_both_do() -> None:
    whole = preferring()
    line = next(each for each in whole["lines"] if each["id"] == "painted.ir")
    whole["lines"].append(copy.deepcopy(line) | {"id": "front.ir", "face": "F"})
    both = shots.derive_owed(FACTS, protocol=shots.read_protocol(whole))
    assert [view.preferred for view in both if view.technique == "IR"] == ["cleaned"]
    del whole["lines"][-1]["preferred"]
    one = shots.derive_owed(FACTS, protocol=shots.read_protocol(whole))
    assert [view.preferred for view in one if view.technique == "IR"] == [""]


# Demands


def preferences(thing: CollectionObject) -> dict[str, list[tuple[str, bool]]]:
    """Of each view of infrared and UV of the front the demands: preference, and if it lasts."""
    found: dict[str, list[tuple[str, bool]]] = {}
    rows = Demand.objects.filter(owed_view__object=thing, owed_view__face="F").order_by("pk")
    for row in rows.select_related("owed_view"):
        if row.owed_view.technique in ("IR", "UV"):
            known = found.setdefault(row.owed_view.technique, [])
            known.append((row.preferred, row.until is None))
    return found


def test_the_demand_of_the_line_holds_its_preference(canvas: CollectionObject) -> None:
    sync_owed_views([canvas.pk], NOW)
    assert preferences(canvas) == {"IR": [("cleaned", True)], "UV": [("", True)]}
    sync_owed_views([canvas.pk], LATER)
    assert preferences(canvas) == {"IR": [("cleaned", True)], "UV": [("", True)]}


def test_a_version_that_begins_to_prefer_ends_one_demand_and_begins_another(signe: User) -> None:
    thing = factory.museum_object()
    entry = factory.entry(thing)
    sync_owed_views([thing.pk], NOW)
    before = set(OwedView.objects.filter(object=thing).values_list("pk", flat=True))
    EntryPin.objects.create(entry=entry, protocol=published(preferring()), pinned_at=LATER)
    sync_owed_views([thing.pk], LATER)
    assert preferences(thing) == {"IR": [("", False), ("cleaned", True)], "UV": [("", True)]}
    assert set(OwedView.objects.filter(object=thing).values_list("pk", flat=True)) == before


# Statuses


def treat(thing: CollectionObject, now: datetime, *, rows: int = 4) -> Treatment:
    """Cleaned, varnish removed, retouched, varnished, a day each; the first `rows` are done."""
    made = factory.treatment(thing, state="under_way")
    for place, step in enumerate(made.interventions.order_by("step")):
        ended = now - timedelta(days=20 - 5 * place)
        if place < rows:
            values: dict[str, Any] = {
                "state": "finished",
                "started_at": ended - timedelta(days=1),
                "finished_at": ended,
            }
            Intervention.objects.filter(pk=step.pk).update(**values)
            InterventionRecord.objects.create(intervention=step, recorded_at=ended, **values)
        else:
            ahead = timezone.localdate(now) + timedelta(days=5 * place)
            Intervention.objects.filter(pk=step.pk).update(planned_on=ahead)
    return made


def infrared(thing: CollectionObject) -> ViewStatus:
    return ViewStatus.objects.get(owed_view__object=thing, owed_view__technique="IR")


def shoot(thing: CollectionObject, at: datetime, signe: User) -> None:
    view = OwedView.objects.get(object=thing, technique="IR")
    scene.file(scene.picture(view, at, by=signe), at + timedelta(hours=2), by=signe)


def entry_of(thing: CollectionObject) -> Entry:
    return thing.entry_objects.get().entry


def test_a_picture_of_the_cleaned_state_meets_the_view_and_one_of_today_is_second_best(
    canvas: CollectionObject, signe: User
) -> None:
    now = timezone.now()
    other = factory.museum_object("AR 0092")
    factory.entry(other, number="92", pinned_to=entry_of(canvas).pins.get().protocol)
    for thing in (canvas, other):
        treat(thing, now)
    scene.derive(now)
    shoot(canvas, now - timedelta(days=13), signe)
    shoot(other, now - timedelta(days=2), signe)
    scene.derive(now)
    best, second = infrared(canvas), infrared(other)
    assert (best.status, best.is_met, best.reason["preferred"]) == ("filed", True, "met")
    assert "It shows the preferred state: the cleaned state, before retouching" in best.why
    assert (second.status, second.is_met, second.reason["preferred"]) == ("filed", True, "ended")
    assert "It counts as second best; preferred is the cleaned state" in second.why
    counts = [EntryStatus.objects.get(entry=entry_of(thing)) for thing in (canvas, other)]
    assert counts[0].met == counts[1].met == 1
    assert verify(now=now) == []


def test_a_plain_version_asks_for_the_present_state_of_the_same_history(
    canvas: CollectionObject, signe: User
) -> None:
    """What a rehearsal foretells of the preference is what the rules then say."""
    now = timezone.now()
    treat(canvas, now)
    scene.derive(now)
    shoot(canvas, now - timedelta(days=13), signe)
    scene.derive(now)
    plain = read_definition(RuleKind.PROTOCOL, document(RuleKind.PROTOCOL, version=6))
    (tried,) = try_draft([canvas.pk], plain, now=now)
    view = OwedView.objects.get(object=canvas, technique="IR", anchor="CUR")
    now_, then = (
        next(each for each in side.derived.views if each.view_key == str(view.pk))
        for side in (tried.now, tried.then)
    )
    assert (now_.status, now_.reason.get("preferred")) == ("filed", "met")
    assert (then.status, then.reason.get("preferred")) == ("undecided", None)


def test_a_rehearsal_counts_views_that_are_asked_with_another_preferred_state(
    client: Client, signe: User
) -> None:
    factory.entry(factory.museum_object(), number="94")
    settle(now=NOW)
    draft = actions.draft_version(actor=signe, kind="protocol", document=preferring())
    made = rehearse(actor=signe, kind="protocol", pk=draft.pk, read_version=draft.row_version)
    assert made.report["views"] == {"comes": 0, "goes": 0, "other": 0, "preferred": 1}
    (row,) = made.report["by_view"]
    assert (row["what"], row["view"]) == (
        "asked with another preferred state",
        "Infrared of the front",
    )
    client.force_login(signe)
    address = reverse("protocols:version", kwargs={"kind": "protocol", "pk": draft.pk})
    page = client.get(address).content.decode()
    assert "is asked with another preferred state" in page
    assert "would be asked with another preferred state" in page


def test_a_wish_for_the_picture_as_it_is_now_is_not_met_by_the_cleaned_state(
    canvas: CollectionObject, signe: User
) -> None:
    now = timezone.now()
    treat(canvas, now)
    scene.derive(now)
    shoot(canvas, now - timedelta(days=13), signe)
    line = factory.request_line(factory.request(), canvas, technique="IR", state="agreed")
    view = OwedView.objects.get(object=canvas, technique="IR")
    Demand.objects.create(
        owed_view=view, source="request", request_line=line, since=now - timedelta(hours=1)
    )
    scene.derive(now)
    found = infrared(canvas)
    assert (found.status, "preferred" in found.reason) == ("undecided", False)


def test_a_preference_costs_no_query(canvas: CollectionObject, signe: User) -> None:
    now = timezone.now()
    other = factory.museum_object("AR 0093")
    factory.entry(other, number="93")
    for thing in (canvas, other):
        treat(thing, now)

    def queries(thing: CollectionObject) -> int:
        with CaptureQueriesContext(connection) as seen:
            settle([thing.pk], now=now)
        return len(seen)

    assert queries(canvas) == queries(other)
