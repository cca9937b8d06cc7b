"""Every write of this room, under the names that other rooms use."""

from imaging_requests.campaigns.actions_equipping import create_station, write_setup_card
from imaging_requests.campaigns.actions_planning import (
    add_owed_views,
    create_campaign,
    drop_shot_line,
    edit_session,
    keep_line,
    plan_session,
)
from imaging_requests.campaigns.actions_running import (
    cancel_session,
    close_session,
    confirm_session,
    mark_line_done,
    mark_line_not_done,
    reopen_line,
    start_session,
)
from imaging_requests.campaigns.actions_signing import record_light, sign_limit

__all__ = [
    "add_owed_views",
    "cancel_session",
    "close_session",
    "confirm_session",
    "create_campaign",
    "create_station",
    "drop_shot_line",
    "edit_session",
    "keep_line",
    "mark_line_done",
    "mark_line_not_done",
    "plan_session",
    "record_light",
    "reopen_line",
    "sign_limit",
    "start_session",
    "write_setup_card",
]
