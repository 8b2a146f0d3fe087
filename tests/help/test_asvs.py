"""The table of security items names tests that exist."""

from __future__ import annotations

import pytest

from server.help.asvs import Item, items
from tests.imports import ROOT


@pytest.mark.parametrize("item", items(), ids=lambda item: item.number)
def test_the_test_that_shows_an_item_is_there(item: Item) -> None:
    file, _, name = item.test.partition("::")
    assert f"def {name}(" in (ROOT / "tests" / file).read_text("utf-8")


def test_each_item_stands_once_and_in_order() -> None:
    numbers = [tuple(int(part) for part in item.number.split(".")) for item in items()]
    assert numbers == sorted(set(numbers))
