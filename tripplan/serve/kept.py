"""What the page keeps, and for how long: drafts, jobs, plans and their papers. All SQL stands here.

A session is known to the database by the digest of its cookie alone. A result is known by its link, which cannot be guessed.
"""

from __future__ import annotations

import hashlib
import json
import re
import secrets
import zlib
from dataclasses import dataclass
from typing import Any

from tripplan.serve.database import Database

__all__ = ["Job", "Kept", "Made", "digest", "new_token"]

DAY_S = 86_400.0
#: Checks of what somebody brought are kept for so long [days].
CHECK_DAYS = 1.0

_TABLES = (
    "CREATE TABLE IF NOT EXISTS draft (session TEXT PRIMARY KEY, body TEXT NOT NULL, until DOUBLE PRECISION NOT NULL)",
    "CREATE TABLE IF NOT EXISTS job (id TEXT PRIMARY KEY, session TEXT NOT NULL, kind TEXT NOT NULL, spec TEXT NOT NULL, upload BLOB, "
    "state TEXT NOT NULL, run INTEGER NOT NULL, words TEXT NOT NULL, made DOUBLE PRECISION NOT NULL, until DOUBLE PRECISION NOT NULL)",
    "CREATE INDEX IF NOT EXISTS job_state ON job (state, made)",
    "CREATE TABLE IF NOT EXISTS made (id TEXT PRIMARY KEY, session TEXT NOT NULL, kind TEXT NOT NULL, title TEXT NOT NULL, "
    "view TEXT NOT NULL, spec TEXT NOT NULL, made DOUBLE PRECISION NOT NULL, until DOUBLE PRECISION NOT NULL)",
    "CREATE INDEX IF NOT EXISTS made_session ON made (session, made)",
    "CREATE TABLE IF NOT EXISTS paper (id TEXT NOT NULL, name TEXT NOT NULL, body BLOB NOT NULL, PRIMARY KEY (id, name))",
)


def new_token() -> str:
    """Return a link that cannot be guessed (192 bits)."""
    return secrets.token_urlsafe(24)


#: What a link is made of: what is not is looked up nowhere (and PostgreSQL refuses some of it).
_LINK = re.compile(r"[A-Za-z0-9_-]{1,64}")


def digest(token: str) -> str:
    """Return what the database knows a session's cookie by."""
    return hashlib.sha256(token.encode("utf-8", "replace")).hexdigest()


@dataclass(frozen=True, slots=True)
class Job:
    """One thing to be worked out.

    Parameters
    ----------
    id
        The job's link. What comes of it is found under the same one.
    kind
        ``plan``, ``choices`` or ``check``.
    run
        How often it was begun: what an earlier run brings is not taken.
    words
        What to say of one that failed.
    """

    id: str
    session: str
    kind: str
    spec: dict[str, Any]
    state: str
    run: int
    words: str
    upload: bytes | None = None


@dataclass(frozen=True, slots=True)
class Made:
    """What came of a job: a plan, reasons why there is none, choices, or a check. ``view`` is what its page shows."""

    id: str
    session: str
    kind: str
    title: str
    view: dict[str, Any]
    spec: dict[str, Any]
    papers: dict[str, bytes]
    made: float = 0.0
    until: float = 0.0


class Kept:
    """Everything kept, behind one interface."""

    def __init__(self, database: Database, keep_days: float) -> None:
        self._db = database
        self._keep_s = keep_days * DAY_S

    def prepare(self) -> None:
        """Make the tables where there are none."""
        self._db.script(_TABLES)

    def alive(self) -> bool:
        """Say whether the database answers."""
        return self._db.one("SELECT 1") is not None

    # ---------------------------------------------------------------- drafts

    def draft(self, session: str, now: float) -> dict[str, Any] | None:
        """Return the trip that a session is putting together."""
        row = self._db.one("SELECT body FROM draft WHERE session = ? AND until > ?", (session, now))
        return json.loads(row[0]) if row else None

    def keep_draft(self, session: str, body: dict[str, Any], now: float) -> None:
        """Keep it."""
        sql = (
            "INSERT INTO draft (session, body, until) VALUES (?, ?, ?) ON CONFLICT (session) "
            "DO UPDATE SET body = excluded.body, until = excluded.until"
        )
        with self._db.transaction() as run:
            run(sql, (session, json.dumps(body), now + min(self._keep_s, 14 * DAY_S)))

    # ---------------------------------------------------------------- jobs

    def add_job(self, job: Job, now: float) -> None:
        """Keep a job that is to be done."""
        keep = min(self._keep_s, CHECK_DAYS * DAY_S)
        with self._db.transaction() as run:
            run(
                "INSERT INTO job (id, session, kind, spec, upload, state, run, words, made, until) VALUES (?, ?, ?, ?, ?, 'waiting', 0, '', ?, ?)",
                (job.id, job.session, job.kind, json.dumps(job.spec), job.upload, now, now + keep),
            )

    def job(self, job_id: str, now: float) -> Job | None:
        """Return a job without its upload."""
        if not _LINK.fullmatch(job_id):
            return None
        row = self._db.one("SELECT session, kind, spec, state, run, words FROM job WHERE id = ? AND until > ?", (job_id, now))
        return Job(job_id, row[0], row[1], json.loads(row[2]), row[3], row[4], row[5]) if row else None

    def upload(self, job_id: str) -> bytes | None:
        """Return what was handed in with a job."""
        row = self._db.one("SELECT upload FROM job WHERE id = ?", (job_id,))
        return bytes(row[0]) if row and row[0] is not None else None

    def uploads_bytes(self) -> int:
        """Return how large all that was handed in and is not done with yet is, together."""
        row = self._db.one("SELECT SUM(LENGTH(upload)) FROM job WHERE upload IS NOT NULL")
        return int(row[0] or 0) if row else 0

    def begin(self, job_id: str) -> int:
        """Mark a waiting job as running; return the number of its run, 0 when it is no longer wanted."""
        with self._db.transaction() as run:
            if not run("UPDATE job SET state = 'running', run = run + 1 WHERE id = ? AND state = 'waiting'", (job_id,)):
                return 0
        row = self._db.one("SELECT run FROM job WHERE id = ?", (job_id,))
        return int(row[0]) if row else 0

    def end(self, job_id: str, state: str, words: str = "", *, run: int = 0) -> None:
        """Mark a job that brought nothing: ``stopped``, ``left`` or ``failed``; what was handed in with it goes.

        Parameters
        ----------
        run
            The run that ended so; 0: whichever it is. An earlier run says nothing about a later one.
        """
        sql = (
            "UPDATE job SET state = ?, words = ?, upload = CASE WHEN ? = 'left' THEN upload ELSE NULL END "
            "WHERE id = ? AND state IN ('waiting', 'running')"
        )
        values = (state, words.replace("\0", ""), state, job_id)  # PostgreSQL keeps no such character
        with self._db.transaction() as change:
            if run:
                change(f"{sql} AND run = ?", (*values, run))
            else:
                change(sql, values)

    def wait_again(self, job_id: str, *, ended: bool = False) -> bool:
        """Put a running job, or one that ended without a result, back into the queue."""
        states = ("stopped", "left", "failed") if ended else ("running",) * 3
        with self._db.transaction() as run:
            changed: int = run(
                "UPDATE job SET state = 'waiting', words = '' WHERE id = ? AND state IN (?, ?, ?)", (job_id, *states)
            )
        return bool(changed)

    def recover(self) -> list[tuple[str, str]]:
        """Put jobs that were running when the server ended back; return all that wait, oldest first, with their sessions."""
        with self._db.transaction() as run:
            run("UPDATE job SET state = 'waiting' WHERE state = 'running'")
        return [(row[0], row[1]) for row in self._db.all("SELECT id, session FROM job WHERE state = 'waiting' ORDER BY made, id")]

    def deliver(self, job: Job, run_number: int, results: list[Made], now: float) -> bool:
        """Keep all that came of a job and mark it done, in one step; False when this run is no longer wanted."""
        keep = min(self._keep_s, CHECK_DAYS * DAY_S) if job.kind == "check" else self._keep_s
        with self._db.transaction() as run:
            wanted = run(
                "UPDATE job SET state = 'done', upload = NULL WHERE id = ? AND state = 'running' AND run = ?",
                (job.id, run_number),
            )
            if not wanted:
                return False
            for made in results:
                run(
                    "INSERT INTO made (id, session, kind, title, view, spec, made, until) VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
                    (made.id, made.session, made.kind, made.title, json.dumps(made.view), json.dumps(made.spec), now, now + keep),
                )
                for name, body in made.papers.items():
                    run("INSERT INTO paper (id, name, body) VALUES (?, ?, ?)", (made.id, name, zlib.compress(body, 4)))
        return True

    # ---------------------------------------------------------------- what was made

    def made(self, made_id: str, now: float) -> Made | None:
        """Return a result without its papers."""
        if not _LINK.fullmatch(made_id):
            return None
        row = self._db.one(
            "SELECT session, kind, title, view, spec, made, until FROM made WHERE id = ? AND until > ?", (made_id, now)
        )
        return Made(made_id, row[0], row[1], row[2], json.loads(row[3]), json.loads(row[4]), {}, row[5], row[6]) if row else None

    def paper(self, made_id: str, name: str, now: float) -> bytes | None:
        """Return one paper by its fixed name."""
        if not _LINK.fullmatch(made_id):
            return None
        row = self._db.one(
            "SELECT paper.body FROM paper JOIN made ON made.id = paper.id WHERE paper.id = ? AND paper.name = ? AND made.until > ?",
            (made_id, name, now),
        )
        return zlib.decompress(bytes(row[0])) if row else None

    def own(self, session: str, now: float) -> list[tuple[str, str, float, float]]:
        """Return link, title, when made and until when of each plan of a session, newest first."""
        rows = self._db.all(
            "SELECT id, title, made, until FROM made WHERE session = ? AND kind = 'plan' AND until > ? ORDER BY made DESC, id LIMIT 50",
            (session, now),
        )
        return [(row[0], row[1], row[2], row[3]) for row in rows]

    def forget(self, made_id: str, session: str) -> bool:
        """Delete a result and its papers, if it is this session's."""
        if not _LINK.fullmatch(made_id):
            return False
        with self._db.transaction() as run:
            if not run("DELETE FROM made WHERE id = ? AND session = ?", (made_id, session)):
                return False
            run("DELETE FROM paper WHERE id = ?", (made_id,))
            run("DELETE FROM job WHERE id = ?", (made_id,))
        return True

    def sweep(self, now: float) -> int:
        """Delete what has been kept long enough; return how many rows."""
        with self._db.transaction() as run:
            gone: int = run("DELETE FROM paper WHERE id IN (SELECT id FROM made WHERE until <= ?)", (now,))
            for table in ("made", "draft", "job"):  # what a run brings for a job that is gone is not taken
                gone += run(f"DELETE FROM {table} WHERE until <= ?", (now,))  # noqa: S608 - fixed names
        self._db.clear_traces()
        return gone
