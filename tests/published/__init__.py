"""Published figures that tests compare with: one folder a source, tables as CSV, a CITATION beside them."""

from pathlib import Path
from typing import Any

import numpy as np
import pytest

HERE = Path(__file__).parent
OUTSIDE = HERE.parents[2] / "shared" / "data"


def table(source: str, name: str) -> Any:
    """The columns of tests/published/<source>/<name>.csv by their header names."""
    path = HERE / source / f"{name}.csv"
    return np.genfromtxt(path, delimiter=",", names=True, dtype=None, encoding="utf-8")


def outside_data(*parts: str) -> Path:
    """A file of the openly licensed data kept beside the checkout; the test is skipped where it is absent."""
    path = OUTSIDE.joinpath(*parts)
    if not path.exists():
        pytest.skip(f"the data set {'/'.join(parts)} is not beside this checkout (../shared/data)")
    return path
