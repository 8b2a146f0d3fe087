"""Marks as they come from forms: a tap on the picture without scripts, a row of the table."""

from __future__ import annotations

import math
import secrets

from server.errors import StillairError
from server.tufts.service import NamedMark, Photo

DIGITS = 5  # of a direction [rad], as marks keep it
PLAIN_WIDTH = 900  # of the picture that is marked without scripts


def typed_mark(
    photo: Photo, mine: tuple[NamedMark, ...], key: str, *, at: tuple[float | None, float | None], say: str
) -> dict[str, object]:
    """The mark that a form speaks of, or a new one where the picture was tapped. Raises StillairError."""
    found = next((one for one in mine if one.key == key), None)
    entry: dict[str, object] = {"entry": secrets.token_hex(12), "mark": key or secrets.token_hex(12)}
    if found is not None:
        kept = {"x_px": found.mark.x_px, "y_px": found.mark.y_px, "station": found.mark.station or ""}
        return {**entry, **kept, "by": found.mark.by, "removed": say == "remove"}
    if key or at[0] is None or at[1] is None:
        raise StillairError("Tap the picture where the tuft’s root is.")
    scale = photo.width_px / min(PLAIN_WIDTH, photo.width_px)
    return {**entry, "x_px": min(at[0] * scale, photo.width_px), "y_px": min(at[1] * scale, photo.height_px)}


def typed_direction(text: str) -> float | None:
    """Degrees to radians; None for none. Raises StillairError."""
    text = text.strip().replace(",", ".").replace("−", "-")
    if not text:
        return None
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not abs(value) <= 360:
        raise StillairError("A direction is a number of degrees from −360 to 360: 0 is to the right, 90 is down.")
    return round(math.radians(value), DIGITS)
