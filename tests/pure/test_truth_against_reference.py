"""The product and the slow reference agree on random histories; every rule is reached.

``TRUTH_HISTORIES`` sets the number of histories (300 unless told otherwise, 10,000 for a long run).
"""

from __future__ import annotations

import os
import random
from collections import Counter
from collections.abc import Iterator
from typing import Any

import pytest

from imaging_requests.reckoning.truth.decisions import cases
from imaging_requests.reckoning.truth.gate import gate
from imaging_requests.reckoning.truth.gate_needs import ScopeLine
from imaging_requests.reckoning.truth.moment import look
from imaging_requests.reckoning.truth.preferring import Stand
from imaging_requests.reckoning.truth.status import statuses
from imaging_requests.reckoning.truth.terms import Effect, Status
from tests.pure import reference_truth as reference
from tests.pure.reference_truth_gate import gate_missing
from tests.pure.reference_truth_status import cases as reference_cases
from tests.pure.reference_truth_status import preferences as reference_preferences
from tests.pure.reference_truth_status import statuses as reference_statuses
from tests.pure.truth_histories import SPAN, history
from tests.pure.truth_histories_as_facts import as_case, as_event, when
from tests.pure.truth_story import TABLE_DATA, TABLES

HISTORIES = int(os.environ.get("TRUTH_HISTORIES", "300"))
TIMES = {
    *("recorded", "started", "ended", "planned_at", "dropped", "captured", "handed_in", "at"),
    *("from", "to", "granted", "lapses", "opened", "decided", "confirmed", "released"),
}
PLANS = int(os.environ.get("TRUTH_PLANS", "1000"))


def instants(data: dict[str, Any], seed: int, pairs: int) -> list[tuple[int, int]]:
    """Pairs (valid, known): half of the numbers are instants at which something happened."""
    chance = random.Random(seed * 7919 + 1)
    happened = sorted(set(all_instants(data)))

    def draw(last: int) -> int:
        return chance.choice(happened) if chance.random() < 0.5 else chance.randint(0, last)

    drawn = [(draw(SPAN + 60), draw(SPAN + 200)) for _ in range(pairs)]
    return [(t, max(t, u) if chance.random() < 0.5 else u) for t, u in drawn]


def all_instants(data: dict[str, Any]) -> Iterator[int]:
    """Every whole hour that a history mentions."""
    for records in data.values():
        for record in records if isinstance(records, list) else ():
            if isinstance(record, dict):
                for name, value in record.items():
                    if isinstance(value, int) and name in TIMES:
                        yield value


def effects_in(data: dict[str, Any], t: int, u: int) -> Counter[str]:
    """Resolved cells of every event on every picture, N and H as they stand in the table."""
    found: Counter[str] = Counter()
    openers = reference.opening_events(data, TABLE_DATA, t, u)
    for picture in reference.known(data, "pictures", u):
        for event in openers:
            on = event["direction"] != "off"
            args = (event, picture["technique"], picture["surface"][0], on)
            found[reference.table_cell(data, TABLE_DATA, *args)] += 1
    return found


def test_statuses_and_cases_equal_the_reference_on_random_histories(
    capsys: pytest.CaptureFixture[str],
) -> None:
    reached: Counter[str] = Counter()
    preferred: Counter[str] = Counter()
    effects: Counter[str] = Counter()
    asked = compared = 0
    for seed in range(HISTORIES):
        data = history(seed)
        case = as_case(data)
        for t, u in instants(data, seed, 5):
            moment = look(case, TABLES, t=when(t), u=when(u))
            ours = {s.view.key: str(s.status) for s in statuses(moment)}
            theirs = reference_statuses(data, TABLE_DATA, t, u)
            assert ours == theirs, f"history {seed} at t={t}, as known at u={u}"
            stands = {s.view.key: str(s.better.stand) for s in statuses(moment) if s.better}
            their_stands = reference_preferences(data, TABLE_DATA, t, u)
            assert stands == their_stands, f"preferences of history {seed} at t={t}, u={u}"
            preferred.update(their_stands.values())
            our_cases = {
                (c.chain, c.event.key, str(c.proposal), c.verdict and str(c.verdict))
                for c in cases(moment)
            }
            their_cases = reference_cases(data, TABLE_DATA, t, u)
            assert our_cases == their_cases, f"cases of history {seed} at t={t}, u={u}"
            reached.update(theirs.values())
            asked += len(their_cases)
            compared += len(theirs)
        effects += effects_in(data, *instants(data, seed, 1)[0])
    with capsys.disabled():
        print(  # noqa: T201
            f"\n{HISTORIES} histories, {compared} statuses and {asked} cases compared\n"
            f"statuses reached: {dict(sorted(reached.items()))}\n"
            f"preferred states: {dict(sorted(preferred.items()))}\n"
            f"effects reached: {dict(sorted(effects.items()))}"
        )
    assert set(reached) == {str(status) for status in Status}
    assert set(preferred) == {str(stand) for stand in Stand}
    assert set(effects) == {str(effect) for effect in Effect}
    assert asked > HISTORIES / 10


def scope_of(data: dict[str, Any], chance: random.Random) -> list[dict[str, Any]]:
    views = {(v["surface"], v["technique"], v["variant"]) for v in data["views"]}
    made = {(p["surface"], p["technique"], p["variant"]) for p in data["pictures"]}
    extra = {("F.1", "UV", ""), ("F.1", "IR", ""), ("B.1", "VF", "")}
    lines = sorted(views | made | (extra if chance.random() < 0.5 else set()))
    return [
        {
            "surface": surface,
            "technique": technique,
            "variant": variant,
            "px_per_mm": 12.0,
            "tolerance": 0.05,
            "min_coverage": 0.995,
            "is_of_face": chance.random() < 0.3,
        }
        for surface, technique, variant in lines
    ]


def test_gates_equal_a_brute_force_oracle_on_random_plans(
    capsys: pytest.CaptureFixture[str],
) -> None:
    asked = shut = later = missing_views = 0
    seed = 0
    while asked < PLANS:
        seed += 1
        data = history(seed + 50_000)
        chance = random.Random(seed)
        t, u = instants(data, seed, 1)[0]
        scope = scope_of(data, chance)
        lines = [ScopeLine(**line) for line in scope]
        moment = look(as_case(data), TABLES, t=when(t), u=when(u))
        for event in reference.known(data, "events", u):
            not_begun = event["started"] is None or event["started"] > t
            if event["treatment"] is None or not not_begun:
                continue
            answer = gate(moment, as_event(event), lines)
            ours = {
                (m.line.surface, m.line.technique, m.line.variant, str(m.status.view.anchor.kind))
                for m in answer.missing
            }
            theirs = gate_missing(data, TABLE_DATA, event, scope, t, u)
            where = f"step {event['key']} of history {seed + 50_000} at {t}, {u}"
            assert len(ours) == len(theirs), where
            for *view, kinds in theirs:
                assert any((*view, kind) in ours for kind in kinds), where
            assert str(answer.state) == ("shut" if theirs else "open")
            asked += 1
            shut += bool(theirs)
            later += not answer.is_first_step
            missing_views += len(theirs)
    with capsys.disabled():
        print(  # noqa: T201
            f"\n{asked} plans, {shut} shut by {missing_views} missing views, {later} later steps"
        )
    assert 0.1 < shut / asked < 0.99
    assert later > asked / 10
