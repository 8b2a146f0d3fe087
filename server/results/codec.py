"""A result as one file, and back: JSON with exact floats, arrays beside it as they are, all in a zip.

result.json holds the dataclasses field by field; an array stands there as {"array": n}, with its shape where it has
more than one dimension, and its values as arrays/n.bin (little-endian float64). The same result always gives the
same bytes.
"""

from __future__ import annotations

import dataclasses
import io
import json
import types
import typing
import zipfile
from collections.abc import Callable, Mapping
from functools import cache
from typing import Any, Literal, Union

import numpy as np

from server.analysis.result import DayResult

FORMAT = 1
STABLE_TIME = (1980, 1, 1, 0, 0, 0)
FLOAT64 = np.dtype("<f8")


def result_to_bytes(result: DayResult) -> bytes:
    """The whole result as a compressed file."""
    arrays: list[np.ndarray[Any, Any]] = []
    tree = {"format": FORMAT, "result": _plain(result, arrays)}
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        _write(archive, "result.json", json.dumps(tree, ensure_ascii=False).encode())
        for number, array in enumerate(arrays):
            _write(archive, f"arrays/{number}.bin", np.ascontiguousarray(array, FLOAT64).tobytes())
    return out.getvalue()


def result_from_bytes(content: bytes) -> DayResult:
    """The result that `result_to_bytes` wrote. Raises ValueError for another format."""
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        return result_of_tree(tree_of(archive), lambda number: array_of(archive, number))


def tree_of(archive: zipfile.ZipFile) -> dict[str, Any]:
    """A result's fields as JSON has them. Raises ValueError for another format."""
    tree = json.loads(archive.read("result.json"))
    if tree["format"] != FORMAT:
        raise ValueError(f"format must be {FORMAT}, not {tree['format']}")
    found: dict[str, Any] = tree["result"]
    return found


def array_of(archive: zipfile.ZipFile, number: int) -> np.ndarray[Any, Any]:
    """An array of a result by its number."""
    return np.frombuffer(archive.read(f"arrays/{number}.bin"), FLOAT64)


def result_of_tree(tree: dict[str, Any], array: Callable[[int], np.ndarray[Any, Any]]) -> DayResult:
    """The result of its fields as JSON has them; array: number → values."""
    value = _typed(tree, DayResult, array)
    assert isinstance(value, DayResult)
    return value


def _write(archive: zipfile.ZipFile, name: str, content: bytes) -> None:
    info = zipfile.ZipInfo(name, STABLE_TIME)
    info.compress_type = zipfile.ZIP_DEFLATED
    archive.writestr(info, content, compresslevel=6)


def _plain(value: Any, arrays: list[np.ndarray[Any, Any]]) -> Any:
    if isinstance(value, np.ndarray):
        arrays.append(value)
        shape = {"shape": list(value.shape)} if value.ndim > 1 else {}
        return {"array": len(arrays) - 1, **shape}
    if isinstance(value, np.generic):
        return value.item()
    if dataclasses.is_dataclass(value):
        return {f.name: _plain(getattr(value, f.name), arrays) for f in dataclasses.fields(value)}
    if isinstance(value, Mapping):
        return {key: _plain(one, arrays) for key, one in value.items()}
    if isinstance(value, tuple | list):
        return [_plain(one, arrays) for one in value]
    if value is None or isinstance(value, str | int | float | bool):
        return value
    raise TypeError(f"a result cannot hold a {type(value).__name__}")


@cache
def _field_types(cls: type) -> dict[str, Any]:
    return typing.get_type_hints(cls)


def _typed(value: Any, wanted: Any, array: Callable[[int], Any]) -> Any:
    """A JSON value as the annotated type: the other direction of `_plain`."""
    origin, arguments = typing.get_origin(wanted), typing.get_args(wanted)
    if value is None or origin is Literal:
        return value
    if origin in (Union, types.UnionType):
        return _typed(value, _member(arguments, value), array)
    if dataclasses.is_dataclass(wanted) and isinstance(wanted, type):
        known = _field_types(wanted)
        return wanted(**{name: _typed(one, known[name], array) for name, one in value.items()})
    if origin is not None:
        return _typed_collection(value, origin, arguments, array)
    return float(value) if wanted is float else value


def _typed_collection(value: Any, origin: Any, arguments: tuple[Any, ...], array: Callable[[int], Any]) -> Any:
    if origin is np.ndarray:
        found = array(value["array"])
        return found.reshape(value["shape"]) if "shape" in value and found.size else found  # none: left unread
    if origin is tuple:
        kinds = arguments[:1] * len(value) if arguments[-1] is Ellipsis else arguments
        return tuple(_typed(one, kind, array) for one, kind in zip(value, kinds, strict=True))
    if issubclass(origin, Mapping):
        return {key: _typed(one, arguments[1], array) for key, one in value.items()}
    raise TypeError(f"a result cannot hold a {origin}")


def _member(arguments: tuple[Any, ...], value: Any) -> Any:
    """The member of a union that a JSON value belongs to; None has been dealt with."""
    members = [one for one in arguments if one is not type(None)]
    if len(members) == 1:
        return members[0]
    return next((one for one in members if isinstance(one, type) and isinstance(value, one)), members[0])
