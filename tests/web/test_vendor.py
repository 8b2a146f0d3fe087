"""Third-party browser files: pinned, licensed, unchanged, and the only ones."""

from __future__ import annotations

import hashlib
import json
import re
import urllib.parse

import plotly.offline
import pytest

from server.locations import web_folder

VENDOR = web_folder() / "vendor"
LISTED = json.loads((VENDOR / "vendor.json").read_text())
OPEN_LICENCES = {"MIT", "0BSD"}


@pytest.mark.parametrize("name", LISTED)
def test_file_is_the_one_that_was_pinned(name: str) -> None:
    entry = LISTED[name]
    assert hashlib.sha256((VENDOR / name).read_bytes()).hexdigest() == entry["sha256"]
    assert entry["version"] in name
    assert entry["licence"] in OPEN_LICENCES
    assert (VENDOR / entry["licence_file"]).stat().st_size > 300


def test_nothing_else_lies_there() -> None:
    licences = {entry["licence_file"] for entry in LISTED.values()}
    assert {file.name for file in VENDOR.iterdir()} == {*LISTED, *licences, "vendor.json"}


def test_the_plot_library_is_the_one_that_the_python_side_writes_for() -> None:
    (name,) = [name for name in LISTED if name.startswith("plotly")]
    assert LISTED[name]["version"] == plotly.offline.get_plotlyjs_version()


def test_pages_load_nothing_from_elsewhere() -> None:
    """Every src and href of the templates, and every url() and import of styles and scripts, is local."""
    found = []
    for file in web_folder().rglob("*"):
        if file.suffix not in {".html", ".css", ".js"} or file.parent == VENDOR:
            continue
        text = file.read_text()
        found += re.findall(r"""(?:src|href|action|hx-get|hx-post)="([^"{]+)""", text)
        found += re.findall(r"""url\(["']?([^"')]+)""", text)
        found += re.findall(r"""(?:from|import)\s+["']([^"']+)""", text)
    assert found
    assert [one for one in found if urllib.parse.urlsplit(one).netloc] == []
