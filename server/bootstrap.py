"""Before anything is imported: make the environment where it is missing, then run inside it.

Standard library only. `ensure` returns when this interpreter can run the program, and otherwise replaces
the process by the environment's Python with the same arguments.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import NoReturn

from server import locations, pins
from server.environment import Environment, SetupError, make

INTERRUPTED_EXIT = 130


def ensure(module: str, level: str = "run") -> None:
    """Return inside an interpreter that has the pins of `level`; set one up and hand over if this has not.

    module: what `python -m` started; level: 'run' or 'tests'. Ends the process with one sentence when
    the set-up cannot be done.
    """
    checkout = locations.checkout_folder()
    if checkout is None:
        return  # installed from a wheel: whoever installed it brought the packages
    environment = choose(checkout, locations.named_data_folder(sys.argv[1:]), level)
    if not environment.is_ready(level):
        if not environment.is_current() and pins.satisfied(level):
            return
        _set_up(environment, checkout, level)
    if not environment.is_current():
        hand_over(environment.python, module)


def choose(checkout: Path, data: Path, level: str) -> Environment:
    """`.venv` of the checkout where it is ready or can be written, else one in the data folder."""
    near = Environment(checkout / ".venv")
    if near.is_ready(level) or near.is_current():
        return near
    writable = os.access(near.folder if near.folder.exists() else checkout, os.W_OK | os.X_OK)
    return near if writable else Environment(data / "environments" / _slug(checkout))


def hand_over(python: Path, module: str, replace: bool = os.name != "nt") -> NoReturn:
    """Go on as `python -m module …` in the environment.

    replace: become that process; Windows cannot, so there a child runs and its exit code is kept.
    """
    command = [str(python), "-m", module, *sys.argv[1:]]
    sys.stdout.flush()
    sys.stderr.flush()
    if replace:
        os.execv(command[0], command)
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the child answers Ctrl-C
    sys.exit(subprocess.run(command, check=False).returncode)


def _set_up(environment: Environment, checkout: Path, level: str) -> None:
    try:
        with _ended_by_signals(), _one_at_a_time(environment.folder.parent):
            if not environment.is_ready(level):
                make(environment, checkout, level, locations.named_data_folder(sys.argv[1:]))
    except SetupError as error:
        sys.exit(f"stillair: {error}")
    except KeyboardInterrupt:
        print("stillair: the set-up was interrupted; start again to do it.", file=sys.stderr)
        sys.exit(INTERRUPTED_EXIT)
    except OSError as error:
        sys.exit(f"stillair: the set-up cannot write {environment.folder}: {error.strerror}.")


@contextlib.contextmanager
def _ended_by_signals() -> Iterator[None]:
    """Being told to stop is an interruption like Ctrl-C, so that the cleaning up is done."""

    def interrupt(_number: int, _frame: object) -> None:
        raise KeyboardInterrupt

    names = [name for name in ("SIGTERM", "SIGHUP") if hasattr(signal, name)]
    before = {name: signal.signal(getattr(signal, name), interrupt) for name in names}
    try:
        yield
    finally:
        for name, handler in before.items():
            signal.signal(getattr(signal, name), handler)


@contextlib.contextmanager
def _one_at_a_time(folder: Path) -> Iterator[None]:
    """Two starts at once: the second waits for the first (where the system can lock a folder).

    Installers inherit the lock, so that one whose parent was killed is waited for as well.
    """
    folder.mkdir(parents=True, exist_ok=True)
    try:
        import fcntl  # absent on Windows
    except ImportError:
        yield
        return
    handle = os.open(folder, os.O_RDONLY)
    os.set_inheritable(handle, True)
    try:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            print("stillair: another start is setting up; waiting for it …", file=sys.stderr)
            fcntl.flock(handle, fcntl.LOCK_EX)
        yield
    finally:
        os.close(handle)


def _slug(checkout: Path) -> str:
    return hashlib.sha256(str(checkout).encode()).hexdigest()[:12]
