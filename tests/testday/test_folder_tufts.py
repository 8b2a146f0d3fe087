"""Tufts of a day folder: written and read back the same; a bad line is named; photos alone are enough."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from server.errors import DayFolderError
from server.testday.folder_tufts import FolderMark, FolderPhoto, FolderTufts, FolderView, read_tufts
from server.testday.folder_write_tufts import tuft_files
from server.testday.tufts import PointPair, TuftMark, TuftStation

CORNERS = ((0.0, 0.0), (1.2, 0.0), (1.2, 0.3), (0.0, 0.3))
SEEN = TuftMark(10.25, 20.0, 1.25, "attached", "person", True, "Ana", station="r1")
READ = TuftMark(
    *(3.0, 4.0, -3.0, "separated", "machine", True, "Stillair"),
    length_px=31.5,
    direction_u_rad=0.02,
    direction_settled_by="taper",
    settled_confidence=0.97,
    spread_rad=0.1,
)
PHOTO = FolderPhoto(
    "tufts/a.jpg", "photo", 3, "", "rear wing", "left, rear", True, False, 0.5, "b1", "Ana", 'wet\n"tape"'
)
FULL = FolderTufts(
    photos=(PHOTO, FolderPhoto("tufts/cfd.png", "prediction", None, "B", "rear wing", "", False, True)),
    marks=(
        FolderMark("tufts/a.jpg", "Ana", "m1", SEEN),
        FolderMark("tufts/a.jpg", "Ben", "m1", TuftMark(10.5, 20.0, None, None, "person", True, "Ben")),
        FolderMark("tufts/a.jpg", "Stillair", "p1", READ),
    ),
    stations=(
        TuftStation("rear wing", "r1", 0.1, 0.02, -1.5, "attached"),
        TuftStation("rear wing", "r1", 0.1, 0.02, 0.25, "reversed", "B"),
        TuftStation("rear wing", "r2", 0.2, 0.02, None, None),
    ),
    views=(
        FolderView(
            *("left, rear", "rear wing", "tufts/a.jpg"),
            tuple(PointPair(x, y, 100 * x, 90.5 * y, "c") for x, y in CORNERS),
        ),
    ),
)


def laid_out(folder: Path, tufts: FolderTufts = FULL) -> Path:
    (folder / "tufts").mkdir()
    for one in tufts.photos:
        (folder / one.path).write_bytes(b"a picture")
    for path, content in tuft_files(tufts).items():
        (folder / path).write_bytes(content)
    return folder


def test_what_is_written_is_read_back(tmp_path: Path) -> None:
    found = read_tufts(laid_out(tmp_path))
    assert found.findings == ()
    assert [_rounded(one) for one in found.photos] == [_rounded(one) for one in FULL.photos]
    for read, told in zip(found.stations, FULL.stations, strict=True):
        assert (read.part, read.name, read.condition, read.setup) == (told.part, told.name, told.condition, told.setup)
        assert (read.x_m, read.y_m) == pytest.approx((told.x_m, told.y_m))
        assert read.direction_rad == pytest.approx(told.direction_rad)
    assert [(one.photo, one.reader, one.name) for one in found.marks] == [
        (one.photo, one.reader, one.name) for one in FULL.marks
    ]
    for read_mark, told_mark in zip(found.marks, FULL.marks, strict=True):
        for name in TuftMark.__slots__:
            value = getattr(told_mark.mark, name)
            expected = pytest.approx(value) if isinstance(value, float) else value
            assert getattr(read_mark.mark, name) == expected, name
    assert found.views == FULL.views


def _rounded(photo: FolderPhoto) -> tuple[object, ...]:
    values = (getattr(photo, name) for name in FolderPhoto.__slots__)
    return tuple(round(one, 6) if isinstance(one, float) else one for one in values)


def test_written_again_it_is_the_same_bytes(tmp_path: Path) -> None:
    folder = laid_out(tmp_path)
    assert tuft_files(read_tufts(folder)) == tuft_files(FULL)


def test_photos_alone_are_enough(tmp_path: Path) -> None:
    (tmp_path / "tufts").mkdir()
    for name in ("b.JPG", "a.heic", "notes.txt", ".hidden"):
        (tmp_path / "tufts" / name).write_bytes(b"x")
    assert read_tufts(tmp_path).photos == (FolderPhoto("tufts/a.heic"), FolderPhoto("tufts/b.JPG"))


def test_a_folder_without_tufts_has_none(tmp_path: Path) -> None:
    assert read_tufts(tmp_path) == FolderTufts()


@pytest.mark.parametrize(
    ("path", "text", "said"),
    [
        ("tufts.csv", "photo,run\nb.jpg,1\n", "tufts.csv: line 2 photo is 'tufts/b.jpg'; the folder has no such file"),
        ("tufts.csv", "photo\n../testday.toml\n", "which leaves the folder"),
        ("tufts.csv", "photo,run\na.jpg,1.5\n", "tufts.csv: line 2 run is 1.5; it must be the number of a run."),
        ("tufts.csv", "photo,kind\na.jpg,film\n", "line 2 kind is the text 'film'; a kind of picture must be one of"),
        ("tufts.csv", "run\n1\n", "tufts.csv: line 2 photo is missing; a line speaks of one."),
        ("tufts/marks.csv", "photo,x_px,y_px\na.jpg,5,\n", "tufts/marks.csv: line 2 y_px is missing."),
        ("tufts/marks.csv", "photo,x_px,y_px\nz.jpg,5,6\n", "line 2 photo is 'z.jpg'; the folder has no such photo."),
        ("tufts/marks.csv", "photo,x_px,y_px\na.jpg,-5,6\n", "line 2 x_px is -5; pixels lie between 0 and 100,000."),
        ("tufts/marks.csv", "photo,x_px,y_px,condition\na.jpg,5,6,odd\n", "line 2 condition is the text 'odd'"),
        ("tufts/views.csv", "view,part,photo,x_mm,y_mm,x_px,y_px\n,w,a.jpg,0,0,0,0\n", "line 2 view is missing"),
    ],
)
def test_a_bad_line_is_named(tmp_path: Path, path: str, text: str, said: str) -> None:
    (tmp_path / "tufts").mkdir()
    (tmp_path / "tufts/a.jpg").write_bytes(b"x")
    (tmp_path / path).write_text(text)
    with pytest.raises(DayFolderError) as refused:
        read_tufts(tmp_path)
    assert said in str(refused.value)


def test_a_line_written_by_hand(tmp_path: Path) -> None:
    """Semicolons, a decimal comma, a direction beyond half a turn, no name of its own."""
    (tmp_path / "tufts").mkdir()
    (tmp_path / "tufts/a.jpg").write_bytes(b"x")
    (tmp_path / "tufts/marks.csv").write_text("photo;reader;x_px;y_px;direction_deg\na.jpg;Ana;10,5;7;270\n")
    [mark] = read_tufts(tmp_path).marks
    assert (mark.mark.x_px, mark.name) == (10.5, "line-2-of-marks")
    assert mark.mark.direction_rad == pytest.approx(-math.pi / 2)
