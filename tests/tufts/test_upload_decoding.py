"""A picture file decoded: every form that is taken comes out upright and bare; what is none is refused."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from server.archive.raw_files import RawStore
from server.errors import StillairError
from server.tufts import decoding
from server.tufts.decoding import SIZES, open_picture
from server.tufts.pictures import has_pictures, make_pictures, picture_file, shown_picture
from tests.ratios import ratio, settled
from tests.tufts import made_photos as made

SHA = "ab" + "0" * 62


def kept(folder: Path, content: bytes) -> RawStore:
    file = folder / "raw" / SHA[:2] / SHA
    file.parent.mkdir(parents=True, exist_ok=True)
    file.write_bytes(content)
    return RawStore(folder / "raw")


def shown(folder: Path, content: bytes, name: str = "photo.jpg"):  # type: ignore[no-untyped-def]
    """What is known of it, and the picture that is shown, decoded in a process of its own."""
    facts = make_pictures(folder, kept(folder, content), SHA, name)
    with Image.open(picture_file(folder, SHA, "full")) as image:
        image.load()
        return facts, image


def near(image: Image.Image, at: tuple[int, int], colour: tuple[int, int, int]) -> bool:
    return bool(np.abs(np.array(image.getpixel(at)) - np.array(colour)).max() < 12)


@pytest.mark.parametrize(
    "content",
    [made.jpeg(), made.saved(made.picture(), "PNG"), made.saved(made.picture(), "TIFF"), made.deep_tiff()],
    ids=["JPEG", "PNG", "TIFF", "TIFF of 16 bits"],
)
def test_each_form(tmp_path: Path, content: bytes) -> None:
    facts, image = shown(tmp_path, content)
    assert (facts.width_px, facts.height_px, facts.said) == (96, 64, "")
    assert image.size == (96, 64)
    assert near(image, (8, 8), made.CORNER)
    assert near(image, (80, 40), made.REST)
    assert has_pictures(tmp_path, SHA)


def test_heic_stands_upright(tmp_path: Path) -> None:
    facts, image = shown(tmp_path, made.HEIC, "photo.heic")
    assert (facts.width_px, facts.height_px, facts.taken) == (64, 96, "2026-05-09 09:45:10")
    assert near(image, (56, 8), made.CORNER)


@pytest.mark.parametrize(("turn", "corner"), [(1, (8, 8)), (3, (88, 56)), (6, (56, 8)), (8, (8, 88)), (2, (88, 8))])
def test_the_tag_that_turns_it_is_followed(tmp_path: Path, turn: int, corner: tuple[int, int]) -> None:
    """Exif 2.32 (CIPA DC-008), table 4, Orientation: 6 is turned by 90° clockwise to stand upright; from memory."""
    facts, image = shown(tmp_path, made.jpeg(turn=turn))
    assert image.size == (facts.width_px, facts.height_px) == ((64, 96) if turn in (6, 8) else (96, 64))
    assert near(image, corner, made.CORNER)


def test_nothing_of_the_file_but_its_pixels_is_shown(tmp_path: Path) -> None:
    content = made.jpeg()
    assert Image.open(io.BytesIO(content)).getexif().get_ifd(0x8825)  # the file tells where it was taken
    facts, _ = shown(tmp_path, content)
    assert (facts.camera, facts.taken) == (made.CAMERA, "2026-05-09 09:45:10")
    for size in SIZES:
        file = picture_file(tmp_path, SHA, size)
        with Image.open(file) as image:
            assert not image.getexif()
            assert {"exif", "icc_profile", "xmp", "comment", "photoshop"} & set(image.info) == set()
        assert b"Field 3" not in file.read_bytes()


def test_more_than_eight_bits_keep_their_range(tmp_path: Path) -> None:
    ramp = Image.fromarray(np.tile(np.linspace(0, 4095, 256).astype(np.uint16), (40, 1)))
    _, image = shown(tmp_path, made.saved(ramp, "PNG"))
    values = np.asarray(image.convert("L"), float)[20]
    assert np.abs(values - np.linspace(0, 255, 256)).max() < 4


def test_of_a_file_that_breaks_off_what_came_is_shown(tmp_path: Path) -> None:
    content = made.saved(made.noise(600, 400), "JPEG")
    facts, image = shown(tmp_path, content[: len(content) // 2])
    assert facts.said.startswith("The file breaks off: ")
    share = int(facts.said.split(": ")[1].split(" %")[0])
    assert 40 <= share <= 60
    assert np.asarray(image.convert("L"), float)[:150].std() > 30


@pytest.mark.parametrize(
    ("name", "content", "said"),
    [
        ("a.jpg", b"\xff\xd8\xff\xe0 hello" * 40, "a.jpg is "),
        ("b.jpg", b"MZ\x90\0" + bytes(900), "b.jpg is no picture that can be read; send a JPEG, PNG, TIFF or HEIC."),
        ("c.svg", made.SVG, "c.svg is a drawing (SVG), not a photo; send a JPEG, PNG, TIFF or HEIC."),
        ("d.jpg", made.SVG, "d.jpg is a drawing (SVG)"),
        ("e.png", made.huge_png(), "e.png has 500 million pixels; at most 160 million can be shown."),
        ("f.gif", made.saved(made.picture(), "GIF"), "f.gif is no picture that can be read"),
        ("g.jpg", made.saved(made.picture(), "BMP"), "g.jpg is no picture that can be read"),
        ("h.heic", made.HEIC[:200], "h.heic is "),
        ("i.jpg", b"", "i.jpg is no picture"),
    ],
)
def test_what_is_no_picture_is_refused_in_a_sentence(tmp_path: Path, name: str, content: bytes, said: str) -> None:
    with pytest.raises(StillairError) as refused:
        make_pictures(tmp_path, kept(tmp_path, content), SHA, name)
    assert str(refused.value).startswith(said)
    assert list((tmp_path / "pictures").rglob("*.*")) == []


def test_a_process_that_is_killed_is_a_sentence(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("server.tufts.pictures.CODE", "import os; os.kill(os.getpid(), 9)")
    with pytest.raises(StillairError, match="nothing of it can be shown"):
        make_pictures(tmp_path, kept(tmp_path, made.jpeg()), SHA, "photo.jpg")


def test_memory_is_bounded(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The bound itself, in the process that it is set for: more than it cannot be had."""
    code = (
        "from server.tufts.decoding import limit_this_process; limit_this_process()\n"
        "try:\n b = bytearray(4 << 30)\nexcept MemoryError:\n print('{\"refused\": \"bounded\"}')"
    )
    monkeypatch.setattr("server.tufts.pictures.CODE", code)
    with pytest.raises(StillairError, match="bounded"):
        make_pictures(tmp_path, kept(tmp_path, made.jpeg()), SHA, "photo.jpg")


def test_pictures_that_are_gone_are_made_anew(tmp_path: Path) -> None:
    raw = kept(tmp_path, made.jpeg())
    first = shown_picture(tmp_path, raw, SHA, name="photo.jpg", size="list").read_bytes()
    picture_file(tmp_path, SHA, "list").unlink()
    assert shown_picture(tmp_path, raw, SHA, name="photo.jpg", size="list").read_bytes() == first


def test_twenty_five_million_pixels_are_decoded_once(tmp_path: Path) -> None:
    """After that a picture is a file of a size that a screen needs, there in no time."""
    raw = kept(tmp_path, made.saved(made.noise(306, 204).resize((6120, 4080)), "JPEG"))
    make_pictures(tmp_path, raw, SHA, "photo.jpg")
    file, most = shown_picture(tmp_path, raw, SHA, name="photo.jpg", size="screen"), 0.02

    def decoded() -> None:
        with Image.open(raw.path(SHA)) as whole:
            whole.load()

    def again() -> None:
        shown_picture(tmp_path, raw, SHA, name="photo.jpg", size="screen")

    assert settled(lambda: ratio(again, decoded, rounds=1), most) <= most
    assert file.stat().st_size < 1_000_000
    with Image.open(file) as image:
        assert image.size == (1600, 1067)


def test_only_named_forms_are_opened() -> None:
    assert set(decoding.FORMATS) == {"JPEG", "PNG", "TIFF", "HEIF"}


def test_see_through_stands_on_white(tmp_path: Path) -> None:
    file = tmp_path / "a.png"
    Image.new("RGBA", (40, 40), (0, 0, 0, 0)).save(file)
    image, _ = open_picture(file, "a.png")
    assert image.getpixel((3, 3)) == (255, 255, 255)
