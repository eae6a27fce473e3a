"""Many bookings planned one by one on this machine, by several processes, or on other machines: the same answers each way.

Nothing that goes wrong with one booking reaches another: it becomes that booking's outcome. Outcomes come as they are ready;
who keeps them can leave out, on the next run, the bookings whose row, map and program are what they were.
"""

from __future__ import annotations

import signal
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import asdict, dataclass, fields
from functools import lru_cache
from pathlib import Path
from typing import Any

from tripplan.model.errors import BadInputError, NoPlanError, TripplanError
from tripplan.region.region import Region
from tripplan.request.bookings import BookingRow, row_origin

__all__ = ["Outcome", "outcome_of", "plan_bookings", "row_key"]

#: Bookings handed out at a time to each process: enough that none waits, few enough that little is lost with one.
_AHEAD = 2
#: How long a scheduler may take to answer [s].
_ANSWER_S = 10
_KEEPING = threading.Lock()


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of one booking.

    Parameters
    ----------
    key
        Digest of all that the outcome follows from. outcome: ``planned``, ``no plan``, ``bad input`` or ``failed``.
    money
        In whole currency units. folder: of the papers, inside the folder of the batch; empty without any.
    words
        Why there is no plan, in one line.
    """

    booking: str
    row: int
    key: str
    outcome: str
    nights: int = 0
    towing_km: float = 0.0
    towing_h: float = 0.0
    money: float = 0.0
    currency: str = ""
    proven: bool = False
    phone_first: int = 0
    folder: str = ""
    words: str = ""
    seconds: float = 0.0

    @classmethod
    def of(cls, values: dict[str, Any]) -> Outcome | None:
        """Return an outcome from the values it was kept as; ``None`` when they are none."""
        names = {field.name for field in fields(cls)}
        if set(values) != names or not all(
            isinstance(values[n], str) for n in ("booking", "key", "outcome", "folder", "words", "currency")
        ):
            return None
        return cls(**values)

    def values(self) -> dict[str, Any]:
        """Return its values by name."""
        return asdict(self)


def row_key(row: BookingRow, region_key: str) -> str:
    """Return a digest of a row's trip, the map and the program: equal keys have equal outcomes."""
    from tripplan.roads.store import code_key, digest

    rooms = ("almanac", "audit", "model", "osm", "region", "report", "request", "roads", "rules", "schedule", "van")
    return digest(row.booking, row.folder, row.raw, row.fault, region_key, code_key(rooms))


def outcome_of(row: BookingRow, region: Region, key: str) -> tuple[Outcome, dict[str, bytes]]:
    """Plan one booking. Whatever goes wrong is told in the outcome.

    Returns
    -------
    outcome, papers
        The papers by file name; empty without a plan.
    """
    from tripplan.pipeline import audited_plan
    from tripplan.report.write import render_papers
    from tripplan.request.trip_file import trip_of

    began = time.perf_counter()

    def ended(outcome: str, words: str = "", **more: Any) -> Outcome:
        line = "".join(c if c.isprintable() else "�" for c in " ".join(words.split()))
        return Outcome(row.booking, row.number, key, outcome, words=line, seconds=round(time.perf_counter() - began, 2), **more)

    if row.fault:
        return ended("bad input", row.fault), {}
    try:
        trip = trip_of(row.raw, row.path, region, row_origin(row))
        plan = audited_plan(trip, region)
        papers = render_papers(plan, region)
    except BadInputError as error:
        return ended("bad input", error.one_line()), {}
    except NoPlanError as error:
        return ended("no plan", str(error)), {}
    except TripplanError as error:
        return ended("failed", str(error)), {}
    except Exception as error:  # noqa: BLE001 - one bad row never stops the rest
        return ended("failed", f"a fault of tripplan's own ({type(error).__name__}: {error})"), {}
    van = [leg for day in plan.days for leg in day.legs if leg.mode == "van"]
    done = ended(
        "planned", nights=trip.nights, towing_km=round(sum(leg.length_m for leg in van) / 1000, 1),
        towing_h=round(sum(leg.drive_s for leg in van) / 3600, 2), money=plan.cost.money_cents / 100, currency=trip.firm.currency,
        proven=plan.proof.proven, phone_first=len(plan.presumed_offers), folder=row.folder,
    )  # fmt: skip
    return done, papers


def plan_bookings(
    rows: Sequence[tuple[BookingRow, str]], region_file: Path, out: Path, *, workers: int = 1, scheduler: str = ""
) -> Iterator[Outcome]:
    """Plan bookings, write the papers of each into a folder of its own in ``out``, and yield outcomes as they are ready.

    Parameters
    ----------
    rows
        Each with its `row_key`.
    workers
        Processes on this machine; 1: this one.
    scheduler
        Address of a Dask scheduler whose machines do it instead; they need the same tripplan, and nothing of this disk.

    Raises
    ------
    BadInputError
        When the scheduler cannot be reached or has another tripplan.
    """
    if scheduler:
        yield from _by_dask(rows, region_file, out, scheduler)
    elif workers == 1:
        for row, key in rows:
            yield _here(row, key, str(region_file), str(out))
    else:
        yield from _by_processes(rows, region_file, out, workers)


@lru_cache(maxsize=2)
def _region_of(path: str) -> Region:
    from tripplan.region.store import load

    return load(Path(path))


def _here(row: BookingRow, key: str, region_file: str, out: str) -> Outcome:
    """Plan one booking in this process and write its papers."""
    return _written(*outcome_of(row, _region_of(region_file), key), Path(out))


def _written(outcome: Outcome, papers: dict[str, bytes], out: Path) -> Outcome:
    from tripplan.report.write import write_rendered

    if papers:
        write_rendered(papers, out / outcome.folder)
    return outcome


def _died(row: BookingRow, key: str) -> Outcome:
    words = "the process that planned it ended suddenly (out of memory, or stopped from outside); run again to try once more"
    return Outcome(row.booking, row.number, key, "failed", words=words)


def _by_processes(rows: Sequence[tuple[BookingRow, str]], region_file: Path, out: Path, workers: int) -> Iterator[Outcome]:
    """Hand out a few bookings at a time; when a process dies, those that were out are tried again one by one."""
    from concurrent.futures.process import BrokenProcessPool

    waiting = list(rows)[::-1]
    while waiting:
        out_now: dict[Any, tuple[BookingRow, str]] = {}
        try:
            yield from _pooled(waiting, out_now, region_file, out, workers)
        except BrokenProcessPool:
            for row, key in out_now.values():
                yield _alone(row, key, region_file, out)


def _pooled(
    waiting: list[tuple[BookingRow, str]], out_now: dict[Any, tuple[BookingRow, str]], region_file: Path, out: Path, workers: int
) -> Iterator[Outcome]:
    """Plan in a pool; what is handed out and not answered stands in ``out_now``, also when the pool breaks."""
    from concurrent.futures import FIRST_COMPLETED, wait

    with _pool(workers) as pool:
        while waiting or out_now:
            while waiting and len(out_now) < _AHEAD * workers:
                with _deaf():
                    future = pool.submit(_here, *waiting[-1], str(region_file), str(out))
                    out_now[future] = waiting.pop()
            for done in wait(out_now, return_when=FIRST_COMPLETED).done:
                outcome: Outcome = done.result()
                del out_now[done]
                yield outcome


@contextmanager
def _pool(workers: int) -> Iterator[Any]:
    """Give processes to plan in. When something stops us they end at once: what they write appears whole or not at all."""
    import multiprocessing
    from concurrent.futures import ProcessPoolExecutor

    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(workers, mp_context=context, initializer=_go_with_parent) as pool:
        try:
            yield pool
        except BaseException:
            pool.shutdown(wait=False, cancel_futures=True)
            for process in multiprocessing.active_children():
                if isinstance(process, context.Process):
                    process.terminate()
            raise


@contextmanager
def _deaf() -> Iterator[None]:
    """Let processes that are started meanwhile not hear Ctrl-C, which goes to all of a terminal: we hear it, afterwards, and see to them."""
    if threading.current_thread() is not threading.main_thread() or not hasattr(signal, "pthread_sigmask"):  # Windows has none
        yield
        return
    heard: list[int] = []
    # Blocked here it stays so in what we start; another thread of ours may hear it all the same, and then it waits for us.
    handler = signal.signal(signal.SIGINT, lambda number, _: heard.append(number))
    mask = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, mask)
        signal.signal(signal.SIGINT, handler)
    if heard:
        raise KeyboardInterrupt


def _go_with_parent() -> None:
    """End a worker when the process that started it has ended, however that came about."""
    import multiprocessing
    import os

    parent = multiprocessing.parent_process()

    def watch() -> None:
        if parent is not None:
            parent.join()
            os._exit(1)

    threading.Thread(target=watch, daemon=True).start()


def _alone(row: BookingRow, key: str, region_file: Path, out: Path) -> Outcome:
    """Plan one booking in a process of its own: if that dies, it was this booking."""
    from concurrent.futures.process import BrokenProcessPool

    with _pool(1) as pool:
        try:
            with _deaf():
                future = pool.submit(_here, row, key, str(region_file), str(out))
            outcome: Outcome = future.result()
        except BrokenProcessPool:
            return _died(row, key)
    return outcome


# ------------------------------------------------------------------------------------------------- other machines


def _remote(row: BookingRow, key: str, region: bytes, digest: str) -> tuple[Outcome, dict[str, bytes]]:
    """Plan one booking on another machine: the map came along, the papers go back."""
    return outcome_of(row, _region_of(_kept(region, digest)), key)


def _kept(region: bytes, digest: str) -> str:
    """Put the map into this machine's cache, once."""
    from tripplan.model.leftovers import write_whole
    from tripplan.roads.cache import cache_folder

    path = cache_folder() / f"sent-{digest[:16]}.region"
    with _KEEPING:  # threads of one worker come at once
        if not path.is_file() or path.stat().st_size != len(region):
            path.parent.mkdir(parents=True, exist_ok=True)
            write_whole(path, region)
    return str(path)


def _version() -> str:
    from tripplan import __version__

    return __version__


def _by_dask(rows: Sequence[tuple[BookingRow, str]], region_file: Path, out: Path, scheduler: str) -> Iterator[Outcome]:
    try:
        import distributed
    except ImportError:
        raise BadInputError(
            "Dask distributed is not installed",
            where="--scheduler",
            next_step="pip install 'tripplan[many]', or leave out --scheduler",
        ) from None
    from hashlib import sha256

    dask: Any = distributed
    try:
        client = dask.Client(scheduler, timeout=_ANSWER_S, set_as_default=False)
    except (OSError, ValueError, TimeoutError) as error:
        raise BadInputError(
            f"{scheduler[:80]!r} cannot be reached ({str(error)[:120]})", where="--scheduler", accepted="an address such as tcp://host:8786",
            next_step="start the scheduler, or leave out --scheduler",
        ) from None  # fmt: skip
    with client:
        versions = client.run(_version)
        if not versions or set(versions.values()) != {_version()}:
            raise BadInputError(
                f"{scheduler} has {len(versions)} workers, with tripplan {', '.join(sorted(set(versions.values()))) or 'none'}",
                where="--scheduler", accepted=f"workers with tripplan {_version()}", next_step="start workers of the same version",
            )  # fmt: skip
        data = region_file.read_bytes()
        digest = sha256(data).hexdigest()
        sent = client.scatter(data, broadcast=True, hash=False)
        waiting = list(rows)[::-1]
        out_now: dict[Any, tuple[BookingRow, str]] = {}
        pending = dask.as_completed(loop=client.loop)
        most = _AHEAD * sum(client.nthreads().values())
        while waiting or out_now:
            while waiting and len(out_now) < most:
                row, key = waiting.pop()
                future = client.submit(_remote, row, key, sent, digest, pure=False)
                out_now[future] = (row, key)
                pending.add(future)
            done = next(pending)
            row, key = out_now.pop(done)
            try:
                outcome, papers = done.result()
                yield _written(outcome, papers, out)
            except dask.KilledWorker:
                yield _died(row, key)
