"""The JSON interface over kept days."""

from __future__ import annotations

import csv
import io

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


def test_a_result_by_its_number(shown: Site) -> None:
    assert shown.client.get("/api/days/2/results/2").json() == shown.client.get("/api/days/2/result").json()
    assert shown.client.get("/api/days/1/results/2").status_code == 404


def test_every_pass_as_json_and_csv(shown: Site) -> None:
    result = made_up_day_result("AB")
    rows = shown.client.get("/api/days/1/passes").json()
    assert len(rows) == sum(len(setup.passes) for setup in result.setups)
    fit = result.setups[1].fits[3]
    row = next(one for one in rows if (one["run"], one["start_s"]) == (fit.of.run, fit.of.start_s))
    assert (row["scx_m2"], row["scx_u_m2"], row["direction"]) == (fit.scx, fit.scx_u, "back")
    turned_down = [one for one in rows if not one["used"]]
    assert {one["reason"] for one in turned_down} == {"the brake was touched after 7.5 s; <b>traffic</b>"}
    assert {one["scx_m2"] for one in turned_down} == {None}
    answer = shown.client.get("/api/days/1/passes.csv")
    lines = list(csv.reader(io.StringIO(answer.text)))
    assert answer.headers["content-disposition"].startswith("attachment")
    assert len(lines) == len(rows) + 1
    assert [float(line[4]) for line in lines[1:]] == [one["start_s"] for one in rows]
    assert shown.client.get("/api/days/1/passes?result=1").json() == rows
    assert shown.client.get("/api/days/1/passes?result=2").status_code == 404


def test_every_figure_that_is_named_is_there(shown: Site) -> None:
    names = [one["name"] for one in shown.client.get("/api/days/1/figures").json()]
    assert {"passes", "forest", "budget"} <= set(names)
    for name in names:
        told = shown.client.get(f"/api/days/1/figures/{name}").json()
        assert told["figure"]["data"], name
        assert told == shown.client.get(f"/days/1/figures/{name}.json").json()
    assert shown.client.get("/api/days/1/figures/nothing").status_code == 404


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
