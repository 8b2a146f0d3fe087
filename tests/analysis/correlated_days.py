"""Days made of nothing but what they measured and what was predicted of them; all names and numbers are invented."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from server.analysis.result import Comparison, DayResult, Delta, Estimate, Joint, SetupResult
from server.testday.values import Axle, Car, Day, PredictionCase, Quantity, Setup, Source

NORMAL_95 = 1.959963984540054
AREAS = ("SCx", "SCz_front", "SCz_rear")
HEIGHT_U = 0.0003


def value(number: float, u: float, unit: str = "m²", source: Source = "measured") -> Estimate:
    return Estimate(number, u, number - NORMAL_95 * u, number + NORMAL_95 * u, unit, source)


def measured_day(
    areas: Mapping[str, Sequence[float]],
    *,
    rel_u: float = 0.015,
    shared: float = 0.5,
    heights_m: Mapping[str, tuple[float, float]] | None = None,
    source: Source = "measured",
    rng: np.random.Generator | None = None,
) -> tuple[Day, DayResult]:
    """A day whose setups are as `areas` says (SCx, SCz front, rear), measured with rel_u, of whose variance a share is
    one error for all setups; drawn about the truth where rng is given. The first setup is everybody's baseline."""
    names = tuple(areas)
    truth = np.array([areas[name] for name in names], float)
    u = rel_u * np.abs(truth)
    told = truth.copy()
    if rng is not None:
        common = np.sqrt(shared) * rng.standard_normal(3)
        told = truth + u * (common + np.sqrt(1.0 - shared) * rng.standard_normal(truth.shape))
    at = heights_m or dict.fromkeys(names, (0.026, 0.030))
    joint = {area: _joint(names, told[:, k], u[:, k], shared) for k, area in enumerate(AREAS)}
    joint |= _derived(names, joint)
    results = tuple(_setup(name, told[i], u[i], at[name], source) for i, name in enumerate(names))
    comparisons = tuple(_comparison(name, names[0], joint) for name in names[1:])
    result = DayResult("Made up", {"speed_mps": 22.0, "density_kgm3": 1.2}, results, comparisons, (), joint=joint)
    setups = tuple(Setup(name, None if name == names[0] else names[0], 0.034, 0.038) for name in names)
    return Day("Made up", None, car(), (), setups, ()), result


def car() -> Car:
    """A car of round numbers."""
    axle = Axle(Quantity(0.42), Quantity(0.2298), Quantity(39_000.0), Quantity(0.92))
    return Car(
        "Wisp 5", Quantity(236.0), Quantity(1.54), Quantity(0.475), Quantity(0.285), Quantity(6.0), Quantity(0.35),
        Quantity(0.02), Quantity(0.00012), axle, axle,
    )  # fmt: skip


def _setup(name: str, told: np.ndarray, u: np.ndarray, at: tuple[float, float], source: Source) -> SetupResult:
    scx, front, rear = (float(one) for one in told)
    scz, scz_u = front + rear, float(np.hypot(u[1], u[2]))
    balance_u = float(np.hypot(rear * u[1], front * u[2]) / scz**2)
    estimates = {
        "SCx": value(scx, float(u[0])),
        "SCz_front": value(front, float(u[1]), source=source),
        "SCz_rear": value(rear, float(u[2]), source=source),
        "SCz": value(scz, scz_u, source=source),
        "balance_front": value(front / scz, balance_u, "–", source),
        "LD": value(scz / scx, float(np.hypot(scz_u / scx, scz * u[0] / scx**2)), "–", source),
        "ride_height_front": value(at[0], HEIGHT_U, "m"),
        "ride_height_rear": value(at[1], HEIGHT_U, "m"),
    }
    return SetupResult(name, estimates, ())


def _joint(names: tuple[str, ...], told: np.ndarray, u: np.ndarray, shared: float) -> Joint:
    return Joint(names, "m²", told, np.outer(u, u) * (shared + (1.0 - shared) * np.eye(len(names))))


def _derived(names: tuple[str, ...], joint: Mapping[str, Joint]) -> dict[str, Joint]:
    """SCz = front + rear and L/D = SCz/SCx, to the first order."""
    x, front, rear = (joint[area] for area in AREAS)
    z, z_cov = front.values + rear.values, front.covariance + rear.covariance
    by_x = z / x.values**2
    ld_cov = z_cov / np.outer(x.values, x.values) + np.outer(by_x, by_x) * x.covariance
    return {"SCz": Joint(names, "m²", z, z_cov), "LD": Joint(names, "–", z / x.values, ld_cov)}


def _comparison(name: str, baseline: str, joint: Mapping[str, Joint]) -> Comparison:
    deltas = {}
    for area, one in joint.items():
        i, j = one.setups.index(name), one.setups.index(baseline)
        apart, v = float(one.values[i] - one.values[j]), one.covariance
        u = float(np.sqrt(v[i, i] + v[j, j] - 2.0 * v[i, j]))
        deltas[area] = Delta(apart, u, apart - NORMAL_95 * u, apart + NORMAL_95 * u, 0.01, 2.8 * u, "m²")
    return Comparison(name, baseline, deltas)


def case(
    setup: str, front_mm: float | None, rear_mm: float | None, areas: Sequence[float], *, rel_u: float = 0.01,
    part: str = "", source: str = "made up", yaw_rad: float = 0.0,
) -> PredictionCase:  # fmt: skip
    scx, front, rear = (Quantity(one, abs(one) * rel_u, "predicted") for one in areas)
    return PredictionCase(
        setup, front_mm and front_mm / 1e3, rear_mm and rear_mm / 1e3, yaw_rad, 22.0, scx, front, rear, part, source
    )


def nine_cases(setup: str, areas: Sequence[float], **more: float) -> list[PredictionCase]:
    """Cases round the car's ride heights, every area rising by 0.5 % a mm that the car sinks."""
    return [
        case(setup, f, r, [a * (1.0 + 0.005 * (56.0 - f - r)) for a in areas], **more)  # type: ignore[arg-type]
        for f in (22.0, 26.0, 30.0)
        for r in (26.0, 30.0, 34.0)
    ]
