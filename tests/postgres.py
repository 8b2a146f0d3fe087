"""A PostgreSQL server of the tests' own: started when the first test asks for it, in a temporary folder, then gone.

It speaks through a socket in that folder alone, sorts as people do (ICU) rather than by bytes, so that a query that
leaves the order to the server is found out, and never waits for the disk.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import tempfile
import time
from itertools import count
from pathlib import Path
from typing import Any

import psycopg

from server.archive.address import Address
from server.archive.database import Database

POSTGRES_REQUIRED = "STILLAIR_TESTS_REQUIRE_POSTGRES"
PLACES = "/usr/lib/postgresql"  # Debian's, one folder a version
OPTIONS = ("fsync=off", "synchronous_commit=on", "listen_addresses=", "max_connections=200", "shared_buffers=32MB")
START_S = 30.0


def programs() -> Path | None:
    """The folder with initdb and postgres, of the newest version that is here."""
    versions = sorted(Path(PLACES).glob("*/bin/initdb"), key=lambda one: int(re.sub(r"\D", "", str(one)) or 0))
    found = str(versions[-1]) if versions else shutil.which("initdb")
    return Path(found).resolve().parent if found else None


def missing_postgres() -> str:
    """Why tests on PostgreSQL cannot run here, '' when they can."""
    if os.name != "posix" or programs() is None:
        return "PostgreSQL is not installed (Debian: postgresql)"
    if os.geteuid() == 0 and _other_user() is None:
        return "PostgreSQL refuses to be run by root, and there is no user postgres or nobody"
    return ""


class Cluster:
    """The running server; each database that is asked for is new."""

    def __init__(self) -> None:
        self._folder = Path(tempfile.mkdtemp(prefix="stillair-pg-", dir="/tmp"))
        self._user = _other_user() if os.geteuid() == 0 else None
        if self._user is not None:
            os.chown(self._folder, self._user.pw_uid, self._user.pw_gid)
        self._numbers = count(1)
        self._initialise()
        command = [str(self._program("postgres")), "-D", str(self._data), "-k", str(self._folder)]
        for option in OPTIONS:
            command += ["-c", option]
        self._server = subprocess.Popen(command, stderr=subprocess.DEVNULL, **self._as_user())
        self._admin = self._connected()
        self._make_template()

    def new_database(self, *, empty: bool = False) -> str:
        """The address of a new database: with an archive's empty tables in it, or with nothing at all."""
        name = f"archive_{next(self._numbers)}"
        self._admin.execute(f"CREATE DATABASE {name} TEMPLATE {'template0' if empty else 'migrated'}")
        return self.address(name)

    def copy(self, address: str) -> str:
        """Another database with the same in it; nobody may be connected to the first."""
        name = f"archive_{next(self._numbers)}"
        self._admin.execute(f"CREATE DATABASE {name} TEMPLATE {address.partition('@/')[2].partition('?')[0]}")
        return self.address(name)

    def address(self, name: str) -> str:
        """The address of a database. The password is asked for by nobody here, and must not be seen anywhere."""
        return f"postgresql+psycopg://stillair:not-to-be-seen@/{name}?host={self._folder}"

    def connected(self, address: str) -> psycopg.Connection:
        """The driver's own connection, past the program."""
        return psycopg.connect(address.replace("+psycopg", ""), autocommit=True)

    def restart(self) -> None:
        """End every connection, as a server does that is started anew."""
        others = "pid <> pg_backend_pid() AND datname IS NOT NULL"
        self._admin.execute(f"SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE {others}")

    def stop(self) -> None:
        """End it and take its folder away."""
        self._admin.close()
        self._server.send_signal(3)  # SIGQUIT: at once
        self._server.wait(20)
        shutil.rmtree(self._folder, ignore_errors=True)

    @property
    def _data(self) -> Path:
        return self._folder / "data"

    def _program(self, name: str) -> Path:
        folder = programs()
        assert folder is not None
        return folder / name

    def _as_user(self) -> dict[str, Any]:
        if self._user is None:
            return {"cwd": self._folder}
        return {"user": self._user.pw_uid, "group": self._user.pw_gid, "extra_groups": [], "cwd": self._folder}

    def _initialise(self) -> None:
        command = [str(self._program("initdb")), "-D", str(self._data), "-U", "stillair", "-A", "trust", "-N"]
        sorting = ["-E", "UTF8", "--locale=C", "--locale-provider=icu", "--icu-locale=en"]
        made = subprocess.run([*command, *sorting], capture_output=True, text=True, check=False, **self._as_user())
        assert made.returncode == 0, made.stderr

    def _connected(self) -> psycopg.Connection:
        deadline = time.monotonic() + START_S
        while True:
            try:
                return self.connected(self.address("postgres"))
            except psycopg.OperationalError:
                assert self._server.poll() is None, "the server did not start"
                assert time.monotonic() < deadline, "the server did not start in time"
                time.sleep(0.05)

    def _make_template(self) -> None:
        import server.app

        assert server.app
        self._admin.execute("CREATE DATABASE migrated")
        database = Database(Address(self.address("migrated"), self._folder))
        database.migrate()
        database.close()


def _other_user() -> Any:
    """Somebody who may run a server, where root must not."""
    import pwd

    for name in ("postgres", "nobody"):
        try:
            return pwd.getpwnam(name)
        except KeyError:
            continue
    return None
