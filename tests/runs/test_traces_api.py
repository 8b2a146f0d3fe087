"""Channels of a run by the JSON interface: read when first asked for, then given in few points."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest

from server.app import create_app
from server.days.service import IncomingDay, keep_day
from server.runs.recordings import READ_KINDS
from server.settings import Settings
from tests.web.fake_fit import KINDS
from tests.web.serving import SMALL_DAY, client_of, wait_for

SAMPLES = 5000
AT = "/api/days/1/runs/1"


def speed_kmh(place: int) -> float:
    return 100.0 - 0.01 * place + (60.0 if place == 3333 else 0.0)


@pytest.fixture
def client(tmp_path: Path) -> Iterator[httpx.Client]:
    folder = tmp_path / "day"
    (folder / "logs").mkdir(parents=True)
    (folder / "testday.toml").write_text(SMALL_DAY)
    rows = "".join(f"{0.01 * place:.2f},{speed_kmh(place):.2f}\n" for place in range(SAMPLES))
    (folder / "logs/run01.csv").write_text(f"time [s],gps_speed [km/h]\n{rows}")
    app = create_app(Settings(data_folder=tmp_path / "data"), {**KINDS, **READ_KINDS})
    with client_of(app) as made:
        with app.state.archive.database.writing() as session:
            keep_day(app.state.archive, session, IncomingDay("A day", None, folder, "day"))
        yield made


def test_channels_come_once_the_log_is_read(client: httpx.Client) -> None:
    first = client.get(f"{AT}/channels").json()
    assert first["channels"] == []
    wait_for(lambda: client.get(f"/api/jobs/{first['job_id']}").json()["state"] == "done")
    told = client.get(f"{AT}/channels").json()
    assert told["job_id"] is None
    speed = next(one for one in told["channels"] if one["name"] == "gps_speed")
    assert (speed["log"], speed["n"], speed["unit"]) == ("logs/run01.csv", SAMPLES, "km/h")
    asked = {"log": "logs/run01.csv", "channel": speed["position"]}
    few = client.get(f"{AT}/trace", params={**asked, "points": 50}).json()
    assert (few["exact"], sum(few["count"])) == (False, SAMPLES)
    assert len(few["low"]) <= 50
    assert max(few["high"]) == pytest.approx(speed_kmh(3333), abs=1e-4)  # one sample alone is not lost
    exact = client.get(f"{AT}/trace", params={**asked, "start_s": 10.0, "end_s": 10.1}).json()
    assert exact["exact"] is True
    assert exact["low"] == exact["high"] == pytest.approx([speed_kmh(1000 + k) for k in range(11)], abs=1e-4)
    assert client.get(f"{AT}/trace", params={**asked, "channel": 99}).status_code == 404


@pytest.mark.parametrize(
    ("query", "status"),
    [
        *(("log=nothing.csv&channel=0", 404), ("log=logs/run01.csv&channel=x", 422), ("channel=0", 422)),
        *(("log=logs/run01.csv&channel=0", 404), ("log=logs/run01.csv&channel=0&start_s=nan", 422)),
        ("log=logs/run01.csv&channel=0&points=1", 422),
    ],
)
def test_what_cannot_be_asked(client: httpx.Client, query: str, status: int) -> None:
    answer = client.get(f"{AT}/trace?{query}")
    assert (answer.status_code, set(answer.json())) == (status, {"error"})
