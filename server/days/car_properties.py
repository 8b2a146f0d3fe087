"""The car's properties with a value and an uncertainty: how each is called and in which unit it is said."""

from __future__ import annotations

from dataclasses import dataclass

from server.testday import folder_keys as keys
from server.testday.defaults import MISSING, missing_c1
from server.testday.folder_keys import Key
from server.testday.values import Axle, Car, Quantity

AXLES = ("front", "rear")


@dataclass(frozen=True, slots=True)
class Property:
    """key: its bounds and its field of `Car` or `Axle`; unit: the one on screen, of UNITS; how: to measure it."""

    key: Key
    unit: str
    words: str
    how: str = ""

    @property
    def field(self) -> str:
        """Its name in `Car` or `Axle`."""
        return self.key.field


CAR = (
    Property(keys.MASS, "kg", "Mass, ready to run, without driver", "four scales, tanks as run"),
    Property(keys.WHEELBASE, "mm", "Wheelbase", "a tape between the wheel centres, left and right"),
    Property(keys.FRONT_WEIGHT, "pct", "Front share of the weight, driver aboard", "four scales, driver in the seat"),
    Property(keys.CG_HEIGHT, "mm", "Height of the centre of gravity", "scales with one axle raised on secured blocks"),
    Property(keys.DRIVELINE_DRAG, "n", "Driveline drag T0", "a spin-down of the driven wheels on stands"),
    Property(keys.DRIVELINE_DRAG_PER_SPEED, "n_per_mps", "Rise of driveline drag with speed, T1", "the same spin-down"),
    Property(keys.ROLLING_C0, "pct", "Rolling resistance c0", "coast-downs to standstill with little wind"),
    Property(keys.ROLLING_C1, "s_per_m", "Rise of rolling resistance with speed, c1", "a tyre test, if there is one"),
    Property(keys.ANTI_SQUAT, "pct", "Anti-squat", "the suspension's drawing"),
)
AXLE = (
    Property(keys.AXLE_INERTIA, "kgm2", "Inertia of both wheels and what turns with them", "a wheel as a pendulum"),
    Property(keys.TYRE_RADIUS, "mm", "Rolling radius", "ten turns rolled out along a tape, driver aboard"),
    Property(keys.SPRING_RATE, "n_per_mm", "Spring rate, one corner", "a spring rig"),
    Property(keys.MOTION_RATIO, "", "Motion ratio, damper over wheel travel", "the wheel lifted by 10 mm steps"),
    Property(keys.TYRE_RATE, "n_per_mm", "Tyre rate, one tyre", "a known mass over the axle, blocked dampers"),
    Property(keys.JOINT_FRICTION, "n", "Friction of the joints, one corner", "load up and down, the difference halved"),
    Property(keys.SENSOR_X, "mm", "Ride height sensor ahead of the axle", "a tape"),
    Property(keys.PUSHROD_RATIO, "", "Load at the wheel over load in the push rod", "a known mass over the axle"),
)


@dataclass(frozen=True, slots=True)
class Place:
    """A property of this car, or of one of its axles."""

    property: Property
    axle: str | None = None

    @property
    def slug(self) -> str:
        """Its name in an address."""
        return f"{self.axle}.{self.property.field}" if self.axle else self.property.field

    @property
    def words(self) -> str:
        """What it is called, its axle among the words."""
        return f"{self.axle.capitalize()} axle: {_small(self.property.words)}" if self.axle else self.property.words

    @property
    def name(self) -> str:
        """The same, short, as the subject of a sentence."""
        short = _small(self.property.words.split(",")[0])
        return f"The {self.axle} axle’s {short}" if self.axle else f"The {short}"

    def of(self, car: Car) -> Quantity | None:
        """What the car has there."""
        return getattr(self._owner(car), self.property.field)

    def default(self, car: Car) -> Quantity | None:
        """What is taken when nobody gives it; None where nothing is."""
        if self.property.field == "rolling_c1_s_per_m":
            return missing_c1(car.rolling_c0)
        if self.property.field == "front_weight" and car.corner_mass_kg is not None:
            return None
        return MISSING.get(self.property.field)

    def _owner(self, car: Car) -> Car | Axle:
        return car if self.axle is None else car.front if self.axle == "front" else car.rear


PLACES = tuple(Place(one) for one in CAR) + tuple(Place(one, axle) for axle in AXLES for one in AXLE)
BY_SLUG = {place.slug: place for place in PLACES}


def _small(words: str) -> str:
    return words[:1].lower() + words[1:]
