from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.tufts.tuft_site import tuft_site
from tests.web.conftest import Site


@pytest.fixture
def site(tmp_path: Path) -> Iterator[Site]:
    with tuft_site(tmp_path) as made:
        yield made


@pytest.fixture(scope="module")
def shared(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    """For tests that do not mind each other's photos."""
    with tuft_site(tmp_path_factory.mktemp("tufts")) as made:
        yield made
