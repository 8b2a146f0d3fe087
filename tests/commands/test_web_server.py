"""Starting the pages: the address in one line, a taken port, a folder that cannot be."""

from __future__ import annotations

import re
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import pytest

from server.commands.web_server import address, listening_socket, make_data_folder
from server.errors import StillairError
from server.settings import Settings, describe, load

LINE = re.compile(r"Stillair is open at (http://127\.0\.0\.1:\d+) \(Ctrl-C ends it\)\n")


def test_the_wanted_port_is_used_when_it_is_free() -> None:
    with closing(listening_socket("127.0.0.1", 0)) as any_free:
        port = any_free.getsockname()[1]
    with closing(listening_socket("127.0.0.1", port)) as listener:
        assert listener.getsockname()[1] == port
        assert address("127.0.0.1", listener) == f"http://127.0.0.1:{port}"


def test_a_taken_port_gives_another() -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        with closing(listening_socket("127.0.0.1", taken.getsockname()[1])) as listener:
            assert listener.getsockname()[1] != taken.getsockname()[1]


@pytest.mark.parametrize("host", ["192.0.2.1", "no host of that name"])
def test_a_host_that_is_not_this_computer_is_refused(host: str) -> None:
    """192.0.2.0/24 is set aside for documentation: RFC 5737."""
    with pytest.raises(StillairError, match="cannot listen on"):
        listening_socket(host, 0)


def test_every_network_is_shown_as_this_computer() -> None:
    with closing(listening_socket("0.0.0.0", 0)) as listener:
        assert address("0.0.0.0", listener).startswith("http://127.0.0.1:")


def test_a_data_folder_that_cannot_be_made_is_named(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(StillairError, match=r"data folder .*file.data cannot be made .*--data FOLDER"):
        make_data_folder(Settings(data_folder=tmp_path / "file" / "data"))


def test_settings_come_from_the_environment_and_the_command_line_wins(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("STILLAIR_PORT", "9001")
    assert load(port=None).port == 9001
    assert load(port=9002).port == 9002


@pytest.mark.parametrize(("name", "value"), [("port", "many"), ("port", "70000"), ("upload_limit_mb", "-1")])
def test_a_wrong_setting_is_named(name: str, value: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(f"STILLAIR_{name.upper()}", value)
    with pytest.raises(StillairError, match=rf"setting {name} \(STILLAIR_{name.upper()}\) cannot be '{value}'"):
        load()


def test_every_setting_has_default_unit_and_help() -> None:
    for line in describe():
        assert line.default, line.name
        assert line.unit, line.name
        assert line.help.endswith("."), line.name
        assert line.variable == f"STILLAIR_{line.name.upper()}"


@contextmanager
def started(*arguments: str) -> Iterator[subprocess.Popen[str]]:
    """`stillair …` in a process of its own, ended when the block is left."""
    with subprocess.Popen(
        [sys.executable, "-m", "server", *arguments],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    ) as process:
        try:
            yield process
        finally:
            process.terminate()


@pytest.mark.parametrize("command", ["serve", "demo"])
def test_a_start_prints_the_address_and_answers_there(command: str, tmp_path: Path) -> None:
    with started(command, "--port", "0", "--data", str(tmp_path / "data")) as process:
        assert process.stdout is not None
        line = LINE.fullmatch(process.stdout.readline())
        if line is None:
            process.terminate()
            pytest.fail(process.communicate()[1])
        with urllib.request.urlopen(line.group(1), timeout=30) as answer:
            page = answer.read().decode()
        assert answer.status == 200
        assert "<h1" in page
        began = time.monotonic()
        process.terminate()
        process.wait(timeout=30)
        assert time.monotonic() - began < 15
    assert (tmp_path / "data").is_dir()
