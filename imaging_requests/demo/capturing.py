"""Every visit to the studio: planned, shot, brought in, handed in, reviewed and sealed."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta
from functools import partial

from django.db import transaction

from imaging_requests.campaigns import actions as campaigns
from imaging_requests.campaigns.checks import check_session
from imaging_requests.campaigns.models import Session, ShotLine
from imaging_requests.collection.models import EntryObject
from imaging_requests.deliverables import actions as deliverables
from imaging_requests.deliverables import filing
from imaging_requests.deliverables.models import (
    Deliverable,
    DeliverableState,
    Package,
    PackageItem,
    Polarity,
)
from imaging_requests.demo import bringing, duties
from imaging_requests.demo.calendar import working_day_after
from imaging_requests.demo.codes import View
from imaging_requests.demo.diary import ACCEPTED, LOOSE, PLANNED, SENT_BACK, Visit
from imaging_requests.demo.painting import Darkroom
from imaging_requests.demo.takes import TakenFrame
from imaging_requests.demo.world import Step, World
from imaging_requests.intake import actions as intake
from imaging_requests.intake.models import Drop

MINUTE = timedelta(minutes=1)
#: Within one instant: first what was shot is brought in, then reviewed, then sealed, then planned.
BRING, REVIEW, SEAL, PLAN = 1, 2, 3, 8


def steps(world: World, visits: Sequence[Visit], room: Darkroom) -> Iterator[Step]:
    """Yield everything that happens around the visits of this demo's objects."""
    for visit in visits:
        act = _Act(world, visit, room)
        begins, ends = visit.begins_at(world.calendar), visit.ends_at(world.calendar)
        name = f"{visit.number} at the {visit.station}"
        if visit.outcome == LOOSE:
            yield Step(ends, BRING, f"{name}: loose files", partial(act.bring_loose, ends))
            continue
        planned_on = working_day_after(begins.date(), -1)
        if visit.outcome == PLANNED:
            planned_on = world.calendar.day(world.scenario["campaigns"]["planned_on"])
        plan_at = world.calendar.on(planned_on, "15:00")
        yield Step(plan_at, PLAN, f"{name}: planned", partial(act.plan, plan_at))
        if visit.outcome == PLANNED:
            continue
        yield Step(begins, BRING, f"{name}: begun", partial(act.begin, begins))
        yield Step(ends, BRING, f"{name}: brought in", partial(act.bring_in, ends))
        handed_in = world.calendar.at(visit.handed_in) if visit.handed_in else ends + 20 * MINUTE
        yield Step(handed_in, BRING, f"{name}: handed in", partial(act.hand_in, handed_in))
        if visit.outcome in (ACCEPTED, SENT_BACK):
            review = world.scenario["campaigns"]["review"]
            day = working_day_after(handed_in.date(), review["working_days_later"])
            reviewed = world.calendar.on(day, review["at"])
            yield Step(reviewed, REVIEW, f"{name}: reviewed", partial(act.review, reviewed))
    yield from _sealings(world)


def _sealings(world: World) -> Iterator[Step]:
    """The days on which accepted pictures go into sealed packages, entry by entry."""
    data = world.scenario["campaigns"]["sealing"]
    for written in data["at"]:
        for entry in world.scenario.entries:
            number = entry["no"]
            last = data["except_after"].get(number, written)
            if written[:10] <= last[:10]:
                at = world.calendar.at(written)
                yield Step(at, SEAL, f"entry {number}: sealed", partial(_seal, world, number, at))


def _seal(world: World, number: str, now: datetime) -> None:
    entry_id = world.entries[number]
    if _has_unsealed(entry_id) and filing.sheet_of(entry_id, now).ready:
        deliverables.file_accepted(
            actor=world.people[world.scenario["campaigns"]["sealing"]["by"]],
            entry_id=entry_id,
            now=now,
        )


def _has_unsealed(entry_id: int) -> bool:
    """Whether an accepted picture of the entry is in no sealed package yet."""
    members = EntryObject.objects.filter(entry=entry_id, removed_at=None).values("object")
    sealed = PackageItem.objects.filter(package__state=Package.State.SEALED).values("deliverable")
    accepted = Deliverable.objects.filter(state=DeliverableState.ACCEPTED, object__in=members)
    return accepted.exclude(pk__in=sealed).exists()


class _Act:
    """What people do about one visit. Every method is one instant of the story."""

    def __init__(self, world: World, visit: Visit, room: Darkroom) -> None:
        self.world, self.visit, self.room = world, visit, room
        self.photographer = world.people[visit.photographer]
        self.lead = world.people["Signe"]
        self.session_id = 0

    def plan(self, now: datetime) -> None:
        """Plan the session for everything that is owed of these views, and confirm it."""
        world, visit = self.world, self.visit
        wanted = [
            duty.pk
            for view in visit.views
            for duty in duties.to_make(world, visit.number, view, now)
        ]
        session = campaigns.plan_session(
            actor=self.lead,
            campaign_id=world.campaigns[visit.campaign],
            station_id=world.stations[visit.station],
            photographer_id=self.photographer.pk,
            starts_at=visit.begins_at(world.calendar),
            ends_at=visit.ends_at(world.calendar),
            owed_view_ids=wanted,
            note=visit.note,
            handlers=visit.handlers,
            now=now,
        )
        self.session_id = session.pk
        self._sign_limits(session, now)
        campaigns.confirm_session(
            actor=self.lead, session_id=session.pk, read_version=self._version(), now=now
        )

    def begin(self, now: datetime) -> None:
        """Begin the session."""
        campaigns.start_session(
            actor=self.photographer,
            session_id=self.session_id,
            read_version=self._version(),
            now=now,
        )

    def bring_in(self, now: datetime) -> None:
        """Drop the files of every line, let the intake do its work, and close the session."""
        brought: list[TakenFrame] = []
        with bringing.reading(now) as readers:
            for line in self._lines():
                frames = self.room.frames_of(self.visit, _code(line))
                bringing.drop_line(line, frames, actor=self.photographer, now=now)
                readers.receive()
                brought += frames
            bringing.work_off_with(readers)
        self._join(now)
        self.room.throw_away(brought)
        for drop in Drop.objects.filter(session=self.session_id):
            intake.close_drop(
                actor=self.photographer, drop_id=drop.pk, read_version=drop.row_version, now=now
            )
        for line in self._lines():
            campaigns.mark_line_done(
                actor=self.photographer, line_id=line.pk, read_version=line.row_version, now=now
            )
        campaigns.close_session(
            actor=self.photographer,
            session_id=self.session_id,
            read_version=self._version(),
            now=now,
        )

    def _join(self, now: datetime) -> None:
        """Have the plates joined where the story shows it; workers join the rest when served."""
        told = self.world.scenario["campaigns"]["joined"]
        if self.visit.number not in told["objects"]:
            return
        with transaction.atomic():
            for row in self._pictures(DeliverableState.BUILDING):
                if row.technique == told["technique"]:
                    deliverables.ask_for_join(row, now=now)
        bringing.work_off(now)

    def bring_loose(self, now: datetime) -> None:
        """Drop files that belong to no session; they wait on the sorting table."""
        frames = self.room.frames_of(self.visit, self.visit.views[0].code)
        bringing.drop_loose(
            frames,
            actor=self.photographer,
            note=self.visit.note,
            again=self.world.scenario["campaigns"]["loose"]["again"],
            now=now,
        )
        bringing.work_off(now)
        self.room.throw_away(frames)

    def hand_in(self, now: datetime) -> None:
        """Hand in every picture that was put together."""
        for row in self._pictures(DeliverableState.BUILDING):
            deliverables.hand_in(
                actor=self.photographer,
                deliverable_id=row.pk,
                read_version=row.row_version,
                polarity=Polarity.NEGATIVE if row.technique == "XR" else "",
                now=now,
            )

    def review(self, now: datetime) -> None:
        """Accept every picture, or send it back if the story says so."""
        for row in self._pictures(DeliverableState.TO_REVIEW):
            if self.visit.outcome == SENT_BACK:
                told = self.world.scenario["campaigns"]["review"]["sent_back"]
                deliverables.send_back(
                    actor=self.lead,
                    deliverable_id=row.pk,
                    read_version=row.row_version,
                    reasons=told["reasons"],
                    note=told["note"],
                    now=now,
                )
            else:
                deliverables.accept(
                    actor=self.lead,
                    deliverable_id=row.pk,
                    read_version=row.row_version,
                    is_history=True,
                    now=now,
                )

    def _sign_limits(self, session: Session, now: datetime) -> None:
        """Let those sign who answer for light, ultraviolet and turns beyond the house's limits."""
        told = self.world.scenario["campaigns"]["limits"]
        for finding in check_session(session, now=now):
            for role in finding.lacking:
                campaigns.sign_limit(
                    actor=self.world.people[told[role]],
                    session_id=session.pk,
                    read_version=self._version(),
                    check_code=finding.code,
                    object_id=finding.object_id or 0,
                    face=finding.face,
                    reason=told["reason"],
                    now=now,
                )

    def _version(self) -> int:
        return Session.objects.values_list("row_version", flat=True).get(pk=self.session_id)

    def _lines(self) -> list[ShotLine]:
        return list(ShotLine.objects.filter(session=self.session_id).order_by("position"))

    def _pictures(self, state: str) -> list[Deliverable]:
        return list(
            Deliverable.objects.filter(
                shot_line__session=self.session_id, state=state, is_complete=True
            ).order_by("pk")
        )


def _code(line: ShotLine) -> str:
    return View(line.technique, line.face, line.variant).code
