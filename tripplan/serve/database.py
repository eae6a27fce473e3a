"""One small door to the database: plain SQL that SQLite and PostgreSQL both take."""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import Any, Protocol

from tripplan.model.errors import BadInputError

__all__ = ["Database", "open_database"]

#: How long a writer waits for another [s].
_WAIT_S = 20.0
#: How long PostgreSQL may take to answer a call, and one statement [s].
_CALL_S, _STATEMENT_S = 10, 60


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

    def clear_traces(self) -> None:
        """Take what was deleted from files beside the tables too, as far as that is ours to do (PostgreSQL: its own log's)."""

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


class _Connections:
    """Connections that are free, lent to one thread at a time: never more are open than were used at once.

    None belongs to a thread, since the threads that answer requests come and go.
    """

    def __init__(self, connect: Callable[[], Any]) -> None:
        self._connect = connect
        self._lock = threading.Lock()
        self._free: list[Any] = []
        self._closed = False

    def take(self) -> Any:
        with self._lock:
            if self._free:
                return self._free.pop()
        return self._connect()

    def give_back(self, connection: Any, *, sound: bool) -> None:
        with self._lock:
            if sound and not self._closed:
                self._free.append(connection)
                return
        connection.close()

    @contextmanager
    def one(self) -> Iterator[Any]:
        connection = self.take()
        sound = False
        try:
            yield connection
            sound = True
        finally:
            self.give_back(connection, sound=sound)

    def drop_free(self) -> None:
        with self._lock:
            free, self._free = self._free, []
        for connection in free:
            connection.close()

    def close(self) -> None:
        with self._lock:
            self._closed = True
        self.drop_free()


class _Sqlite:
    """Readers never wait for the writer (WAL); what is deleted is written over."""

    def __init__(self, path: str) -> None:
        self._path = path
        self._connections = _Connections(self._connect)
        try:
            with self._connections.one():
                pass
        except sqlite3.Error as error:
            raise BadInputError(f"cannot be opened ({error})", where="--database", next_step="name another file") from None

    def _connect(self) -> sqlite3.Connection:
        connection = sqlite3.connect(self._path, timeout=_WAIT_S, isolation_level=None, check_same_thread=False)
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute("PRAGMA synchronous = NORMAL")
        connection.execute("PRAGMA secure_delete = ON")
        return connection

    def one(self, sql: str, values: Sequence[Any] = ()) -> tuple[Any, ...] | None:
        with self._connections.one() as connection:
            row: tuple[Any, ...] | None = connection.execute(sql, values).fetchone()
            return row

    def all(self, sql: str, values: Sequence[Any] = ()) -> list[tuple[Any, ...]]:
        with self._connections.one() as connection:
            rows: list[tuple[Any, ...]] = connection.execute(sql, values).fetchall()
            return rows

    @contextmanager
    def transaction(self) -> Iterator[Any]:
        with self._connections.one() as connection:
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

    def clear_traces(self) -> None:
        self.one("PRAGMA wal_checkpoint(TRUNCATE)")

    def close(self) -> None:
        self._connections.close()


class _Postgres:
    """Asked again once, by a new connection, when the server has let go of an old one since it was last used."""

    def __init__(self, where: str) -> None:
        try:
            import psycopg
        except ImportError:
            raise BadInputError(
                "psycopg is not installed", where="--database", next_step="pip install 'tripplan[serve-postgres]', or name a file"
            ) from None
        self._psycopg: Any = psycopg
        self._where = where
        self._connections = _Connections(self._connect)
        try:
            with self._connections.one():
                pass
        except psycopg.Error:  # its message may hold the password
            raise BadInputError(
                "PostgreSQL cannot be reached", where="--database", next_step="check the connection string"
            ) from None

    def _connect(self) -> Any:
        given = self._psycopg.conninfo.conninfo_to_dict(self._where)
        more = {"connect_timeout": _CALL_S, "application_name": "tripplan"}
        connection = self._psycopg.connect(
            self._where, autocommit=True, prepare_threshold=None, **{k: v for k, v in more.items() if k not in given}
        )
        connection.execute(f"SET statement_timeout = {_STATEMENT_S * 1000}")
        return connection

    @contextmanager
    def _begun(self, begin: Callable[[Any], Any]) -> Iterator[tuple[Any, Any]]:
        """Lend a connection and what ``begin`` made of it; with a new connection where that shows that the old one is dead."""
        for again in (True, False):
            connection = self._connections.take()
            try:
                begun = begin(connection)
                break
            except BaseException as error:
                dead = connection.closed
                self._connections.give_back(connection, sound=not dead)
                if not (again and dead and isinstance(error, self._psycopg.OperationalError)):
                    raise
                self._connections.drop_free()
        try:
            yield connection, begun
        finally:
            self._connections.give_back(connection, sound=not connection.closed)

    def one(self, sql: str, values: Sequence[Any] = ()) -> tuple[Any, ...] | None:
        with self._begun(lambda c: c.execute(_marked(sql), values)) as (_, cursor):
            row: tuple[Any, ...] | None = cursor.fetchone()
            return row

    def all(self, sql: str, values: Sequence[Any] = ()) -> list[tuple[Any, ...]]:
        with self._begun(lambda c: c.execute(_marked(sql), values)) as (_, cursor):
            rows: list[tuple[Any, ...]] = cursor.fetchall()
            return rows

    @contextmanager
    def transaction(self) -> Iterator[Any]:
        with self._begun(lambda c: c.execute("BEGIN")) as (connection, _):
            try:
                yield lambda sql, values=(): connection.execute(_marked(sql), values).rowcount
            except BaseException:
                if not connection.closed:
                    connection.execute("ROLLBACK")
                raise
            connection.execute("COMMIT")

    def script(self, statements: Sequence[str]) -> None:
        with self.transaction() as run:
            for statement in statements:
                run(statement.replace("BLOB", "BYTEA"))

    def clear_traces(self) -> None:
        """Leave it to the server."""

    def close(self) -> None:
        self._connections.close()


def _marked(sql: str) -> str:
    return sql.replace("?", "%s")
