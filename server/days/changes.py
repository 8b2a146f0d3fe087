"""Changes of a day as pure functions: the day before in, the day after out, with the words for its history.

Every function raises StillairError with one sentence where the change makes no sense.
"""

from __future__ import annotations

from server.days.car_changes import change_calibration, change_car
from server.days.change import Change, find_run, find_setup, in_words, plain, runs_of
from server.days.channel_changes import assign_role
from server.days.day_changes import change_channels, change_day, change_weather
from server.days.run_changes import add_runs, change_run, clear_pass_edits, edit_pass, move_run
from server.days.setup_changes import add_setup, revise_setup

__all__ = [
    "Change",
    "add_runs",
    "add_setup",
    "assign_role",
    "change_calibration",
    "change_car",
    "change_channels",
    "change_day",
    "change_run",
    "change_weather",
    "clear_pass_edits",
    "edit_pass",
    "find_run",
    "find_setup",
    "in_words",
    "move_run",
    "plain",
    "revise_setup",
    "runs_of",
]
