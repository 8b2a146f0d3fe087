"""Strategies that draw whole days, each within what a folder can say."""

import math
import string

from hypothesis import strategies as st

from server.testday.defaults import MISSING, missing_c1
from server.testday.role_table import ROLE_NAMES
from server.testday.values import (
    Acknowledgement,
    Axle,
    AxleLoading,
    Calibration,
    Car,
    Day,
    LogFile,
    PassEdit,
    PredictionCase,
    Quantity,
    Run,
    Setup,
    SpinDown,
    Venue,
    WantedWidth,
    WeatherReading,
)

TEXTS = st.text(st.characters(codec="utf-8", exclude_categories=["Cs"]), max_size=12)
NAMES = st.text(st.characters(codec="utf-8", exclude_categories=["Cs", "Cc"]), min_size=1, max_size=8)
NAMES = NAMES.map(str.strip).filter(bool)
SOURCES = st.sampled_from(["typed", "measured", "predicted", "default"])


def numbers(low: float, high: float):
    """Floats of a range: any, and ones with few digits."""
    short = st.integers(0, 1000).map(lambda n: round(low + (high - low) * n / 1000, 6))
    return st.floats(low, high, allow_subnormal=False).filter(lambda x: x == 0 or abs(x) > 1e-9) | short


def quantities(low: float, high: float, default: Quantity | None = None, u_share: float = 0.9):
    """Quantities with any source; now and then the default itself."""
    drawn = st.builds(Quantity, numbers(low, high), numbers(0, u_share * (high - low)), SOURCES)
    return drawn | st.just(default) if default is not None else drawn


def rising(first, second, sorted_second: bool = False):
    """Tables of pairs whose first column rises."""

    def table(xs: list[float], ys: list[float]) -> tuple[tuple[float, float], ...]:
        return tuple(zip(sorted(xs), sorted(ys) if sorted_second else ys, strict=False))

    columns = st.integers(2, 5).flatmap(
        lambda n: st.builds(
            table,
            st.lists(first, min_size=n, max_size=n, unique=True),
            st.lists(second, min_size=n, max_size=n),
        )
    )
    return st.just(()) | columns


AXLES = st.builds(
    Axle,
    axle_inertia_kgm2=quantities(0.01, 20, MISSING["axle_inertia_kgm2"]),
    tyre_radius_m=quantities(0.06, 0.59, MISSING["tyre_radius_m"]),
    spring_rate_n_per_m=st.none() | quantities(501, 1.9e6),
    motion_ratio=st.none() | quantities(0.06, 4.9),
    motion_ratio_table=rising(numbers(-0.4, 0.4), numbers(0.06, 4.9)),
    wheel_rate_rel_u=st.none() | numbers(0, 1),
    tyre_rate_n_per_m=quantities(5001, 1.9e6, MISSING["tyre_rate_n_per_m"]),
    heave_table=rising(numbers(-0.4, 0.4), numbers(-9e4, 9e4), sorted_second=True),
    ride_height_sensor_x_m=quantities(-5, 5, MISSING["ride_height_sensor_x_m"]),
    joint_friction_n=quantities(0, 999, MISSING["joint_friction_n"]),
    pushrod_ratio=st.none() | quantities(0.06, 4.9),
)
CALIBRATIONS = st.builds(
    Calibration,
    gain=st.none() | numbers(0.1, 1e6),
    offset=numbers(-1e6, 1e6),
    table=rising(numbers(-1e6, 1e6), numbers(-1e6, 1e6)),
    unit=TEXTS,
    gain_rel_u=st.none() | st.just(0.005) | numbers(0, 1),
)
C0 = quantities(0.002, 0.099, MISSING["rolling_c0"])


@st.composite
def cars(draw) -> Car:
    c0 = draw(C0)
    return Car(
        name=draw(TEXTS),
        mass_kg=draw(quantities(51, 2999)),
        wheelbase_m=draw(quantities(0.6, 5.9, MISSING["wheelbase_m"])),
        front_weight=draw(quantities(0.21, 0.79, MISSING["front_weight"])),
        cg_height_m=draw(quantities(0.06, 1.4, MISSING["cg_height_m"])),
        driveline_drag_n=draw(quantities(0, 500, MISSING["driveline_drag_n"])),
        driveline_drag_n_per_mps=draw(quantities(0, 50, MISSING["driveline_drag_n_per_mps"])),
        rolling_c0=c0,
        rolling_c1_s_per_m=draw(quantities(0, 0.01, missing_c1(c0))),
        front=draw(AXLES),
        rear=draw(AXLES),
        driven=draw(st.sampled_from(["front", "rear", "all"])),
        anti_squat=draw(quantities(-2, 2, MISSING["anti_squat"])),
        corner_mass_kg=draw(st.none() | st.tuples(*[numbers(50, 60)] * 4)),
        calibration=draw(st.dictionaries(st.sampled_from(ROLE_NAMES), CALIBRATIONS, max_size=2)),
    )


ELEVATIONS = st.lists(numbers(0, 1), min_size=2, max_size=5).map(
    lambda zs: tuple((50.0 * index / 3, z) for index, z in enumerate(zs))
)
VENUES = st.builds(
    Venue,
    name=TEXTS,
    heading_rad=st.none() | numbers(0, 6.28),
    length_m=st.none() | numbers(21, 19_999),
    grade=st.none() | quantities(-0.099, 0.099),
    elevation=st.just(()) | ELEVATIONS,
    altitude_m=st.none() | numbers(-400, 4999),
)
CLOCKS = st.floats(1.0, 86_399.9) | st.integers(0, 86_399).map(float)


def readings(clock, humidity):
    """Weather readings at a clock time."""
    return st.builds(
        WeatherReading,
        clock_s=clock,
        pressure_pa=quantities(50_100, 109_900),
        temperature_k=quantities(234, 333),
        humidity=humidity,
        wind_speed_mps=st.none() | quantities(0, 40),
        wind_from_rad=st.none() | quantities(0, 6.28),
        gust_mps=st.none() | numbers(0, 60),
        surface=st.sampled_from([None, "dry", "damp", "wet"]),
    )


@st.composite
def weathers(draw) -> tuple[WeatherReading, ...]:
    humidity = quantities(0, 1, MISSING["humidity"])
    if draw(st.booleans()):
        return (draw(readings(st.none() | CLOCKS, humidity)),)
    clocks = sorted(draw(st.lists(CLOCKS, min_size=1, max_size=4, unique=True)))
    return tuple(draw(readings(st.just(clock), humidity)) for clock in clocks)


PART_VALUES = TEXTS | numbers(-1e6, 1e6) | st.booleans()


def setups(name: str, baselines: list[str]):
    """Setups of a name, changing one of those before it."""
    return st.builds(
        Setup,
        name=st.just(name),
        baseline=st.sampled_from([None, *baselines]),
        front_ride_height_m=st.none() | numbers(0.0011, 0.299),
        rear_ride_height_m=st.none() | numbers(0.0011, 0.299),
        parts=st.dictionaries(TEXTS, PART_VALUES, max_size=3),
        scz_front_m2=st.none() | quantities(-15, 30),
        scz_rear_m2=st.none() | quantities(-15, 30),
        notes=TEXTS,
        ballast_kg=st.none() | quantities(0, 200),
    )


FILES = st.text(string.ascii_letters + "äø _-", min_size=1, max_size=8).map(lambda name: f"logs/x{name}.csv")
CHANNELS = st.dictionaries(st.sampled_from(ROLE_NAMES), TEXTS.filter(bool), max_size=3)


@st.composite
def spans(draw, kind, **more):
    """Something from a time to a later one."""
    start = draw(numbers(-1e5, 1e5))
    return kind(start, start + draw(numbers(0.5, 1e4)), **{key: draw(of) for key, of in more.items()})


def log_file(
    file: str, offset: float, start: float | None, length: float | None, signals: str | None = None
) -> LogFile:
    """A log, cut or whole."""
    return LogFile(file, offset, start, None if length is None else (start or 0.0) + length, signals)


LOGS = st.builds(
    log_file,
    FILES,
    numbers(-1e4, 1e4),
    st.none() | numbers(0, 1e4),
    st.none() | numbers(1, 1e4),
    st.none() | FILES,
)


PRESSURES = st.just(()) | st.tuples(*[st.none() | numbers(0, 1e6)] * 4)


def runs(number: int, names: list[str]):
    """Runs of a number in one of the setups."""
    return st.builds(
        Run,
        number=st.just(number),
        setup=st.sampled_from(names),
        logs=st.lists(LOGS, min_size=1, max_size=3).map(tuple),
        driver_mass_kg=quantities(0, 200, MISSING["driver_mass_kg"]),
        start_clock_s=st.none() | CLOCKS,
        coasting=st.sampled_from(["neutral", "clutch", "inverter-off", "zero-torque", "in-gear", "unknown"]),
        direction=st.sampled_from([None, "out", "back"]),
        passes=st.lists(spans(PassEdit, used=st.booleans(), reason=TEXTS), max_size=2).map(tuple),
        channels=CHANNELS,
        notes=TEXTS,
        driver=st.just("") | NAMES,
        remarks=TEXTS,
        tyre_cold_pa=PRESSURES,
        tyre_hot_pa=PRESSURES,
    )


ACKNOWLEDGED = st.builds(
    Acknowledgement,
    clock_s=CLOCKS,
    who=NAMES,
    items=st.lists(NAMES, min_size=1, max_size=3, unique=True).map(tuple),
    why=st.just("") | NAMES,
)


@st.composite
def wanted(draw, names: list[str]) -> tuple[WantedWidth, ...]:
    """Wanted widths, each of another difference, area, or of all."""
    pairs = [("", ""), *((a, b) for a in names for b in names if a != b)]
    chosen = draw(st.lists(st.sampled_from(pairs), max_size=3, unique=True))
    return tuple(WantedWidth(draw(numbers(0.001, 2)), *pair, draw(st.just("") | NAMES)) for pair in chosen)


def predicted(low: float, high: float):
    """Predicted areas."""
    return st.none() | st.builds(Quantity, numbers(low, high), numbers(0, high - low), st.just("predicted"))


def predictions(names: list[str]):
    """Predicted cases."""
    case = st.builds(
        PredictionCase,
        setup=st.sampled_from(names),
        front_ride_height_m=st.none() | numbers(0.0011, 0.299),
        rear_ride_height_m=st.none() | numbers(0.0011, 0.299),
        yaw_rad=numbers(-math.pi / 2, math.pi / 2),
        speed_mps=st.none() | numbers(1, 150),
        scx_m2=st.builds(Quantity, numbers(-5, 20), numbers(0, 25), st.just("predicted")),
        scz_front_m2=predicted(-15, 30),
        scz_rear_m2=predicted(-15, 30),
        part=st.just("") | NAMES,
        source=st.just("") | NAMES,
    )
    return st.lists(case, max_size=3).map(tuple)


SPIN_DOWNS = st.builds(
    SpinDown,
    log=st.builds(log_file, FILES, st.just(0.0), st.none() | numbers(0, 1e4), st.none() | numbers(1, 1e4)),
    channels=CHANNELS,
    notes=TEXTS,
)


@st.composite
def loadings(draw) -> AxleLoading:
    """A mass on an axle, the loaded window before or after the bare one."""
    start, bare, gap, loaded = draw(numbers(-1e5, 1e5)), *(draw(numbers(0.5, 1e3)) for _ in range(3))
    windows = (start, start + bare), (start + bare + gap, start + bare + gap + loaded)
    first, second = windows if draw(st.booleans()) else reversed(windows)
    return AxleLoading(
        axle=draw(st.sampled_from(["front", "rear"])),
        mass_kg=draw(quantities(1, 1999)),
        log=LogFile(draw(FILES), signals=draw(st.none() | FILES)),
        bare_s=first,
        loaded_s=second,
        share=draw(quantities(0.06, 2.9, MISSING["loading_share"], u_share=0.3)),
        channels=draw(CHANNELS),
    )


@st.composite
def days(draw) -> Day:
    """Days within what a folder can say."""
    names = draw(st.lists(NAMES, min_size=1, max_size=3, unique=True))
    numbered = draw(st.lists(st.integers(1, 999), min_size=1, max_size=3, unique=True))
    return Day(
        name=draw(TEXTS),
        date=draw(st.none() | st.dates()),
        car=draw(cars()),
        weather=draw(weathers()),
        setups=tuple(draw(setups(name, names[:index])) for index, name in enumerate(names)),
        runs=tuple(draw(runs(number, names)) for number in numbered),
        venue=draw(VENUES),
        timezone=draw(st.sampled_from([None, "Europe/Lisbon", "UTC"])),
        reference_speed_mps=draw(numbers(5, 100)),
        notes=draw(TEXTS),
        channels=draw(CHANNELS),
        predictions=draw(predictions(names)),
        spin_downs=tuple(draw(st.lists(SPIN_DOWNS, max_size=2))),
        axle_loadings=tuple(draw(st.lists(loadings(), max_size=2))),
        signals=draw(st.none() | FILES),
        checklist=tuple(draw(st.lists(NAMES, max_size=2, unique=True))),
        acknowledged=tuple(draw(st.lists(ACKNOWLEDGED, max_size=2))),
        wanted=draw(wanted(names)),
    )
