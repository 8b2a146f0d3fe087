"""A zipped day folder is unpacked without trusting the zip, and a refusal leaves nothing behind."""

import io
import random
import stat
import struct
import zipfile
from pathlib import Path

import pytest

from server.errors import UploadError
from server.readers.zip_folder import ZipLimits, unpack_day_zip
from server.testday.folder import read_folder
from tests.testday.folders import MINIMAL

DAY = {"testday.toml": MINIMAL.encode(), "logs/run01.csv": b"t,v\n0,20\n"}


def zipped(path: Path, entries: dict[str, bytes], method: int = zipfile.ZIP_DEFLATED) -> Path:
    """Write a zip of these entries."""
    with zipfile.ZipFile(path, "w", method) as bundle:
        for name, data in entries.items():
            bundle.writestr(name, data)
    return path


def refusal(archive: Path | io.BytesIO, tmp_path: Path, limits: ZipLimits | None = None) -> str:
    """Return the sentence of a refusal, having seen that nothing is left."""
    before = sorted(tmp_path.rglob("*"))
    for into in (tmp_path / "new" / "scratch", tmp_path / "there"):
        (tmp_path / "there").mkdir(exist_ok=True)
        with pytest.raises(UploadError) as error:
            unpack_day_zip(archive, into, limits or ZipLimits())
        assert not (tmp_path / "new" / "scratch").exists()
        assert list((tmp_path / "there").iterdir()) == []
    (tmp_path / "there").rmdir()
    (tmp_path / "new").rmdir()
    assert sorted(tmp_path.rglob("*")) == before
    sentence = str(error.value)
    assert sentence.endswith(".")
    assert "\n" not in sentence
    return sentence


def names_in(folder: Path) -> list[str]:
    return sorted(str(path.relative_to(folder)) for path in folder.rglob("*") if path.is_file())


@pytest.mark.parametrize("as_file", [True, False])
def test_a_directory_that_lies_before_the_zip_is_refused(tmp_path: Path, as_file: bool) -> None:
    """The end of a zip says where its directory begins (APPNOTE 4.3.16, from memory): here before its first byte."""
    whole = zipped(tmp_path / "a.zip", DAY).read_bytes()
    end = whole.rindex(b"PK\x05\x06")
    (size,) = struct.unpack("<I", whole[end + 12 : end + 16])
    bad = whole[: end + 12] + struct.pack("<I", end + 2) + whole[end + 16 :]
    assert size < end + 2
    (tmp_path / "a.zip").write_bytes(bad)
    assert "is no zip that can be read" in refusal(tmp_path / "a.zip" if as_file else io.BytesIO(bad), tmp_path)


@pytest.mark.parametrize("method", [zipfile.ZIP_DEFLATED, zipfile.ZIP_STORED])
def test_a_day_at_the_top_takes_the_zips_name(tmp_path: Path, method: int) -> None:
    day = unpack_day_zip(zipped(tmp_path / "9 May.zip", DAY, method), tmp_path / "scratch")
    assert day == tmp_path / "scratch" / "9 May"
    assert names_in(tmp_path / "scratch") == ["9 May/logs/run01.csv", "9 May/testday.toml"]
    assert read_folder(day).name == "9 May"


def test_a_day_in_one_folder_keeps_that_folders_name(tmp_path: Path) -> None:
    nested = {f"long apron/{name}": data for name, data in DAY.items()}
    beside = {"read me.txt": b"x", "__MACOSX/long apron/._testday.toml": b"x", "long apron/.DS_Store": b"x"}
    day = unpack_day_zip(zipped(tmp_path / "x.zip", {**nested, **beside}), tmp_path / "scratch")
    assert day == tmp_path / "scratch" / "long apron"
    assert names_in(tmp_path / "scratch") == ["long apron/logs/run01.csv", "long apron/testday.toml"]


def test_an_open_file_is_taken_too(tmp_path: Path) -> None:
    data = io.BytesIO(zipped(tmp_path / "x.zip", DAY).read_bytes())
    assert unpack_day_zip(data, tmp_path / "scratch") == tmp_path / "scratch" / "test day"


def test_junk_beside_a_flat_day_and_empty_folders_are_passed_over(tmp_path: Path) -> None:
    junk = {
        "__MACOSX/._testday.toml": b"x",
        ".DS_Store": b"x",
        "logs/Thumbs.db": b"x",
        "logs/._run01.csv": b"x",
    }
    with zipfile.ZipFile(zipped(tmp_path / "x.zip", {**DAY, **junk}), "a") as bundle:
        bundle.mkdir("tufts")
    day = unpack_day_zip(tmp_path / "x.zip", tmp_path / "scratch")
    assert names_in(day) == ["logs/run01.csv", "testday.toml"]


def test_backslashes_of_careless_zips_are_folders(tmp_path: Path) -> None:
    entries = {"long apron\\testday.toml": DAY["testday.toml"], "long apron\\logs\\run01.csv": b"x"}
    day = unpack_day_zip(zipped(tmp_path / "x.zip", entries), tmp_path / "scratch")
    assert names_in(day) == ["logs/run01.csv", "testday.toml"]


def test_names_beyond_ascii_survive(tmp_path: Path) -> None:
    day = unpack_day_zip(
        zipped(tmp_path / "x.zip", {**DAY, "logs/прогон №1.csv": b"x"}), tmp_path / "scratch"
    )
    assert "logs/прогон №1.csv" in names_in(day)


def test_an_unpacked_day_is_not_overwritten(tmp_path: Path) -> None:
    archive = zipped(tmp_path / "x.zip", DAY)
    unpack_day_zip(archive, tmp_path / "scratch")
    with pytest.raises(UploadError, match=r"^x.zip unpacks to the folder x, which is there already\.$"):
        unpack_day_zip(archive, tmp_path / "scratch")
    assert [path.name for path in (tmp_path / "scratch").iterdir()] == ["x"]


@pytest.mark.parametrize(
    "name",
    ["/etc/cron.d/x", "../x", "logs/../../x", "..\\x", "C:\\x", "C:x", "\\\\box\\x", "a/../../../x"],
)
def test_paths_that_leave_the_folder(tmp_path: Path, name: str) -> None:
    sentence = refusal(zipped(tmp_path / "x.zip", {**DAY, name: b"x"}), tmp_path)
    assert sentence.startswith("x.zip holds the path ")
    assert sentence.endswith("which leaves its folder.")


@pytest.mark.parametrize(
    "name", ["logs/nul", "logs/COM1.csv", "logs/a?.csv", "logs/a\n.csv", "logs/a. ", "x" * 300]
)
def test_names_that_not_every_system_can_store(tmp_path: Path, name: str) -> None:
    assert "which not every system can store" in refusal(
        zipped(tmp_path / "x.zip", {**DAY, name: b"x"}), tmp_path
    )


@pytest.mark.parametrize("kind", [stat.S_IFLNK, stat.S_IFCHR, stat.S_IFIFO])
def test_links_and_devices(tmp_path: Path, kind: int) -> None:
    archive = zipped(tmp_path / "x.zip", DAY)
    link = zipfile.ZipInfo("logs/passwd.csv")
    link.external_attr = (kind | 0o777) << 16
    with zipfile.ZipFile(archive, "a") as bundle:
        bundle.writestr(link, "/etc/passwd")
    assert refusal(archive, tmp_path) == "x.zip holds 'logs/passwd.csv', which is a link and not a file."


@pytest.mark.parametrize("extra", ["logs/RUN01.csv", "testday.toml/x", "logs"])
def test_two_entries_for_one_place(tmp_path: Path, extra: str) -> None:
    assert refusal(zipped(tmp_path / "x.zip", {**DAY, extra: b"x"}), tmp_path).endswith("twice.")


@pytest.mark.filterwarnings("ignore:Duplicate name")
def test_one_name_given_twice(tmp_path: Path) -> None:
    archive = zipped(tmp_path / "x.zip", DAY)
    with zipfile.ZipFile(archive, "a") as bundle:
        bundle.writestr("testday.toml", b"other")
    assert refusal(archive, tmp_path) == "x.zip holds 'testday.toml' twice."


def test_no_day_several_days_and_a_day_too_deep(tmp_path: Path) -> None:
    assert "holds no testday.toml" in refusal(zipped(tmp_path / "a.zip", {"logs/run01.csv": b"x"}), tmp_path)
    assert "holds no testday.toml" in refusal(zipped(tmp_path / "b.zip", {}), tmp_path)
    two = {"a/testday.toml": b"", "b/testday.toml": b""}
    assert refusal(zipped(tmp_path / "c.zip", two), tmp_path) == (
        "c.zip holds 2 test days ('a', 'b'); zip one at a time."
    )
    deep = refusal(zipped(tmp_path / "d.zip", {"a/b/testday.toml": b""}), tmp_path)
    assert deep == "d.zip holds its testday.toml 2 folders down; one is the most."


def test_too_many_files(tmp_path: Path) -> None:
    many = {**DAY, **{f"logs/{n}.csv": b"" for n in range(20)}}
    sentence = refusal(zipped(tmp_path / "x.zip", many), tmp_path, ZipLimits(files=20))
    assert sentence == "x.zip holds more than 20 files."


def test_a_long_list_of_files_is_refused_before_it_is_read(tmp_path: Path) -> None:
    many = {f"__MACOSX/{'x' * 200}{n}": b"" for n in range(100)}
    sentence = refusal(zipped(tmp_path / "x.zip", {**DAY, **many}), tmp_path, ZipLimits(files=10))
    assert sentence == "x.zip lists more than 10 files."


def test_too_large_by_its_own_word(tmp_path: Path) -> None:
    archive = zipped(tmp_path / "x.zip", {**DAY, "logs/b.csv": random.Random(1).randbytes(3_000_000)})
    assert refusal(archive, tmp_path, ZipLimits(total_bytes=2_000_000)) == "x.zip unpacks to more than 2 MB."


def test_a_bomb_is_stopped_by_what_it_unpacks_to(tmp_path: Path) -> None:
    archive = zipped(tmp_path / "x.zip", {**DAY, "logs/b.csv": bytes(30_000_000)})
    assert refusal(archive, tmp_path) == "x.zip unpacks to more than 200 times its size, as no log does."


def test_a_size_that_lies_is_found_out(tmp_path: Path) -> None:
    archive = zipped(tmp_path / "x.zip", {**DAY, "logs/b.csv": bytes(range(256)) * 20_000})
    raw = bytearray(archive.read_bytes())
    size = struct.pack("<I", 256 * 20_000)
    at = raw.rfind(size)  # the uncompressed size in the list of files
    raw[at : at + 4] = struct.pack("<I", 10)
    archive.write_bytes(raw)
    refusal(archive, tmp_path, ZipLimits(total_bytes=1_000_000))


def test_a_plain_log_that_packs_well_is_no_bomb(tmp_path: Path) -> None:
    log = "".join(f"{n / 100:.2f},20.00,0,0,0,0,0,0\n" for n in range(400_000)).encode()
    day = unpack_day_zip(zipped(tmp_path / "x.zip", {**DAY, "logs/b.csv": log}), tmp_path / "scratch")
    assert (day / "logs" / "b.csv").stat().st_size == len(log)


@pytest.mark.parametrize("method", [zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA])
def test_other_packings(tmp_path: Path, method: int) -> None:
    assert "packed in a way not read here" in refusal(zipped(tmp_path / "x.zip", DAY, method), tmp_path)


def test_encrypted(tmp_path: Path) -> None:
    archive = zipped(tmp_path / "x.zip", DAY)
    raw = bytearray(archive.read_bytes())
    for signature, flags in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
        at = -1
        while (at := raw.find(signature, at + 1)) >= 0:
            raw[at + flags] |= 1
    archive.write_bytes(raw)
    assert refusal(archive, tmp_path) == "x.zip is encrypted; save it without a password."


@pytest.mark.parametrize(
    "data", [b"", b"not a zip", b"PK\x03\x04" + bytes(40), b"PK\x05\x06", b"\x1f\x8b" + bytes(99)]
)
def test_no_zip(tmp_path: Path, data: bytes) -> None:
    (tmp_path / "x.zip").write_bytes(data)
    assert refusal(tmp_path / "x.zip", tmp_path).startswith("x.zip is no zip that can be read (")
    assert refusal(io.BytesIO(data), tmp_path).startswith("the zip is no zip that can be read (")


def test_sixty_four_bit_zips(tmp_path: Path) -> None:
    archive = zipped(tmp_path / "x.zip", DAY)
    raw = archive.read_bytes()
    end = raw.rfind(b"PK\x05\x06")
    archive.write_bytes(raw[:end] + b"PK\x06\x07" + bytes(16) + raw[end:])
    assert "64-bit kind" in refusal(archive, tmp_path)


def test_damage_anywhere_is_a_refusal_or_the_same_day(tmp_path: Path) -> None:
    log = "".join(f"{n},{n * n % 97}\n" for n in range(2000)).encode()
    entries = {**DAY, "logs/run02.csv": log}
    raw = zipped(tmp_path / "x.zip", entries).read_bytes()
    draw = random.Random(20260509)
    refused = 0
    for trial in range(200):
        damaged = bytearray(raw)
        for _ in range(draw.randint(1, 6)):
            damaged[draw.randrange(len(raw))] = draw.randrange(256)
        into = tmp_path / "scratch" / str(trial)
        try:
            day = unpack_day_zip(
                io.BytesIO(bytes(damaged[: draw.choice([len(raw), draw.randrange(len(raw))])])), into
            )
        except UploadError:
            refused += 1
            assert not into.exists()
        else:
            whole = [name for name in entries if (day / name).is_file()]
            assert all((day / name).read_bytes() == entries[name] for name in whole)
    assert refused > 50
