"""From the command to the first page: imports, migrations and the page against the bare import of what it stands on."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

from server.locations import PACKAGE
from tests.ratios import settled

LIMIT = 3.5  # three seconds of a core on which the frameworks alone take 0.86 s
TURNS = 3
FRAMEWORKS = """
import time
import alembic.command, fastapi, httpx, jinja2, numpy, pydantic_settings, sqlalchemy.orm, uvicorn
print(time.process_time())
"""
FIRST_PAGE = """
import http.client, sys, tempfile, time
from pathlib import Path
from server.commands.web_server import made_app
from server.settings import Settings
from tests.web.serving import served
with served(made_app(Settings(data_folder=Path(tempfile.mkdtemp(dir=sys.argv[1]))))) as address:
    asked = http.client.HTTPConnection(address.removeprefix("http://"))
    asked.request("GET", "/")
    assert b"No test day is here yet" in asked.getresponse().read()
    print(time.process_time())
    heavy = ("pandas", "plotly", "numba", "scipy", "dask", "fsspec", "psycopg", "server.analysis.day_fit")
    print([name for name in heavy if name in sys.modules])
"""


def test_the_first_page_takes_few_times_what_its_frameworks_take(tmp_path: Path) -> None:
    """Processor times of one run, in turns, compiled modules kept as on any machine from the second start on."""
    _printed(FRAMEWORKS, tmp_path), _printed(FIRST_PAGE, tmp_path)

    def against_frameworks() -> float:
        bare, first = [], []
        for _ in range(TURNS):
            bare.append(float(_printed(FRAMEWORKS, tmp_path)[0]))
            seconds, heavy = _printed(FIRST_PAGE, tmp_path)
            first.append(float(seconds))
            assert heavy == "[]"
        print(f"first page {min(first):.2f} s, frameworks alone {min(bare):.2f} s of processor time")
        return min(first) / min(bare)

    assert settled(against_frameworks, LIMIT) <= LIMIT


def _printed(script: str, folder: Path) -> list[str]:
    environment = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    environment["PYTHONPYCACHEPREFIX"] = str(folder / "compiled")
    command = [sys.executable, "-c", script, str(folder)]
    done = subprocess.run(command, cwd=PACKAGE.parent, env=environment, capture_output=True, text=True, check=True)
    return done.stdout.splitlines()
