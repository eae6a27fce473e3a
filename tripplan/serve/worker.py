"""A process that works jobs out, one after another: nice to others, bounded in memory, gone when its server is."""

from __future__ import annotations

import os
import queue
import sys
import threading
import time
from multiprocessing.connection import Connection
from typing import TYPE_CHECKING, Any

from tripplan.serve.settings import Settings

if TYPE_CHECKING:
    from tripplan.model.progress import Progress
    from tripplan.region.region import Region
    from tripplan.serve.kept import Kept

__all__ = ["work"]

_EVERY_S = 0.2
_NICE = 10
_AUDIT = "The plan found did not pass its independent re-check, a fault of tripplan's own, so it is not shown. Please tell who runs this page."


def work(pipe: Connection, settings: Settings) -> None:
    """Do jobs as they come through the pipe, until it closes."""
    _bound(settings.memory_mb)
    from tripplan.region.store import load
    from tripplan.serve.database import open_database
    from tripplan.serve.kept import Kept

    jobs: queue.SimpleQueue[tuple[str, int]] = queue.SimpleQueue()
    threading.Thread(target=_listen, args=(pipe, jobs), daemon=True).start()
    kept = Kept(open_database(settings.database), settings.keep_days)
    region = load(settings.region_file)
    _tell(pipe, ("ready",))
    while True:
        job_id, run = jobs.get()
        began = time.perf_counter()
        try:
            outcome = _one(job_id, run, kept, region, settings, _teller(pipe, job_id))
        except Exception:  # noqa: BLE001 - it cannot be kept, since the database is away: the server has it begun again
            os._exit(1)
        _tell(pipe, ("done", job_id, outcome, time.perf_counter() - began))


def _one(job_id: str, run: int, kept: Kept, region: Region, settings: Settings, progress: Progress) -> str:
    """Work one job out and keep what comes of it; return how it ended."""
    from tripplan.model.errors import BadInputError
    from tripplan.pipeline import FailedAuditError
    from tripplan.serve.forms import words_of
    from tripplan.serve.tasks import results_of

    job = kept.job(job_id, time.time())
    if job is None or job.run != run:
        return "unwanted"
    upload = kept.upload(job_id)
    try:
        made = results_of(job, upload, region, settings, progress)
    except BadInputError as error:
        words = words_of(error)
    except FailedAuditError:
        words = _AUDIT
    except MemoryError:
        words = "It needs more memory than is allowed. Try fewer nights or fewer sights."
    except Exception as error:  # noqa: BLE001 - one bad job never stops the rest
        words = f"A fault of tripplan's own ({type(error).__name__}). Please tell who runs this page."
    else:
        return "done" if kept.deliver(job, run, made, time.time()) else "unwanted"
    kept.end(job_id, "failed", words, run=run)
    return "failed"


def _bound(memory_mb: int) -> None:
    if sys.platform == "win32":
        return
    import resource

    most = memory_mb * 2**20
    _, hard = resource.getrlimit(resource.RLIMIT_AS)
    resource.setrlimit(resource.RLIMIT_AS, (most if hard == resource.RLIM_INFINITY else min(most, hard), hard))
    os.nice(_NICE)


def _listen(pipe: Connection, jobs: queue.SimpleQueue[tuple[str, int]]) -> None:
    """Take jobs in; when the server is gone, so is this process."""
    while True:
        try:
            jobs.put(pipe.recv())
        except (EOFError, OSError):
            os._exit(1)


def _tell(pipe: Connection, message: tuple[Any, ...]) -> None:
    try:
        pipe.send(message)
    except OSError:
        os._exit(1)


def _teller(pipe: Connection, job_id: str) -> Any:
    last, before = 0.0, ""

    def tell(what: str, share: float) -> None:
        nonlocal last, before
        now = time.monotonic()
        if what != before or now - last > _EVERY_S:
            last, before = now, what
            _tell(pipe, ("progress", job_id, what, share))

    return tell
