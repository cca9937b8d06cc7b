"""Writes about pictures and packages: putting together, reviewing, recalling, filing."""

from imaging_requests.deliverables.actions.assembling import (
    assemble_line,
    hand_in,
    keep_recognition,
    start_again,
    take_back,
)
from imaging_requests.deliverables.actions.comparing import (
    ask_for_comparison,
    keep_comparison,
    vouch_retest,
)
from imaging_requests.deliverables.actions.correcting import (
    close_correction,
    confirm_notice,
    correct_words,
)
from imaging_requests.deliverables.actions.filing import file_accepted, seal_package
from imaging_requests.deliverables.actions.handing_over import confirm_receipt, hand_over
from imaging_requests.deliverables.actions.joins import (
    ask_for_join,
    ask_to_join,
    keep_join,
    lay_as_found,
    lay_plates,
    record_taking,
)
from imaging_requests.deliverables.actions.notes import change_note, withdraw_note, write_note
from imaging_requests.deliverables.actions.reviewing import (
    accept,
    allow_lone_work,
    recall,
    send_back,
)

__all__ = [
    "accept",
    "allow_lone_work",
    "ask_for_comparison",
    "ask_for_join",
    "ask_to_join",
    "assemble_line",
    "change_note",
    "close_correction",
    "confirm_notice",
    "confirm_receipt",
    "correct_words",
    "file_accepted",
    "hand_in",
    "hand_over",
    "keep_comparison",
    "keep_join",
    "keep_recognition",
    "lay_as_found",
    "lay_plates",
    "recall",
    "record_taking",
    "seal_package",
    "send_back",
    "start_again",
    "take_back",
    "vouch_retest",
    "withdraw_note",
    "write_note",
]
