"""The JSON interface over kept days."""

from __future__ import annotations

import pytest

from server.analysis.result_json import result_to_json
from tests.web.conftest import Site
from tests.web.made_up import made_up_day_result


def test_days_with_their_summaries(shown: Site) -> None:
    days = shown.client.get("/api/days").json()
    assert {day["id"] for day in days} == {1, 2}
    assert all(day["summary"]["setups"][0]["setup"] == "A" for day in days)


def test_one_day_has_its_revisions(shown: Site) -> None:
    day = shown.client.get("/api/days/1").json()
    assert [one["number"] for one in day["revisions"]] == [1]
    assert day["revisions"][0]["content_sha256"] == day["content_sha256"]


def test_the_result_is_what_the_command_prints(shown: Site) -> None:
    assert shown.client.get("/api/days/1/result").json() == result_to_json(made_up_day_result("AB"))


@pytest.mark.parametrize(
    ("path", "status"),
    [
        *(("/api/days/77", 404), ("/api/days/77/result", 404), ("/api/days/1/revisions/9", 404)),
        *(("/api/days/x", 422), ("/api/days/0", 422), ("/api/days/99999999999999999999", 422), ("/api/jobs/x", 404)),
    ],
)
def test_every_refusal_is_one_sentence(shown: Site, path: str, status: int) -> None:
    answer = shown.client.get(path)
    assert answer.status_code == status
    assert set(answer.json()) == {"error"}


def test_events_come_in_pages_and_end_at_the_head(shown: Site) -> None:
    first = shown.client.get("/api/events?limit=3").json()
    rest = shown.client.get(f"/api/events?after={first['next']}").json()
    events = first["events"] + rest["events"]
    assert [one["id"] for one in events] == [1, 2, 3, 4]
    assert rest["next"] is None
    assert shown.client.get("/api/events/head").json() == {"id": 4, "sha256": events[-1]["sha256"]}


def test_the_description_holds_the_interface_alone(shown: Site) -> None:
    told = shown.client.get("/api/openapi.json").json()
    assert told["openapi"].startswith("3.1")
    assert {"/api/days", "/api/events", "/api/uploads/{upload_id}"} <= set(told["paths"])
    assert all(path.startswith("/api/") for path in told["paths"])
    assert "Problem" in told["components"]["schemas"]
    assert not [name for name in told["components"]["schemas"] if name.startswith("Body_")]


def test_results_of_a_day(shown: Site) -> None:
    rows = shown.client.get("/api/days/2/results").json()
    assert [(row["version"], row["moved"]) for row in rows] == [("0.1.0", [])]
    assert shown.client.get("/api/days/9/results").status_code == 404
