"""Owed views and what keeps them alive; people's requests; waivers and the like."""

from imaging_requests.requesting.models.decisions import (
    GapStatement,
    NotApplicable,
    Waiver,
    WaiverAnswer,
    WaiverProposal,
    WaiverReason,
)
from imaging_requests.requesting.models.duties import (
    FACES,
    Anchor,
    OwedView,
    Technique,
)
from imaging_requests.requesting.models.wishes import (
    Demand,
    LineState,
    Purpose,
    Request,
    RequestLine,
)

__all__ = [
    "FACES",
    "Anchor",
    "Demand",
    "GapStatement",
    "LineState",
    "NotApplicable",
    "OwedView",
    "Purpose",
    "Request",
    "RequestLine",
    "Technique",
    "Waiver",
    "WaiverAnswer",
    "WaiverProposal",
    "WaiverReason",
]
