"""The background work of this room: putting pictures together when frames have been placed."""

from __future__ import annotations

from imaging_requests.deliverables.actions import ask_for_join, assemble_line, keep_recognition
from imaging_requests.deliverables.models import DeliverableState
from imaging_requests.deliverables.recognising import check_recognition
from imaging_requests.intake.jobs import Work

ASSEMBLE = "assemble"
QUEUE = "pixels"
#: Rows, and some small pictures to recognise the object by; a minute is far more than it takes.
LONGEST_S = 60.0


def assemble(work: Work) -> None:
    """Bring the picture of one shot line in step, in the transaction that ends the job."""
    with work.publish():
        row = assemble_line(shot_line_id=work.subject_id, now=work.now())
        work.result = {} if row is None else {"deliverable": row.pk, "state": row.state}
        # a history that is entered later is joined when somebody lays its plate map
        if row is not None and row.state == DeliverableState.BUILDING and work.as_of is None:
            ask_for_join(row, now=work.now())
    if row is not None and row.state == DeliverableState.BUILDING:
        keep_recognition(check=check_recognition(row))
