"""The file of a photo as it came: it may tell more than is meant to be told."""

from __future__ import annotations

from pathlib import Path

CAUTION = (
    "This is the file as it came from the camera: it may hold where it was taken, the camera’s number and a name. "
    "Pictures on these pages hold none of that."
)
TAKE = f"{CAUTION} Ask for it with take=true to have it all the same."
HEAD_BYTES = 16
HEADS = (b"\xff\xd8\xff", b"\x89PNG", b"II*\0", b"MM\0*", b"GIF8")
BRANDS = (b"heic", b"heix", b"hevc", b"heim", b"heis", b"mif1", b"msf1", b"avif")


def is_picture(file: Path) -> bool:
    """Whether a file begins as one of a camera does: JPEG, PNG, TIFF (and raw forms made of it), GIF, WebP, HEIF.

    By its bytes, whatever its name says: a photo that no day took in, or that a folder brought, may tell as much.
    """
    with file.open("rb") as opened:
        head = opened.read(HEAD_BYTES)
    webp = head[:4] == b"RIFF" and head[8:12] == b"WEBP"
    return head.startswith(HEADS) or webp or (head[4:8] == b"ftyp" and head[8:12] in BRANDS)
