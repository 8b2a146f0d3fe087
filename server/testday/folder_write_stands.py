"""The tests of the standing car as key = value pairs in the units of the folder."""

from __future__ import annotations

from server.testday import folder_keys as keys
from server.testday.defaults import MISSING
from server.testday.folder_write_tables import number, quantities
from server.testday.folder_write_toml import Pairs
from server.testday.values import AxleLoading, SpinDown


def spin_down_pairs(spin_down: SpinDown) -> Pairs:
    """Return one [[spin_downs]] without its channels."""
    return {
        "log": spin_down.log.file,
        "signals": spin_down.log.signals,
        **number(keys.FROM, spin_down.log.from_s),
        **number(keys.TO, spin_down.log.to_s),
        "notes": spin_down.notes or None,
    }


def axle_loading_pairs(loading: AxleLoading) -> Pairs:
    """Return one [[axle_loadings]] without its channels."""
    return {
        "axle": loading.axle,
        "log": loading.log.file,
        "signals": loading.log.signals,
        **number(keys.BARE_FROM, loading.bare_s[0]),
        **number(keys.BARE_TO, loading.bare_s[1]),
        **number(keys.LOADED_FROM, loading.loaded_s[0]),
        **number(keys.LOADED_TO, loading.loaded_s[1]),
        **quantities(
            (keys.LOADING_MASS, loading.mass_kg, None),
            (keys.LOADING_SHARE, loading.share, MISSING["loading_share"]),
        ),
    }
