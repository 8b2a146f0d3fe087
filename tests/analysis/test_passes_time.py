"""Twenty minutes at 100 Hz go through the finder in a small multiple of what reading those samples takes."""

from __future__ import annotations

import io

import numpy as np
import pandas as pd
import pytest

from server.analysis.passes import find_passes
from server.testday.values import Signal
from tests.analysis.driven_runs import Phase, draw_body, draw_script, drive, made_car, made_run, wheel_speed
from tests.analysis.pass_study import controls
from tests.ratios import ratio, settled

LONG_S = 1200.0
MOST = 15.0  # finding the passes / the bare parse of the wheels' samples


@pytest.mark.parametrize("with_controls", [False, True])
def test_a_long_fast_log_is_quick(with_controls: bool) -> None:
    rng = np.random.default_rng(3)
    script: list[Phase] = [phase for _ in range(8) for phase in draw_script(rng, 4)]
    truth = drive(script, draw_body(rng), rng)
    signals = {role: wheel_speed(truth, rng, 100.0, 0.05) for role in ("wheel_speed_fl", "wheel_speed_fr")}
    signals |= controls(truth, rng) if with_controls else {}
    assert truth.time_s[-1] > LONG_S
    cut = {}
    for role, s in signals.items():
        keep = s.time_s < LONG_S
        cut[role] = Signal(s.time_s[keep], s.values[keep], role)
    run, car = made_run(cut), made_car()
    passes, _ = find_passes(run, car)
    assert sum(p.used and p.kind == "coast-down" for p in passes) > 15
    wheels = pd.DataFrame({role: cut[role].values for role in ("wheel_speed_fl", "wheel_speed_fr")})
    text = wheels.assign(time_s=cut["wheel_speed_fl"].time_s).to_csv(index=False)

    def against_parse() -> float:
        return ratio(lambda: find_passes(run, car), lambda: pd.read_csv(io.StringIO(text)), rounds=4)

    assert settled(against_parse, MOST) <= MOST
