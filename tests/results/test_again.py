"""A result fitted again as then: the same to the last bit by the same code, otherwise told by name what differs."""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from server.analysis.fit_options import FitOptions, options_from
from server.analysis.made_with import code_sha256, made_with
from server.analysis.pass_options import PassOptions
from server.analysis.result import DayResult
from server.archive.archive import Archive
from server.archive.events import chain_faults
from server.archive.jobs import find_job
from server.archive.worker import Payload
from server.commands.main import app as commands
from server.days.service import newest_revision, revision_files
from server.history.verify import faults
from server.locations import sample_day_folders
from server.results.again_job import again_work, find_again, keep_again, newest_again, queue_again
from server.results.again_numbers import compare_results
from server.results.again_words import again_sentence, changes_sentence
from server.results.service import keep_result, results_of, write_result
from tests.results.made_loads import loaded_day
from tests.web.made_up import made_up_day_result


def silent(_part: float, _text: str) -> None:
    """Nobody listens."""


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Archive, DayResult]]:
    """An archive with the shortest day of the samples, really fitted with a seed that is not the usual one."""
    from server.analysis.day_fit import fit_day
    from server.commands.import_day import import_day
    from server.commands.progress import Progress
    from server.readers.load_day import load_day

    made = Archive(tmp_path_factory.mktemp("again") / "data")
    made.open()
    folder = shortest(sample_day_folders())
    with Progress() as progress:
        import_day(made, folder, "Ana", fit=False, progress=progress)
    result = fit_day(load_day(folder), FitOptions(seed=7))
    add(made, result)
    yield made, result
    made.close()


def shortest(days: tuple[Path, ...]) -> Path:
    return min(days, key=lambda day: sum(file.stat().st_size for file in day.rglob("*") if file.is_file()))


def add(archive: Archive, result: DayResult) -> int:
    file = archive.scratch / "result.zip"
    write_result(result, file)
    with archive.database.writing() as session:
        return keep_result(archive, session, newest_revision(session, 1), file).id


def fitted_again(archive: Archive, result_id: int) -> dict[str, Any]:
    """As the server does it: queued, worked on, kept."""
    with archive.database.writing() as session:
        job_id = queue_again(archive, session, 1, result_id, "Ana")
    with archive.database.reading() as session:
        payload: Payload = dict(find_job(session, job_id).payload)
    outcome = again_work(payload, silent)
    with archive.database.writing() as session:
        number = int(keep_again(archive, session, payload, outcome))
    with archive.database.reading() as session:
        return find_again(archive, session, 1, number).report


def test_the_same_code_gives_the_same_to_the_last_bit(kept: tuple[Archive, DayResult]) -> None:
    archive, result = kept
    before = [(row.id, row.sha256) for row in results(archive)]
    report = fitted_again(archive, before[-1][0])
    assert (report["outcome"], report["identical"], report["moved"], report["changes"]) == ("same", True, 0, [])
    assert report["compared"] > 500
    assert report["options"]["seed"] == 7.0
    assert report["then"] == made_with() == dict(result.made_with)
    assert "the same numbers to the last printed digit" in again_sentence(report)
    assert changes_sentence(report) == ""
    assert [(row.id, row.sha256) for row in results(archive)] == before  # never replaced
    with archive.database.reading() as session:
        event = newest_again(session, 1, before[-1][0])
        assert event is not None
        assert (event.who, json.loads(event.after or "")["outcome"]) == ("Ana", "same")
        assert list(chain_faults(session)) == []
    assert list(faults(archive)) == []  # type: ignore[arg-type]  # an open archive has all that is looked at


def results(archive: Archive) -> list[Any]:
    with archive.database.reading() as session:
        return results_of(session, 1)


def test_a_result_of_other_code_is_told_so_by_name(kept: tuple[Archive, DayResult]) -> None:
    archive, result = kept
    first = result.setups[0]
    area = first.estimates["SCx"]
    step = {name: getattr(area, name) + 2 * area.u for name in ("value", "low95", "high95")}
    moved = dataclasses.replace(area, **step)
    setup = dataclasses.replace(first, estimates={**first.estimates, "SCx": moved})
    versions = {**result.made_with, "code of analysis": "0123456789abcdef", "numpy": "1.0.0"}
    options = {**result.options, "gone_s": 3.0}
    other = dataclasses.replace(
        result, setups=(setup, *result.setups[1:]), made_with=versions, options=options, version="0.0.9"
    )
    report = fitted_again(archive, add(archive, other))
    assert (report["outcome"], report["moved"]) == ("differs", 1)
    (one,) = report["shown"]
    assert one["place"] == f"setup {first.name}, SCx"
    assert one["size"] == pytest.approx(2.0)
    assert one["then"] != one["now"]
    named = {(change["kind"], change["what"]) for change in report["changes"]}
    assert named == {("code", "code of analysis"), ("version", "numpy"), ("option", "gone_s")}
    told = again_sentence(report) + changes_sentence(report)
    assert f"setup {first.name}, SCx: {one['then']} then, {one['now']} now (" in told
    assert "code of analysis: 0123456789abcdef then" in told
    assert "numpy: 1.0.0 then" in told


def test_numbers_that_nothing_kept_explains_are_said_so(kept: tuple[Archive, DayResult]) -> None:
    archive, result = kept
    wider = {name: (one, one.low95 - one.u) for name, one in result.noise.items()}
    noise = {name: dataclasses.replace(one, low95=low95) for name, (one, low95) in wider.items()}
    report = fitted_again(archive, add(archive, dataclasses.replace(result, noise=noise)))
    assert (report["outcome"], report["changes"]) == ("differs", [])
    assert "the reason lies elsewhere" in changes_sentence(report)


def test_a_result_from_before_this_was_written_down(kept: tuple[Archive, DayResult]) -> None:
    archive, result = kept
    report = fitted_again(archive, add(archive, dataclasses.replace(result, made_with={}, options={}, version="0.0.1")))
    what = {change["what"]: change["then"] for change in report["changes"]}
    assert what == {"options and seed": "not written down", "Stillair": "0.0.1",
                    "code and packages": "not written down"}  # fmt: skip
    assert report["outcome"] == "differs"  # it was made with another seed


def test_an_altered_file_is_named(kept: tuple[Archive, DayResult]) -> None:
    archive, _ = kept
    with archive.database.reading() as session:
        files = revision_files(session, newest_revision(session, 1).id)
    path, sha256 = next((path, sha256) for path, sha256 in files.items() if path.startswith("logs/"))
    file = archive.raw.path(sha256)
    whole, number = file.read_bytes(), results(archive)[-1].id
    try:
        file.chmod(0o644)
        file.write_bytes(whole[: len(whole) // 3])
        report = fitted_again(archive, number)
        assert [(one["kind"], one["what"]) for one in report["changes"]] == [("file", path)]
        assert report["outcome"] in ("differs", "lost")
        assert f"the file {path}" in changes_sentence(report)
        file.unlink()
        gone = fitted_again(archive, number)
        assert (gone["outcome"], gone["changes"][0]["now"]) == ("lost", "not kept any more")
    finally:
        file.write_bytes(whole)
    assert fitted_again(archive, number)["outcome"] == "same"


def test_the_command_prints_a_table_and_says_by_its_code_whether_all_is_the_same(
    kept: tuple[Archive, DayResult], tmp_path: Path
) -> None:
    import shutil

    archive, result = kept
    add(archive, result)
    data = tmp_path / "data"
    shutil.copytree(archive.folder, data, ignore=shutil.ignore_patterns("*.lock", "*-wal", "*-shm"))
    archive.database.copy_to(data / "archive.sqlite3")
    done = CliRunner().invoke(commands, ["again", "--data", str(data), "--who", "Bo"])
    assert done.exit_code == 0, done.output
    assert "1 result fitted again as then: it gave the same numbers to the last printed digit." in done.stdout
    assert "the same numbers  nothing" in done.stdout
    nothing = CliRunner().invoke(commands, ["again", "--data", str(data), "--year", "1999"])
    assert "nothing to fit again" in str(nothing.exception)


@pytest.mark.parametrize("make", [made_up_day_result, loaded_day])
def test_a_result_is_like_itself(make) -> None:  # type: ignore[no-untyped-def]
    found = compare_results(make(), make())
    assert found.identical
    assert found.compared > 500


def test_what_is_printed_alike_is_the_same_and_what_lies_beneath_is_told() -> None:
    then = made_up_day_result("AB")
    setup = then.setups[1]
    area = setup.estimates["SCx"]
    close = dataclasses.replace(area, value=area.value * (1.0 + 1e-12))
    now = dataclasses.replace(
        then, setups=(then.setups[0], dataclasses.replace(setup, estimates={**setup.estimates, "SCx": close}))
    )
    found = compare_results(then, now)
    assert found.printed_alike
    assert not found.identical
    assert found.hidden == 1
    assert 0.0 < found.largest_hidden < 1e-9


def test_what_no_result_told_then_is_no_number_that_moved() -> None:
    now = loaded_day()
    kept_before = dataclasses.replace(now, joint={}, outlook=(), drift=())
    found = compare_results(kept_before, now)
    assert found.identical
    assert set(found.added) == {name for name in ("joint", "outlook", "drift") if getattr(now, name)}
    gone = compare_results(now, kept_before)
    assert gone.identical == (not found.added)


def test_one_value_of_a_curve_and_one_word_are_found() -> None:
    then = loaded_day()
    fit = then.setups[0].fits[0]
    speed = fit.speed_mps.copy()
    speed[3] *= 1.001
    fits = (dataclasses.replace(fit, speed_mps=speed), *then.setups[0].fits[1:])
    used = dataclasses.replace(then.setups[0].passes[0], reason="traffic")
    setup = dataclasses.replace(then.setups[0], fits=fits, passes=(used, *then.setups[0].passes[1:]))
    moved = compare_results(then, dataclasses.replace(then, setups=(setup, *then.setups[1:]))).moved
    assert {one.kind for one in moved} == {"curve", "words"}
    assert next(one for one in moved if one.kind == "curve").place.endswith("on its own, speed")


def test_options_come_back_as_they_were_kept() -> None:
    options = FitOptions(12, PassOptions(min_length_s=4.5))
    assert options_from(options.kept()) == (options, ())
    assert options_from({"old_s": 1.0}) == (FitOptions(), ("old_s",))


def test_a_line_of_code_more_is_other_code_and_a_line_end_is_not(tmp_path: Path) -> None:
    (tmp_path / "air.py").write_bytes(b"R = 287.05\n")
    first = code_sha256(tmp_path)
    (tmp_path / "air.py").write_bytes(b"R = 287.05\r\n")
    assert code_sha256(tmp_path) == first
    (tmp_path / "air.py").write_bytes(b"R = 287.06\n")
    assert code_sha256(tmp_path) != first
