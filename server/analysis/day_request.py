"""A day that is asked for: its setups, speeds and straight; from it the plan that days are simulated from."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from server.analysis.asked_day import DayRequest
from server.analysis.pass_planning import PassPlanning, gust_share, variance_in_wind
from server.analysis.result import DayResult
from server.analysis.run_order import (
    Outing,
    day_plan,
    outing_seconds,
    refills,
    room_left,
    run_order,
    split_outings,
    stopping_distance,
)
from server.analysis.simulate_lengths import brake_length, trip_lengths
from server.analysis.simulate_like import plan_or_refuse
from server.analysis.simulate_plan import RunPlan, SetupPlan, SimulationPlan, default_plan
from server.errors import StillairError
from server.testday.values import Day, Quantity

GUST_FACTORS = (0.5, 1.0, 1.5, 2.0)
MEAN_WINDS_MPS = (0.0, 2.0, 4.0, 6.0)
TOO_LITTLE = (
    "The straight of {length:.0f} m is {short:.0f} m too short for these speeds: {lift}, brake from higher, or find a"
    " longer one."
)
FORECAST_U_MPS = 1.0  # common practice, no source
LOWEST_LIFT = 1.2  # times the speed that braking starts from: below it hardly anything is coasted
MPS_TO_KMH = 3.6


@dataclass(frozen=True, slots=True)
class StraightCheck:
    """Lengths of one coast-down trip [m], the stop from the highest speed, and what is left of the straight."""

    length_m: float
    accelerate_m: float
    coast_m: float
    brake_m: float
    stop_m: float
    margin_m: float
    left_m: float


def request_plan(request: DayRequest, like: tuple[Day, DayResult] | None = None) -> SimulationPlan:
    """The plan that days are simulated from: car, wind and instruments of the day like it, or stated defaults.

    like: the day with its result; its recordings tell the instruments alone, so that without them a request can be
    judged, but no days be simulated.
    Raises StillairError where nothing is to be told apart, or the straight is too short for the speeds.
    """
    if not request.wanted:
        raise StillairError("Name at least one change that the day is to tell from the baseline.")
    names = [request.baseline, *(one.setup for one in request.wanted)]
    if len(set(names)) < len(names):
        raise StillairError("Two setups of the plan have the same name.")
    base = plan_or_refuse(*like) if like else default_plan(gust_sd_mps=request.gust_sd_mps or 0.4, compare=False)
    setups = tuple(_setup(base, name, names[0]) for name in names)
    run = RunPlan(
        1, request.baseline, request.start_clock_s, base.runs[0].driver_mass_kg,
        high_mps=request.high_mps, low_mps=request.low_mps, coasting=base.runs[0].coasting,
    )  # fmt: skip
    wind = base.wind
    if request.gust_sd_mps is not None:
        wind = replace(wind, gust_sd_mps=Quantity(request.gust_sd_mps, 0.2 * request.gust_sd_mps))
    if request.along_mps is not None:
        wind = replace(wind, head_out_mps=Quantity(request.along_mps, FORECAST_U_MPS))
    if request.cross_mps is not None:
        wind = replace(wind, cross_mps=Quantity(request.cross_mps, FORECAST_U_MPS))
    venue = replace(base.venue, length_m=100_000.0)
    unloaded = replace(base.instruments, damper_rate_hz=0.0, ride_height_rate_hz=0.0, pushrod_rate_hz=0.0)
    plan = replace(base, name=request.name, setups=setups, runs=(run,), wind=wind, venue=venue, predictions=())
    plan = replace(plan, instruments=unloaded)
    return _on_its_straight(plan, request)


def straight_check(plan: SimulationPlan, length_m: float) -> StraightCheck:
    """The lengths that the plan's trips take on a straight of this length, with the mean wind from behind."""
    head, high = -abs(plan.wind.head_out_mps.value), max(high for high, _ in plan.runs[0].speeds())
    trip = trip_lengths(plan, plan.runs[0], head)
    taken = (plan.venue.length_m or 0.0) - room_left(plan, head)
    return StraightCheck(
        length_m=length_m,
        accelerate_m=trip.accelerate_m,
        coast_m=trip.coast_m,
        brake_m=trip.brake_m,
        stop_m=stopping_distance(high, plan.driver.brake_mps2),
        margin_m=2.0 * plan.driver.margin_m,
        left_m=length_m - taken,
    )


def outings_of(request: DayRequest, planning: PassPlanning) -> tuple[Outing, ...]:
    """The day's outings in order, none longer than battery or fuel allow."""
    ordered = run_order(request.baseline, [one.setup for one in request.wanted], planning.pairs)
    return split_outings(ordered, request.outing_pairs)


def timed(plan: SimulationPlan, request: DayRequest, outings: tuple[Outing, ...]) -> tuple[tuple[float, float], ...]:
    """Start on the day's clock and length of each outing [s]; what comes before it is waited for."""
    found, at, pace = [], request.start_clock_s, request.pace
    runs, filled = day_plan(plan, outings, pace).runs, refills(outings, request.outing_pairs)
    for i, run in enumerate(runs):
        if i:
            at += pace.between_s + (pace.change_s if run.setup != runs[i - 1].setup else 0.0)
            at += pace.refill_s if filled[i] else 0.0
        takes = outing_seconds(plan, run, request.pace)
        found.append((at, takes))
        at += takes
    return tuple(found)


def gust_costs(plan: SimulationPlan, planning: PassPlanning) -> tuple[tuple[float, int | None], ...]:
    """Gusts [m/s] → pairs of each change that the wanted intervals then take; None beyond MOST_PAIRS.

    a of U95² = s² + a/n grows with the gusts' variance in the share that the closed form gives them.
    """
    share, usual = gust_share(plan), plan.wind.gust_sd_mps.value
    found = []
    for factor in GUST_FACTORS:
        found.append((factor * usual, _pairs_if(planning, 1.0 + share * (factor**2 - 1.0))))
    return tuple(found)


def wind_costs(
    plan: SimulationPlan, planning: PassPlanning, length_m: float
) -> tuple[tuple[float, int | None, float], ...]:
    """Mean wind along the straight [m/s] → pairs of each change that the wanted intervals then take, with the same
    gusts (None beyond MOST_PAIRS), and what is left of the straight with it from behind [m]."""
    usual, found = variance_in_wind(plan, plan.wind.head_out_mps.value), []
    for along in MEAN_WINDS_MPS:
        blown = replace(plan, wind=replace(plan.wind, head_out_mps=Quantity(along)))
        pairs = _pairs_if(planning, variance_in_wind(plan, along) / usual)
        found.append((along, pairs, straight_check(blown, length_m).left_m))
    return tuple(found)


def _pairs_if(planning: PassPlanning, grown: float) -> int | None:
    """Pairs that reach every wanted interval where a is `grown` times as large."""
    needed = [one.pairs_if(grown) for one in planning.differences]
    return None if None in needed else max(one for one in needed if one is not None)


def _setup(base: SimulationPlan, name: str, baseline: str) -> SetupPlan:
    """The setup as the day like this one knows it; one that it does not know is taken like the baseline.

    What sensors measured of its downforce is stated instead, as surely: a day without load sensors simulates sooner.
    """
    known = {one.setup.name: one for one in base.setups}
    like = known.get(name) or known.get(baseline) or base.setups[0]
    stated = replace(
        like.setup,
        name=name,
        baseline=None if name == baseline else baseline,
        scz_front_m2=replace(like.scz_front_m2, source="typed"),
        scz_rear_m2=replace(like.scz_rear_m2, source="typed"),
    )
    return replace(like, setup=stated, bend_front_per_m=Quantity(0.0), bend_rear_per_m=Quantity(0.0))


def _lift_that_fits(plan: SimulationPlan, request: DayRequest) -> str:
    """The highest speed to lift at that the straight has room for, in words."""

    def left(high_mps: float) -> float:
        run = replace(plan.runs[0], high_mps=high_mps)
        return straight_check(replace(plan, runs=(run,)), request.length_m).left_m

    low, high = LOWEST_LIFT * request.low_mps, request.high_mps
    if low >= high or left(low) < 0.0:
        return "lift lower"
    while high - low > 0.05:
        middle = 0.5 * (low + high)
        low, high = (middle, high) if left(middle) >= 0.0 else (low, middle)
    return f"lift at {math.floor(MPS_TO_KMH * low)} km/h or below"


def _on_its_straight(plan: SimulationPlan, request: DayRequest) -> SimulationPlan:
    """Turning marks as far apart as a trip takes, on the straight that there is."""
    check = straight_check(plan, request.length_m)
    if check.left_m < 0.0:
        lift = _lift_that_fits(plan, request)
        raise StillairError(TOO_LITTLE.format(length=request.length_m, short=-check.left_m, lift=lift))
    high, trip = request.high_mps, check.accelerate_m + check.coast_m + check.brake_m
    spare = brake_length(plan.driver, high) + plan.driver.margin_m
    driver = replace(plan.driver, marks_m=(spare, spare + trip))
    return replace(plan, driver=driver, venue=replace(plan.venue, length_m=2.0 * spare + trip))
