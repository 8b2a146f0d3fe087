"""Every number of a day folder: its name, unit, the range a person can mean, and unit mix-ups to hint at."""

from __future__ import annotations

from dataclasses import dataclass

Hint = tuple[float, float, str]
NO_LIMIT = 1e9


@dataclass(frozen=True, slots=True)
class Key:
    """A number of the folder, written in `unit` and allowed within [low, high] of that unit.

    field: its SI name in `server.testday.values` (and in the tables of `defaults`).
    what: how a sentence speaks of it. hints: (low, high, unit that was probably meant).
    """

    stem: str
    unit: str
    what: str
    low: float
    high: float
    field: str = ""
    hints: tuple[Hint, ...] = ()

    @property
    def name(self) -> str:
        """Key in the file: stem_unit."""
        return f"{self.stem}_{self.unit}" if self.unit else self.stem

    @property
    def u_name(self) -> str:
        """Key of its standard uncertainty in the same unit: stem_u_unit."""
        return f"{self.stem}_u_{self.unit}" if self.unit else f"{self.stem}_u"

    @property
    def rel_u_names(self) -> tuple[str, ...]:
        """Keys of its relative standard uncertainty."""
        return tuple(dict.fromkeys((f"{self.stem}_rel_u", f"{self.name}_rel_u")))

    @property
    def names(self) -> tuple[str, ...]:
        """The key and its companions."""
        return (self.name, self.u_name, *self.rel_u_names)

    def hint(self, number: float) -> str:
        """Name the unit in which an impossible number would make sense, as " (bar?)"."""
        words = [word for low, high, word in self.hints if low <= number <= high]
        return f" ({' or '.join(words)}?)" if words else ""


# The day and its venue
REFERENCE_SPEED = Key("reference_speed", "mps", "the reference speed", 5, 100, hints=((100, 360, "km/h"),))
HEADING = Key("heading", "deg", "a heading", 0, 360)
LENGTH = Key("length", "m", "the length of the straight", 20, 20_000, hints=((0.02, 19.9, "kilometres"),))
GRADE = Key(
    "grade",
    "",
    "a grade, rise over run,",
    -0.1,
    0.1,
    "grade",
    ((0.1, 10, "per cent"), (-10, -0.1, "per cent")),
)
ALTITUDE = Key("altitude", "m", "the altitude of the venue", -430, 5000, hints=((5000, 15_000, "feet"),))
DISTANCE = Key("distance", "m", "a distance along the straight", -NO_LIMIT, NO_LIMIT)
ELEVATION = Key("elevation", "m", "an elevation", -1000, 9000)

# The car
MASS = Key("mass", "kg", "a car's mass", 50, 3000, "mass_kg")
CORNER_MASS = Key("corner_mass", "kg", "the mass on a wheel", 5, 1500, "corner_mass_kg")
DRIVER_ABOARD = Key("driver_aboard", "kg", "the mass of the driver aboard", 0, 200, "driver_mass_kg")
WHEELBASE = Key("wheelbase", "m", "a wheelbase", 0.5, 6, "wheelbase_m", ((500, 6000, "millimetres"),))
FRONT_WEIGHT = Key(
    "front_weight",
    "",
    "the front axle's share of the weight",
    0.2,
    0.8,
    "front_weight",
    ((20, 80, "per cent"),),
)
CG_HEIGHT = Key(
    "cg_height", "m", "a centre of gravity's height", 0.05, 1.5, "cg_height_m", ((50, 1500, "millimetres"),)
)
DRIVELINE_DRAG = Key("driveline_drag", "n", "the driveline drag", 0, 500, "driveline_drag_n")
DRIVELINE_DRAG_PER_SPEED = Key(
    "driveline_drag", "n_per_mps", "the driveline drag per speed", 0, 50, "driveline_drag_n_per_mps"
)
ROLLING_C0 = Key(
    "rolling_c0",
    "",
    "the rolling resistance",
    0.001,
    0.1,
    "rolling_c0",
    ((0.1001, 10, "per cent"), (10, 100, "kg/t")),
)
ROLLING_C1 = Key(
    "rolling_c1", "s_per_m", "the rise of rolling resistance with speed", 0, 0.01, "rolling_c1_s_per_m"
)
ANTI_SQUAT = Key("anti_squat", "", "an anti-squat share", -2, 2, "anti_squat", ((2.01, 200, "per cent"),))

# An axle
AXLE_INERTIA = Key("axle_inertia", "kgm2", "an axle's inertia", 0.005, 20, "axle_inertia_kgm2")
TYRE_RADIUS = Key(
    "tyre_radius",
    "m",
    "a rolling radius",
    0.05,
    0.6,
    "tyre_radius_m",
    ((50, 600, "millimetres"), (2, 24, "inches")),
)
SPRING_RATE = Key(
    "spring_rate", "n_per_mm", "a spring rate", 0.5, 2000, "spring_rate_n_per_m", ((2001, 2_000_000, "N/m"),)
)
MOTION_RATIO = Key("motion_ratio", "", "a motion ratio", 0.05, 5, "motion_ratio")
TYRE_RATE = Key(
    "tyre_rate", "n_per_mm", "a tyre rate", 5, 2000, "tyre_rate_n_per_m", ((2001, 2_000_000, "N/m"),)
)
WHEEL_RATE_REL_U = Key(
    "wheel_rate_rel_u", "", "a relative uncertainty", 0, 1, hints=((1.01, 100, "per cent"),)
)
SENSOR_X = Key(
    "ride_height_sensor_x",
    "m",
    "a sensor's place ahead of the axle",
    -5,
    5,
    "ride_height_sensor_x_m",
    ((5, 5000, "millimetres"),),
)
JOINT_FRICTION = Key("joint_friction", "n", "the friction of a corner's joints", 0, 1000, "joint_friction_n")
PUSHROD_RATIO = Key(
    "pushrod_ratio", "", "the load at the wheel over the load in its rod", 0.05, 5, "pushrod_ratio"
)
TRAVEL = Key("travel", "mm", "a wheel travel", -500, 500)
AXLE_FORCE = Key("force", "n", "an axle force", -100_000, 100_000)

# A calibration
GAIN = Key("gain", "", "a gain", -NO_LIMIT, NO_LIMIT)
GAIN_REL_U = Key("gain_rel_u", "", "a relative uncertainty", 0, 1, hints=((1.01, 100, "per cent"),))
OFFSET = Key("offset", "", "an offset", -NO_LIMIT, NO_LIMIT)
READING = Key("reading", "", "a reading", -NO_LIMIT, NO_LIMIT)

# The weather
PRESSURE = Key(
    "pressure",
    "hpa",
    "a station's pressure",
    500,
    1100,
    "pressure_pa",
    (
        (0.5, 1.2, "bar"),
        (13, 16.5, "pounds per square inch"),
        (20, 33, "inches of mercury"),
        (50, 112, "kPa"),
        (400, 499.9, "millimetres of mercury"),
        (50_000, 112_000, "Pa"),
    ),
)
TEMPERATURE = Key(
    "temperature",
    "c",
    "an air temperature",
    -40,
    60,
    "temperature_k",
    ((60.01, 130, "fahrenheit"), (230, 335, "kelvin")),
)
HUMIDITY = Key("humidity", "pct", "a relative humidity", 0, 100, "humidity")
WIND_SPEED = Key("wind_speed", "mps", "a wind speed", 0, 40, "wind_speed_mps", ((40, 150, "km/h"),))
WIND_FROM = Key("wind_from", "deg", "the direction the wind comes from", 0, 360, "wind_from_rad")
WIND_FROM_MAGNETIC = Key(
    "wind_from_magnetic", "deg", "the direction the wind comes from", 0, 360, "wind_from_rad"
)
DECLINATION = Key("declination", "deg", "a magnetic declination, east positive,", -180, 180)
GUST = Key("gust", "mps", "a gust", 0, 60, hints=((60, 220, "km/h"),))

# Setups and predictions
RIDE_HEIGHTS = tuple(
    Key(f"{end}_ride_height", "mm", "a ride height", 1, 300, hints=((0.001, 0.3, "metres"),))
    for end in ("front", "rear")
)
SCX = Key("scx", "m2", "a drag area", -5, 20)
SCZ = tuple(
    Key(f"scz_{end}", "m2", "a downforce area", -15, 30, f"scz_{end}_m2") for end in ("front", "rear")
)
SCZ_TOTAL = Key("scz", "m2", "a downforce area", -30, 60)
YAW = Key("yaw", "deg", "a yaw angle", -180, 180)
SPEED = Key("speed", "mps", "a speed", 1, 150, hints=((150, 540, "km/h"),))

BALLAST = Key("ballast", "kg", "a ballast", 0, 200, "ballast_kg")
WANTED_U95 = Key("u95", "m2", "a wanted half width", 0.001, 2)

# Runs
DRIVER_MASS = Key("driver_mass", "kg", "a driver's mass", 0, 200, "driver_mass_kg")
TYRE_PRESSURES = tuple(
    Key(
        f"tyre_{state}",
        "bar",
        "a tyre's gauge pressure",
        0,
        10,
        hints=((10.01, 60, "pounds per square inch"), (60.01, 1000, "kPa")),
    )
    for state in ("cold", "hot")
)
CLOCK_OFFSET = Key("clock_offset", "s", "a clock offset", -NO_LIMIT, NO_LIMIT)
FROM = Key("from", "s", "a time in the log", -NO_LIMIT, NO_LIMIT)
TO = Key("to", "s", "a time in the log", -NO_LIMIT, NO_LIMIT)
START = Key("start", "s", "a time in the run", -NO_LIMIT, NO_LIMIT)
END = Key("end", "s", "a time in the run", -NO_LIMIT, NO_LIMIT)

# Tests on the stand
LOADING_MASS = Key(
    "mass", "kg", "the mass put on", 1, 2000, "loading_mass_kg", ((1000.01, 2_000_000, "grams"),)
)
LOADING_SHARE = Key(
    "share", "", "the part of the mass on the axle", 0.05, 3, "loading_share", ((3.01, 300, "per cent"),)
)
BARE_FROM = Key("bare_from", "s", "a time in the log", -NO_LIMIT, NO_LIMIT)
BARE_TO = Key("bare_to", "s", "a time in the log", -NO_LIMIT, NO_LIMIT)
LOADED_FROM = Key("loaded_from", "s", "a time in the log", -NO_LIMIT, NO_LIMIT)
LOADED_TO = Key("loaded_to", "s", "a time in the log", -NO_LIMIT, NO_LIMIT)
