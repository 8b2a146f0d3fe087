"""Corners of the mixture that are looked at by themselves."""

from __future__ import annotations

from collections.abc import Callable

from tests.studies.records import DayRecord

REQUIRED = ("calm", "gusty", "2 pairs", "4 pairs", "8 pairs", "linear resistance beyond 1 u", "nothing given")

STRATA: dict[str, Callable[[DayRecord], bool]] = {
    "calm": lambda d: d.nuisance["gust_sigma"] <= 0.3,
    "breezy": lambda d: 0.3 < d.nuisance["gust_sigma"] < 0.7,
    "gusty": lambda d: d.nuisance["gust_sigma"] >= 0.7,
    "gusts fixed in time": lambda d: not d.nuisance["gust_in_length"],
    "gusts of a length": lambda d: bool(d.nuisance["gust_in_length"]),
    "gusts slower than 12 s": lambda d: d.nuisance["gust_time"] > 12.0,
    "intermittent gusts, rough road": lambda d: bool(d.scenario["hard"]),
    "cross wind above 2 m/s": lambda d: abs(d.nuisance["cross_wind"]) > 2.0,
    "1 pair": lambda d: _pairs(d) == 1,
    "2 pairs": lambda d: _pairs(d) == 2,
    "4 pairs": lambda d: _pairs(d) == 4,
    "8 pairs": lambda d: _pairs(d) == 8,
    "one way only": lambda d: bool(d.scenario["one_way"]),
    "linear resistance beyond 1 u": lambda d: abs(d.nuisance["linear_z"]) > 1.0,
    "linear resistance above by 1 u": lambda d: d.nuisance["linear_z"] > 1.0,
    "linear resistance below by 1 u": lambda d: d.nuisance["linear_z"] < -1.0,
    "priors given": lambda d: d.scenario["priors"] == "given",
    "nothing given": lambda d: d.scenario["priors"] == "none",
    "wheel and satellite": lambda d: d.scenario["sensors"] == "both",
    "only satellite": lambda d: d.scenario["sensors"] == "satellite",
    "only wheel": lambda d: d.scenario["sensors"] == "wheel",
    "no anemometer": lambda d: not d.scenario["anemometer"],
    "no throttle or brake channel": lambda d: not d.scenario["driver_channels"],
    "28 to 8 m/s": lambda d: d.scenario["speeds_mps"][0] == 28.0,
    "20 to 6 m/s": lambda d: d.scenario["speeds_mps"][0] == 20.0,
    "30 to 15 m/s": lambda d: d.scenario["speeds_mps"][0] == 30.0,
    "one setup": lambda d: d.scenario["setups"] == 1,
    "several setups": lambda d: d.scenario["setups"] > 1,
}


LOAD_REQUIRED = ("calm", "gusty", "2 pairs", "4 pairs", "8 pairs", "dampers alone", "two sources", "friction high")

LOAD_STRATA: dict[str, Callable[[DayRecord], bool]] = {
    **{name: STRATA[name] for name in ("calm", "breezy", "gusty", "2 pairs", "4 pairs", "8 pairs")},
    "4 pairs, calm": lambda d: _pairs(d) == 4 and STRATA["calm"](d),
    "4 pairs, gusty": lambda d: _pairs(d) == 4 and STRATA["gusty"](d),
    "4 pairs, calm, dampers, straight": lambda d: _pairs(d) == 4 and STRATA["calm"](d) and _rates_known(d),
    "4 pairs, gusty, dampers, straight": lambda d: _pairs(d) == 4 and STRATA["gusty"](d) and _rates_known(d),
    "dampers alone": lambda d: _sources(d) == ("damper",),
    "ride heights alone": lambda d: _sources(d) == ("ride height",),
    "push rods alone": lambda d: _sources(d) == ("push rod",),
    "two sources": lambda d: len(_sources(d)) == 2,
    "held speeds": lambda d: bool(d.scenario["constant_speeds_mps"]),
    "no held speed": lambda d: not d.scenario["constant_speeds_mps"],
    "bent": lambda d: bool(d.nuisance.get("bent")),
    "straight": lambda d: not d.nuisance.get("bent"),
    "friction high": lambda d: max(d.nuisance.get("friction", (0.0,))) > 30.0,
    "joints that stick": lambda d: not d.nuisance.get("shaken"),
    "joints shaken loose": lambda d: bool(d.nuisance.get("shaken")),
    "zeros far off": lambda d: "offsets" in d.scenario["faults"],
    "priors given": STRATA["priors given"],
    "nothing given": STRATA["nothing given"],
    "one setup": STRATA["one setup"],
    "several setups": STRATA["several setups"],
}


def _sources(day: DayRecord) -> tuple[str, ...]:
    return tuple(day.scenario["load_sources"]) if day.scenario["dampers"] else ()


def _rates_known(day: DayRecord) -> bool:
    """Dampers with wheel rates known to 1 %, downforce that does not depend on ride height."""
    return "damper" in _sources(day) and not day.nuisance.get("bent")


def _pairs(day: DayRecord) -> int:
    return 0 if day.scenario["one_way"] else int(day.scenario["pairs"])
