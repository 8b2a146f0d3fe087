"""The options of a fit, as they are kept with its result and read back to fit again as then."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, fields

from server.analysis.pass_options import PassOptions

SEED = "seed"


@dataclass(frozen=True, slots=True)
class FitOptions:
    """Options of a fit; the seed makes the sampling repeatable."""

    seed: int = 1
    passes: PassOptions = field(default_factory=PassOptions)

    def kept(self) -> dict[str, float]:
        """Every option by its name, the seed among them."""
        return {SEED: float(self.seed), **asdict(self.passes)}


def options_from(kept: Mapping[str, float]) -> tuple[FitOptions, tuple[str, ...]]:
    """The options that were kept, and the names among them that no option has any more.

    An option that is missing among them takes its usual value.
    """
    known = {one.name for one in fields(PassOptions)}
    passes = PassOptions(**{name: value for name, value in kept.items() if name in known})
    seed = int(kept.get(SEED, FitOptions().seed))
    return FitOptions(seed, passes), tuple(name for name in kept if name not in {SEED, *known})
