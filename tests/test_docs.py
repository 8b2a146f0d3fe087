"""What exists has a line in the documents, and what the documents show exists and works."""

from __future__ import annotations

import dataclasses
import importlib.util
import re
import shutil
import tomllib
import typing
from pathlib import Path

import pytest
from starlette.routing import BaseRoute, Mount, Route

from server.analysis import result as result_module
from server.app import create_app
from server.commands.main import app as command_line
from server.locations import sample_day_folders
from server.settings import Settings, describe
from server.testday.role_table import ROLE_NAMES, ROLES
from tests.imports import ROOT, SERVER, python_files
from tests.tree import tracked

README = (ROOT / "README.md").read_text("utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text("utf-8")
SI_UNITS = {
    "speed": "m/s",
    "angle": "rad",
    "length": "m",
    "fraction": "1",
    "pressure": "Pa",
    "acceleration": "m/s²",
    "rotation": "rad/s",
    "force": "N",
    "torque": "N m",
    "gear": "1",
    "temperature": "K",
}


def section(title: str) -> str:
    """The part of DEVELOPERS.md under a heading, up to the next heading."""
    match = re.search(rf"^#+ {re.escape(title)}\n(.*?)(?=^#|\Z)", DEVELOPERS, re.MULTILINE | re.DOTALL)
    assert match, f"DEVELOPERS.md has no heading {title}"
    return match.group(1)


def rows(title: str) -> list[list[str]]:
    """The table rows under a heading, without head and rule."""
    lines = [line for line in section(title).splitlines() if line.startswith("|")]
    return [[cell.strip() for cell in line.strip("|").split("|")] for line in lines[2:]]


def named(title: str, column: int = 2) -> dict[str, str]:
    """`name` → another cell of its row; a row may hold several names."""
    return {name: row[column] for row in rows(title) for name in re.findall(r"`([^`]+)`", row[0])}


def test_commands() -> None:
    exist = {one.name or one.callback.__name__ for one in command_line.registered_commands if one.callback}
    assert set(named("Commands", 1)) == exist
    assert all(f"server {name}" in README for name in exist)


def test_settings() -> None:
    table = [[cell.strip("`") for cell in row] for row in rows("Settings")]
    exist = [[each.name, each.variable, each.default, each.unit, each.help] for each in describe()]
    assert table == exist


def routes_of(routes: list[BaseRoute]) -> set[str]:
    """Paths of routes, with those of included routers."""
    paths: set[str] = set()
    for route in routes:
        inner = getattr(route, "original_router", None)
        if inner is not None:
            paths |= routes_of(inner.routes)
        elif isinstance(route, Route):
            paths.add(route.path)
        else:
            assert isinstance(route, Mount), f"a route of an unknown kind: {type(route)}"
    return paths


def test_pages(tmp_path: Path) -> None:
    app = create_app(Settings(data_folder=tmp_path))
    app.state.archive.close()
    exist = {re.sub(r":\w+}", "}", path) for path in routes_of(app.routes)}
    assert len(exist) > 5
    assert set(named("Pages", 1)) == exist


def test_channel_roles() -> None:
    units = {name: SI_UNITS[role.dimension] for name, role in ROLES.items()} | {"time": "s"}
    assert named("Channel roles") == units
    assert set(units) == set(ROLE_NAMES)


def test_estimates_and_their_units() -> None:
    from server.analysis.setup_report import UNITS

    assert named("Estimates of a setup") == {name: unit.replace("–", "1") for name, unit in UNITS.items()}


def test_fields_of_a_result_that_hold_numbers() -> None:
    holding_numbers = set()
    for kind in vars(result_module).values():
        if not (dataclasses.is_dataclass(kind) and kind.__module__ == result_module.__name__):
            continue
        for name, hint in typing.get_type_hints(kind).items():
            if re.search(r"\b(float|int|ndarray)\b", str(hint)) and "Mapping" not in str(hint):
                holding_numbers.add(name)
    assert "u95" not in holding_numbers
    assert set(named("Fields of a result")) == holding_numbers | {"u95"}


def test_parts_of_the_server_stand_in_the_house() -> None:
    house = section("The house")
    for entry in SERVER.iterdir():
        if entry.name in {"__init__.py", "__pycache__"} or (entry.is_dir() and not python_files(entry)):
            continue
        assert re.search(rf"`(server/)?{re.escape(entry.name)}`", house), entry.name


@pytest.mark.parametrize("text", [README, DEVELOPERS], ids=["README", "DEVELOPERS"])
def test_modules_named_in_the_documents_can_be_started(text: str) -> None:
    names = set(re.findall(r"(?:python3?|py) -m ([\w.]+)", text))
    assert names
    for name in names:
        spec = importlib.util.find_spec(name)
        assert spec, name
        if spec.submodule_search_locations:
            assert importlib.util.find_spec(f"{name}.__main__"), name


def test_every_module_that_can_be_started_is_in_the_documents() -> None:
    for path in tracked():
        if not path.endswith(".py") or 'if __name__ == "__main__"' not in (ROOT / path).read_text("utf-8"):
            continue
        module = path.removesuffix(".py").removesuffix("/__main__").replace("/", ".")
        if module in {"tests.test_docs", "server.commands.main"}:  # this search itself; `stillair`
            continue
        assert f"-m {module}" in DEVELOPERS, module


@pytest.mark.parametrize("text", [README, DEVELOPERS], ids=["README", "DEVELOPERS"])
def test_links_and_pictures_exist(text: str) -> None:
    links = [link for link in re.findall(r"\]\(([^)]+)\)", text) if "://" not in link]
    for link in links:
        assert (ROOT / link).exists(), link
        assert any(path == link or path.startswith(f"{link}/") for path in tracked()), link


def test_the_readme_opens_with_the_job_then_the_picture_then_two_commands() -> None:
    places = [
        README.index(text)
        for text in ("coast", "screenshot.png", "`python3 -m server demo`", "`python3 -m tests`")
    ]
    assert places == sorted(places)
    assert "`py -m server demo`" in README
    assert "`py -m tests`" in README


@pytest.mark.parametrize(
    "caution",
    [
        *("closed course", "owner's rules", "marshal", "radio", "margin", "tuft tape", "tyre", "brakes"),
        *("high-voltage", "wet", "stop", "qualified people", "technical rules", "local rules"),
    ],
)
def test_cautions_are_in_the_readme(caution: str) -> None:
    assert caution in README.lower()


def test_the_least_day_of_the_readme_can_be_read(tmp_path: Path) -> None:
    """The TOML shown is loaded as a newcomer would: with two logs beside it."""
    from server.readers.load_day import load_day

    block = re.search(r"```toml\n(.*?)```", README, re.DOTALL)
    assert block
    text = re.sub(r"^   ", "", block.group(1), flags=re.MULTILINE)
    logs = sorted((sample_day_folders()[0] / "logs").iterdir())
    for run in tomllib.loads(text)["runs"]:
        (tmp_path / "logs").mkdir(exist_ok=True)
        shutil.copy(logs[run["number"] - 1], tmp_path / run["log"])
    (tmp_path / "testday.toml").write_text(text, "utf-8")
    day = load_day(tmp_path)
    assert [run.number for run in day.runs] == [1, 2]
    assert day.car.mass_kg.value == 236.0
    assert all(run.recordings[0].signals for run in day.runs)


def test_the_version_has_an_entry_in_the_change_log() -> None:
    from server import __version__

    assert f"### {__version__}" in DEVELOPERS
