"""Stand-ins for the slow part of long work, for tests of what is around it."""

from __future__ import annotations

import dataclasses
import time
import tomllib
from pathlib import Path

from server.analysis.result import DayResult
from server.analysis.study import DayTrial, Trial
from server.archive.jobs import JobKind
from server.archive.worker import Payload, Progress
from server.days.job_view import SEASON_JOB, STUDY_JOB
from server.errors import LogError
from server.results import refit_job, study_job
from server.results.refit_job import keep_season, season_work
from server.results.service import write_result
from server.results.study_job import STUDY_FILE, all_trials, keep_study
from tests.web.made_up import estimate, made_up_day_result


def fit_one(folder: Path, target: Path, progress: Progress) -> None:
    """A made-up result for a day by its name; some names fail, one takes its time."""
    name = tomllib.loads((folder / "testday.toml").read_text())["name"]
    progress(0.5, "fitting")
    if name == "unreadable":
        raise LogError("logs/run01.csv stops in the middle of line 48,113.")
    if name == "mistake":
        raise RuntimeError("a mistake of the program")
    while name == "endless":
        time.sleep(0.05)
        progress(0.6, "fitting")
    write_result(dataclasses.replace(moved_result(), name=name), target)


def moved_result() -> DayResult:
    """The drag area of B moves by 0.05 m², all else stays."""
    result = made_up_day_result("AB")
    first, second = result.setups
    area = estimate(second.estimates["SCx"].value + 0.05, 0.021, "m²")
    second = dataclasses.replace(second, estimates={**second.estimates, "SCx": area})
    return dataclasses.replace(result, setups=(first, second))


def one_day(plan: object, seed: int) -> DayTrial:  # noqa: ARG001 - of no plan
    """Every 20th interval misses; each error is 1 u, of a miss 3 u."""
    time.sleep(0.01)
    error = 3.0 if seed % 20 == 0 else 1.0
    value = 1.5 + 0.02 * error
    row = Trial("A", None, "SCx", "m²", "measured", 1.5, value, 0.02, value - 0.04, value + 0.04)
    return DayTrial(seed, (row,))


def season(payload: Payload, progress: Progress) -> Payload:
    refit_job.fit_one = fit_one
    return season_work(payload, progress)


def study(payload: Payload, progress: Progress) -> Payload:
    import json

    from server.analysis.simulate_plan import default_plan
    from server.analysis.study import gathered, study_to_json

    scratch, plan = Path(payload["scratch"]), default_plan()
    trials = all_trials(plan, payload, scratch / study_job.TRIALS_FILE, progress, one_day)
    content = {**study_to_json(gathered(plan, payload["seed"], trials)), "version": "0.1.0"}
    (scratch / STUDY_FILE).write_text(json.dumps(content))
    return {}


LONG_KINDS = {SEASON_JOB: JobKind(season, keep_season), STUDY_JOB: JobKind(study, keep_study)}
