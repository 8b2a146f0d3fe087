"""What a change of areas is worth on simple stretches of a course, with its interval: an aid to decide, no forecast."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields

import numpy as np

from server.aero.events import (
    air_energy,
    circle_time,
    cornering_speed,
    slalom_length,
    slalom_radius,
    standing_start_time,
)
from server.analysis.result import Joint
from server.testday.values import Car, FloatArray, Quantity

DRAWS = 2000
SEED = 2026
CIRCLE_RADIUS_M = 15.25 / 2.0 + 1.5  # middle of a 3 m lane round an inner circle of 15.25 m
START_M = 75.0
SLALOM_AMPLITUDE_M = 0.9  # of the path beside a row of cones (common practice, no source)
SLALOM_CONES = 10
# What nobody stated (common practice, no source).
DENSITY = Quantity(1.2, 0.02, "default")
FRICTION = Quantity(1.5, 0.15, "default")
POWER_W = Quantity(60_000.0, 6_000.0, "default")
SPEED_MPS = Quantity(16.0, 1.5, "default")


@dataclass(frozen=True, slots=True)
class Assumed:
    """What the events stand on besides the areas; each with its u.

    mass_kg with driver; power_w at the tyres; speed_mps: root mean square over the distance.
    """

    mass_kg: Quantity
    density_kgm3: Quantity = DENSITY
    friction: Quantity = FRICTION
    power_w: Quantity = POWER_W
    speed_mps: Quantity = SPEED_MPS
    distance_m: float = 22_000.0
    pitch_m: float = 10.0


@dataclass(frozen=True, slots=True)
class Worth:
    """A difference setup less baseline at one event: seconds, or kilojoules; with 95 % interval.

    baseline: what the baseline takes there, in the same unit, for scale.
    """

    event: str
    unit: str
    value: float
    low95: float
    high95: float
    baseline: float


@dataclass(frozen=True, slots=True, eq=False)
class AreaPair:
    """SCx, SCz_front, SCz_rear of a setup and of its baseline: values (6,), setup first; covariance (6, 6)."""

    values: FloatArray
    covariance: FloatArray


def measured_pair(joint: Mapping[str, Joint], setup: str, baseline: str) -> AreaPair | None:
    """The areas of both from a day's joint posterior; None where it does not tell all of them of both.

    The posterior keeps covariances between setups, quantity by quantity. Those between quantities follow from the sums
    and ratios that it keeps as well: cov(f, r) + cov(r, f) = cov(f + r) − cov(f) − cov(r), and cov(x, z) from that of
    z/x by d(z/x) = dz/x − z dx/x². What two setups share in two orders is parted as if errors were shares of areas.
    """
    names = ("SCx", "SCz_front", "SCz_rear", "SCz", "LD")
    if not all(name in joint and {setup, baseline} <= set(joint[name].setups) for name in names):
        return None
    value, cov = {}, {}
    for name in names:
        one = joint[name]
        places = [one.setups.index(setup), one.setups.index(baseline)]
        value[name], cov[name] = one.values[places], one.covariance[np.ix_(places, places)]
    x, z = value["SCx"], value["SCz"]
    front, rear = value["SCz_front"], value["SCz_rear"]
    front_rear = cov["SCz"] - cov["SCz_front"] - cov["SCz_rear"]
    front_rear *= np.outer(front, rear) / (np.outer(front, rear) + np.outer(rear, front))
    ratio = z / x
    both = cov["SCz"] + np.outer(ratio, ratio) * cov["SCx"] - np.outer(x, x) * cov["LD"]
    cross = both / (ratio[:, None] + ratio[None])  # of SCx with SCz, the two orders' mean
    share = front / z
    to_front, to_rear = cross * share[None], cross * (1.0 - share)[None]
    whole = np.block([
        [cov["SCx"], to_front, to_rear],
        [to_front.T, cov["SCz_front"], front_rear],
        [to_rear.T, front_rear.T, cov["SCz_rear"]],
    ])  # fmt: skip
    order = [0, 2, 4, 1, 3, 5]
    values = np.concatenate([x, front, rear])
    return AreaPair(values[order], _possible(whole[np.ix_(order, order)]))


def _possible(covariance: FloatArray) -> FloatArray:
    """The nearest covariance that can be one: negative eigenvalues are zero."""
    eigen, turn = np.linalg.eigh(0.5 * (covariance + covariance.T))
    return np.asarray((turn * np.maximum(eigen, 0.0)) @ turn.T)


def worth(pair: AreaPair, assumed: Assumed, car: Car) -> tuple[Worth, ...]:
    """The change's worth at each event, by draws of areas and assumptions together.

    One draw of the assumptions is that of both setups, so what they share cancels.
    """
    rng = np.random.default_rng(SEED)
    areas = rng.multivariate_normal(pair.values, pair.covariance, DRAWS, method="eigh")
    drawn = _draws(assumed, rng)
    ours, theirs = (_events(areas[:, k : k + 3], drawn, assumed, car) for k in (0, 3))
    found = []
    for (event, unit), mine in ours.items():
        apart, base = mine - theirs[event, unit], theirs[event, unit]
        known = np.isfinite(apart)
        if np.mean(known) > 0.99:
            low, high = np.quantile(apart[known], [0.025, 0.975])
            middle = float(np.median(apart[known]))
            found.append(Worth(event, unit, middle, float(low), float(high), float(np.median(base[known]))))
    return tuple(found)


def _draws(assumed: Assumed, rng: np.random.Generator) -> dict[str, FloatArray]:
    given = {field.name: getattr(assumed, field.name) for field in fields(assumed)}
    return {
        name: one.value + one.u * rng.standard_normal(DRAWS) for name, one in given.items() if isinstance(one, Quantity)
    }


def _events(
    areas: FloatArray, drawn: Mapping[str, FloatArray], assumed: Assumed, car: Car
) -> dict[tuple[str, str], FloatArray]:
    scx, front, rear = areas.T
    scz = front + rear
    grip = (drawn["mass_kg"], drawn["friction"], drawn["density_kgm3"], scz)
    slalom = cornering_speed(slalom_radius(assumed.pitch_m, SLALOM_AMPLITUDE_M), *grip)
    length = SLALOM_CONES * slalom_length(assumed.pitch_m, SLALOM_AMPLITUDE_M)
    lever = car.cg_height_m.value / car.wheelbase_m.value
    share = car.front_weight.value
    driven = {"front": (share, -lever, front), "rear": (1.0 - share, lever, rear), "all": (1.0, 0.0, scz)}[car.driven]
    start = standing_start_time(
        START_M, mass_kg=drawn["mass_kg"], power_w=drawn["power_w"], friction=drawn["friction"], driven_share=driven[0],
        transfer=driven[1], resistance=car.rolling_c0.value, density_kgm3=drawn["density_kgm3"], drag_area_m2=scx,
        driven_downforce_area_m2=driven[2], downforce_area_m2=scz,
    )  # fmt: skip
    tyres = scx + car.rolling_c0.value * scz
    energy = air_energy(assumed.distance_m, drawn["speed_mps"], drawn["density_kgm3"], tyres)
    return {
        ("circle of 15.25 m with a lane of 3 m, once round", "s"): circle_time(
            CIRCLE_RADIUS_M, cornering_speed(CIRCLE_RADIUS_M, *grip)
        ),
        (f"slalom of {SLALOM_CONES} cones, {assumed.pitch_m:g} m apart", "s"): length / slalom,
        (f"{START_M:g} m from rest", "s"): start,
        (f"energy over {assumed.distance_m / 1e3:g} km", "kJ"): energy / 1e3,
    }
