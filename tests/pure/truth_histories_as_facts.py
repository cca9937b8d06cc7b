"""The histories of :mod:`.truth_histories` as the product's facts."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

from imaging_requests.reckoning.truth import facts as f
from imaging_requests.reckoning.truth.terms import Anchor, AnchorKind, Validity, Verdict
from tests.pure.truth_histories import SPAN

START = datetime(2025, 1, 1, tzinfo=UTC)
EVENT_FIELDS = (
    *("order", "row", "face", "area_cm2", "area_pct"),
    *("opens_surface", "treatment", "phase", "step"),
)
PICTURE_FIELDS = (
    *("chain", "version", "surface", "technique", "variant"),
    *("px_per_mm", "coverage", "complete"),
)
VIEW_FIELDS = (
    *("surface", "technique", "variant", "px_per_mm"),
    *("tolerance", "min_coverage", "replaced_by"),
)


def when(hour: int | None) -> Any:
    """Hours of a history as an instant; ``None`` stays ``None``."""
    return None if hour is None else START + timedelta(hours=hour)


def as_anchor(data: dict[str, Any]) -> Anchor:
    """An anchor of a history as the product's."""
    return Anchor(
        kind=AnchorKind(data["kind"]),
        **{name: data[name] for name in ("treatment", "phase", "step", "surface", "window")},
        instant=when(data["instant"]),
    )


def as_event(data: dict[str, Any]) -> f.Event:
    """An event of a history as the product's."""
    return f.Event(
        table_version=1,
        started_at=when(data["started"]),
        ended_at=when(data["ended"]),
        planned_at=when(data["planned_at"]),
        dropped_at=when(data["dropped"]),
        puts_on=None if data["direction"] is None else data["direction"] == "on",
        **{
            name: data[name]
            for name in [
                "order",
                "row",
                "face",
                "area_cm2",
                "area_pct",
                "opens_surface",
                "treatment",
                "phase",
                "step",
            ]
        },
        **_base(data),
    )


def _base(data: dict[str, Any]) -> dict[str, Any]:
    return {
        "key": data["key"],
        "recorded_at": when(data["recorded"]),
        "withdrawn": data["withdrawn"],
    }


def _known(data: dict[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in _base(data).items() if name != "key"}


def as_case(data: dict[str, Any]) -> f.ObjectCase:
    """The whole history as the product's facts."""
    return f.ObjectCase(
        object_id="random",
        facts=(
            f.ObjectFacts(
                key="facts",
                recorded_at=when(-SPAN),
                valid_from=when(-SPAN),
                two_sided=data["two_sided"],
                height_mm=data["height"],
                width_mm=data["width"],
                layers=tuple(data["layers"]),
            ),
        ),
        events=tuple(as_event(e) for e in data["events"]),
        pictures=tuple(
            f.Picture(
                captured_at=when(p["captured"]),
                handed_in_at=when(p["handed_in"]),
                **{
                    name: p[name]
                    for name in [
                        "chain",
                        "version",
                        "surface",
                        "technique",
                        "variant",
                        "px_per_mm",
                        "coverage",
                        "complete",
                    ]
                },
                **_known(p),
            )
            for p in data["pictures"]
        ),
        reviews=tuple(
            f.Review(
                chain=r["chain"],
                version=r["version"],
                verdict=Verdict(r["verdict"]),
                at=when(r["at"]),
                frames_good=r["frames_good"],
                **_base(r),
            )
            for r in data["reviews"]
        ),
        filings=tuple(
            f.Filing(
                chain=x["chain"],
                version=x["version"],
                starts_at=when(x["from"]),
                ends_at=when(x["to"]),
                **_base(x),
            )
            for x in data["filings"]
        ),
        views=tuple(
            f.OwedView(
                anchor=as_anchor(v["anchor"]),
                replaced_at=when(v["replaced_at"]),
                **{
                    name: v[name]
                    for name in [
                        "surface",
                        "technique",
                        "variant",
                        "px_per_mm",
                        "tolerance",
                        "min_coverage",
                        "replaced_by",
                    ]
                },
                **_base(v),
            )
            for v in data["views"]
        ),
        demands=tuple(
            f.Demand(
                view=d["view"],
                kind=d["kind"],
                ref=d["ref"],
                preferred=d["preferred"],
                starts_at=when(d["from"]),
                ends_at=when(d["to"]),
                **_base(d),
            )
            for d in data["demands"]
        ),
        waivers=tuple(
            f.Waiver(
                view=w["view"],
                granted_at=when(w["granted"]),
                lapses_at=when(w["lapses"]),
                ended_at=when(w["ended"]),
                conservator=w["conservator"],
                lead=w["lead"],
                **_base(w),
            )
            for w in data["waivers"]
        ),
        not_applicable=tuple(
            f.NotApplicable(
                view=n["view"], starts_at=when(n["from"]), ends_at=when(n["to"]), **_base(n)
            )
            for n in data["not_applicable"]
        ),
        decisions=tuple(
            f.Decision(
                chain=k["chain"],
                event=k["event"],
                opened_at=when(k["opened"]),
                decided_at=when(k["decided"]),
                verdict=None if k["verdict"] is None else Validity(k["verdict"]),
                **_base(k),
            )
            for k in data["decisions"]
        ),
        planned=tuple(
            f.PlannedShot(
                view=s["view"],
                session="s",
                confirmed_at=when(s["confirmed"]),
                released_at=when(s["released"]),
                session_ends_at=when(s["over"]),
                **_base(s),
            )
            for s in data["shots"]
        ),
        unavailable=tuple(
            f.Unavailable(
                kind="away",
                starts_at=when(a["from"]),
                ends_at=when(a["to"]),
                surface=a["surface"],
                **_base(a),
            )
            for a in data["absences"]
        ),
    )
