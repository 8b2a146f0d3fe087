"""Pictures as they are shown: made once of a kept original, found again by its hash; made anew where they are gone."""

from __future__ import annotations

import json
import subprocess
import sys
import threading
from pathlib import Path

from server.archive.raw_files import RawStore
from server.errors import StillairError
from server.tufts.decoding import BROKEN, SECONDS, SIZES, PictureFacts

FOLDER = "pictures"
FORM = 1  # of what is made; another form is another file
CODE = "import sys; from server.tufts.decoding import main; main(sys.argv[1:])"

_one_at_a_time = threading.Lock()


def picture_file(data_folder: Path, sha256: str, size: str) -> Path:
    """Where a picture of a size lies, made or not."""
    return _target(data_folder, sha256).with_name(f"{sha256}-{FORM}-{size}.jpg")


def make_pictures(data_folder: Path, raw: RawStore, sha256: str, name: str) -> PictureFacts:
    """Decode a kept file in a process of its own and write all its sizes. Raises StillairError."""
    target = _target(data_folder, sha256)
    target.parent.mkdir(parents=True, exist_ok=True)
    command = [sys.executable, "-c", CODE, str(raw.path(sha256)), name, str(target)]
    try:
        done = subprocess.run(command, capture_output=True, timeout=2 * SECONDS, check=False, cwd=_home())
        answer = json.loads(done.stdout)
    except (subprocess.TimeoutExpired, ValueError):  # killed by a bound, or by its own weight
        raise StillairError(BROKEN.format(name=name)) from None
    finally:
        for part in target.parent.glob(f"{target.name}-*.part"):
            part.unlink(missing_ok=True)
    if "refused" in answer:
        raise StillairError(answer["refused"])
    return PictureFacts(**answer)


def shown_picture(data_folder: Path, raw: RawStore, sha256: str, *, name: str, size: str) -> Path:
    """A picture's file, made now where it is gone. One at a time: each may need much memory."""
    file = picture_file(data_folder, sha256, size)
    if not file.is_file():
        with _one_at_a_time:
            if not file.is_file():
                make_pictures(data_folder, raw, sha256, name)
    return file


def has_pictures(data_folder: Path, sha256: str) -> bool:
    """Whether all sizes are made."""
    return all(picture_file(data_folder, sha256, size).is_file() for size in SIZES)


def _target(data_folder: Path, sha256: str) -> Path:
    return data_folder / FOLDER / sha256[:2] / f"{sha256}-{FORM}"


def _home() -> Path:
    import server

    return Path(server.__file__).parent.parent
