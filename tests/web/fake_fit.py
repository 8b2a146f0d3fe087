"""A stand-in for the fit, for tests of what is around it: reads the folder's name, gives a made-up result."""

from __future__ import annotations

import dataclasses
import os
import time
import tomllib
from pathlib import Path

from server.archive.jobs import JobKind
from server.archive.worker import Payload, Progress
from server.days.service import FIT_JOB
from server.errors import LogError, StillairError
from server.results.fit_job import RESULT_FILE, day_folder, keep_fitted_day
from server.results.service import write_result
from tests.web.made_up import made_up_day_result

SLOW_S = 0.4


def work(payload: Payload, progress: Progress) -> Payload:
    progress(0.1, "reading the day")
    folder = day_folder(payload)
    day = tomllib.loads((folder / "testday.toml").read_text())
    name = day.get("name", "a day")
    if name == "unreadable":
        raise LogError("logs/run01.csv stops in the middle of line 48,113.")
    if name == "mistake":
        raise RuntimeError("a mistake of the program")
    if name == "crash":
        os._exit(9)
    while name == "endless":
        time.sleep(0.05)
        progress(0.5, "fitting")
    time.sleep(SLOW_S)
    progress(0.6, "fitting")
    time.sleep(SLOW_S)
    result = dataclasses.replace(made_up_day_result("AB"), name=name)
    write_result(result, Path(payload["scratch"]) / RESULT_FILE)
    return {"folder": str(folder), "name": name, "date": "2026-05-09"}


KINDS = {FIT_JOB: JobKind(work, keep_fitted_day)}
NOT_HERE = "The stand-in does no such work."


def refuse(_: Payload, __: Progress) -> Payload:
    raise StillairError(NOT_HERE)


def all_kinds() -> dict[str, JobKind]:
    """Every kind that the product knows, in its lane: all but the fit and what is quick end with a refusal."""
    from server.app import JOB_KINDS
    from server.history.verify_job import VERIFY_KINDS

    others = {name: dataclasses.replace(kind, work=refuse, warm=None) for name, kind in JOB_KINDS.items()}
    return {**others, **VERIFY_KINDS, **KINDS}
