"""The background work of this room: putting pictures together when frames have been placed."""

from __future__ import annotations

from imaging_requests.deliverables.actions import assemble_line
from imaging_requests.intake.jobs import Work

ASSEMBLE = "assemble"
QUEUE = "pixels"
#: Only rows are read and written; a minute is far more than the largest line takes.
LONGEST_S = 60.0


def assemble(work: Work) -> None:
    """Bring the picture of one shot line in step, in the transaction that ends the job."""
    with work.publish():
        row = assemble_line(shot_line_id=work.subject_id, now=work.now())
        work.result = {} if row is None else {"deliverable": row.pk, "state": row.state}
