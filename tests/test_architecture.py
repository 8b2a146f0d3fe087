"""The house: who may import whom, what stands at the top, what no file may say."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from pathlib import Path

import pytest

from server.testday.findings import CODES
from tests.imports import ROOT, SERVER, outside, python_files
from tests.tree import tracked

FORMATS = {"asammdf", "pyarrow", "can", "cantools", "zstandard", "openpyxl"}
VALUES = {"server.errors", "server.testday"}
RESULTS = ("result", "compared", "compared_days", "correlated")  # what analysis hands over

STORED_BY = {"sqlalchemy", "alembic", "zstandard", "fsspec"}
POOLS = {"server.heavy.pool", "server.heavy.processes"}

# What each part may import besides the standard library and itself.
MAY_IMPORT: dict[str, set[str]] = {
    "aero": {"numpy", "scipy", "numba"},
    "inference": {"numpy", "scipy", "numba"},
    "testday": {"numpy", "pint", "server.errors"},
    "readers": {"numpy", "pint", "pandas", *FORMATS, *VALUES},
    "analysis": {"numpy", "scipy", "numba", "PIL", "server", "server.aero", "server.inference", *POOLS, *VALUES},
    "heavy": {"distributed", "server.analysis.made_with", "server.errors", "server.settings"},
    "figures": {"numpy", "plotly", "server.testday", *(f"server.analysis.{name}" for name in RESULTS)},
    "archive": {*STORED_BY, "numpy", "server", "server.settings", "server.locations", *VALUES},
    "pins": set(),
    "locations.py": set(),
    "errors.py": set(),
    "installing.py": set(),
    "environment.py": {"server.locations", "server.pins", "server.installing"},
    "bootstrap.py": {"server.locations", "server.pins", "server.environment"},
    "settings.py": {"pydantic", "pydantic_settings", "server.errors", "server.locations"},
}
# Wired together here: these may import everything.
FREE = {
    *("app.py", "commands", "dependencies.py", "templating.py", "appearance.py", "security.py"),
    *("addressed_app.py", "hosts.py", "gate.py", "people.py"),
}
ENTRY = {"__init__.py", "__main__.py"}

DOMAINS = ["cars", "days", "runs", "results", "predictions", "correlation", "tufts", "plans", "reports"]
SIDE_DOMAINS = ["history", "accounts", "help", "uploads", "search", "live", "packing"]
PURE = ["aero", "inference", "testday", "readers", "analysis", "figures"]
WEB_FILES = ("api.py", "pages.py", "schemas.py")  # the ends of their names: season_pages.py is one, too

TOP_LEVEL = {
    *("README.md", "DEVELOPERS.md", "LICENSE", "pyproject.toml", ".gitignore", ".ci"),
    *("server", "migrations", "web", "tests", "sample_data"),
}


def parts() -> list[str]:
    """The entries of server/ that hold code."""
    entries = (entry for entry in SERVER.iterdir() if entry.name != "__pycache__")
    return sorted(e.name for e in entries if e.suffix == ".py" or (e.is_dir() and python_files(e)))


def may_import(name: str, module: str, allowed: set[str]) -> bool:
    """Whether an import stays inside the part `name` or goes to an allowed module or below it."""
    own = f"server.{name.removesuffix('.py')}"
    return any(module == each or module.startswith(f"{each}.") for each in {own, *allowed} - {"server"}) or (
        module == "server" and "server" in allowed
    )


def test_every_part_of_the_server_has_a_rule() -> None:
    known = {*MAY_IMPORT, *FREE, *ENTRY, *DOMAINS, *SIDE_DOMAINS}
    assert set(parts()) <= known, "say in this table what the new part may import"


@pytest.mark.parametrize("name", [name for name in MAY_IMPORT if (SERVER / name).exists()])
def test_imports_follow_the_table(name: str) -> None:
    wrong = [
        f"{file.relative_to(ROOT)}:{line} imports {module}"
        for file in python_files(SERVER / name)
        for module, line in outside(file)
        if not may_import(name, module, MAY_IMPORT[name])
    ]
    assert not wrong, "\n".join(wrong)


@pytest.mark.parametrize("domain", [*DOMAINS, *SIDE_DOMAINS])
def test_domains_know_only_those_before_them(domain: str) -> None:
    """cars → days → … → reports: a service may use another domain's only downwards in that order.

    Below the pages nothing knows the web: requests, routes and templates stay in api.py and pages.py.
    """
    after = set(DOMAINS[DOMAINS.index(domain) + 1 :]) if domain in DOMAINS else set()
    web = {"fastapi", "starlette", "jinja2", "server.app", "server.templating", "server.dependencies"}
    wrong = []
    for file in python_files(SERVER / domain):
        for module, line in outside(file):
            later = module.startswith("server.") and module.split(".")[1] in after
            request_in_service = not file.name.endswith(WEB_FILES) and any(
                module == each or module.startswith(f"{each}.") for each in web
            )
            tables_too_far = file.name == "tables.py" and not may_import(
                domain, module, {"sqlalchemy", "server.archive"}
            )
            if (later and not file.name.endswith(WEB_FILES)) or request_in_service or tables_too_far:
                wrong.append(f"{file.relative_to(ROOT)}:{line} imports {module}")
    assert not wrong, "\n".join(wrong)


def test_the_rule_catches_what_it_forbids(tmp_path: Path) -> None:
    """The checks above can fail: an aero file with pandas, and a relative of an allowed name."""
    file = tmp_path / "drag.py"
    file.write_text(
        "import pandas\nfrom server.testday.values import Day\nimport numpy.linalg\nimport json\n"
    )
    modules = [module for module, _ in outside(file)]
    assert modules == ["pandas", "server.testday.values", "numpy.linalg"]
    assert [may_import("aero", module, MAY_IMPORT["aero"]) for module in modules] == [False, False, True]
    assert not may_import("figures", "server.analysis.day_fit", MAY_IMPORT["figures"])


def test_nothing_heavy_is_imported_to_answer_a_question() -> None:
    """`--help` and `--version` load neither numpy nor the web: imports stand where they are used."""
    heavy = ("numpy", "pandas", "fastapi", "plotly", "numba")
    code = f"import sys, server.commands.main; print([m for m in {heavy} if m in sys.modules])"
    command = [sys.executable, "-c", code]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


@pytest.mark.parametrize("folder", PURE)
def test_public_functions_are_explained(folder: str) -> None:
    bare = []
    for file in python_files(SERVER / folder):
        tree = ast.parse(file.read_text("utf-8"))
        for node in [tree, *_public(tree.body)]:
            if not ast.get_docstring(node):
                bare.append(f"{file.relative_to(ROOT)}: {getattr(node, 'name', 'the file')}")
    assert not bare, "\n".join(bare)


def _public(body: list[ast.stmt]) -> list[ast.FunctionDef | ast.ClassDef]:
    found: list[ast.FunctionDef | ast.ClassDef] = []
    for node in body:
        if isinstance(node, ast.FunctionDef | ast.ClassDef) and not node.name.startswith("_"):
            found.append(node)
            if isinstance(node, ast.ClassDef):
                found += _public(node.body)
    return found


def finding_codes_in(file: Path) -> list[tuple[str, int]]:
    """Codes that a file gives to Finding(…), as the first argument or as code=…."""
    codes = []
    for node in ast.walk(ast.parse(file.read_text("utf-8"))):
        if isinstance(node, ast.Call) and _called(node) == "Finding":
            given = [*node.args[:1], *(word.value for word in node.keywords if word.arg == "code")]
            codes += [(arg.value, node.lineno) for arg in given if isinstance(arg, ast.Constant)]
    return [(code, line) for code, line in codes if isinstance(code, str)]


def _called(node: ast.Call) -> str:
    return node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")


def test_every_finding_code_is_listed() -> None:
    unlisted = [
        f"{file.relative_to(ROOT)}:{line} {code}"
        for file in python_files(SERVER)
        for code, line in finding_codes_in(file)
        if code not in CODES
    ]
    assert not unlisted, "\n".join(unlisted)


def test_every_listed_code_is_used() -> None:
    """A code that nothing can raise would be a promise in the help that is not kept."""
    text = "\n".join(file.read_text("utf-8") for file in python_files(SERVER) if file.name != "findings.py")
    unused = [code for code in CODES if f'"{code}"' not in text]
    assert not unused, unused


@pytest.mark.parametrize("code", CODES)
def test_codes_are_slugs_with_a_sentence(code: str) -> None:
    assert re.fullmatch(r"[a-z][a-z0-9]*(-[a-z0-9]+)*", code)
    assert CODES[code].endswith((".", "?"))


def test_the_top_level_is_exactly_what_it_should_be() -> None:
    assert {path.partition("/")[0] for path in tracked()} == TOP_LEVEL


# Pieced together so that this file does not hold what it looks for.
MACHINE_PATHS = [
    r"/wor" + r"k/(main|shared|notes)",
    "/roo" + r"t/\.",
    r"/home/" + r"(?!<)\w+/",
    r"[A-Z]:\\Use" + "rs",
]
REGISTRY_HOSTS = [
    *(
        "pypi" + r"\.org",
        "files.python" + "hosted",
        "registry.npm" + "js",
        "deb.deb" + "ian",
        "proxy.go" + "lang",
    ),
    *("unp" + r"kg\.com", "jsdel" + "ivr", "cdn" + "js"),
]
TALK = [
    *(
        r"\bthis ses" + "sion",
        r"\b(previous|last|next) ses" + r"sion\b",
        r"\biss" + r"ue #?\d",
        r"\bseed docu" + "ment",
    ),
    *(
        r"\bthe br" + r"ief\b",
        r"\bsub" + "agent",
        r"\bas an? (A" + "I|assistant)",
        r"\bthe use" + r"r('s)? (asked|rules|said)",
    ),
    *(r"\bconver" + "sation", r"\bwork" + "place"),
]
TEXT = {
    ".py",
    ".md",
    ".toml",
    ".html",
    ".css",
    ".js",
    ".txt",
    ".csv",
    ".json",
    ".ini",
    ".cfg",
    ".svg",
    ".mako",
    "",
}


@pytest.mark.parametrize(
    ("name", "patterns", "vendored_too"),
    [
        ("machine paths", MACHINE_PATHS, True),
        ("registry hosts", REGISTRY_HOSTS, False),
        ("talk", TALK, False),
    ],
)
def test_no_file_tells_where_or_how_it_was_made(name: str, patterns: list[str], vendored_too: bool) -> None:
    pattern = re.compile("|".join(patterns), re.IGNORECASE if name == "talk" else 0)
    found = []
    for path in tracked():
        if Path(path).suffix.lower() not in TEXT or ("vendor" in Path(path).parts and not vendored_too):
            continue
        for number, line in enumerate((ROOT / path).read_text("utf-8", "replace").splitlines(), 1):
            if match := pattern.search(line):
                found.append(f"{path}:{number}: {match.group()}")
    assert not found, "\n".join(found)
