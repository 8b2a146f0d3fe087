"""The jobs of tufts by their kinds."""

from __future__ import annotations

from server.tufts.adding_job import ADDING_PHOTOS
from server.tufts.burst_job import READING_BURSTS
from server.tufts.folder_job import FOLDER_PHOTOS
from server.tufts.reading_job import READING_TUFTS

TUFT_KINDS = {**ADDING_PHOTOS, **FOLDER_PHOTOS, **READING_TUFTS, **READING_BURSTS}
