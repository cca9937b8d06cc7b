"""Everything that the intake writes, by family of nouns."""

from imaging_requests.intake.actions.arrivals import (
    append_bytes,
    begin_arrival,
    clear_refused,
    complete_arrival,
    give_up_arrival,
    receive_whole,
)
from imaging_requests.intake.actions.clocks import decide_clock
from imaging_requests.intake.actions.drops import (
    ask_again,
    close_drop,
    correct_clock,
    open_drop,
    reopen_drop,
)
from imaging_requests.intake.actions.leaving import leave_behind
from imaging_requests.intake.actions.placing import (
    place_frame,
    place_frames,
    set_aside,
    set_aside_frames,
    take_back,
    take_back_frames,
    undo_step,
)

__all__ = [
    "append_bytes",
    "ask_again",
    "begin_arrival",
    "clear_refused",
    "close_drop",
    "complete_arrival",
    "correct_clock",
    "decide_clock",
    "give_up_arrival",
    "leave_behind",
    "open_drop",
    "place_frame",
    "place_frames",
    "receive_whole",
    "reopen_drop",
    "set_aside",
    "set_aside_frames",
    "take_back",
    "take_back_frames",
    "undo_step",
]
