"""Malformed day folders and zips: a sound small day with lines, files and the zip itself not as they should be."""

from __future__ import annotations

import random
import stat
import zipfile

from tests.studies.fuzz_files import NUMBERS, WORDS, Case, damaged_name, mutate, zipped
from tests.tufts import made_photos as made

DAY = """format = 1
name = "Fuzzed day"
date = 2026-05-09
timezone = "Europe/Lisbon"
reference_speed_mps = 22.0
notes = "made up"
elevation = "elevation.csv"
weather = "weather.csv"
[venue]
name = "Long apron"
heading_deg = 82.0
length_m = 1200
[car]
name = "Wisp 5"
mass_kg = 236.0
mass_u_kg = 0.5
wheelbase_m = 1.54
front_weight = 0.475
rolling_c0 = 0.02
[car.front]
axle_inertia_kgm2 = 0.42
tyre_radius_m = 0.2298
motion_ratio_table = [[0, 0.9], [10, 0.92]]
[calibration.damper_fl]
gain = 25.0
unit = "mm/V"
[[setups]]
name = "A"
front_ride_height_mm = 34.0
parts = { rear_flap_deg = 30 }
[[setups]]
name = "B"
baseline = "A"
[[runs]]
number = 1
setup = "A"
log = "logs/run01.csv"
start = 09:09:00
driver_mass_kg = 72.0
coasting = "neutral"
[[runs.passes]]
start_s = 10.2
end_s = 18.9
used = false
reason = "traffic"
[channels]
time = "time [s]"
"""
LOG = "time [s],gps_speed [km/h]\n" + "".join(f"{i / 10:.1f},{80 - i / 10:.1f}\n" for i in range(200))
FILES = {
    "testday.toml": DAY, "logs/run01.csv": LOG, "weather.csv": "time,pressure_hpa,temperature_c\n09:00:00,1009,17\n",
    "elevation.csv": "distance_m,elevation_m\n0,1.0\n1200,2.0\n",
    "predictions.csv": "setup,front_ride_height_mm,rear_ride_height_mm,scx_m2\nA,34,38,1.4\n",
    "tufts.csv": "photo,station,x_px,y_px\na.jpg,1,5,5\n",
}  # fmt: skip
VALUES = (
    *NUMBERS, *(f'"{one}"' for one in ("", "A", "x" * 3000, "../x", "\\u0000")), "[]", "{}", "true", "[[]]", "9" * 40,
    "2026-02-30", "-0.0", "25:00:00", "1979-05-27T07:32:00Z", '"""a\nb"""', "[" * 300 + "]" * 300, "{a.b.c = 1}",
)  # fmt: skip
BOMB_BYTES, MOST_STORED = 60_000_000, 1_000_000


def folder_case(seed: int, chance: random.Random) -> Case:
    """A zip, sent as a day."""
    files = {name: text.encode() for name, text in FILES.items() if name == "testday.toml" or chance.random() < 0.9}
    files["tufts/a.jpg"] = made.jpeg(seed=seed % 9)
    which = chance.random()
    if which < 0.5:
        files["testday.toml"] = _edited(DAY, chance)
    elif which < 0.7:
        name = chance.choice(list(files))
        files[name] = mutate(files[name], chance)
    data = _zipped(files, chance, hostile=which > 0.7)
    if chance.random() < 0.25:
        data = mutate(data, chance)
    kind = chance.choice(("folder-form", "folder-form", "folder-body"))
    return Case(seed, kind, damaged_name(f"day {seed}.zip", chance), data)


def _edited(text: str, chance: random.Random) -> bytes:
    """Lines of the day with other values, twice, gone, or of another kind."""
    lines = text.splitlines()
    for _ in range(chance.randint(1, 5)):
        at = chance.randrange(len(lines))
        key, equals, _ = lines[at].partition(" = ")
        edit = chance.randrange(6)
        if edit < 3 and equals:
            lines[at] = f"{key} = {chance.choice(VALUES)}"
        elif edit == 3:
            del lines[at]
        elif edit == 4:
            odd = (lines[at], "unknown = 1", "[[runs]]", "[car.front]", "= 5", chance.choice(WORDS))
            lines.insert(at, chance.choice(odd))
        else:
            lines[at] = lines[at].replace("_", chance.choice(("__", " ", "-", "ß")), 1)
    return "\n".join(lines).encode("utf-8", "replace")


def _zipped(files: dict[str, bytes], chance: random.Random, *, hostile: bool) -> bytes:
    top = chance.choice(("", "day/", "day/", "day/", "a/b/"))
    method = chance.choices((zipfile.ZIP_DEFLATED, zipfile.ZIP_STORED, zipfile.ZIP_BZIP2), (8, 3, 1))[0]
    members: list[tuple[str | zipfile.ZipInfo, bytes]] = [(f"{top}{name}", content) for name, content in files.items()]
    bad = [one for _ in range(chance.randint(1, 3)) for one in _hostile(top, chance)] if hostile else []
    bombs = any(len(content) > MOST_STORED for _, content in bad)
    return zipped([*members, *bad], zipfile.ZIP_DEFLATED if bombs else method)


def _hostile(top: str, chance: random.Random) -> list[tuple[str | zipfile.ZipInfo, bytes]]:
    """Members that lead outside, are links, devices, bombs, the same name in other letters, or a zip in a zip."""
    number, which = chance.randrange(99), chance.randrange(8)
    if which == 0:
        return [(chance.choice(("../x", "/etc/x", "C:\\x", f"{top}../../x", "a\\..\\..\\x")), b"x")]
    if which == 1:
        info = zipfile.ZipInfo(f"{top}logs/link{number}.csv")
        info.external_attr = (chance.choice((stat.S_IFLNK, stat.S_IFCHR, stat.S_IFIFO)) | 0o777) << 16
        return [(info, b"/etc/passwd")]
    if which == 4:
        return [(f"{top}many{number}/{each}", b"") for each in range(2100)]
    odd = chance.choice(("CON", "a" * 250, "x ", "a:b", "x\x07", "é", "e\u0301"))
    single: dict[int, tuple[str, bytes]] = {
        2: (f"{top}logs/zeros{number}.csv", bytes(BOMB_BYTES)),
        3: (f"{top}LOGS/RUN01.CSV", b"x"),
        5: (f"{top}{odd}", b"x"),
        6: (f"other{number}/testday.toml", b"format = 1\n"),
        7: (f"{top}inner{number}.zip", zipped([("bomb.csv", bytes(BOMB_BYTES // 4))])),
    }
    return [single[which]]
