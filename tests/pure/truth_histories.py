"""Random histories of one object, as plain dicts with whole hours for instants."""

from __future__ import annotations

import random
from typing import Any

SPAN = 600
GRID = 5
COMMON_ROWS = [1, 2, 2, 6, 6, 7, 8, 9, 10, 11, 11, 12, 12, 13, 16, 18, 23, 25, 25, 30, 31, 32]
VIEWS = [
    ("F.1", "VF", ""),
    ("F.1", "VC", ""),
    ("F.1", "RK", "L"),
    ("F.1", "UV", ""),
    ("F.1", "IR", ""),
    ("B.1", "VF", ""),
    ("B.1", "RK", "L"),
    ("B.1", "UV", ""),
    ("B.1", "IR", ""),
    ("B.2", "VF", ""),
    ("B.2", "UV", ""),
    ("B.3", "VF", ""),
    ("E.1", "VF", ""),
    ("T.1", "XR", ""),
]


class Chance:
    """A seeded source of everything that varies from history to history."""

    def __init__(self, seed: int) -> None:
        self.random = random.Random(seed)
        self.number = 0

    def key(self, prefix: str) -> str:
        self.number += 1
        return f"{prefix}{self.number:04d}"

    def hour(self, first: int = 0, last: int = SPAN) -> int:
        """A multiple of :data:`GRID`, so that different things often happen at one instant."""
        return self.random.randint(-(-first // GRID), max(first, last) // GRID) * GRID

    def may(self, share: float) -> bool:
        return self.random.random() < share

    def record(self, prefix: str, valid: int, **fields: Any) -> dict[str, Any]:
        learnt = valid if self.may(0.6) else valid + self.hour(0, 150)
        return {"key": self.key(prefix), "recorded": learnt, "withdrawn": False, **fields}


def history(seed: int) -> dict[str, Any]:
    """One object's history, with corrections, backdating and things taken back."""
    chance = Chance(seed)
    first = chance.random.sample(VIEWS[:5], 2)
    pool = first + chance.random.sample(VIEWS[5:], chance.random.randint(0, 3))
    retouches = chance.may(0.4)
    if retouches:
        pool = [*first, *2 * [("F.1", "IR", ""), ("T.1", "XR", "")]]
    made: dict[str, Any] = {
        "two_sided": chance.may(0.2),
        "height": 800,
        "width": 600,
        "layers": (
            ["F.1", "B.1", "B.2", "E.1", "T.1"]
            if chance.may(0.25)
            else ["F.1", "B.1", "E.1", "T.1"]
        ),
    }
    made["events"] = events(chance, retouches=retouches)
    made |= pictures(chance, pool)
    made |= views(chance, pool, made["events"])
    made["decisions"] = decisions(chance, made)
    made["absences"] = [
        interval(chance, "a", surface="B.1" if chance.may(0.3) else None)
        for _ in range(chance.random.choice([0, 0, 0, 0, 1]))
    ]
    return made


def correct(chance: Chance, record: dict[str, Any], *names: str) -> list[dict[str, Any]]:
    """The record, and perhaps a later one of the same key with other times or taken back."""
    if not chance.may(0.2):
        return [record]
    later = {**record, "recorded": record["recorded"] + chance.hour(0, 200)}
    shift = chance.random.randint(-8, 8) * GRID
    if chance.may(0.25):
        later["withdrawn"] = True
    for name in names:
        if later[name] is not None:
            later[name] += shift
    return [record, later] if chance.may(0.8) else [later, record]


def events(chance: Chance, *, retouches: bool) -> list[dict[str, Any]]:
    """Up to seven events; one that retouches works in one phase: cleans, retouches, goes on."""
    made = []
    plan = [chance.random.choice([1, 2, 3, 4]), 6, chance.random.choice([3, 4, 7, 26])]
    plan = plan if retouches else []
    hour = chance.hour(0, 150)
    orders = chance.random.sample(range(1, 100), 7)
    for number in range(1, chance.random.randint(0, 7) + 1):
        row = chance.random.choice(COMMON_ROWS if chance.may(0.8) else list(range(1, 33)))
        is_planned = len(plan) >= number and chance.may(0.9)
        row = plan[number - 1] if is_planned else row
        started: int | None = hour
        ended: int | None = hour + chance.hour(GRID, 40)
        if row == 32:
            started = ended
        elif made and chance.may(0.1):
            started, ended = made[-1]["started"], made[-1]["ended"]
        elif chance.may(0.2):
            started, ended = (None, None) if chance.may(0.6) else (started, None)
        share = chance.random.choice([None, None, 0.1, 0.5, 4.0])
        event = chance.record(
            "e",
            ended or started or 0,
            order=orders[number - 1],
            row=row,
            face=chance.random.choice("FFFB"),
            started=started,
            ended=ended,
            planned_at=chance.hour() if ended is None and chance.may(0.3) else None,
            dropped=chance.hour() if ended is None and chance.may(0.2) else None,
            area_cm2=chance.random.choice([None, 3.0, 25.0, 24.0, 60.0]),
            area_pct=share,
            direction=chance.random.choice(["on", "off", None]),
            opens_surface=chance.random.choice([None, None, None, "B.2", "B.9"]),
            treatment=None if row == 32 else chance.random.choice(["T1", "T1", "T2"]),
            phase=chance.random.choice([None, 1, 2]),
            step=number,
        )
        if is_planned:
            event |= {"treatment": "T1", "phase": 1}
        hour = max(hour, ended or 0) + (0 if chance.may(0.2) else chance.hour(0, 120))
        made += correct(chance, event, "started", "ended")
    return made


def interval(chance: Chance, prefix: str, **fields: Any) -> dict[str, Any]:
    first = chance.hour()
    last = first + chance.hour(GRID, 300) if chance.may(0.6) else None
    return chance.record(prefix, first, **{"from": first, "to": last}, **fields)


def pictures(chance: Chance, pool: list[tuple[str, str, str]]) -> dict[str, Any]:
    made: dict[str, list[dict[str, Any]]] = {"pictures": [], "reviews": [], "filings": []}
    for _ in range(chance.random.randint(2, 12)):
        chain = chance.key("c")
        surface, technique, variant = chance.random.choice(pool)
        captured = chance.hour(0, SPAN if chance.may(0.4) else 150)
        for version in range(1, chance.random.choice([1, 1, 1, 2]) + 1):
            handed_in = captured + chance.hour(0, 30) if chance.may(0.7) else None
            picture = chance.record(
                "p",
                captured,
                chain=chain,
                version=version,
                surface=surface,
                technique=technique,
                variant=variant,
                captured=captured,
                handed_in=handed_in,
                px_per_mm=chance.random.choice([12.0, 12.0, 12.0, 12.0, 11.4, 24.0, 8.0]),
                coverage=chance.random.choice([1.0, 1.0, 1.0, 1.0, 1.0, 0.9]),
                complete=chance.may(0.95),
            )
            picture["key"] = f"{chain}/{version}"
            made["pictures"] += correct(chance, picture, "captured")
            review(chance, made, chain, version, captured)
            captured += chance.random.choice([0, 0, 60])
    return made


def review(
    chance: Chance, made: dict[str, list[dict[str, Any]]], chain: str, version: int, at: int
) -> None:
    for _ in range(chance.random.choice([0, 1, 1, 1, 2])):
        at += chance.hour(0, 60)
        verdict = chance.random.choices(["accepted", "sent_back", "recalled"], [7, 2, 1])[0]
        record = chance.record(
            "r",
            at,
            chain=chain,
            version=version,
            verdict=verdict,
            at=at,
            frames_good=chance.may(0.3),
        )
        made["reviews"] += correct(chance, record, "at")
    if chance.may(0.7):
        filed = chance.record("f", at, chain=chain, version=version, **{"from": at, "to": None})
        made["filings"] += correct(chance, filed, "from")


def anchor(chance: Chance, happened: list[dict[str, Any]]) -> dict[str, Any]:
    blank = dict.fromkeys(("treatment", "phase", "step", "surface", "window", "instant"), None)
    kind = chance.random.choices(["CUR", "BT", "DT", "AT", "WIN", "FIX"], [10, 4, 1, 2, 2, 1])[0]
    made = {"kind": kind, **blank}
    if kind in ("BT", "DT", "AT"):
        made["treatment"] = chance.random.choice(["T1", "T1", "T2"])
    if kind in ("BT", "AT"):
        made["phase"] = chance.random.choice([None, None, 1])
    if kind == "DT":
        made["step"] = chance.random.randint(1, 5)
    if kind == "WIN":
        made["surface"] = chance.random.choice(["B.1", "B.1", "B.2", "F.1", "T.1"])
        bares = [e["key"] for e in happened if e["row"] in (10, 11, 12, 25)]
        made["window"] = chance.random.choice([None, *bares, *bares])
    if kind == "FIX":
        made["instant"] = chance.hour()
    return made


def views(
    chance: Chance, pool: list[tuple[str, str, str]], happened: list[dict[str, Any]]
) -> dict[str, Any]:
    kinds = ("views", "demands", "waivers", "not_applicable", "shots")
    made: dict[str, list[dict[str, Any]]] = {kind: [] for kind in kinds}
    for _ in range(chance.random.randint(3, 9)):
        surface, technique, variant = chance.random.choice(pool)
        view = chance.record(
            "v",
            chance.hour(0, 60),
            surface=surface,
            technique=technique,
            variant=variant,
            anchor=anchor(chance, happened),
            px_per_mm=12.0,
            tolerance=0.05,
            min_coverage=0.995,
            replaced_by=None,
            replaced_at=None,
        )
        if chance.may(0.05):
            view |= {"replaced_by": "v0001", "replaced_at": chance.hour()}
        made["views"].append(view)
        first = chance.hour(0, 100)
        last = chance.hour(first, SPAN) if chance.may(0.1) else None
        of_a_treatment = view["anchor"]["kind"] in ("BT", "DT", "AT", "WIN")
        kind = "treatment" if of_a_treatment and chance.may(0.7) else "protocol"
        wish = chance.random.choice(["", "cleaned"])
        for _ in range(chance.random.choice([1, 1, 2])):
            asked = {"from": first, "to": last, "preferred": wish if chance.may(0.9) else ""}
            demand = chance.record("d", first, view=view["key"], kind=kind, ref="", **asked)
            made["demands"] += correct(chance, demand, "from")
        if view["anchor"]["kind"] == "CUR" and surface[0] == "B":
            hand_over(chance, made, view)
        if chance.may(0.15):
            made["waivers"] += waiver(chance, view["key"])
        if chance.may(0.05):
            made["not_applicable"].append(interval(chance, "n", view=view["key"]))
        if chance.may(0.15):
            confirmed = chance.hour()
            made["shots"] += correct(
                chance,
                chance.record(
                    "s",
                    confirmed,
                    view=view["key"],
                    confirmed=confirmed,
                    released=confirmed + chance.hour(1, 200) if chance.may(0.5) else None,
                    over=confirmed + chance.hour(1, 400) if chance.may(0.7) else None,
                ),
                "confirmed",
            )
    return made


def hand_over(chance: Chance, made: dict[str, list[dict[str, Any]]], view: dict[str, Any]) -> None:
    """The same line asks for the face's next surface from the instant it stopped asking here."""
    first = last = chance.hour(0, 100)
    ref, wish = chance.key("l"), chance.random.choice(["", "cleaned"])
    for surface in chance.random.choice([["B.1", "B.2"], ["B.2", "B.1"], ["B.1", "B.2", "B.3"]]):
        other = {**view, "key": chance.key("v"), "surface": surface, "replaced_by": None}
        made["views"].append(other)
        first, last = last, last + chance.hour(GRID, 200)
        to = None if chance.may(0.2) else last
        asked = {"from": first, "to": to, "preferred": wish}
        made["demands"].append(
            chance.record("d", first, view=other["key"], kind="protocol", ref=ref, **asked)
        )


def waiver(chance: Chance, view: str) -> list[dict[str, Any]]:
    granted = chance.hour()
    signers = chance.random.choice([("", "lead"), ("ann", "lead"), ("lead", "lead")])
    record = chance.record(
        "w",
        granted,
        view=view,
        granted=granted,
        lapses=granted + chance.hour(1, 300) if chance.may(0.3) else None,
        ended=granted + chance.hour(1, 300) if chance.may(0.2) else None,
        conservator=signers[0],
        lead=signers[1],
    )
    return correct(chance, record, "granted")


def decisions(chance: Chance, made: dict[str, Any]) -> list[dict[str, Any]]:
    found = []
    chains = sorted({picture["chain"] for picture in made["pictures"]})
    for chain in chains:
        for event in sorted({event["key"] for event in made["events"]}):
            if not chance.may(0.35):
                continue
            opened = chance.hour(0, 300)
            decided = opened + chance.hour(0, 100) if chance.may(0.8) else None
            verdict = chance.random.choice(["valid", "out_of_date"])
            record = chance.record(
                "k",
                opened,
                chain=chain,
                event=event,
                opened=opened,
                decided=decided,
                verdict=None if decided is None else verdict,
            )
            for version in correct(chance, record, "decided"):
                late = version["decided"]
                when = None if late is None else max(late, opened)
                found.append({**version, "decided": when})
            if decided is not None and chance.may(0.2):
                again = {**record, "key": chance.key("k"), "decided": decided + chance.hour(0, 100)}
                again |= {"verdict": chance.random.choice([None, "valid", "out_of_date"])}
                found.append(again | {"recorded": record["recorded"] + chance.hour(0, 100)})
    return found
