"""The background work of this room: putting pictures together when frames have been placed.

A picture that was put together is measured next; see ``measuring``.
"""

from __future__ import annotations

from imaging_requests.deliverables.actions import ask_for_join, assemble_line, keep_recognition
from imaging_requests.deliverables.actions.measuring import ask_to_measure
from imaging_requests.deliverables.actions.registering import ask_for_owed, keep_registration
from imaging_requests.deliverables.models import Deliverable, DeliverableState
from imaging_requests.deliverables.recognising import check_recognition
from imaging_requests.deliverables.registering import OPEN, register_picture
from imaging_requests.intake.jobs import Work

ASSEMBLE = "assemble"
QUEUE = "pixels"
#: Rows, and some small pictures to recognise the object by; a minute is far more than it takes.
LONGEST_S = 60.0
#: Two pictures are aligned within seconds; trying all eight turns takes a few times that.
LONGEST_REGISTRATION_S = 300.0


def assemble(work: Work) -> None:
    """Bring the picture of one shot line in step, in the transaction that ends the job."""
    with work.publish():
        row = assemble_line(shot_line_id=work.subject_id, now=work.now())
        work.result = {} if row is None else {"deliverable": row.pk, "state": row.state}
        if row is not None and row.state == DeliverableState.BUILDING:
            # of a history that is entered later the sweep asks for the joinings, and only its
            # ultraviolet, where a forgotten filter is not seen by eye, is measured
            if work.as_of is None:
                ask_for_join(row, now=work.now())
            if work.as_of is None or row.technique == "UV":
                ask_to_measure(work.subject_id)
            if work.as_of is None and row.is_complete:
                ask_for_owed(row, now=work.now())
        elif row is not None and row.state == DeliverableState.TO_REVIEW and row.technique == "UV":
            # a frame with the lamps off may come after the picture was handed in
            ask_to_measure(work.subject_id)
    if row is not None and row.state == DeliverableState.BUILDING:
        keep_recognition(row=row, check=check_recognition(row))


def register_on_face(work: Work) -> None:
    """Compute where a picture lies on its face, outside any transaction, and keep it."""
    row = Deliverable.objects.select_related("cover").filter(pk=work.subject_id).first()
    found = None if row is None else register_picture(row)
    with work.publish():
        if found is not None:
            kept = keep_registration(row=found.row, checks=found.checks, now=work.now())
            work.result = {"verdict": kept.verdict, "residual_mm": kept.residual_mm}
    if row is not None and row.state in OPEN:
        keep_recognition(row=row, check=check_recognition(row, is_thorough=True))
