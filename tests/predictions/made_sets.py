"""A small archive with a car of three setups, and tables of predictions for it; all made up."""

from __future__ import annotations

from pathlib import Path

from server.archive.archive import Archive
from server.days.service import IncomingDay, keep_day
from server.predictions.drafts import Wanted, begin_draft, first_choices, keep_draft, table_of
from server.predictions.service import SetHead
from server.testday.folder import read_folder

CAR = "Apron 12"
DAY = f"""format = 1
name = "Long apron"
date = 2026-05-09
car.name = "{CAR}"
car.mass_kg = 236.0
car.wheelbase_m = 1.54
weather = [{{ pressure_hpa = 1009.0, temperature_c = 17.0 }}]
setups = [{{ name = "A" }}, {{ name = "B", baseline = "A" }}, {{ name = "Flap up" }}]
runs = [{{ number = 1, setup = "A", log = "logs/run01.csv", driver_mass_kg = 72.0 }}]
"""
TABLE = "Config;RH front [mm];RH rear [mm];SCx [m2];Downforce front [m2];Downforce rear [m2]\n"
GOOD = TABLE + "A;26;30;1,25;1,43;1,71\nA;22;26;1,26;1,50;1,75\nb mk2;26;30;1,31;1,52;1,80\n"
WITH_BAD = GOOD + "b mk2;22;26;n/c;1,6;1,9\n"
OWN = """setup,front_ride_height_mm,scx_m2,scz_front_m2,scz_rear_m2,scx_u_m2,part,source
A,26,1.25,1.43,1.71,0.02,,made up
B,26,1.31,1.52,1.80,,wing,
"""


def keep_made_day(archive: Archive, folder: Path, predictions: str = "", name: str = "Long apron") -> int:
    """A day of the car, with predictions of its own where they are given; gives its number."""
    folder.mkdir(parents=True)
    (folder / "testday.toml").write_text(DAY.replace("Long apron", name), "utf-8")
    if predictions:
        (folder / "predictions.csv").write_text(predictions, "utf-8")
    with archive.database.writing() as session:
        day = read_folder(folder)
        return keep_day(archive, session, IncomingDay(day.name, day.date, folder, "folder")).id


def keep_table_as_set(
    archive: Archive, text: str, *, name: str = "July", without_bad: bool = False,
    matches: dict[str, str] | None = None, revises: int | None = None, reason: str = "", **said: str,
) -> int:  # fmt: skip
    """A table through all its steps with what is proposed and `said`; gives the set's number."""
    with archive.database.writing() as session:
        draft = begin_draft(archive, session, CAR, "july.csv", text.encode(), who="Ada", revises=revises)
        choices, _ = first_choices(session, table_of(archive, draft.sha256, draft.file_name))
        draft.choices = {**choices, **said}
        head = SetHead(CAR, name, "RANS, 14 million cells", "Ben")
        return keep_draft(archive, session, draft, Wanted(head, without_bad, matches or {}, reason), who="Ada").id


