"""A day in, a result out: find the passes, fit them together, say what was found."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

import server
from server.analysis.added_columns import ColumnAdder
from server.analysis.air_checks import check_air_speed
from server.analysis.air_speed import air_parameters
from server.analysis.ballast import with_ballast
from server.analysis.baseline_drift import baseline_drift
from server.analysis.bend_test import LEVEL, bend_statistics, tested_bends
from server.analysis.day_findings import data_findings
from server.analysis.day_grid import build_grid, rotating_mass, wave_names
from server.analysis.day_noise import day_noise
from server.analysis.day_posterior import DayPosterior
from server.analysis.day_priors import CROSS_WIND_SD_MPS, YAW_GROWTH, build_priors, driver_masses
from server.analysis.day_problem import DayProblem
from server.analysis.day_solve import Rough, bend_day, silent, solve_day
from server.analysis.dragging_brake import brake_findings
from server.analysis.estimates import estimate
from server.analysis.fit_findings import coast_downs, fit_findings
from server.analysis.fit_options import FitOptions
from server.analysis.interval_method import CoastDown, interval_method, interval_method_from_times
from server.analysis.joint_hold import widened_by_joints
from server.analysis.load_data import AXLE_OF, SOURCE_OF, DayLoads, day_loads
from server.analysis.load_findings import load_findings
from server.analysis.load_priors import SCZ_MEASURED, load_parameters
from server.analysis.made_with import made_with
from server.analysis.outlook import outlooks
from server.analysis.pass_data import AIR, SPEEDOMETER, WHEEL, PassData, build_pass, day_origin
from server.analysis.pass_report import pass_fits
from server.analysis.passes import find_passes
from server.analysis.prepare import prepare_day
from server.analysis.result import DayResult, Estimate, IntervalMethod, Pass, SetupResult, StandTest
from server.analysis.setup_report import comparisons, joints, setup_results
from server.analysis.source_checks import source_checks, source_findings
from server.analysis.speed_scale import fit_speed_scale
from server.analysis.stand_tests import apply_stand_tests
from server.analysis.suspension_checks import check_suspension
from server.analysis.typed_data import build_typed_pass
from server.analysis.typed_report import typed_findings, typed_windows
from server.analysis.tyre_compliance import bent_by_tyres
from server.analysis.weather import DayAir, day_air
from server.testday.values import Day, Finding, Quantity

Progress = Callable[[float, str], None]
FIT_LOST = (
    "The fit of this day came to no end, so it tells nothing: some pass that is used is hardly a coast-down. Look at "
    "those whose edges were set by hand, then at the speeds; leave out what is not free rolling."
)


@dataclass(frozen=True, slots=True)
class ReadyDay:
    """A day whose passes are found. problem: None where there are too few of them; stands: its stand tests."""

    day: Day
    passes: tuple[Pass, ...]
    findings: tuple[Finding, ...]
    air: DayAir
    problem: DayProblem | None
    stands: tuple[StandTest, ...]


def made_ready(day: Day, options: FitOptions, say: Progress = silent) -> ReadyDay:
    """All that comes before a day is solved."""
    say(0.0, "passes")
    day, noticed = prepare_day(with_ballast(day))
    day, stands, told = apply_stand_tests(day)
    passes, findings = _all_passes(day, options)
    day, doubted = check_air_speed(day, passes)
    left_out, seen = check_suspension(day, passes)
    findings += [*told, *doubted, *seen]
    findings = [*day.findings, *noticed, *findings, *typed_findings(day), *data_findings(day, passes)]
    say(0.15, "speeds")
    air = day_air(day, YAW_GROWTH, CROSS_WIND_SD_MPS)
    loads = day_loads(day, passes, left_out)
    data = _usable(day, passes, loads)
    problem = _problem(day, passes, data, air, loads) if len(data) >= 2 else None
    return ReadyDay(day, passes, tuple(findings), air, problem, stands)


def fit_day(
    day: Day,
    options: FitOptions | None = None,
    progress: Progress | None = None,
    known: Callable[[DayPosterior], None] | None = None,
    rough: Callable[[ReadyDay, Rough], None] | None = None,
) -> DayResult:
    """Fit a loaded day (`Run.recordings` filled). known: is told the posterior on which the result stands; rough: where
    the fit stands half-way.

    Always returns a result; where no area can be had, the setups lack SCx and a finding says why.
    """
    options = options or FitOptions()
    result = _fitted(day, options, progress or silent, known, rough)
    return replace(result, options=options.kept(), made_with=made_with())


def _fitted(
    day: Day,
    options: FitOptions,
    say: Progress,
    known: Callable[[DayPosterior], None] | None,
    rough: Callable[[ReadyDay, Rough], None] | None,
) -> DayResult:
    made = made_ready(day, options, say)
    day, passes, findings, air = made.day, made.passes, list(made.findings), made.air
    problem = made.problem
    if problem is None:
        return replace(_nothing(day, passes, findings, air), stand_tests=made.stands)
    try:
        posterior = solve_day(
            problem,
            options.seed,
            lambda fraction, text: say(0.2 + 0.5 * fraction, text),
            None if rough is None else partial(rough, made),
        )
    except np.linalg.LinAlgError:
        findings.append(Finding("fit-lost", "stop", FIT_LOST))
        return replace(_nothing(day, passes, findings, air), stand_tests=made.stands)
    say(0.7, "downforce over ride height")
    bends = bend_statistics(posterior, options.seed)
    curves = [c for s, (_, p) in bends.items() if p < LEVEL / len(bends) for c in tested_bends(posterior, s)]
    if curves:
        posterior = bend_day(posterior, curves, options.seed)
    if known is not None:
        known(posterior)
    posterior, held = widened_by_joints(bent_by_tyres(posterior))
    say(0.85, "passes one by one")
    fits = pass_fits(posterior)
    setups = setup_results(posterior, passes, fits, bends, {s.name: s for s in day.setups})
    setups = tuple(_with_interval_method(s, posterior) for s in setups)
    setups, more = fit_findings(posterior, setups)
    checks = source_checks(posterior)
    more += [*held, *source_findings(checks), *load_findings(posterior, setups)]
    say(0.95, "what more passes would bring")
    adder = ColumnAdder(posterior)
    more += brake_findings(posterior, day, adder)
    compared = tuple(c for c in comparisons(posterior, day) if _both_stand(c.setup, c.baseline, setups))
    say(1.0, "done")
    return DayResult(
        name=day.name,
        reference=_reference(day, air, setups),
        setups=_in_order(day, setups, passes),
        comparisons=compared,
        findings=(*findings, *more),
        noise=_noise(posterior),
        load_sources=tuple(dict.fromkeys(SOURCE_OF[kind] for kind in problem.grid.load_kinds)),
        source_checks=checks,
        stand_tests=made.stands,
        version=server.__version__,
        joint=joints(posterior, setups),
        outlook=outlooks(posterior, [(c.setup, c.baseline) for c in compared]),
        drift=baseline_drift(posterior, day, adder),
    )


def _all_passes(day: Day, options: FitOptions) -> tuple[tuple[Pass, ...], list[Finding]]:
    passes: list[Pass] = []
    findings: list[Finding] = []
    for run in day.runs:
        found, said = find_passes(run, day.car, day.venue.heading_rad, options.passes)
        passes.extend(found)
        findings.extend(said)
    return tuple(passes), findings


def _usable(day: Day, passes: Sequence[Pass], loads: DayLoads) -> list[PassData]:
    """Block data of every used coast-down, and of every used constant-speed pass that has axle loads."""
    runs, origin = {run.number: run for run in day.runs}, day_origin(day)
    wanted = [p for p in passes if p.used and p.kind != "zero"]
    built = [build_typed_pass(runs[p.run], p, day) or build_pass(runs[p.run], p, day, origin, loads) for p in wanted]
    return [b for b in built if b is not None and (b.of.kind == "coast-down" or b.loads)]


def _problem(day: Day, passes: Sequence[Pass], data: Sequence[PassData], air: DayAir, loads: DayLoads) -> DayProblem:
    names = tuple(s.name for s in day.setups if any(d.of.setup == s.name for d in data))
    setup_of = [names.index(d.of.setup) for d in data]
    grid = build_grid(data, setup_of, driver_masses(day), air, loads, day.reference_speed_mps)
    waves = wave_names(grid)
    scale = fit_speed_scale(day.runs, passes, day.car)
    setups = [s for s in day.setups if s.name in names]
    constant = any(d.of.kind == "constant-speed" for d in data)
    wheels = any(WHEEL in d.series and d.loads for d in data)
    more = load_parameters(day, setups, loads, constant, wheels) if grid.load_kinds else []
    more += air_parameters(data, day.car)
    priors = build_priors(day, setups, air, scale, waves, _measured(data), more)
    kinds = {kind for d in data for kind in d.series} | ({AIR} if grid.has_air else set())
    noise = day_noise(kinds, bool(waves), grid.load_kinds)
    return DayProblem(grid, priors, noise, names, day.car, air)


def _measured(data: Sequence[PassData]) -> dict[tuple[str, str], Quantity]:
    """(setup, axle) whose downforce sensors measure → what is assumed of it beforehand."""
    return {(d.of.setup, AXLE_OF[kind]): SCZ_MEASURED for d in data for kind in d.loads}


def _with_interval_method(setup: SetupResult, posterior: DayPosterior) -> SetupResult:
    grid, car = posterior.problem.grid, posterior.problem.car
    picked = [i for i, data in enumerate(grid.passes) if data.of.setup == setup.name]
    mass = float(np.mean(grid.mass[picked])) + rotating_mass(car.front) + rotating_mass(car.rear)
    typed = [d for d in grid.passes if d.of.setup == setup.name and SPEEDOMETER in d.series]
    if len(typed) == len(picked):
        gain, offset = (posterior.problem.priors.index(f"speedometer_{name}") for name in ("gain", "offset"))
        windows = typed_windows(typed, float(posterior.mode_mean[gain]), float(posterior.mode_mean[offset]))
        timed = interval_method_from_times(windows, mass, float(np.mean(grid.density[picked])))
        return replace(setup, interval_method=timed)
    coasts = [CoastDown(fit.time_s, fit.speed_mps, fit.of.direction) for fit in coast_downs(setup)]
    answer: IntervalMethod = interval_method(coasts, mass, float(np.mean(grid.density[picked])))
    return replace(setup, interval_method=answer)


def _nothing(day: Day, passes: Sequence[Pass], findings: list[Finding], air: DayAir) -> DayResult:
    used = sum(p.used and p.kind == "coast-down" for p in passes)
    text = (
        f"{used} usable coast-down{'s' if used != 1 else ''} on this day; a drag area takes at least two, one each "
        "way. The passes that were turned down say why."
    )
    return DayResult(
        name=day.name,
        reference=_reference(day, air),
        setups=_in_order(day, (), passes),
        comparisons=(),
        findings=(*findings, Finding("no-area", "stop", text)),
        version=server.__version__,
    )


def _in_order(day: Day, fitted: Sequence[SetupResult], passes: Sequence[Pass]) -> tuple[SetupResult, ...]:
    by_name = {s.name: s for s in fitted}
    run_setups = {run.setup for run in day.runs}
    return tuple(
        by_name.get(s.name, SetupResult(s.name, {}, tuple(p for p in passes if p.setup == s.name)))
        for s in day.setups
        if s.name in run_setups
    )


def _both_stand(setup: str, baseline: str, setups: Sequence[SetupResult]) -> bool:
    standing = {s.name for s in setups if "SCx" in s.estimates}
    return setup in standing and baseline in standing


def _reference(day: Day, air: DayAir, fitted: Sequence[SetupResult] = ()) -> dict[str, float | str | None]:
    """The reference condition. Ride heights are those that the first setup takes there; where none are measured,
    the standing ones."""
    first = day.setups[0] if day.setups else None
    ridden = fitted[0].estimates if fitted and first is not None and fitted[0].name == first.name else {}
    front, rear = ridden.get("ride_height_front"), ridden.get("ride_height_rear")
    return {
        "speed_mps": day.reference_speed_mps,
        "wind": "still air",
        "density_kgm3": float(np.mean(air.density_kgm3)),
        "pressure_pa": air.mean_pressure_pa,
        "temperature_k": air.mean_temperature_k,
        "humidity": air.mean_humidity,
        "front_ride_height_m": front.value if front else first.front_ride_height_m if first else None,
        "rear_ride_height_m": rear.value if rear else first.rear_ride_height_m if first else None,
        "ride_heights": "at the reference speed" if front and rear else "standing" if first else None,
    }


def _noise(posterior: DayPosterior) -> dict[str, Estimate]:
    """Gust strength and time and the other noise parameters, from the weighted points."""
    weights, points = posterior.points.weights, posterior.points.points
    names = [t.name for t in posterior.problem.noise.terms if t.integrated]
    index = np.searchsorted(np.cumsum(weights), (np.arange(1000) + 0.5) / 1000.0)
    chosen = np.exp(points[np.minimum(index, len(points) - 1)])
    table = {name: chosen[:, i] for i, name in enumerate(names)}
    table["gust_frozen"] = table["gust_frozen"] / (1.0 + table["gust_frozen"])
    units = {
        "gust_frozen": "–",
        "gust_time": "s",
        "slow_wind": "m/s",
        "scatter": "–",
        "wave": "–",
        "gust_sd": "m/s",
    }
    return {name: estimate(values, units[name], "measured") for name, values in table.items()}
