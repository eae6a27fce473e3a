"""The best trip of a problem, with its proof.

A backward bound on coarse levels, a narrow forward search for a quick good plan, then wider ones, pruned by the best plan
so far, until one has left nothing out: its answer is proven. Where too many labels stand side by side the bound is made
finer first. Where the sights are too many to keep apart in the bound, it remembers only those near each place and puts prices
on the others (see ``memory``); stopped before the proof, the search gives its best plan and what no plan can be below. Equal
costs are settled by the order of labels (see ``labels``), never by time or chance, so the same problem gives the same arcs,
with either engine.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .bounds import Bound, bound_bytes, bound_work, make_bound
from .buckets import Buckets, Resting, make_buckets
from .labels import Labels, expand, finish, first_label, freedom, undominated, usable_arcs
from .memory import make_memory
from .memory_bound import make_layout
from .memory_prices import PriceHunt
from .problem import Problem, Solution
from .tables import make_tables
from .tallies import Tallies
from .watch import choose_sizes, closer

__all__ = ["Search", "solve"]

I64 = NDArray[np.int64]

STAGES = {"bound": "Working out what the rest of the trip costs at least", "search": "Searching for the best plan"}
COMPILING = "Compiling the search once, about 10 s, kept for the next time"
FIRST_WIDTH = 64
WIDTHS = (1024, 16384)
NUMPY_WORK = 2.5e8  # additions up to which numpy alone is quicker than importing the compiled kernels
NUMPY_WORK_A_LABEL = 8e4  # the same of a label, with numpy
WORK_A_LABEL = 2e6  # additions in a bound that take as long as a label, dominance included
FIRST_BUCKETS = 12
FEW_BUCKETS = 6  # where labels cost little beside the bound
FINER_BUCKETS = (12, 24, 48, 192)
PROBE_WORK = 4e9  # additions up to which each store is looked at closely
AFTER_PROBES = 40  # so many more labels must stand side by side to go on from there
TRY_WORK = 4e10  # additions from which buckets are first tried without sights
FINER_AT_ONCE = 0.1  # rise of such a bound that makes finer buckets worth their time
WIDE_GAP = 0.07  # of the best plan, between bound and plan, that makes a finer bound worth its time at once
SHORT_GAPS = (0.02, 0.04)  # the same that makes a longer memory worth its time, the first time and later
MOST_BYTES = 450_000_000
CROWD = 100_000  # labels with a short memory that make a longer one worth its time
SHORT_MEMORY = 1e11  # additions from which sights are remembered in part (see ``memory``)
MEMORY_STAGES = ((24, 48, 14), (96, 48, 6), (192, 64, 4))  # columns, buckets, rounds of prices
CLIMB_SHARES = (0.4, 0.75)  # of the time allowed, after which no more prices are sought, the first time and later
FEWER = 16  # times the width: so many of the labels of a morning are looked at for dominance


class _StopError(Exception):
    """The caller asked to stop, or a limit was met."""


class Search:
    """A problem made ready, to be solved more than once with days forbidden one after another.

    Parameters
    ----------
    problem
        The trip.
    engine
        ``numpy``; ``numba``: compiled kernels; ``auto``: numba where the work pays for loading it and it is there. All
        give the same arcs.

    Raises
    ------
    ValueError
        The arrays break the contract, or the engine's name is not known.
    """

    def __init__(self, problem: Problem, *, engine: str = "auto") -> None:
        if engine not in ("auto", "numba", "numpy"):
            raise ValueError(f"no engine {engine!r}; auto, numba or numpy")
        self.tables = make_tables(problem)
        self._bound: Bound | None = None
        self._tallies: Tallies | None = None
        self._finer = list(FINER_BUCKETS)
        self._probes, self._probed = True, False
        self._resting = Resting(self.tables)
        self._sizes = choose_sizes(self._resting, FIRST_BUCKETS)
        if bound_work(self.tables, make_buckets(self._resting, self._sizes).arrive_sizes) < NUMPY_WORK:
            self._sizes = choose_sizes(self._resting, FEW_BUCKETS)
        self._stages = list(MEMORY_STAGES)
        self._hunt: PriceHunt | None = None
        self._kernels: Any = None
        self._auto = engine == "auto"
        if engine == "numba":
            self._compile()
        work = bound_work(self.tables, make_buckets(self._resting, self._sizes).arrive_sizes)
        self._weigh(work)
        if work > SHORT_MEMORY and len(problem.need) > 2:
            self._hunt = PriceHunt.begin(self.tables)

    def _compile(self) -> None:
        from . import kernels

        self._kernels = kernels

    def _weigh(self, work: float) -> None:
        """Go over to compiled kernels, left to choose, when work of so many additions pays for loading them."""
        if self._auto and self._kernels is None and work > NUMPY_WORK:
            try:
                self._compile()
            except (ImportError, RuntimeError):  # no numba, or nowhere to keep what it compiles
                self._auto = False

    @property
    def engine(self) -> str:
        """Name of the engine in use."""
        return "numpy" if self._kernels is None else "numba"

    def solve(
        self,
        *,
        forbidden: frozenset[tuple[int, int]] = frozenset(),
        max_labels: int = 20_000_000,
        max_seconds: float | None = None,
        progress: Callable[[str, float], None] | None = None,
        should_stop: Callable[[], bool] | None = None,
    ) -> Solution:
        """Return the best plan without the forbidden (day, arc) pairs. Bounds of earlier calls are used again."""
        return _Run(self, forbidden, max_labels, max_seconds, progress, should_stop).solve()


class _Run:
    """One call: its limits, its best plan so far, its counts."""

    def __init__(
        self,
        search: Search,
        forbidden: frozenset[tuple[int, int]],
        max_labels: int,
        max_seconds: float | None,
        progress: Callable[[str, float], None] | None,
        should_stop: Callable[[], bool] | None,
    ) -> None:
        self.search = search
        self.tables = search.tables
        self.begun = time.perf_counter()
        self.until = None if max_seconds is None else self.begun + max_seconds
        self.max_labels = max_labels
        self.progress = progress
        self.should_stop = should_stop
        days = self.tables.problem.days
        by_day: list[list[int]] = [[] for _ in range(days)]
        for day, arc in sorted(forbidden):
            if 0 <= day < days and 0 <= arc < len(self.tables.problem.arc_to):
                by_day[day].append(arc)
        self.forbidden = [np.array(arcs, np.int64) for arcs in by_day]
        self.told = False
        self.labels = self.labels_before = 0
        self.next_crowd: int | None = None
        self.best: int | None = None
        self.arcs: tuple[int, ...] = ()
        self.floor = -int(np.abs(self.tables.problem.value).sum())
        self.notes: dict[str, float] = {}

    def check(self, stage: str, share: float) -> None:
        """Tell the progress; raise when it is time to stop."""
        if self.progress is not None:
            self._tell_compiling()
            self.progress(STAGES[stage], share)
        if self.should_stop is not None and self.should_stop():
            raise _StopError
        if self.until is not None and time.perf_counter() > self.until:
            raise _StopError

    def _tell_compiling(self) -> None:
        kernels = self.search._kernels
        if kernels is not None and not self.told:
            self.told = True
            if not kernels.compiled_before() and self.progress is not None:
                self.progress(COMPILING, math.nan)

    @property
    def limit(self) -> int:
        """Only plans below this are of use [cents]."""
        return self.tables.inf if self.best is None else self.best

    def bound(self) -> Bound:
        """Return the bound, made on first use."""
        s = self.search
        if s._bound is None and s._hunt is not None:
            s._bound = self._hunted()
        elif s._bound is None:
            if not self.labels and bound_work(self.tables, make_buckets(s._resting, s._sizes).arrive_sizes) > TRY_WORK:
                self._try_without_sights()
            s._bound = self._make(make_buckets(s._resting, s._sizes), s._sizes)
        return s._bound

    def _try_without_sights(self) -> None:
        """Begin with finer buckets where bounds without sights, which take a hundredth of the time, are much better so."""
        s, p = self.search, self.tables.problem
        bare = replace(
            p,
            need=p.need[:0],
            must=p.must[:0],
            value=p.value[:0],
            cover=p.cover[:, :0],
            arc_sights=np.zeros_like(p.arc_sights),
        )
        tables = make_tables(bare)
        resting = Resting(tables)
        first = None
        now = int(np.prod(s._sizes))
        for most in (now, *[n for n in s._finer if now < n <= 4 * now]):
            sizes = choose_sizes(resting, most)
            buckets = make_buckets(resting, sizes)
            if bound_bytes(self.tables, buckets) > MOST_BYTES:
                break
            root = make_bound(tables, buckets, sizes, kernels=s._kernels).root
            if first is None:
                first = root
            elif root > first + FINER_AT_ONCE * abs(first):
                s._sizes, first = sizes, root

    def _make(self, buckets: Buckets, sizes: list[int]) -> Bound:
        begun = time.perf_counter()
        made = make_bound(
            self.tables, buckets, sizes, kernels=self.search._kernels, check=lambda share: self.check("bound", share)
        )
        self.notes["bound_s"] = self.notes.get("bound_s", 0.0) + time.perf_counter() - begun
        self.notes["buckets"] = float(np.prod(sizes))
        return made

    def _hunted(self) -> Bound:
        """Return the bound of the next stage of a short memory."""
        s = self.search
        hunt = s._hunt
        assert hunt is not None
        most, buckets, rounds = s._stages[0]
        begun = time.perf_counter()
        kernels: Any = None
        if s._kernels is not None:
            from . import memory_kernels

            kernels = memory_kernels
        s._sizes = choose_sizes(s._resting, buckets)
        always = hunt.always(self.tables, most // 4)
        layout = make_layout(self.tables, make_buckets(s._resting, s._sizes), s._sizes, make_memory(self.tables, most, always))
        # where time is short, some of it is left for finding a plan
        share = CLIMB_SHARES[0 if len(s._stages) == len(MEMORY_STAGES) else 1]

        def enough() -> bool:
            now = time.perf_counter()
            return self.until is not None and now - self.begun > share * (self.until - self.begun)

        made = hunt.climb(
            self.tables,
            layout,
            always,
            rounds,
            self.best,
            kernels=kernels,
            check=lambda done: self.check("bound", done),
            enough=enough,
        )
        self.notes["bound_s"] = self.notes.get("bound_s", 0.0) + time.perf_counter() - begun
        self.notes["buckets"] = float(np.prod(s._sizes))
        self.notes["columns"] = float(layout.memory.columns)
        s._stages.pop(0)
        return made

    def tally(self) -> Tallies:
        """Return the counters' bounds, made on first use."""
        s = self.search
        if s._tallies is None:
            begun = time.perf_counter()
            s._tallies = Tallies(
                self.tables, sights=s._hunt is None, kernels=s._kernels, check=lambda share: self.check("bound", share)
            )
            self.notes["tally_s"] = time.perf_counter() - begun
        return s._tallies

    def finer(self) -> list[tuple[list[int], Buckets]]:
        """Return the next finer choices of buckets to try, none when they are as fine as memory and the stores allow.

        Where that is cheap, each store in turn is looked at closely, as one store told well says more than several told coarsely
        (a cassette on a long stretch without a dump station). After that all stores together become finer.
        """
        s = self.search
        if s._probes:
            choices = [(sizes, make_buckets(s._resting, sizes)) for sizes in closer(s._resting)]
            fits = all(bound_bytes(self.tables, buckets) <= MOST_BYTES for _, buckets in choices)
            if len(choices) > 1 and fits and self._work(choices) <= PROBE_WORK:
                return choices
            s._probes = False
        while s._finer:
            sizes = choose_sizes(s._resting, s._finer[0])
            buckets = make_buckets(s._resting, sizes)
            if np.prod(sizes) <= np.prod(s._sizes) or bound_bytes(self.tables, buckets) > MOST_BYTES:
                s._finer.pop(0)
                continue
            return [(sizes, buckets)]
        return []

    def _work(self, choices: list[tuple[list[int], Buckets]]) -> float:
        return sum(bound_work(self.tables, buckets.arrive_sizes) for _, buckets in choices)

    def crowded(self) -> bool:
        """Tell whether so many labels have been kept with this bound that a finer one is worth its time."""
        if self.search._hunt is not None:
            return bool(self.search._stages) and self.labels - self.labels_before > CROWD
        if self.next_crowd is None:
            finer = self.finer()
            often = AFTER_PROBES if self.search._probed else 1
            self.next_crowd = int(self._work(finer) / WORK_A_LABEL * often) if finer else self.max_labels
        return self.labels - self.labels_before > max(self.next_crowd, 2 * WIDTHS[0])

    def refine(self) -> None:
        """Put the next finer bound in place."""
        if self.search._hunt is not None:
            before, after = self.bound(), self._hunted()
            self.search._bound = after if after.root >= before.root else before
            self.labels_before = self.labels
            return
        s = self.search
        choices = self.finer()
        s._weigh(self._work(choices))
        if len(choices) > 1:
            s._probes, s._probed = False, True
        else:
            s._finer.pop(0)
        if len(choices) == 1 and not s._probed:  # surely better: room for it first
            s._bound = None
            s._sizes = choices[0][0]
        best = self.bound()
        for sizes, buckets in choices:
            if sizes == s._sizes:
                continue
            made = self._make(buckets, sizes)
            if made.root > best.root or (len(choices) == 1 and made.root >= best.root):
                best, s._sizes = made, sizes
        s._bound = best
        self.notes["buckets"] = float(np.prod(s._sizes))
        self.labels_before, self.next_crowd = self.labels, None

    def solve(self) -> Solution:
        try:
            proven = self._search()
        except _StopError:
            proven = False
        spent = time.perf_counter() - self.begun
        self.notes["root"] = float(self.floor)
        if proven:
            cost = self.best if self.best is not None else 0
            return Solution("proven", self.arcs, cost, cost, self.labels, spent, self.notes)
        if self.best is None:
            return Solution("unknown", (), 0, self.floor, self.labels, spent, self.notes)
        return Solution("gap", self.arcs, self.best, min(self.floor, self.best), self.labels, spent, self.notes)

    def _search(self) -> bool:
        self.check("bound", 0.0)
        widths: list[int | None] = [FIRST_WIDTH, *WIDTHS, None]
        while widths:
            self.search._weigh(self.labels * NUMPY_WORK_A_LABEL)
            root = self.bound().root
            if root >= self.limit:
                return True
            self.floor = max(self.floor, root)
            # a second pass is needed, and so are tighter counters
            if self.labels and self.tally().impossible:
                return True
            whole = self._forward(self.bound(), widths[0])
            if whole is None:
                self.refine()
                continue
            if whole:
                return True
            done = widths.pop(0)
            gap = self.limit - self.bound().root
            if done != WIDTHS[0]:
                continue
            if self.search._hunt is not None:
                wide = SHORT_GAPS[0 if len(self.search._stages) == len(MEMORY_STAGES) - 1 else 1]
                if self.search._stages and (self.best is None or gap > wide * abs(self.best)):
                    self.refine()
                    widths.insert(0, WIDTHS[0])
            elif self.best is not None and gap > WIDE_GAP * abs(self.best) and self.finer():
                self.refine()
        return False

    def _mixed(self, found: Labels, order: I64, width: int) -> I64:
        """Return rows, sorted by floor, so that half of the first ``width`` are the best of each number of sights counted.

        With a short memory a label that puts sights off looks better than it is, and a few of each kind find a plan sooner.
        """
        first, rest = order[: width // 2], order[width // 2 :]
        done = self.tables.digits[found.state[rest]].sum(1)
        by = np.argsort(done, kind="stable")
        starts = np.flatnonzero(np.diff(done[by], prepend=-1))
        rank = np.empty(len(rest), np.int64)
        rank[by] = np.arange(len(rest)) - np.repeat(starts, np.diff(np.append(starts, len(rest))))
        return np.concatenate([first, rest[np.argsort(rank, kind="stable")]])

    def _forward(self, bound: Bound, width: int | None) -> bool | None:
        """Search with at most ``width`` labels a morning: True when none was left out, None to begin again, finer."""
        days = self.tables.problem.days
        kernels = self.search._kernels
        front = first_label(self.tables, bound.root)
        trail: list[Labels] = []
        whole = True
        left_out = self.tables.inf
        for day in range(days - 1):
            self.check("search", day / days)
            usable = usable_arcs(self.tables, day, self.forbidden[day])
            if kernels is None:
                found = expand(self.tables, day, front, bound, usable, self.limit)
            else:
                found = kernels.expand(self.tables, day, front, bound, usable, self.limit)
            if self.search._tallies is not None:
                found = self.search._tallies.keep(day + 1, found)
            if width is not None and len(found) > FEWER * width:
                order = np.argsort(found.floor, kind="stable")
                if self.search._hunt is not None:
                    order = self._mixed(found, order, FEWER * width)
                left_out = min(left_out, int(found.floor[order[FEWER * width :]].min()))
                found = found.take(np.sort(order[: FEWER * width]))
                whole = False
            kept = undominated(found, freedom(self.tables, day + 1, found), kernels)
            trail.append(front)
            if width is not None and len(kept) > width:
                order = kept[np.argsort(found.floor[kept], kind="stable")]
                if self.search._hunt is not None:
                    order = self._mixed(found, order, width)
                left_out = min(left_out, int(found.floor[order[width:]].min()))
                kept = np.sort(order[:width])
                whole = False
            front = found.take(kept)
            self.labels += len(front)
            if width is None and len(front):
                self.floor = max(self.floor, int(front.floor.min()))
            if self.labels > self.max_labels:
                raise _StopError
            if width != FIRST_WIDTH and self.crowded():
                return None
            if not len(front):
                self.floor = max(self.floor, min(left_out, self.limit))
                return whole
        usable = usable_arcs(self.tables, days - 1, self.forbidden[days - 1])
        end = finish(self.tables, front, usable, self.limit)
        if end is not None:
            cost, row, arc = end
            path = [arc]
            for labels in [front, *trail[:0:-1]]:
                path.append(int(labels.arc[row]))
                row = int(labels.parent[row])
            self.best, self.arcs = cost, tuple(path[::-1])
        self.floor = max(self.floor, min(left_out, self.limit))
        return whole


def solve(
    problem: Problem,
    *,
    forbidden: frozenset[tuple[int, int]] = frozenset(),
    engine: str = "auto",
    max_labels: int = 20_000_000,
    max_seconds: float | None = None,
    progress: Callable[[str, float], None] | None = None,
    should_stop: Callable[[], bool] | None = None,
) -> Solution:
    """Return the plan of least cost, proven, or how far from it the search got.

    Parameters
    ----------
    problem
        The trip.
    forbidden
        (day, arc) pairs that must not be used. To forbid again and again, make one ``Search``.
    engine
        ``auto``, ``numba`` or ``numpy``.
    max_labels, max_seconds
        Where to stop without a proof.
    progress
        Told the stage in words (`STAGES`, and `COMPILING` on first use) and its done share.
    should_stop
        Asked now and then; True stops the search, which then returns what it has.

    Raises
    ------
    ValueError
        The arrays break the contract, or the engine's name is not known.
    """
    return Search(problem, engine=engine).solve(
        forbidden=forbidden, max_labels=max_labels, max_seconds=max_seconds, progress=progress, should_stop=should_stop
    )
