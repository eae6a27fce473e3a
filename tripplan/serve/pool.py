"""Worker processes and who works for whom: bounded in time and memory, stopped when nobody waits, replaced when they die."""

from __future__ import annotations

import multiprocessing
import threading
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from multiprocessing.connection import Connection, wait
from multiprocessing.process import BaseProcess

from tripplan.serve.kept import Job, Kept
from tripplan.serve.line import FairLine
from tripplan.serve.settings import Settings

__all__ = ["FullError", "Pool", "Standing"]

#: A job whose process died so often in the life of one server is at fault itself; until then it is begun again.
_MOST_DEATHS = 3
_TICK_S = 0.5
#: A new process may take so long to get ready [s].
_READY_S = 120.0


class FullError(Exception):
    """Too many jobs wait; the words say whose."""


@dataclass(frozen=True, slots=True)
class Standing:
    """How a job stands: ``ahead`` jobs before it (-1: it runs), what is done now and the share of it (NaN: not told)."""

    ahead: int
    what: str = ""
    share: float = float("nan")


@dataclass
class _Worker:
    process: BaseProcess
    pipe: Connection
    ready: bool = False
    job: str = ""
    session: str = ""
    run: int = 0
    began: float = 0.0
    what: str = ""
    share: float = float("nan")


class Pool:
    """Runs jobs. One thread watches over the processes; every method may be called from any thread."""

    def __init__(self, settings: Settings, kept: Kept, *, log: Callable[..., None], counts: Counter[str]) -> None:
        self._settings = settings
        self._kept = kept
        self._log = log
        self._counts = counts
        self._lock = threading.RLock()
        self._line = FairLine()
        self._seen: dict[str, float] = {}
        self._deaths: Counter[str] = Counter()
        self._asked_by: dict[str, str] = {}
        self._workers: list[_Worker] = []
        self._stop = threading.Event()
        self._context = multiprocessing.get_context("spawn")
        self._bell, self._rope = self._context.Pipe(duplex=False)
        self._thread = threading.Thread(target=self._watch, name="pool", daemon=True)

    # ---------------------------------------------------------------- from outside

    def start(self) -> None:
        """Queue what an earlier server left, and begin."""
        now = time.monotonic()
        with self._lock:
            for job, session in self._kept.recover():
                self._line.add(session, job)
                self._seen[job] = now
        self._thread.start()

    def close(self) -> None:
        """Stop all processes. What they were at is begun again by the next server."""
        self._stop.set()
        self._ring()
        if self._thread.is_alive():
            self._thread.join(10)
        for worker in self._workers:
            worker.process.kill()
            worker.process.join(5)

    def add(self, job: Job, who: str = "") -> None:
        """Keep and queue a job.

        Parameters
        ----------
        who
            The address that asks; known as long as the job is not over, and kept nowhere.

        Raises
        ------
        FullError
            When this session, this address, or all together, have too many.
        """
        with self._lock:
            own = self._line.of(job.session) + sum(w.session == job.session and bool(w.job) for w in self._workers)
            if own >= self._settings.most_jobs:
                raise FullError("You have several jobs waiting already. Wait for them, or stop one.")
            if who and sum(other == who for other in self._asked_by.values()) >= self._settings.most_jobs_address:
                raise FullError("Many plans are asked for from your address already. Try again in a few minutes.")
            handed_in = self._kept.uploads_bytes() + len(job.upload) if job.upload else 0
            if len(self._line) >= self._settings.most_queued or handed_in > self._settings.most_uploads_mb * 1_000_000:
                raise FullError("Too many people are planning at the moment. Try again in a few minutes.")
            self._kept.add_job(job, time.time())
            self._line.add(job.session, job.id)
            self._seen[job.id] = time.monotonic()
            self._asked_by[job.id] = who
            self._counts["jobs_asked"] += 1
        self._ring()

    def again(self, job: Job) -> bool:
        """Queue a job that was stopped, or left, once more."""
        with self._lock:
            if not self._kept.wait_again(job.id, ended=True):
                return False
            self._line.add(job.session, job.id)
            self._seen[job.id] = time.monotonic()
        self._ring()
        return True

    def seen(self, job: str) -> Standing | None:
        """Note that somebody waits for a job, and say how it stands; ``None`` when it neither waits nor runs."""
        with self._lock:
            ahead = self._line.ahead(job)
            if ahead >= 0:
                self._seen[job] = time.monotonic()
                return Standing(ahead)
            for worker in self._workers:
                if worker.job == job:
                    self._seen[job] = time.monotonic()
                    return Standing(-1, worker.what, worker.share)
        return None

    def stop(self, job: str, state: str = "stopped", words: str = "") -> None:
        """Take a job out of the queue, or end the process that runs it."""
        with self._lock:
            self._kept.end(job, state, words)
            self._over(job)
            self._counts[f"jobs_{state}"] += 1
            if self._line.drop(job):
                return
            for worker in self._workers:
                if worker.job == job:
                    worker.job = ""
                    worker.process.kill()

    def sizes(self) -> tuple[int, int]:
        """Return how many jobs wait, and how many run."""
        with self._lock:
            return len(self._line), sum(bool(worker.job) for worker in self._workers)

    def processes(self) -> list[int]:
        """Return the processes' numbers."""
        with self._lock:
            return [worker.process.pid or 0 for worker in self._workers]

    # ---------------------------------------------------------------- the watching thread

    def _ring(self) -> None:
        with self._lock:
            if not self._bell.poll(0):
                self._rope.send(None)

    def _watch(self) -> None:
        while not self._stop.is_set():
            try:
                self._round()
            except Exception as error:  # noqa: BLE001 - a database that is away for a moment must not end all planning
                self._log("pool_fault", kind=type(error).__name__)
                self._stop.wait(1.0)

    def _round(self) -> None:
        with self._lock:
            while len(self._workers) < self._settings.workers:
                self._workers.append(self._hire())
            self._hand_out()
            pipes = [worker.pipe for worker in self._workers]
        for pipe in wait([self._bell, *pipes], _TICK_S):
            if pipe is self._bell:
                with self._lock:
                    if self._bell.poll(0):
                        self._bell.recv()
                continue
            worker = next((w for w in self._workers if w.pipe is pipe), None)
            if worker is not None:
                self._hear(worker)
        self._look_at_clocks()

    def _hire(self) -> _Worker:
        from tripplan.serve.worker import work

        ours, theirs = self._context.Pipe()
        process = self._context.Process(target=work, args=(theirs, self._settings), name="tripplan-worker", daemon=True)
        process.start()
        theirs.close()
        return _Worker(process, ours, began=time.monotonic())

    def _hand_out(self) -> None:
        for worker in self._workers:
            while worker.ready and not worker.job and len(self._line):
                session, job = self._line.take() or ("", "")
                try:
                    run = self._kept.begin(job)
                except Exception:  # the database is away: its turn comes again
                    self._line.add(session, job, first=True)
                    raise
                if run == 0:  # deleted or stopped meanwhile
                    self._over(job)
                    continue
                worker.job, worker.session, worker.run, worker.began = job, session, run, time.monotonic()
                worker.what, worker.share = "", float("nan")
                try:
                    worker.pipe.send((job, run))
                except OSError:  # it died: the next look at its pipe says so
                    break

    def _hear(self, worker: _Worker) -> None:
        try:
            message = worker.pipe.recv()
        except (EOFError, OSError):
            self._bury(worker)
            return
        with self._lock:
            match message:
                case ("ready",):
                    worker.ready = True
                case ("progress", job, what, share) if job == worker.job:
                    worker.what, worker.share = str(what), float(share)
                case ("done", job, outcome, seconds) if job == worker.job:
                    self._counts[f"jobs_{outcome}"] += 1
                    self._counts["job_ms"] += int(seconds * 1000)
                    self._log("job", outcome=outcome, seconds=round(seconds, 2))
                    self._over(job)
                    worker.job = worker.session = ""
                case _:  # of a job that is no longer this worker's
                    pass

    def _bury(self, worker: _Worker) -> None:
        """Let a dead process go; what it was at is begun again, unless it has been often enough.

        It goes last: while the database is away, it stays among the workers and is looked at again.
        """
        worker.process.join(5)
        with self._lock:
            job = worker.job
            if job and self._deaths[job] + 1 >= _MOST_DEATHS:
                self._kept.end(
                    job, "failed", "It ended suddenly each time it was tried: it may need more memory than is allowed."
                )
                self._counts["jobs_failed"] += 1
                self._over(job)
            elif job and self._kept.wait_again(job):  # not, when its result was kept just before it died
                self._deaths[job] += 1
                self._line.add(worker.session, job, first=True)
            elif job:
                self._over(job)
            self._workers.remove(worker)
            worker.pipe.close()
            self._counts["workers_ended"] += 1
        if job:
            self._log("worker_died", code=worker.process.exitcode, run=worker.run)
        elif not worker.ready:
            self._log("worker_never_ready", code=worker.process.exitcode)
            self._stop.wait(1.0)

    def _over(self, job: str) -> None:
        """Know no more of a job."""
        self._seen.pop(job, None)
        self._deaths.pop(job, None)
        self._asked_by.pop(job, None)

    def _look_at_clocks(self) -> None:
        now, settings = time.monotonic(), self._settings
        with self._lock:
            for worker in list(self._workers):
                if worker.job and now - worker.began > settings.job_s:
                    words = f"It was stopped after {settings.job_s / 60:.0f} minutes without an answer. Try fewer nights or fewer sights."
                    self.stop(worker.job, "failed", words)
                elif not worker.ready and now - worker.began > _READY_S:
                    worker.process.kill()
            for job, when in list(self._seen.items()):
                if now - when > settings.idle_s:
                    self.stop(job, "left")
