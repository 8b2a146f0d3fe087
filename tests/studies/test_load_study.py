"""Studies of axle loads, tried with fakes of known honesty and with records made by hand."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from server.help.studies import study_of
from tests.simulator import Scenario, draw_day
from tests.studies.__main__ import main
from tests.studies.bends import bends_summary
from tests.studies.fitters import without_loads
from tests.studies.ills import ill_row, worst_z
from tests.studies.load_report import (
    bend_summary,
    judge_loads,
    load_row,
    load_rows,
    load_summary,
    measured_claims,
    targets,
)
from tests.studies.load_table import load_table
from tests.studies.paired import errors_ratio, paired_summary, pairs_of
from tests.studies.records import BendFound, Claim, DayRecord
from tests.studies.runner import Plan, run


def load_days(fitter: str, days: int, **changes: object) -> list[DayRecord]:
    return run(Plan(days, fitter=fitter, changes={"pairs": 1, "setups": 1, **changes}, loads=True))


@pytest.fixture(scope="module")
def honest_days() -> list[DayRecord]:
    return load_days("honest", 60)


def test_an_honest_fit_of_loads_passes(honest_days: list[DayRecord]) -> None:
    found = load_summary(honest_days)
    assert found["load_misses"] == []
    whole = {r["quantity"]: r for r in found["loads"] if r["stratum"] == "all days"}
    # the fake errs by 2 % of each truth
    for name in ("SCx", "SCz_front", "SCz_rear", "SCz", "LD", "weight_speed"):
        assert whole[name]["rms_error"] == pytest.approx(2.0, rel=0.25), name
        assert whole[name]["error_over_bound"] == pytest.approx(1.0, rel=0.25), name
    assert whole["balance_front"]["rms_error"] == pytest.approx(2.0 * 0.45, rel=0.35)
    assert whole["ride_height_front"]["rms_error"] == pytest.approx(0.02 * 27.0, rel=0.35)


def test_overconfident_loads_are_flagged() -> None:
    misses = load_summary(load_days("overconfident", 60))["load_misses"]
    assert any(m.startswith("SCz_rear") and "too narrow" in m for m in misses)
    assert any(m.startswith("balance_front: RMS(error/u)") for m in misses)


def test_downforce_that_was_only_typed_is_no_measurement(honest_days: list[DayRecord]) -> None:
    day = honest_days[0]
    typed = replace(day, claims=tuple(replace(c, source="typed") for c in day.claims))
    for name in ("SCz_front", "SCz_rear", "SCz", "balance_front", "LD"):
        assert load_row(name, "x", [typed])["missing"] == 1, name
        assert load_row(name, "x", [day])["missing"] == 0, name
    assert load_row("ride_height_front", "x", [typed])["missing"] == 0
    nothing = judge_loads(load_rows([typed]))
    assert "SCz_front: no estimate at all." in nothing


def record(seed: int, claims: tuple[Claim, ...], bends: tuple[BendFound, ...] = ()) -> DayRecord:
    from dataclasses import asdict

    nuisance = {"gust_sigma": 0.2, "bent": False, "friction": [10.0, 10.0], "shaken": False}
    scenario = asdict(Scenario(dampers=True, load_sources=("damper",)))
    return DayRecord(seed, scenario, nuisance, 1.0, claims=claims, bends=bends)


def claim(name: str, truth: float, value: float, u: float) -> Claim:
    return Claim("A", name, truth, value, u, value - 2.0 * u, value + 2.0 * u, "measured")


def test_errors_are_in_the_unit_that_they_are_judged_in() -> None:
    days = [
        record(k, (claim("SCx", 1.0, 1.0, 0.1), claim("SCz_front", 2.0, 2.0 + off, 0.04),
                   claim("balance_front", 0.40, 0.40 + off / 10.0, 0.004)))
        for k, off in enumerate((0.02, -0.02))
    ]  # fmt: skip
    front, balance = (load_row(n, "x", days) for n in ("SCz_front", "balance_front"))
    assert (front["rms_error"], front["rms_u"]) == (pytest.approx(1.0), pytest.approx(2.0))
    assert (balance["rms_error"], balance["error_over_bound"]) == (pytest.approx(0.2), pytest.approx(0.5))
    small = [record(0, (claim("SCx", 1.0, 1.0, 0.1), claim("SCz_front", 0.2, 0.3, 0.1)))]
    assert load_row("SCz_front", "x", small)["rms_error"] is None
    assert load_row("SCz_front", "x", small)["rms_z"] == pytest.approx(1.0)
    reached = {(t["quantity"], t["stratum"]): t for t in targets(load_rows(days))}
    assert reached["SCz_front", "4 pairs, calm, dampers, straight"]["reached"] is True
    assert reached["SCz_rear", "4 pairs, calm, dampers, straight"]["reached"] is None


def test_one_setup_of_a_day_counts_and_turns_with_the_seed() -> None:
    both = (claim("SCx", 1.0, 1.0, 0.1), claim("SCz", 3.0, 3.0, 0.1))
    both += tuple(replace(c, setup="B", value=9.0) for c in both)
    chosen = measured_claims([record(0, both), record(1, both)], "SCz")
    assert [c.setup for c in chosen] == ["A", "B"]


def test_bends_are_counted_by_their_truth() -> None:
    def day(seed: int, truth: bool, bent: bool) -> DayRecord:
        return record(seed, (claim("SCx", 1.0, 1.0, 0.1),), (BendFound("A", truth, bent, 0.01),))

    days = [day(k, True, k < 9) for k in range(10)] + [day(k, False, k == 10) for k in range(10, 30)]
    found = bend_summary([*days, record(30, ())])
    assert (found["seen"]["bent"], found["seen"]["n"], found["untested"]) == (9, 10, 1)
    assert found["false_alarms"]["share"] == pytest.approx(0.05)
    # none seen of ten: the bounds exclude nine tenths; ten alarms of ten exclude one in twenty
    blind = bends_summary([day(k, True, False) for k in range(10)], [day(k, False, True) for k in range(10)],
                          {"command": "", "bent": "", "straight": ""})  # fmt: skip
    assert sum("asked for" in m for m in blind["misses"]) == 2


def test_a_ratio_of_errors_has_bounds_that_hold_it() -> None:
    rng = np.random.default_rng(3)
    shared = rng.standard_normal(400)
    ratio, low, high = errors_ratio(0.5 * shared, shared)
    assert (ratio, low, high) == (pytest.approx(0.5), pytest.approx(0.5), pytest.approx(0.5))
    ratio, low, high = errors_ratio(0.5 * rng.standard_normal(400), shared)
    assert low < 0.5 < high
    assert high - low == pytest.approx(4.0 * 0.5 * np.sqrt(1.0 / 400.0), rel=0.25)


def test_pairs_are_the_same_days_and_only_those_with_both_areas(honest_days: list[DayRecord]) -> None:
    silent = load_days("silent", 60)
    pairs = pairs_of(honest_days, silent)
    assert [day.seed for day, _, _ in pairs] == [s for s in range(1, 61) if s % 5 != 0]
    found = paired_summary(honest_days, honest_days, {"command": "x", "first_seed": 1})
    assert found["figures"][0]["ratio"] == pytest.approx(1.0)
    with pytest.raises(ValueError, match="same seeds"):
        pairs_of(honest_days, silent[1:])


def test_a_day_without_loads_is_the_same_day_without_their_channels() -> None:
    hostile = draw_day(3, Scenario(pairs=1, dampers=True, load_sources=("damper", "ride height", "push rod")))
    bare = without_loads(hostile.day)
    kept = bare.runs[0].recordings[0].signals
    assert set(kept) == set(draw_day(3, Scenario(pairs=1)).day.runs[0].recordings[0].signals)
    assert bare.car is hostile.day.car


def test_records_of_loads_go_through_json(honest_days: list[DayRecord]) -> None:
    day = next(d for d in honest_days if d.bends)
    back = DayRecord.from_dict(json.loads(json.dumps(day.as_dict())))
    assert (back.claims, back.bends, back.findings) == (day.claims, day.bends, day.findings)
    older = {k: v for k, v in day.as_dict().items() if k not in ("bends", "findings", "source_checks")}
    older["claims"] = [{k: v for k, v in c.items() if k != "source"} for c in older["claims"]]
    assert DayRecord.from_dict(json.loads(json.dumps(older))).bends == ()


def test_a_fault_is_survived_named_or_neither() -> None:
    def day(seed: int, z: float, codes: tuple[str, ...] = ()) -> DayRecord:
        areas = tuple(claim(n, 2.0, 2.0 + 0.02 * z, 0.02) for n in ("SCz_front", "SCz_rear"))
        return replace(record(seed, (claim("SCx", 1.0, 1.0, 0.1), *areas)), findings=codes)

    healthy = [day(k, 0.0, ("dropouts",)) for k in range(4)]
    ill = [day(0, 1.0), day(1, 9.0, ("dropouts",)), day(2, 9.0, ("sensor-dead",)), day(3, 1.0, ("sensor-dead",))]
    found = ill_row("dead damper", ill, healthy)
    assert (found["survived"], found["named"], found["neither"], found["untold"]) == (2, 2, [1], 0)
    assert found["codes"] == {"sensor-dead": 2}
    assert found["u_ratio"] == pytest.approx(1.0)
    assert worst_z(replace(ill[0], claims=ill[0].claims[:2])) is None
    with pytest.raises(ValueError, match="same seeds"):
        ill_row("dead damper", ill[1:], healthy)
    told = [replace(each, findings=(*each.findings, "motion-ratio-unproved")) for each in (ill[1], healthy[1])]
    assert ill_row("ratio inverted", told[:1], told[1:])["untold"] == 1


def test_commands_write_what_the_help_reads(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    few = ["--days", "4", "--processes", "1", "--fitter", "honest", "--set", "pairs=1", "--set", "setups=1"]
    out = {name: tmp_path / f"{name}.json" for name in ("coverage", "table", "dampers", "bend", "faults")}
    main(["coverage", "--loads", *few, "--out", str(out["coverage"]), "--table", str(out["table"])])
    main(["dampers", *few, "--out", str(out["dampers"])])
    main(["bend", *few, "--out", str(out["bend"]), "--set-straight", "pairs=1"])
    main(["faults", *few, "--out", str(out["faults"]), "--fault", "volts", "--fault", "zero drift"])
    printed = capsys.readouterr().out
    contents = {name: json.loads(path.read_text(encoding="utf-8")) for name, path in out.items()}
    tables = {name: study_of(content) for name, content in contents.items()}
    assert tables["table"].title.startswith("Axle loads on 4")
    assert "with and without axle loads" in tables["dampers"].title
    assert all("python -m tests.studies" in t.command for t in tables.values())
    assert all(len(line) <= 150 for line in load_table(contents["coverage"]).splitlines())
    assert "bend where there is none" in printed
    assert (tmp_path / "bend.straight.jsonl").exists()
    assert [row[0] for row in contents["faults"]["rows"]] == ["volts", "zero drift"]
