"""Real city drives of a small electric quadricycle at 1 Hz: hardly any of it is a coast-down, and says why.

NaitMalekYoussef/RSK_Twizy_EV_Dataset, CC-BY-4.0. Speed of the car's bus, mode D/N/R, satellite renewed every
10 to 25 s, no brake channel, traffic.
"""

from __future__ import annotations

import re
from collections import Counter
from pathlib import Path

import numpy as np
import pytest

from server.analysis.passes import find_passes
from server.analysis.result import Pass
from server.analysis.signal_checks import check_signals
from server.readers import open_log
from server.testday.findings import CODES
from server.testday.values import Run, Signal
from tests.analysis.driven_runs import made_car, made_run

FOLDER = Path(__file__).parents[3] / "shared/data/rsk_twizy"
FILES = sorted(FOLDER.glob("*.csv"))
COLUMNS = {
    "Speed": ("vehicle_speed", 1 / 3.6),
    "GpsSpeed": ("gps_speed", 1 / 3.6),
    "Mode": ("gear", 1.0),
    "LAT": ("latitude", np.pi / 180),
    "LON": ("longitude", np.pi / 180),
}
CAR = made_car(550.0)

pytestmark = pytest.mark.skipif(not FILES, reason="the recordings of rsk_twizy are not beside the checkout")


def drive_of(path: Path, without: tuple[str, ...] = ()) -> Run:
    signals = {}
    for channel in open_log(path).channels:
        role, scale = COLUMNS.get(channel.name, ("", 1.0))
        if role and role not in without:
            signals[role] = Signal(channel.time_s, channel.values * scale, channel.name)
    return made_run(signals)


def coasts(run: Run) -> tuple[list[Pass], list[Pass]]:
    passes, findings = find_passes(run, CAR)
    assert {f.code for f in findings} <= CODES.keys()
    found = [p for p in passes if p.kind == "coast-down"]
    return [p for p in found if p.used], [p for p in found if not p.used]


def test_with_the_mode_known_nearly_all_is_turned_down_as_in_gear() -> None:
    used, reasons, moving = [], Counter(), 0.0
    for path in FILES:
        run = drive_of(path)
        taken, refused = coasts(run)
        gear, speed = (run.recordings[0].signals[role] for role in ("gear", "vehicle_speed"))
        moving += float(np.sum(speed.values > 4.2))
        assert all(p.reason for p in refused)
        reasons.update(re.sub(r"[\d.]+", "#", p.reason) for p in refused)
        for p in taken:
            inside = (gear.time_s >= p.start_s) & (gear.time_s <= p.end_s)
            assert np.all(gear.values[inside] == 0.0)
        used += taken
    assert sum(reasons.values()) > 500
    assert reasons.most_common(1)[0][0] == "in gear: engine braking"
    assert len(used) <= 5
    # what remains are neutral glides: 550 kg with rolling 0.010–0.015 and 0.6–0.7 m² (from memory) lose
    # 0.15–0.35 m/s² at these speeds; sensor steps of 2–3 s and grades widen it
    for p in used:
        assert 0.05 < (p.high_mps - p.low_mps) / (p.end_s - p.start_s) < 0.7


def test_without_the_mode_most_is_turned_down_and_the_rest_doubted() -> None:
    used = refused = 0
    for path in FILES[:3]:
        run = drive_of(path, without=("gear",))
        taken, others = coasts(run)
        used, refused = used + len(taken), refused + len(others)
        codes = {f.code for f in find_passes(run, CAR)[1]}
        assert {"coasting-doubtful", "coasting-unconfirmed", "coasting-inferred"} <= codes
    assert used < 0.2 * (used + refused)


def test_the_sensors_holds_are_seen() -> None:
    found = check_signals(drive_of(FILES[0]))
    by_code = {f.code: f.text for f in found}
    assert "GpsSpeed" in by_code["repeated-values"] or "LAT" in by_code["repeated-values"]
    assert "'Speed' (vehicle_speed)" in by_code["flat-lined"]
