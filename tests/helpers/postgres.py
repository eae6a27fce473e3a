"""A PostgreSQL server of the tests' own: in a folder of its own, reached by a socket in it alone, gone afterwards."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from itertools import count
from pathlib import Path
from typing import Any

#: Who may run it where the tests are run by root, whom PostgreSQL refuses.
_OTHERS = ("postgres", "nobody")
_QUICK = "-c fsync=off -c full_page_writes=off -c listen_addresses= -c max_connections=60"


def program(name: str) -> str:
    """Return the path of one of PostgreSQL's programs; empty where there is none."""
    found = shutil.which(name)
    if found:
        return found
    kept = sorted(Path("/usr/lib/postgresql").glob(f"*/bin/{name}"), key=lambda path: int(path.parts[-3]), reverse=True)
    return str(kept[0]) if kept else ""


def why_not() -> str:
    """Say why no server can be started here; empty when it can."""
    if sys.platform == "win32":
        return "PostgreSQL is tried on Linux and macOS alone"
    try:
        import psycopg  # noqa: F401
    except ImportError:
        return "psycopg is not installed (the extra serve-postgres)"
    if not (program("initdb") and program("pg_ctl")):
        return "no PostgreSQL server is installed (initdb and pg_ctl)"
    if os.getuid() == 0 and _other() is None:
        return "PostgreSQL does not run as root, and neither postgres nor nobody is a user here"
    return ""


def _other() -> Any:
    import pwd

    for name in _OTHERS:
        with suppress(KeyError):
            return pwd.getpwnam(name)
    return None


class Server:
    """A running server. Each database that it gives is a new one."""

    def __init__(self, folder: Path, run_as: dict[str, Any]) -> None:
        self._folder, self._run_as = folder, run_as
        self._numbers = count(1)

    def _control(self, *words: str) -> None:
        command = [program("pg_ctl"), "-D", str(self._folder / "data"), "-w", "-l", str(self._folder / "log"), *words]
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL, timeout=60, **self._run_as)

    def start(self) -> None:
        """Start it and wait until it answers."""
        self._control("-o", f"{_QUICK} -k {self._folder}", "start")

    def stop(self, how: str = "immediate") -> None:
        """Stop it: ``immediate`` as if it was killed, ``fast`` in order."""
        self._control("-m", how, "stop")

    def database(self) -> str:
        """Return the connection string of a new, empty database."""
        import psycopg

        name = f"pages_{next(self._numbers)}"
        with psycopg.connect(self._string("postgres"), autocommit=True) as connection:
            connection.execute(f"CREATE DATABASE {name}")
        return self._string(name)

    def _string(self, name: str) -> str:
        return f"postgresql://tripplan@/{name}?host={self._folder}"


@contextmanager
def server() -> Iterator[Server]:
    """Start a server, and stop it at the end."""
    run_as: dict[str, Any] = {}
    folder = Path(tempfile.mkdtemp(prefix="pg-", dir="/tmp"))  # a socket's path must be short
    try:
        if os.getuid() == 0:
            other = _other()
            os.chown(folder, other.pw_uid, other.pw_gid)
            run_as = {"user": other.pw_uid, "group": other.pw_gid, "extra_groups": []}
        run_as |= {"cwd": folder, "env": {**os.environ, "HOME": str(folder), "LC_ALL": "C"}}
        command = [
            program("initdb"),
            "-D",
            str(folder / "data"),
            "-U",
            "tripplan",
            "-A",
            "trust",
            "-E",
            "UTF8",
            "--locale=C",
            "--no-sync",
        ]
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL, timeout=60, **run_as)
        own = Server(folder, run_as)
        own.start()
        try:
            yield own
        finally:
            with suppress(subprocess.SubprocessError):
                own.stop()
    finally:
        shutil.rmtree(folder, ignore_errors=True)
