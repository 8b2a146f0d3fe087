"""A correlation as JSON lists: what cannot be had is absent."""

from __future__ import annotations

from typing import Any

from server.analysis.correlated import Correlated, DayCorrelation
from server.analysis.correlation_words import plain_unit, sentence

Json = dict[str, Any]


def correlation_to_json(found: DayCorrelation) -> Json:
    """Keys: correlation (totals), and where there is something of it correlation_changes and correlation_silent.

    E = predicted − measured; u_val² = u_num² + u_input² + u_D². u of what is predicted holds u_num and u_input; u_num
    holds the mesh's part and that of telling the prediction between its cases.
    """
    told: Json = {"correlation": [_one(each, found.margins.total) for each in found.totals]}
    if found.changes:
        told["correlation_changes"] = [_one(each, found.margins.change) for each in found.changes]
    if found.silent:
        told["correlation_silent"] = [
            {"setup": each.setup, "quantity": each.quantity, "why": each.why} for each in found.silent
        ]
    return told


def _one(each: Correlated, share: float) -> Json:
    entry: Json = {"setup": each.setup}
    if each.against is not None:
        entry["against"] = each.against
    entry |= {
        "quantity": each.quantity,
        "unit": plain_unit(each.unit),
        "measured": {"value": float(each.measured.value), "u": float(each.measured.u)},
    }
    if each.predicted is not None:
        entry |= {
            "predicted": {"value": float(each.predicted), "u": float(each.predicted_u)},
            "E": float(each.E),
            "u_val": float(each.u_val),
            "low95": float(each.low95),
            "high95": float(each.high95),
            "u_num": float((each.u_num**2 + each.u_fit**2) ** 0.5),
            "u_input": float(each.u_input),
            "u_D": float(each.measured.u),
        }
    return entry | {
        "margin": float(each.margin),
        "verdict": each.verdict,
        "beyond_margin": bool(each.beyond),
        "how": each.how,
        "notes": list(each.notes),
        "text": sentence(each, share),
    }
