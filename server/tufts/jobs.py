"""The jobs of tufts by their kinds."""

from __future__ import annotations

from server.tufts.adding_job import ADDING_PHOTOS
from server.tufts.folder_job import FOLDER_PHOTOS

TUFT_KINDS = {**ADDING_PHOTOS, **FOLDER_PHOTOS}
