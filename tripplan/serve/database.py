"""One small door to the database: plain SQL that SQLite and PostgreSQL both take."""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any, Protocol

from tripplan.model.errors import BadInputError

__all__ = ["Database", "open_database"]

#: How long a writer waits for another [s].
_WAIT_S = 20.0


class _Cursor(Protocol):
    rowcount: int

    def fetchone(self) -> Any: ...
    def fetchall(self) -> list[Any]: ...


class Database(Protocol):
    """What the rest needs of a database. Questions stand as ``?``; times are seconds since 1970."""

    def one(self, sql: str, values: Sequence[Any] = ()) -> tuple[Any, ...] | None:
        """Return the first row of an answer."""

    def all(self, sql: str, values: Sequence[Any] = ()) -> list[tuple[Any, ...]]:
        """Return all rows of an answer."""

    def transaction(self) -> Any:
        """Return a context in which everything done by ``run(sql, values) -> rows changed`` holds, or nothing does."""

    def script(self, statements: Sequence[str]) -> None:
        """Run statements that make tables; `BLOB` stands for bytes."""

    def close(self) -> None:
        """Let go of it."""


def open_database(where: str) -> Database:
    """Open an SQLite file, or PostgreSQL by its connection string.

    Raises
    ------
    BadInputError
        When it cannot be opened.
    """
    if where.startswith(("postgresql://", "postgres://")):
        return _Postgres(where)
    if "://" in where:
        raise BadInputError("is no database that is known", where="--database", accepted="a file, or postgresql://...")
    return _Sqlite(where)


class _Sqlite:
    """A connection for each thread; readers never wait for the writer (WAL)."""

    def __init__(self, path: str) -> None:
        self._path = path
        self._local = threading.local()
        self._open: list[sqlite3.Connection] = []
        try:
            self._connection()
        except sqlite3.Error as error:
            raise BadInputError(f"cannot be opened ({error})", where="--database", next_step="name another file") from None

    def _connection(self) -> sqlite3.Connection:
        found: sqlite3.Connection | None = getattr(self._local, "connection", None)
        if found is None:
            found = sqlite3.connect(self._path, timeout=_WAIT_S, isolation_level=None, check_same_thread=False)
            found.execute("PRAGMA journal_mode = WAL")
            found.execute("PRAGMA synchronous = NORMAL")
            found.execute("PRAGMA secure_delete = ON")
            self._local.connection = found
            self._open.append(found)
        return found

    def one(self, sql: str, values: Sequence[Any] = ()) -> tuple[Any, ...] | None:
        row: tuple[Any, ...] | None = self._connection().execute(sql, values).fetchone()
        return row

    def all(self, sql: str, values: Sequence[Any] = ()) -> list[tuple[Any, ...]]:
        return self._connection().execute(sql, values).fetchall()

    @contextmanager
    def transaction(self) -> Iterator[Any]:
        connection = self._connection()
        connection.execute("BEGIN IMMEDIATE")
        try:
            yield lambda sql, values=(): connection.execute(sql, values).rowcount
        except BaseException:
            connection.execute("ROLLBACK")
            raise
        connection.execute("COMMIT")

    def script(self, statements: Sequence[str]) -> None:
        with self.transaction() as run:
            for statement in statements:
                run(statement)

    def close(self) -> None:
        for connection in self._open:
            connection.close()
        self._open.clear()
        self._local = threading.local()


class _Postgres:
    """A connection for each thread, opened again when the server has let go of it."""

    def __init__(self, where: str) -> None:
        try:
            import psycopg
        except ImportError:
            raise BadInputError(
                "psycopg is not installed", where="--database", next_step="pip install 'tripplan[serve-postgres]', or name a file"
            ) from None
        self._psycopg: Any = psycopg
        self._where = where
        self._local = threading.local()
        self._open: list[Any] = []
        try:
            self._connection()
        except psycopg.Error:  # its message may hold the password
            raise BadInputError(
                "PostgreSQL cannot be reached", where="--database", next_step="check the connection string"
            ) from None

    def _connection(self) -> Any:
        found = getattr(self._local, "connection", None)
        if found is None or found.closed:
            found = self._psycopg.connect(self._where, autocommit=True)
            self._local.connection = found
            self._open.append(found)
        return found

    def _ask(self, sql: str, values: Sequence[Any]) -> _Cursor:
        cursor: _Cursor = self._connection().execute(sql.replace("?", "%s"), values)
        return cursor

    def one(self, sql: str, values: Sequence[Any] = ()) -> tuple[Any, ...] | None:
        row: tuple[Any, ...] | None = self._ask(sql, values).fetchone()
        return row

    def all(self, sql: str, values: Sequence[Any] = ()) -> list[tuple[Any, ...]]:
        return self._ask(sql, values).fetchall()

    @contextmanager
    def transaction(self) -> Iterator[Any]:
        with self._connection().transaction():
            yield lambda sql, values=(): self._ask(sql, values).rowcount

    def script(self, statements: Sequence[str]) -> None:
        with self.transaction() as run:
            for statement in statements:
                run(statement.replace("BLOB", "BYTEA"))

    def close(self) -> None:
        for connection in self._open:
            connection.close()
        self._open.clear()
        self._local = threading.local()
