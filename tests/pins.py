"""Which packages the project needs, all the way down, and the pins that say so.

`python3 -m tests.pins` writes `server/pins/*.txt` anew from pyproject.toml and what is installed here.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable
from importlib import metadata
from pathlib import Path

from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).resolve().parent.parent
PINS = ROOT / "server" / "pins"
PLATFORMS: dict[str, dict[str, str]] = {
    "linux": {"sys_platform": "linux", "os_name": "posix", "platform_system": "Linux"},
    "darwin": {"sys_platform": "darwin", "os_name": "posix", "platform_system": "Darwin"},
    "win32": {"sys_platform": "win32", "os_name": "nt", "platform_system": "Windows"},
}
PYTHONS = ("3.11", "3.12", "3.13", "3.14")
# What Windows alone needs is not installed on the machine that writes the pins.
WINDOWS_ONLY = {"colorama": ("0.4.6", ())}


def direct_requirements(*extras: str) -> list[Requirement]:
    """What pyproject.toml asks for, with the named extras."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    optional = [line for extra in extras for line in project["optional-dependencies"][extra]]
    return [Requirement(line) for line in [*project["dependencies"], *optional]]


def needed(requirements: Iterable[Requirement], environment: dict[str, str]) -> dict[str, list[Requirement]]:
    """Every package reached from the requirements in an environment, with what is asked of it."""
    found: dict[str, list[Requirement]] = {}
    waiting = [r for r in requirements if _applies(r, environment, "")]
    while waiting:
        requirement = waiting.pop()
        name = canonicalize_name(requirement.name)
        first = name not in found
        found.setdefault(name, []).append(requirement)
        if first or requirement.extras:
            for extra in ("", *requirement.extras):
                waiting += [r for r in requires(name) if _applies(r, environment, extra)]
    return found


def requires(name: str) -> list[Requirement]:
    """What an installed package asks for; known by heart for those that only Windows installs."""
    try:
        return [Requirement(line) for line in metadata.requires(name) or ()]
    except metadata.PackageNotFoundError:
        return [Requirement(line) for line in WINDOWS_ONLY[name][1]]


def environments() -> list[dict[str, str]]:
    """The platforms and Python versions that the pins must serve, as marker environments."""
    common = {"platform_python_implementation": "CPython", "implementation_name": "cpython"}
    return [
        common | platform | {"python_version": version, "python_full_version": f"{version}.0"}
        for platform in PLATFORMS.values()
        for version in PYTHONS
    ]


def pin_lines(*extras: str) -> list[str]:
    """One `name==version` a line, with a marker where only one platform needs it."""
    platforms_of: dict[str, set[str]] = {}
    for environment in environments():
        for name in needed(direct_requirements(*extras), environment):
            platforms_of.setdefault(name, set()).add(environment["sys_platform"])
    return [f"{name}=={_version(name)}{_marker(where)}" for name, where in sorted(platforms_of.items())]


def _version(name: str) -> str:
    return WINDOWS_ONLY[name][0] if name in WINDOWS_ONLY else metadata.version(name)


def _marker(platforms: set[str]) -> str:
    return ' ; sys_platform == "win32"' if platforms == {"win32"} else ""


def _applies(requirement: Requirement, environment: dict[str, str], extra: str) -> bool:
    return requirement.marker is None or requirement.marker.evaluate(environment | {"extra": extra})


def write() -> None:
    """Write run.txt (what the product needs) and tests.txt (what the checks need besides)."""
    run = pin_lines()
    tests = [line for line in pin_lines("tests") if line not in run]
    (PINS / "run.txt").write_text("\n".join(run) + "\n", "utf-8")
    (PINS / "tests.txt").write_text("\n".join(tests) + "\n", "utf-8")


if __name__ == "__main__":
    write()
