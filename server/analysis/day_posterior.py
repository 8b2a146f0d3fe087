"""The joint posterior of a day: marginal likelihood at given noise, Gauss–Newton, integration over noise."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from server.analysis.day_grid import DayGrid, Point
from server.analysis.day_model import LinearDay, linearise, with_gusts
from server.analysis.day_noise import DayNoise, filter_noise, gust_exponent
from server.analysis.day_priors import SPEED_NAMES, Priors, scatter_covariance, wind_prior
from server.analysis.load_data import AXLE_OF
from server.analysis.load_priors import BEND_HIDDEN, BEND_SEEN, zero_prior
from server.analysis.weather import DayAir
from server.inference.augmented_filter import whiten
from server.inference.gaussian import Posterior, condition, keep_as_stated
from server.inference.noise_integration import Mode, WeightedPoints, find_mode, weighted_points
from server.testday.values import Car, FloatArray

WIND_LEVEL_U_MPS = 2.5
POINTS = 128
TOLD_DELAY_U_S = 0.05  # a wheel's speed beside the satellite's tells it to 0.01 s or so
TOLD_SCALE_U = 0.004  # above it no satellite speed told the scale of speed


@dataclass(frozen=True, slots=True, eq=False)
class DayProblem:
    """Everything the posterior needs: grid, priors, noise terms; bent: columns of bends that were found."""

    grid: DayGrid
    priors: Priors
    noise: DayNoise
    setup_names: tuple[str, ...]
    car: Car
    air: DayAir
    bent: tuple[int, ...] = ()
    zero_priors: dict[float, list[tuple[FloatArray, FloatArray]]] = field(default_factory=dict)

    @property
    def measured_setups(self) -> frozenset[str]:
        """Setups of which any pass has axle loads."""
        return frozenset(d.of.setup for d in self.grid.passes if d.loads)


@dataclass(frozen=True, slots=True, eq=False)
class DayPosterior:
    """Posterior of a day. Parameters are shared ones, then winds, scatters, zeros of each load source in units of
    `unit_zero`, their drifts in units of `unit_slope`, levels of standing joints front and rear, each
    block (n,) over the passes.

    mode_mean (p,), mode_covariance (p, p): the Gaussian at the best noise;
    prior_mean (p,) and mode_precision_prior (p, p): the prior at that noise; samples: (n, p);
    rows: whitened rows at the mode; residuals: those rows at the mode's mean.
    """

    problem: DayProblem
    point: Point
    linear: LinearDay
    mode: Mode
    points: WeightedPoints
    mode_mean: FloatArray
    mode_covariance: FloatArray
    mode_precision_prior: FloatArray
    prior_mean: FloatArray
    samples: FloatArray
    rows: FloatArray
    residuals: FloatArray
    values: dict[str, float]

    def scaled_prior(self) -> tuple[FloatArray, FloatArray]:
        """Precision (p, p) and mean (p,) of the prior in the columns' units, as deviations from the point."""
        mean, precision = _prior(self.problem, self.point, self.values)
        return precision, mean

    def prior_without(self, places: np.ndarray) -> FloatArray:
        """That precision without what is stated of some parameters, so that the data speak for themselves; what the
        passes must not move stays where it is."""
        precision, _ = self.scaled_prior()
        kept = kept_scale(self.problem)
        if kept is not None:
            precision[kept, kept] = 1e9
        precision[places, places] = 1e-9
        return precision


def place_of_bend(problem: DayProblem, setup: str) -> np.ndarray:
    """Columns of a setup's bend, front and rear."""
    return np.array([problem.priors.index(f"bend_{end}:{setup}") for end in ("front", "rear")])


def solve_day(problem: DayProblem, seed: int = 1, progress: Callable[[float, str], None] | None = None) -> DayPosterior:
    """Fit the day: linearise, find the noise, linearise again until it stands, integrate over the noise."""
    say = progress or silent
    n = len(problem.grid.passes)
    point = Point(problem.priors.mean, np.zeros(n), np.zeros(n))
    log = _first_noise(problem)
    for _ in range(3):
        point = _step(problem, point, log)
    say(0.2, "noise")
    mode = _noise_mode(problem, point, log, last=False)
    for _ in range(3):
        point = _step(problem, point, mode.point)
    say(0.5, "noise, again")
    mode = _noise_mode(problem, point, mode.point, last=True)
    mode = replace(mode, point=_widened(problem, point, mode))
    for _ in range(2):
        point = _step(problem, point, mode.point)
    say(0.7, "sampling")
    return _integrate(problem, point, mode, seed)


def _first_noise(problem: DayProblem) -> FloatArray:
    """Where the search for the noise begins: the prior's medians, white noise of each sensor from how its blocks
    differ from one to the next (second differences, robust)."""
    log = problem.noise.log_median.copy()
    names = {0: "wheel_white", 1: "satellite_white"} | {k: f"load_white_{k}" for k in problem.grid.load_kinds}
    for i, term in enumerate(problem.noise.terms):
        kind = next((k for k, name in names.items() if name == term.name), None)
        if kind is None:
            continue
        steps = [
            np.diff(series.value, 2)
            for data in problem.grid.passes
            if (series := data.series.get(kind) or data.loads.get(kind)) is not None
        ]
        spread = 1.4826 * float(np.median(np.abs(np.concatenate(steps)))) / np.sqrt(6.0) if steps else 0.0
        if spread > 0.0:
            log[i] = np.clip(np.log(spread), log[i] - 3.0 * term.log_sd, log[i] + 3.0 * term.log_sd)
    return log


def bend_day(posterior: DayPosterior, columns: Sequence[int], seed: int = 1) -> DayPosterior:
    """The same day with SCz as a curve in ride height (columns: the bends): solved on from the posterior."""
    problem = replace(posterior.problem, bent=tuple(int(c) for c in columns))
    point = posterior.point
    for _ in range(4):
        point = _step(problem, point, posterior.mode.point)
    return _integrate(problem, point, posterior.mode, seed)


def silent(fraction: float, text: str) -> None:
    """Progress that nobody wants to hear."""


def _step(problem: DayProblem, point: Point, log: FloatArray) -> Point:
    linear = linearise(problem.grid, problem.priors, problem.setup_names, point, problem.car)
    posterior, _ = evaluate(problem, linear, point, log)
    return _moved(problem, point, posterior.mean)


def _moved(problem: DayProblem, point: Point, z: FloatArray) -> Point:
    p, n = len(problem.priors.parameters), len(problem.grid.passes)
    theta = point.theta + problem.priors.u * z[:p]
    return Point(theta, point.wind + z[p : p + n], point.scatter + z[p + n : p + 2 * n])


def _noise_mode(problem: DayProblem, point: Point, start: FloatArray, last: bool) -> Mode:
    linear = linearise(problem.grid, problem.priors, problem.setup_names, point, problem.car)

    def log_density(log: FloatArray) -> float:
        return evaluate(problem, linear, point, log)[0].log_evidence + problem.noise.log_prior(log)

    curved = problem.noise.integrated if last else None
    return find_mode(log_density, start, problem.noise.log_sd, curved, closely=last, scale=problem.noise.told)


def _widened(problem: DayProblem, point: Point, mode: Mode) -> FloatArray:
    """The mode with the log of slow load errors moved up by their variance s²: exp(2 m + 2 s²) is the mean of a
    log-normal's square, and the square is what an uncertainty holds. At most 0.4."""
    linear = linearise(problem.grid, problem.priors, problem.setup_names, point, problem.car)
    log = mode.point.copy()
    for i, term in enumerate(problem.noise.terms):
        if not term.widened:
            continue
        step, ends = 0.5 * term.told, []
        for sign in (1.0, -1.0):
            moved = mode.point.copy()
            moved[i] += sign * step
            ends.append(evaluate(problem, linear, point, moved)[0].log_evidence + problem.noise.log_prior(moved))
        curve = -(ends[0] + ends[1] - 2.0 * mode.value) / step**2
        log[i] += float(np.clip(1.0 / max(curve, 1e-3), 0.0, 0.4))
    return log


def evaluate(problem: DayProblem, linear: LinearDay, point: Point, log: FloatArray) -> tuple[Posterior, FloatArray]:
    """Posterior of the deviations from the point (shared in units of prior u) at given noise, and the rows."""
    values = problem.noise.values(log)
    noise = filter_noise(values)
    rows, logdet = whiten(with_gusts(linear, noise.gust_sd, gust_exponent(values)), noise)
    information, score, chi2 = normal_equations(rows, linear.row_pass, len(problem.grid.passes), problem.grid.own)
    mean, precision = _prior(problem, point, values)
    kept = kept_scale(problem)
    if kept is not None:
        mean[kept] = 0.0  # the model is linearised there
        information, score = keep_as_stated(information, score, mean, precision, kept)
    return condition(information, score, chi2, logdet, mean, precision), rows


def normal_equations(rows: FloatArray, row_pass: np.ndarray, n: int, own: int) -> tuple[FloatArray, FloatArray, float]:
    """EᵀE, Eᵀe_0, e_0ᵀe_0 with each pass's own columns spread to their places."""
    p = rows.shape[1] - 1 - own
    shared = rows[:, : p + 1].T @ rows[:, : p + 1]
    information = np.zeros((p + own * n, p + own * n))
    score = np.zeros(p + own * n)
    information[:p, :p] = shared[1:, 1:]
    score[:p] = shared[0, 1:]
    ends = np.searchsorted(row_pass, np.arange(n + 1))
    for i in range(n):
        part = rows[ends[i] : ends[i + 1]]
        mine = part[:, p + 1 :].T @ part
        place = p + n * np.arange(own) + i
        score[place] = mine[:, 0]
        information[place, :p] = mine[:, 1 : p + 1]
        information[:p, place] = mine[:, 1 : p + 1].T
        information[np.ix_(place, place)] = mine[:, p + 1 :]
    return information, score, float(shared[0, 0])


def kept_scale(problem: DayProblem) -> np.ndarray | None:
    """Columns of the speed's scale, growth and delay that keep what is known of them beforehand, where no second speed
    tells them. The passes can't: but fifty of them would move a scale by many times its u for the least misfit at low
    speed, and loads would move a delay by as much for what joints or a bend do to their curve over speed."""
    place = problem.priors.index("scale0")
    kept = [] if problem.priors.u[place] <= TOLD_SCALE_U else [place, problem.priors.index("scale2")]
    delay = problem.priors.index("delay")
    if problem.grid.load_kinds and problem.priors.u[delay] > TOLD_DELAY_U_S:
        kept.append(delay)
    kept += [i for i, q in enumerate(problem.priors.parameters) if q.name.startswith("speedometer_")]
    return np.array(kept) if kept else None


def row_scores(rows: FloatArray, row_pass: np.ndarray, residuals: FloatArray, n: int, own: int) -> FloatArray:
    """Eᵀe for several residual vectors e at once, (r, k) → (p, k), each pass's own columns in their places."""
    p = rows.shape[1] - 1 - own
    scores = np.empty((p + own * n, residuals.shape[1]))
    scores[:p] = rows[:, 1 : p + 1].T @ residuals
    ends = np.searchsorted(row_pass, np.arange(n + 1))
    for i in range(n):
        part = slice(ends[i], ends[i + 1])
        scores[p + n * np.arange(own) + i] = rows[part, p + 1 :].T @ residuals[part]
    return scores


def _prior(problem: DayProblem, point: Point, values: dict[str, float]) -> tuple[FloatArray, FloatArray]:
    """Prior mean and precision of the deviations from the point."""
    priors, passes = problem.priors, problem.grid.passes
    p, n = len(priors.parameters), len(passes)
    own = problem.grid.own
    precision = np.zeros((p + own * n, p + own * n))
    mean = np.zeros(p + own * n)
    mean[:p] = (priors.mean - point.theta) / priors.u
    scale = np.ones(p)
    waves = [i for i, q in enumerate(priors.parameters) if q.name.startswith("wave_")]
    if waves:
        count = len({priors.parameters[i].name.split("_")[2] for i in waves})
        scale[waves] = (priors.u[waves] / (values["wave"] / np.sqrt(count))) ** 2
    if len(problem.bent):
        scale[list(problem.bent)] = (BEND_HIDDEN / BEND_SEEN) ** 2
    precision[np.arange(p), np.arange(p)] = scale
    speeds = [priors.index(name) for name in SPEED_NAMES]
    precision[np.ix_(speeds, speeds)] = np.linalg.inv(priors.speed_correlation)
    wind_mean, wind_cov = wind_prior(passes, problem.air, WIND_LEVEL_U_MPS, values["slow_wind"])
    precision[p : p + n, p : p + n] = np.linalg.inv(wind_cov)
    mean[p : p + n] = wind_mean - point.wind
    scatters = slice(p + n, p + 2 * n)
    precision[scatters, scatters] = np.linalg.inv(scatter_covariance(passes, values["scatter"]))
    mean[scatters] = -point.scatter
    if problem.grid.load_kinds:
        _put_zeros(problem, values["zero_drift"], mean, precision)
    return mean, precision


def _put_zeros(problem: DayProblem, drift_m: float, mean: FloatArray, precision: FloatArray) -> None:
    """The prior of every source's zeros and drifts, into its places."""
    grid, p = problem.grid, len(problem.priors.parameters)
    n, kinds = len(grid.passes), len(grid.load_kinds)
    for k, (centre, inverse) in enumerate(_zero_priors(problem, drift_m)):
        start = p + 2 * n
        place = np.concatenate([start + k * n + np.arange(n), start + (kinds + k) * n + np.arange(n)])
        precision[np.ix_(place, place)] = inverse
        mean[place] = centre
    turned = np.arange(p + (2 + 2 * kinds) * n, p + grid.own * n)
    precision[turned, turned] = 1.0


def _zero_priors(problem: DayProblem, drift_m: float) -> list[tuple[FloatArray, FloatArray]]:
    """Mean and precision of every source's zeros; kept, since most looks at the noise leave the drift alone."""
    known = problem.zero_priors.get(drift_m)
    if known is None:
        grid, known = problem.grid, []
        assert grid.loads is not None
        for kind in grid.load_kinds:
            spring = grid.loads.springs[AXLE_OF[kind]]
            centre, covariance = zero_prior(grid.passes, grid.loads.static, kind, problem.car, spring, drift_m)
            known.append((centre, np.asarray(np.linalg.inv(covariance))))
        problem.zero_priors[drift_m] = known
    return known


def _integrate(problem: DayProblem, point: Point, mode: Mode, seed: int) -> DayPosterior:
    """Weighted points over the noise, each with its Gaussian of the parameters; samples of the mixture."""
    linear = linearise(problem.grid, problem.priors, problem.setup_names, point, problem.car)
    free = problem.noise.integrated
    narrow = replace(mode, point=mode.point[free])

    def whole(part: FloatArray) -> FloatArray:
        log = mode.point.copy()
        log[free] = part
        return log

    def log_density(part: FloatArray) -> float:
        try:
            posterior, _ = evaluate(problem, linear, point, whole(part))
        except np.linalg.LinAlgError:
            return -np.inf
        return posterior.log_evidence + problem.noise.log_prior(whole(part))

    points = weighted_points(log_density, narrow, POINTS, seed)
    wider = problem.noise.with_allowance(mode.point)
    at_mode, rows = evaluate(problem, linear, point, wider)
    rng = np.random.default_rng(seed)

    def conditional(part: FloatArray) -> Posterior:
        return evaluate(problem, linear, point, problem.noise.with_allowance(whole(part)))[0]

    samples = _mixture(points, conditional, rng)
    scale = _scale(problem)
    base = point_base(problem, point)
    p = len(problem.priors.parameters)
    residuals = rows[:, 0] + rows[:, 1 : p + 1] @ at_mode.mean[:p]
    own = at_mode.mean[p:].reshape(problem.grid.own, -1)  # (own, passes)
    residuals += np.sum(rows[:, p + 1 :] * own.T[linear.row_pass], axis=1)
    values = problem.noise.values(wider)
    return DayPosterior(
        problem=problem,
        point=point,
        linear=linear,
        mode=mode,
        points=points,
        mode_mean=base + scale * at_mode.mean,
        mode_covariance=at_mode.covariance() * np.outer(scale, scale),
        mode_precision_prior=_prior(problem, point, values)[1] / np.outer(scale, scale),
        prior_mean=base + scale * _prior(problem, point, values)[0],
        samples=base + scale * samples,
        rows=rows,
        residuals=residuals,
        values=values,
    )


def point_base(problem: DayProblem, point: Point) -> FloatArray:
    """The point of linearisation over all parameters, (p,); zeros and drifts are linear and stand at 0."""
    zeros = np.zeros((problem.grid.own - 2) * len(problem.grid.passes))
    return np.concatenate([point.theta, point.wind, point.scatter, zeros])


def _scale(problem: DayProblem) -> FloatArray:
    return np.concatenate([problem.priors.u, np.ones(problem.grid.own * len(problem.grid.passes))])


def _mixture(
    points: WeightedPoints, conditional: Callable[[FloatArray], Posterior], rng: np.random.Generator
) -> FloatArray:
    """4,000 draws of the mixture, in proportion to the points' weights (systematic resampling)."""
    total = 4000
    edges = (np.arange(total) + rng.random()) / total
    counts = np.bincount(
        np.minimum(np.searchsorted(np.cumsum(points.weights), edges), len(points.weights) - 1),
        minlength=len(points.weights),
    )
    parts = []
    for part, count in zip(points.points, counts, strict=True):
        if count:
            posterior = conditional(part)
            parts.append(posterior.draw(rng.standard_normal((int(count), len(posterior.mean)))))
    return np.vstack(parts)
