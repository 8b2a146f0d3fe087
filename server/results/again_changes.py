"""What differs between then and now around a result: its files, its options, the versions that it was made with."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

from server.analysis.fit_options import options_from
from server.analysis.made_with import made_with
from server.analysis.result import DayResult
from server.archive.raw_files import RawStore, sha256_of
from server.errors import NotFoundError

DIGITS = 16
NOT_KEPT = "not written down"
USUAL = "the usual ones"
OWN_FILE = "the file of the kept result"
ABSENT = "not there"
IS_MISSING = "not kept any more"


@dataclass(frozen=True, slots=True)
class Change:
    """One thing that differs. kind: file, option, code, version or result."""

    kind: str
    what: str
    then: str
    now: str


def changed_files(raw: RawStore, files: Mapping[str, str]) -> tuple[Change, ...]:
    """Files of the revision whose bytes are not those that were fitted."""
    return tuple(
        Change("file", path, f"SHA-256 {sha256[:DIGITS]}…", f"SHA-256 {found[:DIGITS]}…" if found else IS_MISSING)
        for path, sha256 in files.items()
        if (found := _found(raw, sha256)) != sha256
    )


def changed_result(raw: RawStore, sha256: str) -> tuple[Change, ...]:
    """The result's own file, where its bytes are not those that were kept."""
    return tuple(replace(one, kind="result") for one in changed_files(raw, {OWN_FILE: sha256}))


def _found(raw: RawStore, sha256: str) -> str:
    try:
        return sha256_of(raw.path(sha256))
    except (NotFoundError, OSError):
        return ""


def changed_program(then: DayResult) -> tuple[Change, ...]:
    """Options that are no more, and every version that is another one now."""
    return (*_options(then), *_versions(then))


def _options(then: DayResult) -> Iterator[Change]:
    if not then.options:
        yield Change("option", "options and seed", NOT_KEPT, USUAL)
    options, gone = options_from(then.options)
    yield from (Change("option", name, f"{then.options[name]:g}", "no option any more") for name in gone)
    if then.options:
        new = {name: value for name, value in options.kept().items() if name not in then.options}
        yield from (Change("option", name, "no option yet", f"{value:g}") for name, value in new.items())


def _versions(then: DayResult) -> Iterator[Change]:
    now = made_with()
    was = dict(then.made_with) or {"Stillair": then.version}
    for name in dict.fromkeys([*was, *now]):
        if was.get(name) != now.get(name) and (then.made_with or name in was):
            kind = "code" if name.startswith("code of ") else "version"
            yield Change(kind, name, was.get(name) or ABSENT, now.get(name) or ABSENT)
    if not then.made_with:
        yield Change("version", "code and packages", NOT_KEPT, f"Stillair {now['Stillair']}")
