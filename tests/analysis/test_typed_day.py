"""Days whose coast-downs were typed by hand, through the same model of the day."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from server.analysis.day_fit import fit_day
from server.analysis.pass_data import SPEEDOMETER
from server.analysis.passes import find_passes
from server.analysis.result import DayResult
from server.analysis.result_json import result_to_json
from server.analysis.simulate_like import plan_like
from server.analysis.typed_data import build_typed_pass, coast_path
from server.errors import StillairError
from server.figures.catalogue import figure_json, figure_names
from server.results.codec import result_from_bytes, result_to_bytes
from server.results.view import result_view
from server.testday.values import Day, PassEdit
from tests.analysis.typed_days import C0, GRAVITY, MASS_KG, SCX_M2, TOML, exact_sheet, exact_time_s, typed_day
from tests.simulator import Scenario, draw_day
from tests.simulator.typed import draw_typed_scenario, draw_typist
from tests.simulator.typed import typed_day as typed_hostile

MARKS_KMH = (100.0, 90.0, 80.0, 70.0, 60.0, 50.0, 40.0, 30.0)
TRUE_DIAL = "speedometer_gain;1.0\nspeedometer_rel_u;0.0001\nspeedometer_offset_kmh;0\nspeedometer_offset_u_kmh;0.01\n"


def fitted(folder: Path, sheet: str, toml: str = TOML) -> DayResult:
    return fit_day(typed_day(folder, sheet, toml))


def codes(result: DayResult) -> set[str]:
    return {f.code for f in result.findings}


@pytest.fixture(scope="module")
def sparse(tmp_path_factory: pytest.TempPathFactory) -> tuple[Day, DayResult]:
    """Two pairs of six marks with a default speedometer."""
    day = typed_day(tmp_path_factory.mktemp("sparse"), exact_sheet((80, 70, 60, 50, 40, 30), 2))
    return day, fit_day(day)


def test_the_exact_time_speed_relation_gives_its_area_back(tmp_path: Path) -> None:
    """Coasting against A + B v² has a closed form, an arctan (separation of variables, any calculus text)."""
    result = fitted(tmp_path, exact_sheet(MARKS_KMH, 4, settings=TRUE_DIAL))
    estimates = result.setups[0].estimates
    assert estimates["SCx"].value == pytest.approx(SCX_M2, rel=0.004)
    assert estimates["c0"].value == pytest.approx(C0, rel=0.01)


def test_a_handbooks_two_windows(tmp_path: Path) -> None:
    """Bosch Automotive Handbook, coast-down example (from memory): m = 1450 kg, A = 2.2 m², 60 to 55 km/h in 6.5 s,
    15 to 10 km/h in 10.5 s give cw = 0.36 and f = 0.013; its formula holds an air density of 1.2 kg/m³ and no
    rotating mass. Not rounded on the way: cw = 0.368, f = 0.0131."""
    sheet = TRUE_DIAL + "speed_from_kmh;speed_to_kmh;seconds_out;seconds_back\n"
    sheet += "60;55;6,5;6,5\n15;10;10,5;10,5\n" * 6
    toml = TOML.replace("mass_kg = 1000", "mass_kg = 1378").replace(
        "axle_inertia_kgm2 = 0.9", "axle_inertia_kgm2 = 0.005"
    )
    toml = toml.replace("rolling_c0_u = 0.004", "rolling_c0_u = 0.02").replace("= 17.0", "= 19.7")
    estimates = fitted(tmp_path, sheet, toml).setups[0].estimates
    assert estimates["SCx"].value / 2.2 == pytest.approx(0.368, abs=0.006)
    assert estimates["c0"].value == pytest.approx(0.0131, abs=0.0003)


@pytest.mark.parametrize("gain", [0.95, 1.05])
def test_a_speedometer_that_is_wrongly_believed_scales_the_area(tmp_path: Path, gain: float) -> None:
    """V = s v turns m dv/dt = −F0 − k v² into m dV/dt = −s F0 − (k/s) V²: the area comes out as SCx/s, c0 as s c0."""
    result = fitted(tmp_path, exact_sheet(MARKS_KMH, 6, gain=gain, settings=TRUE_DIAL))
    estimates = result.setups[0].estimates
    assert estimates["SCx"].value == pytest.approx(SCX_M2 / gain, rel=0.012)
    assert estimates["c0"].value == pytest.approx(C0 * gain, rel=0.02)


def test_a_speedometer_that_is_known_to_be_wrong_does_not(tmp_path: Path) -> None:
    known = TRUE_DIAL.replace("gain;1.0", "gain;1.08")
    result = fitted(tmp_path, exact_sheet(MARKS_KMH, 4, gain=1.08, settings=known))
    assert result.setups[0].estimates["SCx"].value == pytest.approx(SCX_M2, rel=0.004)


def test_the_speedometer_stands_in_the_budget(tmp_path: Path) -> None:
    """With the rolling resistance found by the data, a scale known to 3 % is about 3 % of SCx."""
    settings = TRUE_DIAL.replace("rel_u;0.0001", "rel_u;0.03") + "seconds_u;0.02\nspeed_u_kmh;0.05\n"
    setup = fitted(tmp_path, exact_sheet(MARKS_KMH, 6, settings=settings)).setups[0]
    line = next(b for b in setup.budget if b.quantity == "SCx" and b.input == "speedometer's scale")
    assert line.contribution == pytest.approx(0.03 * SCX_M2, rel=0.25)
    assert (line.value, line.u, line.type) == (1.0, pytest.approx(0.03), "B")


def test_less_sure_marks_widen_the_area(tmp_path: Path) -> None:
    areas = []
    for word in ("0.1", "0.8"):
        sheet = exact_sheet(MARKS_KMH, 4, settings=f"{TRUE_DIAL}speed_u_kmh;0.1\nseconds_u;{word}", off_s=float(word))
        areas.append(fitted(tmp_path / word, sheet).setups[0].estimates["SCx"])
    assert areas[1].u > 2.0 * areas[0].u
    assert all(abs(area.value - SCX_M2) < 3.0 * area.u for area in areas)


def test_a_marks_time_error_is_a_speed_error_by_the_deceleration(tmp_path: Path) -> None:
    """σ² = σ_V² + (a σ_t)² with a of the closed form."""
    day = typed_day(tmp_path, exact_sheet(MARKS_KMH, 1, settings=f"{TRUE_DIAL}seconds_u;0.4\nspeed_u_kmh;0.36"))
    found, _ = find_passes(day.runs[0], day.car)
    data = build_typed_pass(day.runs[0], found[0], day)
    assert data is not None
    series = data.series[SPEEDOMETER]
    law = [(exact_time_s(v + 0.01, v - 0.01), v) for v in series.value]
    expected = [0.1**2 + (0.4 * 0.02 / took) ** 2 for took, _ in law]
    assert 1.0 / series.share == pytest.approx(expected, rel=0.02)
    assert data.time_s[series.node] + series.lead_s == pytest.approx(
        [exact_time_s(MARKS_KMH[0] / 3.6, m / 3.6) for m in MARKS_KMH], abs=0.001
    )


@pytest.mark.parametrize("marks", [(100.0, 60.0, 20.0), (90.0, 85.0), MARKS_KMH])
def test_the_path_through_few_marks_follows_the_closed_form(marks: tuple[float, ...]) -> None:
    """What the model is linearised about: half a per cent of speed between marks is 1 % of a drag that is linearised,
    of second order in the result."""
    time = np.array([exact_time_s(marks[0] / 3.6, m / 3.6) for m in marks])
    nodes = np.arange(0.1, time[-1], 0.2)
    path = coast_path(time, np.array(marks) / 3.6, nodes)
    between = np.linspace(marks[0], marks[-1], 15) / 3.6
    seen = path(np.array([exact_time_s(marks[0] / 3.6, v) for v in between]))
    assert seen == pytest.approx(between, abs=0.12)


def test_a_mark_that_was_timed_late_stands_where_it_most_likely_was(tmp_path: Path) -> None:
    """Its node is that of the speed; its lateness is in the lead."""
    sheet = exact_sheet(MARKS_KMH, 4, settings=TRUE_DIAL).splitlines()
    late = sheet.index(next(line for line in sheet if line.startswith("60;")))
    cells = sheet[late].split(";")
    sheet[late] = ";".join([cells[0], f"{float(cells[1]) + 0.5:.3f}", *cells[2:]])
    day = typed_day(tmp_path, "\n".join(sheet))
    found, _ = find_passes(day.runs[0], day.car)
    first, other = (build_typed_pass(day.runs[0], found[k], day) for k in (0, 2))
    assert first is not None
    assert other is not None
    (one, two) = (d.series[SPEEDOMETER] for d in (first, other))
    assert abs(int(one.node[4]) - int(two.node[4])) <= 1
    assert one.lead_s[4] - two.lead_s[4] == pytest.approx(0.5 - 0.2 * (one.node[4] - two.node[4]), abs=0.002)


def test_passes_are_those_that_were_typed(sparse: tuple[Day, DayResult]) -> None:
    day, result = sparse
    passes = result.setups[0].passes
    assert [p.direction for p in passes] == [1, -1, 1, -1]
    assert all(p.used and p.kind == "coast-down" for p in passes)
    edited = replace(day.runs[0], passes=(PassEdit(0.0, 10.0, False, "traffic"), PassEdit(1e5, 1e5 + 1)))
    found, said = find_passes(edited, day.car)
    assert [(p.used, p.reason) for p in found[:2]] == [(False, "traffic"), (True, "")]
    assert [f.code for f in said] == ["edit-idle"]
    braked, _ = find_passes(replace(day.runs[0], coasting="in-gear"), day.car)
    assert not any(p.used for p in braked)


def test_a_direction_that_nobody_gave_is_asked_for(tmp_path: Path) -> None:
    marks = [line.split(";")[:2] for line in exact_sheet((80, 60, 40), 2).splitlines()]
    sheet = "\n".join(";".join(cells) for cells in marks)
    day = typed_day(tmp_path, sheet)
    found, said = find_passes(day.runs[0], day.car)
    assert {p.direction for p in found} == {0}
    assert [f.code for f in said] == ["direction-unknown"]
    sheet_tells, _ = find_passes(replace(day.runs[0], direction="back"), day.car)
    assert {p.direction for p in sheet_tells} == {-1}


def test_it_is_said_that_no_log_exists_and_what_was_taken(sparse: tuple[Day, DayResult]) -> None:
    _, result = sparse
    said = {f.code: f for f in result.findings if f.code in ("typed-times", "default-used") and f.grade == "check"}
    assert "± 0.20 s" in said["typed-times"].text
    assert "4 coast-downs with 24 marks" in said["typed-times"].text
    assert "UN Regulation 39" in said["default-used"].text
    assert "5 ± 3 %" in said["default-used"].text
    assert "wheel-speed-only" not in codes(result)


def test_the_interval_method_takes_the_marks_as_they_are(sparse: tuple[Day, DayResult]) -> None:
    _, result = sparse
    method = result.setups[0].interval_method
    assert method is not None
    assert len(method.windows) == 5
    took = exact_time_s(40 / 3.6, 30 / 3.6)
    assert method.windows[0].times_out_s == pytest.approx((took, took), abs=0.002)
    assert method.windows[0].speed_mps == pytest.approx((35.0 / 3.6 - 1.0 / 3.6) / 1.05)


def test_a_result_of_six_points_is_kept_drawn_and_told(sparse: tuple[Day, DayResult]) -> None:
    _, result = sparse
    assert {len(fit.time_s) for fit in result.setups[0].fits} == {6}
    kept = result_from_bytes(result_to_bytes(result))
    assert result_to_json(kept) == result_to_json(result)
    for narrow in (False, True):
        for name in figure_names(result):
            drawn = json.loads(figure_json(name, kept, narrow))["figure"]
            assert drawn["layout"], name
    points = [t for t in json.loads(figure_json("passes", kept, False))["figure"]["data"] if t.get("mode") == "markers"]
    assert points
    view = result_view(kept, 0.03)
    assert [row.used for row in view.passes] == [True] * 4


def test_the_force_between_marks_is_that_of_the_closed_form(sparse: tuple[Day, DayResult]) -> None:
    """Through a speedometer taken as 5 % and 1 km/h high though it was exact: forces stand over its true speed."""
    _, result = sparse
    fit = result.setups[0].fits[0]
    assert np.isnan(fit.resistance_n[[0, -1]]).all()
    read = (1.05 * fit.speed_mps + 1.0 / 3.6)[1:-1]
    force = (C0 * MASS_KG * GRAVITY + 0.5 * 1.2071 * SCX_M2 * read**2) / 1.05
    assert fit.resistance_n[1:-1] == pytest.approx(force, rel=0.01)


def test_a_day_of_one_logged_and_one_typed_run() -> None:
    """A logger that failed for a run: both are fitted together and the sheet does not spoil what the log tells."""
    hostile = draw_day(50_007, Scenario(pairs=3, wind="calm", passes_per_run=1))
    logged = fit_day(hostile.day)
    sheets = typed_hostile(replace(hostile, scenario=replace(hostile.scenario, setups=2))).day.runs
    mixed = replace(hostile.day, runs=(*hostile.day.runs[:-2], *sheets[-2:]))
    both = fit_day(mixed)
    truth = hostile.truth["setups"]["A"]["SCx"]
    for result in (logged, both):
        area = result.setups[0].estimates["SCx"]
        assert abs(area.value - truth) < 3.0 * area.u
    assert len(both.setups[0].fits) == len(logged.setups[0].fits)
    assert both.setups[0].estimates["SCx"].u < 1.6 * logged.setups[0].estimates["SCx"].u


def test_a_day_with_a_log_knows_no_speedometer() -> None:
    result = fit_day(draw_day(50_009, Scenario(pairs=1, wind="calm")).day)
    assert not any("speedometer" in line.input for line in result.setups[0].budget)


def test_a_typed_day_is_not_simulated(sparse: tuple[Day, DayResult]) -> None:
    with pytest.raises(StillairError, match="typed by hand"):
        plan_like(*sparse)


def test_typists_are_the_same_for_a_seed_and_their_sheets_read() -> None:
    scenario = draw_typed_scenario(50_003)
    first, again = (typed_hostile(draw_day(50_003, scenario)).day for _ in range(2))
    for one, other in zip(first.runs, again.runs, strict=True):
        (a,), (b,) = one.recordings, other.recordings
        assert a.typed is not None
        assert b.typed is not None
        for x, y in zip(a.typed.coast_downs, b.typed.coast_downs, strict=True):
            assert np.array_equal(x.time_s, y.time_s)
    assert draw_typist(1) != draw_typist(2)
