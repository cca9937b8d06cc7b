"""Make the rows of one chunk: objects with all that is theirs, and the entries that hold them."""

from __future__ import annotations

import json
import random
import uuid
import zoneinfo
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta

from django.conf import settings

from imaging_requests.collection.models import ObjectFacts
from imaging_requests.collection.rules import sort_key
from imaging_requests.demo.large import rows as tables
from imaging_requests.demo.large.duty_rows import STAYED, duties_for, owe, owed_once
from imaging_requests.demo.large.evidence import photograph
from imaging_requests.demo.large.ground import Ground, Memory, Rules
from imaging_requests.demo.large.life_rows import keep_absences, keep_courses
from imaging_requests.demo.large.lives import Keys, live
from imaging_requests.demo.large.picture_rows import decide, show
from imaging_requests.demo.large.rows import KEYS_PER_OBJECT, Rows
from imaging_requests.demo.large.sizes import SEED, EntryPlan, Unit
from imaging_requests.demo.large.status_rows import keep_entry, keep_object
from imaging_requests.demo.large.subjects import Subject
from imaging_requests.demo.large.things import number_of, title_of, types
from imaging_requests.demo.large.unsaved import Unsaved
from imaging_requests.demo.large.wishes import plan_and_wish, waive
from imaging_requests.progress.acts import question_of
from imaging_requests.progress.rules import Derived, derive_object
from imaging_requests.reckoning.truth import facts as truth
from imaging_requests.reckoning.truth.moment import look, with_decisions
from imaging_requests.reckoning.truth.words import Speech

_facts = Unsaved(ObjectFacts)


@dataclass
class Maker:
    """Makes chunks; one for each process, because it remembers what it has worked out."""

    ground: Ground
    rules: Rules
    memory: Memory
    zone: zoneinfo.ZoneInfo

    @classmethod
    def ready(cls, ground: Ground) -> Maker:
        """Read the rules and begin without memories."""
        return cls(ground, Rules.load(), Memory(), zoneinfo.ZoneInfo(settings.STUDIO_ZONE))

    def make(self, number: int, units: Sequence[Unit]) -> Rows:
        """Make everything of one chunk."""
        rows = Rows(first_key=units[0].objects[0] * KEYS_PER_OBJECT)
        subjects = {unit: [self._begin(unit, pk, rows) for pk in unit.objects] for unit in units}
        everyone = [subject for group in subjects.values() for subject in group]
        names = plan_and_wish(number, everyone, rows, self.ground)
        derived = {subject.pk: self._conclude(subject, names, rows) for subject in everyone}
        for unit, group in subjects.items():
            self._enter(unit, group, derived, rows)
        return rows

    def _begin(self, unit: Unit, pk: int, rows: Rows) -> Subject:
        """Invent an object, derive what it is owed, and photograph it."""
        dice = random.Random(f"{SEED} object {pk}")
        since, now = self.ground.since, self.ground.now
        of = dice.choice(types())
        if unit.has_left and pk == unit.objects[-1]:
            of = next(each for each in types() if each.kind == "painting")
        subject = Subject(
            pk=pk,
            of=of,
            title=title_of(dice),
            dice=dice,
            created_at=since + timedelta(days=dice.randint(0, 300), hours=dice.randint(8, 17)),
            entries=unit.entries,
            has_left=unit.has_left and pk == unit.objects[-1],
        )
        facts = self._object_rows(subject, rows)
        subject.courses = live(
            pk,
            of,
            dice,
            keys=Keys(rows.keys(tables.TREATMENTS), rows.keys(tables.STEPS)),
            conservators=self.ground.conservators,
            since=subject.created_at + timedelta(days=200),
            now=now,
        )
        added_at = subject.created_at
        protocols: dict[int, list[int]] = {}
        for entry in unit.entries:
            protocols.setdefault(self._protocol(entry), []).append(entry.pk)
        duties, _ = duties_for(
            subject, facts, protocols=protocols, rules=self.rules, memory=self.memory, now=now
        )
        if subject.has_left:
            owed_once(subject, duties, rows, memory=self.memory, added_at=added_at)
            duties, _ = duties_for(
                subject, facts, protocols={}, rules=self.rules, memory=self.memory, now=now
            )
        owe(subject, duties, rows, memory=self.memory, added_at=added_at)
        keep_courses(subject, self.rules, rows)
        keep_absences(subject, rows, now=now)
        made = photograph(
            [owed.want for owed in subject.owed],
            subject.courses,
            dice,
            first_at=subject.created_at + timedelta(days=dice.randint(60, 150)),
            now=now - timedelta(days=4),
        )
        show(subject, made, rows, self.ground)
        waive(subject, rows, self.ground)
        return subject

    def _protocol(self, entry: EntryPlan) -> int:
        """Every fourth catalogue still follows the older version."""
        older, newer = self.ground.protocols
        return older if entry.catalogue % 4 == 0 else newer

    def _object_rows(self, subject: Subject, rows: Rows) -> ObjectFacts:
        of, pk, at = subject.of, subject.pk, subject.created_at
        rows.add(
            tables.OBJECTS,
            pk,
            uuid.UUID(int=subject.dice.getrandbits(128), version=4),
            of.kind,
            subject.title,
            at,
        )
        rows.add(tables.NUMBERS, pk, pk, number_of(pk), at.date())
        for code in "FBE":
            rows.add(tables.FACES, rows.key(tables.FACES), pk, code)
        values = {
            "height_mm": of.height_mm,
            "width_mm": of.width_mm,
            "depth_mm": of.depth_mm,
            "warp_mm": of.warp_mm,
            "weight_kg": of.weight_kg,
            "support": of.support,
            "painted_faces": of.painted_faces,
            "framed": of.framed,
            "glazed": of.glazed,
            "sealed": of.sealed,
            "flash_allowed": of.flash_allowed,
            "uv_allowed": of.uv_allowed,
            "light_class": of.light_class,
            "flaking": of.flaking,
        }
        rows.add(tables.FACTS, pk, pk, at, at, *values.values())
        subject.note(
            "facts",
            truth.ObjectFacts(
                key=f"f-{pk}",
                recorded_at=at,
                valid_from=at,
                kind=of.kind,
                two_sided=of.painted_faces == "FB",
                height_mm=of.height_mm,
                width_mm=of.width_mm,
                depth_mm=of.depth_mm,
                warp_mm=of.warp_mm,
                support=of.support,
                framed=of.framed,
                glazed=of.glazed,
                light_class=of.light_class,
            ),
        )
        return _facts(id=pk, object_id=pk, valid_from=at, recorded_at=at, **values)

    def _conclude(self, subject: Subject, names: dict[str, str], rows: Rows) -> Derived:
        """Ask and answer what treatments raised, then derive the statuses."""
        now = self.ground.now
        own = {str(course.treatment.pk): course.treatment.code for course in subject.courses}
        speech = Speech(tables=self.rules.tables, zone=self.zone, names=own | names)
        moment = None
        if subject.made and subject.courses:
            moment = look(subject.case(), self.rules.tables, t=now, u=now)
            decide(
                subject,
                moment,
                rows,
                now=now,
                reason=lambda case: question_of(case, speech),
            )
            moment = with_decisions(moment, subject.case())
        for course in subject.courses:
            row = course.treatment
            rows.add(
                tables.TREATMENTS,
                row.pk,
                row.object_id,
                row.code,
                row.title,
                row.conservator_id,
                str(row.state),
                row.planned_from,
                row.planned_to,
                json.dumps(row.scope),
                row.recorded_at,
                row.signed_off_at,
            )
        derived = derive_object(subject.case(), speech=speech, now=now, moment=moment)
        keep_object(subject.pk, derived, rows, now=now)
        return derived

    def _enter(
        self, unit: Unit, group: list[Subject], derived: dict[int, Derived], rows: Rows
    ) -> None:
        """Write the entries that hold a unit, with their grades."""
        for entry in unit.entries:
            rows.add(
                tables.ENTRIES,
                entry.pk,
                entry.catalogue,
                str(entry.number),
                sort_key(str(entry.number)),
                group[0].title,
                self.ground.curators[entry.pk % len(self.ground.curators)],
                1 + entry.pk % 5,
            )
            for place, subject in enumerate(group, start=1):
                added_at = subject.created_at
                rows.add(
                    tables.MEMBERS,
                    rows.key(tables.MEMBERS),
                    entry.pk,
                    subject.pk,
                    place,
                    added_at,
                    added_at + STAYED if subject.has_left else None,
                )
            pinned_at = min(subject.created_at for subject in group)
            rows.add(tables.PINS, entry.pk, entry.pk, self._protocol(entry), pinned_at, pinned_at)
            members = [derived[subject.pk] for subject in group if not subject.has_left]
            keep_entry(entry, members, rows, now=self.ground.now)
