"""Heavy work by a real scheduler with two workers that are processes: the same as a pool's, to the bit."""

from __future__ import annotations

import gc
import os
import shutil
import socket
import subprocess
import sys
import time
import warnings
from collections.abc import Iterator
from pathlib import Path

import pytest
from distributed.client import FutureCancelledError
from distributed.comm.core import CommClosedError

from server.analysis.simulate_plan import default_plan
from server.analysis.study import run_study, study_to_json
from server.archive.archive import Archive
from server.archive.worker import Payload, WorkCalledOff, Worker
from server.days.service import IncomingDay, keep_day, newest_revision
from server.errors import StillairError
from server.heavy import cluster
from server.heavy.cluster import Cluster, _WentAwayError
from server.heavy.pool import Here, Pool, unheard
from server.heavy.processes import Processes
from server.locations import sample_day_folders
from server.readers.load_day import load_day
from server.results.refit_job import queue_season, result_file, season_work
from server.settings import Settings
from tests.heavy import pieces
from tests.imports import ROOT

START_S = 180.0  # on a computer that has much to do


def free_port() -> int:
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        return int(listener.getsockname()[1])


def listens(port: int) -> bool:
    with socket.socket() as asking:
        return asking.connect_ex(("127.0.0.1", port)) == 0


def started(*arguments: str, **variables: str) -> subprocess.Popen[bytes]:
    command = [sys.executable, "-m", "server.commands.main", *arguments]
    return subprocess.Popen(command, cwd=ROOT, env={**os.environ, **variables}, stderr=subprocess.DEVNULL)


def ended(process: subprocess.Popen[bytes]) -> None:
    process.terminate()
    try:
        process.wait(30)
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait()


class Spread:
    """A scheduler and two workers, by the commands; a piece that ends two workers is given up."""

    def __init__(self) -> None:
        self.port = free_port()
        self.address = f"tcp://127.0.0.1:{self.port}"

    def start(self) -> None:
        variables = {"DASK_DISTRIBUTED__SCHEDULER__ALLOWED_FAILURES": "1"}
        self.scheduler = started("scheduler", "--port", str(self.port), **variables)
        until = time.monotonic() + START_S
        while not listens(self.port):
            assert self.scheduler.poll() is None and time.monotonic() < until  # noqa: PT018
            time.sleep(0.1)
        self.workers = started("worker", self.address, "--processes", "2")

    def stop(self) -> None:
        ended(self.workers)
        ended(self.scheduler)


@pytest.fixture(scope="module")
def spread() -> Iterator[Spread]:
    made = Spread()
    made.start()
    try:
        wait_for_workers(made.address, 2)
        yield made
    finally:
        made.stop()


@pytest.fixture(scope="module")
def address(spread: Spread) -> str:
    return spread.address


def wait_for_workers(where: str, count: int) -> None:
    from distributed import Client

    with Client(where, set_as_default=False) as client:
        client.wait_for_workers(count, timeout=START_S)


def outcomes(pool: Pool, work: object, tasks: list[object]) -> list[object]:
    found = dict(pool.each(work, tasks, unheard))  # type: ignore[arg-type]
    return [found[place] for place in range(len(tasks))]


def test_pieces_come_back_the_same_from_every_pool(address: str) -> None:
    tasks = list(range(40))
    pools = {"here": Here(), "processes": Processes(2), "cluster": Cluster(address)}
    found = {name: outcomes(pool, pieces.halved, tasks) for name, pool in pools.items()}
    values = {name: [value for value, _ in told] for name, told in found.items()}
    assert values["here"] == values["processes"] == values["cluster"] == [number / 3.0 for number in tasks]
    where = {name: {process for _, process in told} for name, told in found.items()}
    assert where["here"] == {os.getpid()}
    assert len(where["cluster"]) == 2
    assert not where["cluster"] & (where["processes"] | where["here"])


def test_a_study_by_workers_is_that_of_processes_to_the_last_digit(address: str) -> None:
    plan = default_plan(pairs=2, compare=False)
    by_workers = run_study(plan, 1, seed=2_720_101, pool=Cluster(address))
    assert by_workers.rows
    assert study_to_json(by_workers) == study_to_json(run_study(plan, 1, seed=2_720_101, pool=Here()))


def test_a_season_by_workers_has_the_results_of_this_computer_byte_for_byte(
    address: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its raw files come from a store that the workers reach; the folder of the server's own jobs is none of theirs."""
    (tmp_path / "shared").mkdir()
    settings = Settings(data_folder=tmp_path / "data", raw_store=(tmp_path / "shared").as_uri())
    archive = Archive(tmp_path / "data", settings=settings)
    archive.open()
    folder = shutil.copytree(sample_day_folders()[0], tmp_path / "day")
    day = load_day(folder)
    with archive.database.writing() as session:
        kept = keep_day(archive, session, IncomingDay(day.name, day.date, folder, "day"))
        revision = newest_revision(session, kept.id).id
    results = {}
    for name, scheduler in (("here", ""), ("cluster", address)):
        monkeypatch.setenv("STILLAIR_SCHEDULER", scheduler)
        job = queue_season(archive, "Ana")
        payload = {**payload_of(archive, job), "scratch": str(tmp_path / name)}
        (tmp_path / name).mkdir()
        said: list[str] = []
        outcome = season_work(payload, lambda _, text: said.append(text))  # noqa: B023 - called here alone
        assert outcome["failed"] == {}
        assert said[-1] == "1 of 1 days"
        results[name] = result_file(tmp_path / name, {"revision_id": revision}).read_bytes()
    assert results["cluster"] == results["here"]
    archive.close()


def payload_of(archive: Archive, job_id: str) -> dict[str, object]:
    from server.archive.jobs import find_job

    with archive.database.reading() as session:
        return dict(find_job(session, job_id).payload)


def test_a_piece_of_a_worker_that_dies_is_given_to_another(address: str, tmp_path: Path) -> None:
    tasks: list[object] = [(str(tmp_path), number) for number in range(5)]
    assert outcomes(Cluster(address), pieces.fatal, tasks) == list(range(5))
    assert (tmp_path / "killed 2").exists()


def test_a_piece_that_ends_every_worker_is_given_up_in_one_sentence(address: str, tmp_path: Path) -> None:
    wait_for_workers(address, 2)
    with pytest.raises(StillairError, match="One piece of the work ended 2 workers"):
        outcomes(Cluster(address), pieces.fatal, [(str(tmp_path), 9)])
    wait_for_workers(address, 2)  # they are started again
    with pytest.raises(StillairError, match="ended without an answer"):
        outcomes(Processes(1), pieces.fatal, [(str(tmp_path), 9)])


def test_what_is_called_off_begins_no_more(address: str, tmp_path: Path) -> None:
    """By closing the iterator, and by a job that ends its process; the scheduler has nothing left of either."""
    pools: dict[str, Pool] = {"cluster": Cluster(address), "processes": Processes(2)}
    for name, pool in pools.items():
        (tmp_path / name).mkdir()
        going = pool.each(pieces.noted, [(str(tmp_path / name), number) for number in range(60)], unheard)
        next(going)
        going.close()  # type: ignore[attr-defined]
        nothing_more(tmp_path / name)
    (tmp_path / "job").mkdir()
    worker = Worker()

    def progress(fraction: float, _text: str, _shown: Payload | None = None, /) -> None:
        if fraction > 0.0:
            raise WorkCalledOff

    payload = {"folder": str(tmp_path / "job"), "count": 60, "scheduler": address}
    with pytest.raises(WorkCalledOff):
        worker.run(pieces.all_noted, payload, progress)
    nothing_more(tmp_path / "job")
    worker.stop()
    from distributed import Client

    with Client(address, set_as_default=False) as client:
        assert not any(client.processing().values())


def nothing_more(folder: Path) -> None:
    time.sleep(2.0)  # what had begun ends
    begun = len(list(folder.iterdir()))
    assert 1 <= begun < 50
    time.sleep(1.5)
    assert len(list(folder.iterdir())) == begun


def test_a_refusal_of_a_piece_is_told_as_it_is(address: str) -> None:
    with pytest.raises(StillairError, match=r"^This day has no log\.$"):
        outcomes(Cluster(address), pieces.refused, [1])


def test_workers_of_another_version_and_those_without_are_named(
    address: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    ours = dict(cluster.fingerprint())
    for change, words in (
        ({"numpy": "1.0"}, rf"tcp://127.0.0.1:\d+ has numpy {ours['numpy']} where this server has 1\.0"),
        ({"code of analysis": "0"}, "has other code of Stillair"),
    ):
        monkeypatch.setattr(cluster, "fingerprint", lambda change=change: tuple({**ours, **change}.items()))
        with pytest.raises(StillairError, match=words):
            outcomes(Cluster(address), pieces.halved, [1])
    monkeypatch.undo()
    command = [sys.executable, "-c", STRANGER, str(ROOT), address]
    stranger = subprocess.Popen(command, cwd="/", stderr=subprocess.DEVNULL)
    try:
        wait_for_workers(address, 3)
        with pytest.raises(StillairError, match="has no Stillair that it can import"):
            outcomes(Cluster(address), pieces.halved, [1])
    finally:
        ended(stranger)


STRANGER = """
import os, sys

root, address = sys.argv[1:]
sys.path = [each for each in sys.path if each and os.path.realpath(each) != os.path.realpath(root)]
from distributed.cli.dask_worker import main

main([address, "--no-nanny", "--nthreads", "1", "--no-dashboard"])
"""


@pytest.fixture
def half_made_connections_let_go() -> Iterator[None]:
    """Distributed closes no connection whose making it gave up when the scheduler went; nobody can reach them."""
    yield
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", ResourceWarning)
        gc.collect()


@pytest.mark.usefixtures("half_made_connections_let_go")
def test_work_goes_on_when_a_scheduler_that_was_killed_is_back(
    spread: Spread, tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    found = []
    for _, number in Cluster(spread.address).each(pieces.noted, [(str(tmp_path), n) for n in range(12)], unheard):
        found.append(number)
        if len(found) == 3:
            spread.scheduler.kill()
            spread.stop()
            spread.start()
            before = set(found)
    assert sorted(found) == list(range(12))
    begun = [int(file.name.partition(" ")[0]) for file in tmp_path.iterdir()]
    assert [begun.count(number) for number in before] == [1, 1, 1]  # what had ended was not done again
    assert all(record.name.startswith("distributed") for record in caplog.records)


def test_a_scheduler_that_is_not_there_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cluster, "CONNECT_S", 1)
    for nowhere in (f"tcp://127.0.0.1:{free_port()}", "pitwall"):
        with pytest.raises(StillairError, match=f"The scheduler {nowhere} does not answer"):
            outcomes(Cluster(nowhere), pieces.halved, [1])


class Breaking:
    """A scheduler whose connection breaks at a question, or one of whose workers went while it was asked."""

    def __init__(self, said: BaseException | dict[str, object]) -> None:
        self._said = said

    def nthreads(self) -> dict[str, int]:
        return {"tcp://one": 1}

    def run(self, *_: object, **__: object) -> dict[str, object]:
        if isinstance(self._said, BaseException):
            raise self._said
        return self._said


class Broken:
    """A piece that ended, whose outcome cannot be had any more."""

    status = "finished"

    def __init__(self, error: BaseException) -> None:
        self._error = error

    def result(self) -> object:
        raise self._error


def test_a_connection_that_breaks_at_a_question_is_one_that_went_away() -> None:
    """Then the pieces that have not ended are given out again; anything else would end hours of work."""
    pool = Cluster("tcp://127.0.0.1:9")
    with pytest.raises(_WentAwayError):
        pool._must_be_alike(Breaking(CommClosedError("made to break")), 1.0)
    for error in (CommClosedError("made to break"), FutureCancelledError("piece", "scheduler-restart")):
        with pytest.raises(_WentAwayError):
            pool._outcome(Broken(error))
    pool._must_be_alike(Breaking({"tcp://one": OSError("went away while it was asked")}), 1.0)
