"""Wishes of the house with what became of them, waivers, light from elsewhere, recalls."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import datetime
from functools import partial
from typing import Any

from imaging_requests.campaigns import actions as campaigns
from imaging_requests.deliverables import actions as deliverables
from imaging_requests.deliverables.models import (
    CorrectionNotice,
    Deliverable,
    DeliverableState,
    Package,
)
from imaging_requests.demo import duties
from imaging_requests.demo.codes import view_of
from imaging_requests.demo.world import Step, World
from imaging_requests.requesting import actions as requesting
from imaging_requests.requesting.actions import WishedView
from imaging_requests.requesting.models import LineState, Request

#: Within one instant, wishes come after everything that was photographed or treated.
RANK = 6
Row = Mapping[str, Any]


def steps(world: World) -> Iterator[Step]:
    """Yield everything that people ask for and decide, as far as it concerns this demo."""
    data, at = world.scenario["requests"], world.calendar.at
    for row in data["requests"]:
        lines = world.scenario.mine(row["lines"])
        if lines:
            wish = _Wish(world, row, lines)
            yield Step(at(row["on"]), RANK, f"{row['by']} asks", wish.file)
            if "agreed" in row:
                yield Step(at(row["agreed"]), RANK, "agreed", wish.agree)
            if "withdrawn" in row:
                yield Step(at(row["withdrawn"]), RANK, "withdrawn", wish.withdraw)
    for row in world.scenario.mine(data["waivers"]):
        yield Step(at(row["on"]), RANK, f"{row['object']} waived", partial(_waive, world, row))
    for row in world.scenario.mine(data["light"]):
        yield Step(at(f"{row['on']} 17:00"), RANK, "light", partial(_write_light, world, row))
    for row in world.scenario.mine(data["hand_overs"]):
        words = f"{row['object']} handed over"
        yield Step(at(row["on"]), RANK, words, partial(_hand_over, world, row))
    for row in world.scenario.mine(data["recalls"]):
        words = f"{row['object']}: recall read"
        yield Step(at(row["read_on"]), RANK, words, partial(_read_recall, world, row))
        yield Step(at(row["on"]), RANK, f"{row['object']} recalled", partial(_recall, world, row))


class _Wish:
    """One request through its life."""

    def __init__(self, world: World, row: Row, lines: list[Row]) -> None:
        self.world, self.row, self.lines = world, row, lines
        self.request_id = 0

    def file(self) -> None:
        """File it; what is here already is answered at once."""
        row, day = self.row, self.world.calendar.day
        request = requesting.file_request(
            actor=self.world.people[row["by"]],
            purpose=row["purpose"],
            why=row["why"],
            wanted_by=day(row["wanted_by"]),
            lines=[wish for line in self.lines for wish in self._wishes(line)],
            counts_for_catalogue=row.get("counts_for_catalogue", False),
            now=self.world.calendar.at(row["on"]),
        )
        self.request_id = request.pk

    def _wishes(self, line: Row) -> Iterator[WishedView]:
        for code in line["views"]:
            view = view_of(code)
            yield WishedView(
                object_id=self.world.objects[line["object"]],
                technique=view.technique,
                face=view.face,
                direction=view.variant,
                detail_mm=tuple(line["detail_mm"]) if "detail_mm" in line else None,
                px_per_mm=line["px_per_mm"] / self.world.scenario.reduction_of(view.technique)
                if "px_per_mm" in line
                else None,
            )

    def _versions(self, *states: str) -> dict[int, int]:
        request = Request.objects.get(pk=self.request_id)
        return dict(request.lines.filter(state__in=states).values_list("pk", "row_version"))

    def agree(self) -> None:
        """Let the lead agree to what is still waiting."""
        now = self.world.calendar.at(self.row["agreed"])
        duties.bring_up_to_date(self.world, [line["object"] for line in self.lines], now)
        requesting.agree_lines(
            actor=self.world.people["Signe"],
            read_versions=self._versions(LineState.SUBMITTED),
            promised_on=self.world.calendar.day(self.row["promised"]),
            now=now,
        )

    def withdraw(self) -> None:
        """Let the asker take it back; what others ask for stays."""
        requesting.withdraw_lines(
            actor=self.world.people[self.row["by"]],
            read_versions=self._versions(LineState.SUBMITTED, LineState.AGREED),
            now=self.world.calendar.at(self.row["withdrawn"]),
        )


def _waive(world: World, row: Row) -> None:
    now = world.calendar.at(row["on"])
    for duty in duties.to_make(world, row["object"], view_of(row["view"]), now):
        requesting.grant_waiver(
            actor=world.people[row["by"]],
            owed_view_id=duty.pk,
            reason_code=row["reason_code"],
            text=row["text"],
            lapses_at=world.calendar.at(row["lapses"]) if "lapses" in row else None,
            now=now,
        )


def _write_light(world: World, row: Row) -> None:
    campaigns.record_light(
        actor=world.people[row["by"]],
        object_id=world.objects[row["object"]],
        received_on=world.calendar.day(row["on"]),
        lxh=row["lxh"],
        note=row["note"],
        now=world.calendar.at(f"{row['on']} 17:00"),
    )


def _accepted(world: World, row: Row) -> Deliverable:
    view = view_of(row["view"])
    return Deliverable.objects.get(
        object=world.objects[row["object"]],
        technique=view.technique,
        face=view.face,
        variant=view.variant,
        state=DeliverableState.ACCEPTED,
    )


def _hand_over(world: World, row: Row) -> None:
    package = Package.objects.filter(items__deliverable=_accepted(world, row)).latest("sealed_at")
    made = deliverables.hand_over(
        actor=world.people[row["by"]],
        package_id=package.pk,
        recipient=row.get("recipient", ""),
        user_id=world.people[row["person"]].pk if "person" in row else None,
        purpose=row["purpose"],
        now=world.calendar.at(row["on"]),
    )
    deliverables.confirm_receipt(
        actor=made.user or world.people[row["by"]],
        delivery_id=made.pk,
        read_version=made.row_version,
        now=world.calendar.at(row["on"]),
    )


def _read_recall(world: World, row: Row) -> None:
    """One of those whom the wrong picture had reached confirms that they know."""
    reader = world.people[row["read_by"]]
    notice = CorrectionNotice.objects.get(
        correction__deliverable__object=world.objects[row["object"]], user=reader
    )
    deliverables.confirm_notice(
        actor=reader, notice_id=notice.pk, now=world.calendar.at(row["read_on"])
    )


def _recall(world: World, row: Row) -> None:
    now: datetime = world.calendar.at(row["on"])
    picture = _accepted(world, row)
    deliverables.recall(
        actor=world.people[row["by"]],
        deliverable_id=picture.pk,
        read_version=picture.row_version,
        reasons=row["reasons"],
        note=row["note"],
        now=now,
    )
