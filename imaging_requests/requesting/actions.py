"""Every write of this room, under the names that other rooms use."""

from imaging_requests.requesting.actions_ending import (
    Withdrawal,
    fulfil_lines,
    withdraw_line,
    withdraw_lines,
)
from imaging_requests.requesting.actions_filing import check_wishes, file_request, follow_entry
from imaging_requests.requesting.actions_rulings import (
    decide_not_applicable,
    end_not_applicable,
    replace_view,
    sign_gap_statement,
)
from imaging_requests.requesting.actions_triage import (
    agree_line,
    agree_lines,
    decline_line,
    decline_lines,
)
from imaging_requests.requesting.actions_waivers import (
    co_sign_waiver,
    end_waiver,
    grant_waiver,
    propose_waiver,
    refuse_waiver,
    sign_waiver,
)
from imaging_requests.requesting.overlaps import WishedView

__all__ = [
    "WishedView",
    "Withdrawal",
    "agree_line",
    "agree_lines",
    "check_wishes",
    "co_sign_waiver",
    "decide_not_applicable",
    "decline_line",
    "decline_lines",
    "end_not_applicable",
    "end_waiver",
    "file_request",
    "follow_entry",
    "fulfil_lines",
    "grant_waiver",
    "propose_waiver",
    "refuse_waiver",
    "replace_view",
    "sign_gap_statement",
    "sign_waiver",
    "withdraw_line",
    "withdraw_lines",
]
