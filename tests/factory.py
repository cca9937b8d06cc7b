"""Small builders for tests: one invented museum with sensible defaults.

Every function makes the least that stands by itself and takes what a test wants different by
keyword. Rows are written directly, past the actions, because a builder sets the scene; what a
test is about goes through an action. The clock of the scene is `NOW`, a Thursday morning.
"""

from __future__ import annotations

import itertools
import json
from collections.abc import Iterable, Sequence
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

from imaging_requests.campaigns.models import (
    Campaign,
    Resource,
    Session,
    SessionState,
    SetupCard,
    ShotLine,
    Station,
)
from imaging_requests.collection.models import (
    Catalogue,
    CollectionObject,
    Entry,
    EntryObject,
    Face,
    ObjectFacts,
    ObjectNumber,
    Unavailability,
)
from imaging_requests.deliverables.models import (
    Deliverable,
    DeliverableFrame,
    DeliverableKind,
    DeliverableState,
)
from imaging_requests.intake.models import Copy, FileCheck, Frame, FrameState
from imaging_requests.intake.sheets import expected_spots
from imaging_requests.people.models import RoleHolding, User
from imaging_requests.protocols.models import (
    EntryPin,
    ProtocolVersion,
    Rehearsal,
    RehearsalReading,
    RuleVersion,
    StudioSettingsVersion,
    TriggerTableVersion,
    VersionState,
)
from imaging_requests.protocols.rehearsals import REHEARSED, content_hash
from imaging_requests.requesting.models import (
    Anchor,
    Demand,
    LineState,
    OwedView,
    Purpose,
    Request,
    RequestLine,
)
from imaging_requests.treatments.models import (
    Intervention,
    InterventionState,
    Treatment,
    TreatmentState,
)

FIXTURES = Path(__file__).resolve().parents[1] / "fixtures"
NOW = datetime(2026, 4, 16, 8, 0, tzinfo=UTC)
LONG_AGO = datetime(2025, 9, 1, 8, 0, tzinfo=UTC)

_serial = itertools.count(1)


def hours(number: float) -> timedelta:
    """Short for a duration in hours."""
    return timedelta(hours=number)


IN_AN_HOUR = NOW + hours(1)


# People


def person(name: str = "Oda", *roles: str) -> User:
    """A person with roles: person("Signe", "lead"). The same name may be used once per test."""
    user = User.objects.create(email=f"{name.lower()}@ardenmoor.example", name=name)
    for role in roles:
        RoleHolding.objects.create(user=user, role=role, held_from=LONG_AGO)
    return user


def lead(name: str = "Signe") -> User:
    """The imaging lead."""
    return person(name, "lead")


def photographer(name: str = "Amaro") -> User:
    """A photographer."""
    return person(name, "photographer")


def curator(name: str = "Oda") -> User:
    """A curator."""
    return person(name, "curator")


def conservator(name: str = "Runa") -> User:
    """A conservator."""
    return person(name, "conservator")


def head(name: str = "Corvin") -> User:
    """The head of the department."""
    return person(name, "head")


# Rules as data


def _read(path: str) -> dict[str, Any]:
    data: dict[str, Any] = json.loads((FIXTURES / path).read_text("utf-8"))
    return data


def _signatures() -> dict[str, Any]:
    """The two people whose names stand under every published version."""
    lead_then, head_then = (
        User.objects.get_or_create(
            email=f"{name.lower()}.then@ardenmoor.example", defaults={"name": name}
        )[0]
        for name in ("Edda", "Lorens")
    )
    return {"published_at": LONG_AGO, "published_by": lead_then, "co_signed_by": head_then}


def protocol(number: int = 3, *, state: str = VersionState.PUBLISHED) -> ProtocolVersion:
    """Version 2 or 3 of the catalogue protocol, or the draft of version 4; made once per test."""
    name = f"catalogue-{number}-draft.json" if number == 4 else f"catalogue-{number}.json"
    return ProtocolVersion.objects.get_or_create(
        name="catalogue",
        number=number,
        defaults={
            "state": state,
            "definition": _read(f"protocols/{name}"),
            **({} if state == VersionState.DRAFT else _signatures()),
        },
    )[0]


def studio_settings(number: int = 1) -> StudioSettingsVersion:
    """The published numbers of the studio; made once per test."""
    return StudioSettingsVersion.objects.get_or_create(
        number=number,
        defaults={
            "state": VersionState.PUBLISHED,
            "definition": _read(f"studio/settings-{number}.json"),
            **_signatures(),
        },
    )[0]


def trigger_table(number: int = 1) -> TriggerTableVersion:
    """The published table of re-shoot triggers; made once per test."""
    return TriggerTableVersion.objects.get_or_create(
        number=number,
        defaults={
            "state": VersionState.PUBLISHED,
            "definition": _read(f"triggers/table-{number}.json"),
            **_signatures(),
        },
    )[0]


def rules() -> tuple[ProtocolVersion, StudioSettingsVersion, TriggerTableVersion]:
    """Protocol version 3, studio settings and trigger table."""
    return protocol(), studio_settings(), trigger_table()


def rehearsed(row: RuleVersion, *readers: User) -> Rehearsal | None:
    """A report that a draft, as it stands, would change nothing; read by the people named."""
    if row.kind not in REHEARSED:
        return None
    found = Rehearsal.objects.get_or_create(
        kind=row.kind,
        version_id=row.pk,
        content_sha256=content_hash(row.definition),
        defaults={
            "state": Rehearsal.State.MADE,
            "asked_by": User.objects.filter(name="Edda").first() or lead("Edda"),
            "asked_at": NOW,
            "made_at": NOW,
        },
    )[0]
    for reader in readers:
        RehearsalReading.objects.get_or_create(rehearsal=found, by=reader)
    return found


# Objects and catalogues

CANVAS_FACTS: dict[str, Any] = {
    "height_mm": 790,
    "width_mm": 1060,
    "depth_mm": 28,
    "warp_mm": 5,
    "weight_kg": 10,
    "support": "canvas",
    "painted_faces": "F",
    "framed": True,
    "glazed": False,
    "sealed": False,
    "light_class": "medium",
}
PANEL_FACTS = CANVAS_FACTS | {
    "height_mm": 330,
    "width_mm": 250,
    "depth_mm": 12,
    "warp_mm": 16,
    "weight_kg": 3,
    "support": "panel",
}
COPPER_FACTS = CANVAS_FACTS | {
    "height_mm": 240,
    "width_mm": 180,
    "depth_mm": 2,
    "warp_mm": 0,
    "weight_kg": 1.2,
    "support": "copper",
}
WING_FACTS = CANVAS_FACTS | {
    "height_mm": 1480,
    "width_mm": 560,
    "depth_mm": 18,
    "warp_mm": 14,
    "weight_kg": 16,
    "support": "panel",
    "painted_faces": "FB",
    "framed": False,
}


def facts(obj: CollectionObject, *, at: datetime = LONG_AGO, **changes: Any) -> ObjectFacts:
    """A new record of facts about an object; a canvas where nothing else is said."""
    return ObjectFacts.objects.create(
        object=obj, valid_from=at, recorded_at=at, **(CANVAS_FACTS | changes)
    )


def museum_object(
    number: str = "", title: str = "", *, with_facts: bool = True, **changes: Any
) -> CollectionObject:
    """An object with its number, faces and facts: museum_object("AR 0070", **PANEL_FACTS).

    `kind` and `part_of` go to the object, everything else to its facts.
    """
    number = number or f"AR 9{next(_serial):04}"
    own = {name: changes.pop(name) for name in ("kind", "part_of") if name in changes}
    obj = CollectionObject.objects.create(
        title=title or f"Harbour Study {number[-4:]}", created_at=LONG_AGO, **own
    )
    ObjectNumber.objects.create(object=obj, number=number, in_force_from=LONG_AGO.date())
    Face.objects.bulk_create(Face(object=obj, code=code) for code in "FBE")
    if with_facts:
        facts(obj, **changes)
    return obj


def unavailable(
    obj: CollectionObject,
    since: datetime,
    until: datetime | None = None,
    *,
    reason: str = Unavailability.Reason.LOAN,
    **extra: Any,
) -> Unavailability:
    """A stretch in which the studio cannot have the object."""
    return Unavailability.objects.create(
        object=obj, since=since, until=until, reason=reason, recorded_at=LONG_AGO, **extra
    )


def catalogue(title: str = "The Lantern Coast") -> Catalogue:
    """The catalogue; made once per test."""
    return Catalogue.objects.get_or_create(
        title=title,
        defaults={"image_lock_on": date(2026, 9, 30), "text_lock_on": date(2026, 10, 31)},
    )[0]


def entry(
    *objects: CollectionObject,
    number: str = "",
    title: str = "",
    pinned_to: ProtocolVersion | None = None,
    **extra: Any,
) -> Entry:
    """An entry with its objects, pinned to protocol version 3 unless another is given."""
    number = number or str(next(_serial) + 500)
    made = Entry.objects.create(
        catalogue=extra.pop("catalogue", None) or catalogue(),
        number=number,
        sort_key=number.zfill(6),
        title=title or (objects[0].title if objects else "Entry without objects"),
        **extra,
    )
    EntryObject.objects.bulk_create(
        EntryObject(entry=made, object=obj, position=place, added_at=LONG_AGO)
        for place, obj in enumerate(objects, start=1)
    )
    EntryPin.objects.create(entry=made, protocol=pinned_to or protocol(), pinned_at=LONG_AGO)
    return made


def treatment(
    obj: CollectionObject,
    rows: Sequence[int] = (1, 2, 6, 7),
    *,
    by: User | None = None,
    scope: Iterable[Sequence[str]] = (("VF", "F"), ("VC", "F"), ("RK", "F"), ("UV", "F")),
    state: str = TreatmentState.PLANNED,
    finished_at: datetime | None = None,
    **extra: Any,
) -> Treatment:
    """A treatment with one step for each row of the trigger table.

    With `finished_at` every step is finished, the last at that instant, the others hourly before.
    """
    code = extra.pop("code", "") or f"T{next(_serial)}"
    made = Treatment.objects.create(
        object=obj,
        code=code,
        title=extra.pop("title", "Cleaning and varnishing"),
        conservator=by or User.objects.filter(name="Runa").first() or conservator(),
        state=state,
        scope=[list(pair) for pair in scope],
        recorded_at=LONG_AGO,
        **extra,
    )
    for step, row in enumerate(rows, start=1):
        ended = None if finished_at is None else finished_at - hours(len(rows) - step)
        Intervention.objects.create(
            treatment=made,
            object=obj,
            step=step,
            type_row=row,
            state=InterventionState.PLANNED if ended is None else InterventionState.FINISHED,
            started_at=None if ended is None else ended - hours(0.5),
            finished_at=ended,
            recorded_at=LONG_AGO if ended is None else ended,
        )
    return made


# Duties and wishes


def owed_view(
    obj: CollectionObject,
    technique: str = "UV",
    face: str = "F",
    variant: str = "",
    *,
    demanded_by: Entry | RequestLine | None = None,
    **extra: Any,
) -> OwedView:
    """A duty in force; `demanded_by` an entry or a request line gives it a live demand."""
    anchor = extra.pop("anchor", Anchor.CUR)
    values = {
        "surface": f"{face}.1",
        "anchor_key": anchor,
        "px_per_mm": 6,
        "tolerance_percent": 5,
        "min_coverage_percent": 99.5,
        "spec": {
            "tiles": [1, 1],
            "orientation": "landscape",
            "exposures_ev": [-1, 0, 1, 2] if technique == "UV" else [0],
            "focus_slices": 1,
            "minutes": 28,
            "desk_minutes": 15,
            "frames": 4 if technique == "UV" else 1,
            "cautions": [],
        },
        "created_at": LONG_AGO,
    } | extra
    view = OwedView.objects.create(
        object=obj, technique=technique, face=face, variant=variant, anchor=anchor, **values
    )
    if isinstance(demanded_by, Entry):
        Demand.objects.create(
            owed_view=view,
            source=Demand.Source.PROTOCOL,
            entry=demanded_by,
            protocol_line=f"{technique.lower()}.{face.lower()}",
            since=LONG_AGO,
        )
    elif demanded_by is not None:
        Demand.objects.create(
            owed_view=view,
            source=Demand.Source.REQUEST,
            request_line=demanded_by,
            since=LONG_AGO,
        )
    return view


def request(by: User | None = None, **extra: Any) -> Request:
    """A request without lines."""
    number = extra.pop("number", "") or f"R-{next(_serial):04}"
    values = {
        "purpose": Purpose.TEXT,
        "why": "The text describes the flames on the quay.",
        "filed_at": NOW,
    }
    return Request.objects.create(number=number, requester=by or curator(), **(values | extra))


def request_line(
    asked_in: Request,
    obj: CollectionObject,
    technique: str = "UV",
    face: str = "F",
    variant: str = "",
    *,
    state: str = LineState.SUBMITTED,
    **extra: Any,
) -> RequestLine:
    """A line of a request, submitted unless another state is given."""
    return RequestLine.objects.create(
        request=asked_in,
        object=obj,
        technique=technique,
        face=face,
        variant=variant,
        state=state,
        **extra,
    )


# Capture


def station(code: str = "bay", **extra: Any) -> Station:
    """A station with its resource; made once per test."""
    known = {
        "bay": ("Bay", ["VF", "VC", "RK", "UV"]),
        "ir": ("Infrared stand", ["IR"]),
        "xray": ("X-ray room", ["XR"]),
    }
    name, techniques = known.get(code, (code.title(), ["VF"]))
    made = Station.objects.get_or_create(
        code=code, defaults={"name": name, "techniques": techniques, **extra}
    )[0]
    Resource.objects.get_or_create(
        station=made, defaults={"kind": Resource.Kind.STATION, "name": name}
    )
    return made


def setup_card(at: Station | None = None, technique: str = "UV", **values: Any) -> SetupCard:
    """A set-up card with numbers that can be rebuilt."""
    return SetupCard.objects.create(
        code=f"{(at or station()).code.upper()}-{technique}-{next(_serial):02}",
        version=1,
        station=at or station(),
        technique=technique,
        values={
            "distance_mm": 2400,
            "height_mm": 1250,
            "aperture": 8,
            "iso": 200,
            "exposure_s": 8,
            "filter": "420-B",
            "lamps": "two 365 nm tubes, azimuth 270° and 90°",
        }
        | values,
    )


def campaign(name: str = "Spring backs and X-ray", **extra: Any) -> Campaign:
    """A campaign around `NOW`; made once per name."""
    values = {"starts_on": date(2026, 3, 30), "ends_on": date(2026, 5, 8)} | extra
    return Campaign.objects.get_or_create(name=name, defaults=values)[0]


def session(
    *,
    starts_at: datetime = IN_AN_HOUR,
    length_h: float = 3,
    by: User | None = None,
    state: str = SessionState.CONFIRMED,
    **extra: Any,
) -> Session:
    """A session at the bay without lines and bookings; confirmed unless another state is given."""
    values = {"campaign": extra.pop("campaign", None) or campaign()}
    values["station"] = extra.pop("station", None) or station()
    return Session.objects.create(
        photographer=by or User.objects.filter(name="Amaro").first() or photographer(),
        starts_at=starts_at,
        ends_at=starts_at + hours(length_h),
        zone="Europe/London",
        state=state,
        confirmed_at=None if state in ("draft", "cancelled") else starts_at - hours(24),
        **values,
        **extra,
    )


def shot_line(
    in_session: Session,
    obj: CollectionObject,
    technique: str = "UV",
    face: str = "F",
    variant: str = "",
    *,
    meets: Iterable[OwedView] = (),
    **extra: Any,
) -> ShotLine:
    """A line of a session; one tile and the usual bracket unless something else is given."""
    bracket = {"UV": [-1, 0, 1, 2], "RK": [-1, 0, 1]}.get(technique, [0])
    values: dict[str, Any] = {
        "position": in_session.shot_lines.count() + 1,
        "surface": f"{face}.1",
        "px_per_mm": 6,
        "tiles_across": 1,
        "tiles_down": 1,
        "exposures_ev": bracket,
        "minutes": 28,
        "expected_files": len(bracket),
    }
    line = ShotLine.objects.create(
        session=in_session,
        object=obj,
        technique=technique,
        face=face,
        variant=variant,
        **(values | extra),
    )
    line.owed_views.set(meets)
    return line


# Frames and pictures


def frame(line: ShotLine | None = None, **extra: Any) -> Frame:
    """A frame in the store, placed on a line if one is given, read and without any fault."""
    serial = next(_serial)
    values: dict[str, Any] = {
        "sha256": f"{serial:064x}",
        "size_bytes": 1_000_000 + serial,
        "first_name": f"IMG_{serial:04}.tif",
        "extension": "tif",
        "state": FrameState.RECEIVED if line is None else FrameState.PLACED,
        "shot_line": line,
        "captured_at": NOW if line is None else line.session.starts_at + hours(0.5),
        "received_at": NOW,
        "read_at": NOW,
    }
    return Frame.objects.create(**(values | extra))


def frames_for(line: ShotLine, **extra: Any) -> list[Frame]:
    """Every frame a line asks for, placed, a minute apart in shooting order."""
    first = extra.pop("first_at", line.session.starts_at + hours(0.5))
    made = []
    for number, spot in enumerate(expected_spots(line)):
        values = {
            "tile_x": spot.tile_x,
            "tile_y": spot.tile_y,
            "focus_slice": spot.focus_slice,
            "ev": spot.ev,
            "captured_at": first + timedelta(minutes=number),
        }
        made.append(frame(line, **(values | extra)))
    return made


def proven(frames: Iterable[Frame], places: Sequence[str] = ("store", "second")) -> None:
    """Copies of frames in these places, read back and matched."""
    Copy.objects.bulk_create(
        Copy(
            frame=each,
            place=place,
            is_good=True,
            first_verified_at=NOW,
            verified_at=NOW,
            written_at=NOW,
        )
        for each in frames
        for place in places
    )


def check(of: Frame, verdict: str = "fail", rule: str = "G3", **extra: Any) -> FileCheck:
    """What a rule measured on a frame; a fail unless another verdict is given."""
    values = {"rule_version": 1, "sentence": "The master has 8 bits per channel; 16 are needed."}
    return FileCheck.objects.create(frame=of, rule=rule, verdict=verdict, **(values | extra))


def deliverable(
    obj: CollectionObject,
    technique: str = "UV",
    face: str = "F",
    variant: str = "",
    *,
    state: str = DeliverableState.ACCEPTED,
    by: User | None = None,
    frames: Iterable[Frame] = (),
    **extra: Any,
) -> Deliverable:
    """A version of a picture with its frames, as it stands after somebody decided about it."""
    chosen = list(frames)
    values: dict[str, Any] = {
        "surface": f"{face}.1",
        "kind": DeliverableKind.SINGLE,
        "captured_at": LONG_AGO,
        "px_per_mm": 6,
        "is_complete": True,
        "polarity": "negative" if technique == "XR" else "",
        "cover": chosen[0] if chosen else None,
        "created_at": LONG_AGO,
        "handed_in_at": None if state == DeliverableState.BUILDING else LONG_AGO + hours(1),
    }
    made = Deliverable.objects.create(
        object=obj,
        technique=technique,
        face=face,
        variant=variant,
        state=DeliverableState.BUILDING,
        photographer=by or User.objects.filter(name="Amaro").first() or photographer(),
        **(values | extra),
    )
    DeliverableFrame.objects.bulk_create(
        DeliverableFrame(
            deliverable=made,
            frame=each,
            tile_x=each.tile_x,
            tile_y=each.tile_y,
            ev=each.ev,
            focus_slice=each.focus_slice,
        )
        for each in chosen
    )
    Deliverable.objects.filter(pk=made.pk).update(state=state)
    made.refresh_from_db()
    return made
