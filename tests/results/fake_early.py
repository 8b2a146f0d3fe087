"""Stand-ins for an early estimate and for a fit that ends when told to; few imports, for workers start with them."""

from __future__ import annotations

import time
from pathlib import Path

from server.archive.worker import Payload, Progress
from server.results.service import write_result
from tests.web.made_up import made_up_day_result

RESULT_FILE, END = "result.zip", "end"
TOLD = [{"name": "A", "values": {"SCx": [1.384, 0.021, 0.043], "balance_front": [0.42, 0.01, 0.021]}, "coast_downs": 7}]


def slow_fit(payload: Payload, progress: Progress) -> Payload:
    """Ends when the file END is in the data folder."""
    while not (Path(payload["raw"]).parent / END).exists():
        time.sleep(0.05)
        progress(0.5, "fitting")
    write_result(made_up_day_result("AB", seed=payload["revision_id"]), Path(payload["scratch"]) / RESULT_FILE)
    return {}


def told(_: Payload, __: Progress) -> Payload:
    return {"setups": TOLD}
