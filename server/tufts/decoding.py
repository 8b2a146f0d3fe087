"""A picture file decoded in a process of its own, with bounds on its pixels, its memory and its time.

Only what stands in FORMATS is opened, whatever the name says. What comes out is made of pixels alone: turned upright,
in sRGB, without any of the file's tags; of those only the camera and its clock are read.
"""

from __future__ import annotations

import json
import re
import sys
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from server.errors import StillairError

if TYPE_CHECKING:
    from PIL.Image import Exif, Image

FORMATS = ("JPEG", "PNG", "TIFF", "HEIF")
MOST_PIXELS = 160_000_000
MOST_SIDE = 40_000
MEMORY_BYTES = 3 << 30
SECONDS = 90
SIZES = {"list": 480, "screen": 1600, "near": 3200, "full": MOST_SIDE}  # longest side at most [px]
QUALITY = {"list": 80, "screen": 84, "near": 84, "full": 88}
NO_PICTURE = "{name} is no picture that can be read; send a JPEG, PNG, TIFF or HEIC."
DRAWING = "{name} is a drawing (SVG), not a photo; send a JPEG, PNG, TIFF or HEIC."
TOO_MANY = "{name} has {pixels:.0f} million pixels; at most {most:.0f} million can be shown."
BROKEN = "{name} is damaged and nothing of it can be shown; copy it from the camera once more."
CUT = "The file breaks off: {share:.0f} % of its rows are missing; what came is shown."
CUT_SOFT = "The file breaks off: all of the picture is there, part of it only coarsely."
EXIF_IFD, TAKEN, TAKEN_ELSE, MAKE, MODEL = 0x8769, 0x9003, 0x0132, 0x010F, 0x0110


@dataclass(frozen=True, slots=True)
class PictureFacts:
    """What is known of a picture: its size turned upright, the camera's clock ("2026-05-09 09:31:12"), the camera."""

    width_px: int
    height_px: int
    taken: str
    camera: str
    said: str


def decode(source: Path, name: str, target: Path) -> PictureFacts:
    """Write SIZES of a picture as `target`-SIZE.jpg; gives what is known of it. Raises StillairError."""
    image, facts = open_picture(source, name)
    for size in reversed(SIZES):  # the smaller from the larger: each step halves the work
        image.thumbnail((SIZES[size], SIZES[size]), reducing_gap=2.0)
        part = target.with_name(f"{target.name}-{size}.part")
        image.save(part, "JPEG", quality=QUALITY[size])
        part.replace(target.with_name(f"{target.name}-{size}.jpg"))
    return facts


def open_picture(source: Path, name: str) -> tuple[Image, PictureFacts]:
    """The picture, upright, 8 bits, RGB, without tags. Raises StillairError, a sentence for a person."""
    from pi_heif import register_heif_opener
    from PIL import Image, ImageFile, ImageOps, UnidentifiedImageError
    from PIL import TiffImagePlugin as _  # noqa: F401 - makes TIFF known

    register_heif_opener(thumbnails=False)
    Image.preinit()
    Image.MAX_IMAGE_PIXELS = None  # the bound is ours, and a sentence: see _check_size
    try:
        image = Image.open(source, formats=FORMATS)
        _check_size(image.size, name)
        said = ""
        try:
            image.load()
        except (OSError, SyntaxError, ValueError):
            ImageFile.LOAD_TRUNCATED_IMAGES = True
            image = Image.open(source, formats=FORMATS)
            image.load()
            said = _what_is_missing(image, name)
    except UnidentifiedImageError:
        raise StillairError((DRAWING if _is_drawing(source) else NO_PICTURE).format(name=name)) from None
    except StillairError:
        raise
    except MemoryError:
        raise StillairError(TOO_MANY.format(name=name, pixels=0, most=MOST_PIXELS / 1e6)) from None
    except Exception:  # whatever a decoder makes of bytes that were made to break it
        raise StillairError(BROKEN.format(name=name)) from None
    exif = image.getexif()
    upright = ImageOps.exif_transpose(_plain(image))
    return upright, PictureFacts(*upright.size, _taken(exif), _camera(exif), said)


def _check_size(size: tuple[int, int], name: str) -> None:
    pixels = size[0] * size[1]
    if pixels > MOST_PIXELS or max(size) > MOST_SIDE:
        raise StillairError(TOO_MANY.format(name=name, pixels=pixels / 1e6, most=MOST_PIXELS / 1e6))


def _is_drawing(source: Path) -> bool:
    with source.open("rb") as file:
        start = file.read(4096).lstrip(b"\xef\xbb\xbf \t\r\n").lower()
    return start.startswith((b"<svg", b"<?xml", b"<!doctype svg")) and b"<svg" in start


def _what_is_missing(image: Image, name: str) -> str:
    """Rows that the decoder filled with one value, from the end of the file upwards."""
    import numpy as np

    rows = np.asarray(image.reduce(max(1, min(image.size) // 400)).convert("L"), dtype=float)
    bare = np.ptp(rows, axis=1) < 2
    missing = len(rows) - 1 - int(np.flatnonzero(~bare).max()) if not bare.all() else len(rows)
    if missing == len(rows):
        raise StillairError(BROKEN.format(name=name))
    return CUT.format(share=max(1, 100 * missing / len(rows))) if missing else CUT_SOFT


def _plain(image: Image) -> Image:
    """RGB of 8 bits in sRGB; what is see-through stands on white. The tag that turns it upright stays with it."""
    from PIL import Image

    exif = image.getexif()
    if image.mode.startswith("I") or image.mode == "F":
        plain = _from_deep(image).convert("RGB")
    elif image.mode in ("RGBA", "LA", "PA") or "transparency" in image.info:
        plain = Image.new("RGB", image.size, "white")
        over = image.convert("RGBA")
        plain.paste(over, mask=over.getchannel("A"))
    else:
        plain = _in_srgb(image)
    plain.info, plain_exif = {}, plain.getexif()
    plain_exif.clear()
    if (turn := exif.get(0x0112)) is not None:
        plain_exif[0x0112] = turn
    return plain


def _from_deep(image: Image) -> Image:
    """More than 8 bits a pixel, to 8: of as many bits as its brightest pixel needs."""
    import numpy as np
    from PIL import Image

    values = np.nan_to_num(np.asarray(image, dtype=np.float32), posinf=0.0, neginf=0.0)
    brightest = max(float(values.max(initial=0.0)), 1e-9)
    full = 2.0 ** max(8, np.ceil(np.log2(brightest + 1))) - 1 if brightest > 1 else 1.0
    return Image.fromarray(np.clip(values / full * 255.0, 0, 255).astype(np.uint8))


def _in_srgb(image: Image) -> Image:
    import io

    from PIL import ImageCms

    profile = image.info.get("icc_profile")
    if profile and image.mode in ("RGB", "CMYK", "L"):
        try:
            own = ImageCms.ImageCmsProfile(io.BytesIO(profile))
            made = ImageCms.profileToProfile(image, own, ImageCms.createProfile("sRGB"), outputMode="RGB")
            if made is not None:
                return made
        except (ImageCms.PyCMSError, OSError, ValueError):  # a profile that is none: as it stands
            pass
    return image.convert("RGB")


def _taken(exif: Exif) -> str:
    told = exif.get_ifd(EXIF_IFD).get(TAKEN) or exif.get(TAKEN_ELSE) or ""
    found = re.fullmatch(r"(\d{4})[:-](\d\d)[:-](\d\d)[ T](\d\d):(\d\d):(\d\d).*", str(told).strip(" \0"))
    return "{}-{}-{} {}:{}:{}".format(*found.groups()) if found else ""


def _camera(exif: Exif) -> str:
    make, model = (_words(exif.get(tag)) for tag in (MAKE, MODEL))
    return model if model.casefold().startswith(make.casefold()) else f"{make} {model}".strip()


def _words(value: Any) -> str:
    return "".join(sign for sign in " ".join(str(value or "").split())[:60] if sign.isprintable())


def limit_this_process() -> None:
    """No more memory and time than the largest picture needs; where the system knows no such bounds, the parent's."""
    try:
        import resource
    except ImportError:  # Windows
        return
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES, MEMORY_BYTES))
    resource.setrlimit(resource.RLIMIT_CPU, (SECONDS, SECONDS))


def main(arguments: list[str]) -> None:
    """In the process of its own: SOURCE NAME TARGET; answers with one JSON object."""
    limit_this_process()
    try:
        answer = asdict(decode(Path(arguments[0]), arguments[1], Path(arguments[2])))
    except StillairError as refusal:
        answer = {"refused": str(refusal)}
    sys.stdout.write(json.dumps(answer))
