"""From the command to the first page: three seconds of one core at most, imports and migration included."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

from server.locations import PACKAGE

LIMIT_S = 3.0
SCRIPT = """
import sys, time
from pathlib import Path
from server.app import create_app
from server.settings import Settings
from tests.web.serving import served
import httpx
with served(create_app(Settings(data_folder=Path(sys.argv[1])))) as address:
    assert "No test day is here yet" in httpx.get(address).text
    print(time.process_time())
    heavy = ("pandas", "plotly", "numba", "scipy", "server.analysis.day_fit")
    print([name for name in heavy if name in sys.modules])
"""


def test_the_first_page_is_there_in_three_seconds(tmp_path: Path) -> None:
    """Processor time, so that a busy machine does not decide; heavy imports wait until they are needed."""
    command = [sys.executable, "-c", SCRIPT, str(tmp_path)]
    done = subprocess.run(command, cwd=PACKAGE.parent, capture_output=True, text=True, check=True)
    seconds, heavy = done.stdout.splitlines()
    assert float(seconds) < LIMIT_S
    assert heavy == "[]"
