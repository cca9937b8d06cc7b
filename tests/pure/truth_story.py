"""Tell an object's story in a few lines: events, pictures, owed views, decisions.

Every fact is learnt on the day it becomes true unless ``known=`` names another day. Views are named
by short codes: ``VF-F``, ``RK-F-L`` (raking, front, from the left), ``XR``, ``VF-E``; a surface
other than the first is given with ``surface=``.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from imaging_requests.reckoning.truth.facts import (
    Correction,
    Decision,
    Demand,
    Event,
    Filing,
    NotApplicable,
    ObjectCase,
    ObjectFacts,
    Override,
    OwedView,
    Picture,
    PlannedShot,
    Review,
    Unavailable,
    Waiver,
)
from imaging_requests.reckoning.truth.moment import Moment, look
from imaging_requests.reckoning.truth.status import ViewStatus, statuses
from imaging_requests.reckoning.truth.terms import Anchor, Status, Validity, Verdict
from imaging_requests.reckoning.truth.triggers import read_table

TABLE_PATH = Path(__file__).resolve().parents[2] / "fixtures" / "triggers" / "table-1.json"
TABLE_DATA = json.loads(TABLE_PATH.read_text(encoding="utf-8"))
TABLES = {1: read_table(TABLE_DATA)}
INTAKE = datetime(2020, 1, 1, tzinfo=UTC)
LATER = datetime(2030, 1, 1, tzinfo=UTC)

CANVAS = ["VF-F", "VC-F", "RK-F-L", "RK-F-T", "UV-F", "IR-F", "VF-B", "RK-B-L", "UV-B", "XR"]
PANEL = ["VF-F", "VC-F", "RK-F-L", "UV-F", "IR-F", "VF-B", "RK-B-L", "UV-B", "XR", "VF-E"]
WARPED_PANEL = [*PANEL, "RK-F-T"]


def day(text: str) -> datetime:
    """``2026-02-20`` (noon) or ``2026-02-20 16:30``, in UTC."""
    if len(text) == 10:
        text += " 12:00"
    return datetime.strptime(text, "%Y-%m-%d %H:%M").replace(tzinfo=UTC)


def split(code: str) -> tuple[str, str, str]:
    """Short code → (technique, first surface of the face, variant)."""
    parts = code.split("-")
    face = "T" if parts[0] == "XR" else parts[1]
    return parts[0], f"{face}.1", parts[2] if len(parts) > 2 else ""


@dataclass
class Story:
    """One object whose facts are told one after the other."""

    object_id: str = "AR 0000"
    two_sided: bool = False
    layers: tuple[str, ...] = ("F.1", "B.1", "E.1", "T.1")
    kind: str = "painting"
    facts: list[ObjectFacts] = field(default_factory=list)
    told: dict[str, list[Any]] = field(default_factory=dict)
    count: int = 0

    def __post_init__(self) -> None:
        self.facts.append(
            ObjectFacts(
                key="facts",
                recorded_at=INTAKE,
                valid_from=INTAKE,
                kind=self.kind,
                two_sided=self.two_sided,
                height_mm=800.0,
                width_mm=600.0,
                depth_mm=25.0,
                warp_mm=3.0,
                support="canvas",
                framed=True,
                glazed=False,
                light_class="medium",
                layers=self.layers,
            )
        )

    def _add(self, kind: str, record: Any) -> Any:
        self.told.setdefault(kind, []).append(record)
        return record

    def _key(self, prefix: str) -> str:
        self.count += 1
        return f"{prefix}{self.count}"

    def step(
        self,
        row: int,
        ended: str | None = None,
        *,
        started: str | None = None,
        known: str | None = None,
        treatment: str | None = "T",
        step: int | None = None,
        planned: tuple[str, str] | None = None,
        key: str | None = None,
        **more: Any,
    ) -> Event:
        """An intervention: finished, under way (only ``started``) or planned (neither)."""
        ended_at = day(ended) if ended else None
        started_at = day(started) if started else None
        if started_at is None and ended_at is not None:
            started_at = ended_at - timedelta(hours=3)
        recorded = day(known) if known else (ended_at or started_at or INTAKE)
        self.count += 1
        return self._add(
            "events",
            Event(
                key=key or f"i{self.count}",
                recorded_at=recorded,
                order=self.count,
                row=row,
                table_version=1,
                started_at=started_at,
                ended_at=ended_at,
                planned_start_at=day(planned[0]) if planned else None,
                planned_end_at=day(planned[1]) if planned else None,
                treatment=treatment,
                step=step,
                **more,
            ),
        )

    def incident(self, at: str, **more: Any) -> Event:
        """Something happened to the object."""
        return self.step(32, at, started=at, treatment=None, **more)

    def correct(self, event: Event, known: str, **changes: Any) -> Event:
        """A later record of the same event."""
        return self._add("events", replace(event, recorded_at=day(known), **changes))

    def picture(
        self,
        code: str,
        captured: str,
        *,
        accepted: str | None = "same",
        filed: str | None = "same",
        sent_back: str | None = None,
        recalled: str | None = None,
        handed_in: str | None = None,
        surface: str | None = None,
        chain: str | None = None,
        frames_good: bool = False,
        **more: Any,
    ) -> Picture:
        """A picture, by default accepted and filed at once."""
        technique, first, variant = split(code)
        at = day(captured)
        made = self._add(
            "pictures",
            Picture(
                chain=chain or self._key("c"),
                version=more.pop("version", 1),
                recorded_at=at,
                surface=surface or first,
                technique=technique,
                variant=more.pop("variant", variant),
                captured_at=at,
                px_per_mm=more.pop("px_per_mm", 12.0),
                handed_in_at=day(handed_in) if handed_in else None,
                **more,
            ),
        )
        if sent_back:
            self.review(made, Verdict.SENT_BACK, sent_back, frames_good=frames_good)
            return made
        if handed_in or accepted is None:
            return made
        self.review(made, Verdict.ACCEPTED, captured if accepted == "same" else accepted)
        if filed is not None:
            when = day(captured if filed == "same" else filed)
            self._add(
                "filings",
                Filing(
                    key=self._key("f"),
                    recorded_at=when,
                    chain=made.chain,
                    version=made.version,
                    starts_at=when,
                ),
            )
        if recalled:
            self.review(made, Verdict.RECALLED, recalled, frames_good=frames_good)
        return made

    def review(
        self, picture: Picture, verdict: Verdict, at: str, *, frames_good: bool = False
    ) -> Review:
        """A reviewer's act."""
        return self._add(
            "reviews",
            Review(
                key=self._key("r"),
                recorded_at=day(at),
                chain=picture.chain,
                version=picture.version,
                verdict=verdict,
                at=day(at),
                frames_good=frames_good,
            ),
        )

    def owe(
        self,
        *codes: str,
        anchor: Anchor | None = None,
        surface: str | None = None,
        since: str = "2020-01-02",
        until: str | None = None,
        prefix: str = "",
        catalogue: str | None = "catalogue",
        **more: Any,
    ) -> list[OwedView]:
        """Views with one demand each."""
        made = []
        for code in codes:
            technique, first, variant = split(code)
            view = OwedView(
                key=f"{prefix}{code}",
                recorded_at=day(since),
                surface=surface or first,
                technique=technique,
                variant=variant,
                anchor=anchor or Anchor.current(),
                px_per_mm=more.get("px_per_mm", 12.0),
                tolerance=0.05,
                min_coverage=0.995,
                replaced_by=more.get("replaced_by"),
                replaced_at=day(more["replaced_at"]) if "replaced_at" in more else None,
            )
            self._add("views", view)
            preferred = more.get("preferred", "")
            self.demand(view.key, since, until, catalogue=catalogue, preferred=preferred)
            made.append(view)
        return made

    def demand(
        self,
        view: str,
        since: str,
        until: str | None = None,
        *,
        catalogue: str | None = None,
        preferred: str = "",
    ) -> Demand:
        """One more reason to owe a view."""
        return self._add(
            "demands",
            Demand(
                key=self._key("d"),
                recorded_at=day(since),
                view=view,
                kind="protocol",
                starts_at=day(since),
                ends_at=day(until) if until else None,
                catalogue=catalogue,
                preferred=preferred,
            ),
        )

    def waive(self, view: str, at: str, **more: Any) -> Waiver:
        """A waiver; ``lapses`` and ``ended`` are days."""
        return self._add(
            "waivers",
            Waiver(
                key=self._key("w"),
                recorded_at=day(at),
                view=view,
                granted_at=day(at),
                lapses_at=day(more.pop("lapses")) if "lapses" in more else None,
                ended_at=day(more.pop("ended")) if "ended" in more else None,
                **more,
            ),
        )

    def decide(
        self, picture: Picture, event: Event, verdict: Validity | None, at: str, **more: Any
    ) -> Decision:
        """A conservator's verdict (``None``: the case is recorded and open)."""
        return self._add(
            "decisions",
            Decision(
                key=more.pop("key", None) or self._key("k"),
                recorded_at=day(at),
                chain=picture.chain,
                event=event.key,
                opened_at=event.ended_at or day(at),
                verdict=verdict,
                decided_at=more.pop("decided_at", day(at) if verdict else None),
                **more,
            ),
        )

    def tell(self, kind: str, record: Any) -> Any:
        """Any other record: ``not_applicable``, ``planned``, ``unavailable`` …"""
        return self._add(kind, record)

    def case(self) -> ObjectCase:
        """Everything told so far."""
        lists = {kind: tuple(records) for kind, records in self.told.items()}
        return ObjectCase(object_id=self.object_id, facts=tuple(self.facts), **lists)

    def at(self, t: str | datetime, *, known: str | datetime | None = None) -> Moment:
        """The story at a valid day, with all knowledge or with that of ``known``."""
        valid = day(t) if isinstance(t, str) else t
        knowledge = day(known) if isinstance(known, str) else known
        return look(self.case(), TABLES, t=valid, u=knowledge or LATER)

    def words(self, t: str, *, known: str | None = None) -> dict[str, Status]:
        """Status of every view in force, by the view's key."""
        return {s.view.key: s.status for s in statuses(self.at(t, known=known))}

    def status(self, key: str, t: str, *, known: str | None = None) -> ViewStatus:
        """The status of one view."""
        found = statuses(self.at(t, known=known))
        return next(s for s in found if s.view.key == key)


__all__ = [
    "CANVAS",
    "INTAKE",
    "LATER",
    "PANEL",
    "TABLES",
    "TABLE_DATA",
    "WARPED_PANEL",
    "Anchor",
    "Correction",
    "Demand",
    "NotApplicable",
    "Override",
    "PlannedShot",
    "Status",
    "Story",
    "Unavailable",
    "Validity",
    "Verdict",
    "day",
    "split",
]
