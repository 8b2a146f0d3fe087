"""The JSON interface against its own description; `python -m tests.studies schema --examples 50` asks more."""

from __future__ import annotations

import pytest

from tests.studies.schema import hold


@pytest.mark.study
def test_no_answer_is_a_mistake_or_unknown_to_the_description(caplog: pytest.LogCaptureFixture) -> None:
    told = hold(examples=1, roles=("lead",))
    assert told.faults == []
    assert not [one.getMessage() for one in caplog.records if one.name.startswith("server.archive.jobs")]
    assert told.asked > 100
    assert {200, 404, 422} <= set(told.statuses)
