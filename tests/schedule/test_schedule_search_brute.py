"""The search against enumeration, and its engines against each other, on small random problems."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from helpers.instances import COMPILED, brute_force, random_problem

from tripplan.schedule.problem import Problem
from tripplan.schedule.solve import COMPILING, STAGES, solve
from tripplan.schedule.walk import walk

ENGINES = ("numpy", COMPILED)


def drawn(seed: int) -> Problem:
    """Every third one elastic, every second with a couple row."""
    return random_problem(seed, places=4 + seed % 3, days=3 + seed % 3, elastic=seed % 3 == 0, couple=seed % 2 == 0)


def check(seed: int) -> bool:
    """Compare both engines with brute force; say whether there was a plan."""
    problem = drawn(seed)
    least = brute_force(problem)
    found = [solve(problem, engine=engine) for engine in ENGINES]
    assert found[0].arcs == found[1].arcs, seed
    for solution in found:
        assert solution.status == "proven", seed
        assert bool(solution.arcs) == (least is not None), seed
        if least is not None:
            assert solution.cost == solution.bound == least, seed
            states = walk(problem, solution.arcs)
            assert states is not None, seed
            assert states[-1].cost == least, seed
    if least is not None:
        used = frozenset(enumerate(found[0].arcs[:2]))
        again = solve(problem, forbidden=used, engine="numpy")
        rest = brute_force(problem, used)
        assert (again.cost if again.arcs else None) == rest, seed
        assert rest is None or rest >= least, seed
    return least is not None


def test_search_equals_brute_force() -> None:
    """Cost, feasibility, a walk over the arcs and a second search without the best arcs agree with enumeration."""
    plans = sum(check(seed) for seed in range(150))
    assert 20 <= plans <= 130  # both answers are met often enough to prove something


@pytest.mark.long
def test_search_equals_brute_force_on_a_thousand() -> None:
    """The same on 1,000 problems."""
    assert sum(check(seed) for seed in range(1000, 2000)) > 150


def test_narrow_passes_finer_bounds_and_packed_values(monkeypatch: pytest.MonkeyPatch) -> None:
    """What only large trips set off (widening, refining, counters' bounds, 16-bit values) is as exact, in both engines."""
    from tripplan.schedule import bounds, sharper
    from tripplan.schedule import solve as module

    for name, value in (("FIRST_WIDTH", 1), ("WIDTHS", (2, 3))):
        monkeypatch.setattr(module, name, value)
    for name, value in (
        ("FEW_BUCKETS", 1), ("FINER_BUCKETS", (2, 8)), ("WIDE_GAP", 0.0), ("WORK_A_LABEL", 1e12), ("LEAST_CROWD", 4)
    ):  # fmt: skip
        monkeypatch.setattr(sharper, name, value)
    monkeypatch.setattr(bounds, "PACK_CELLS", 0)
    monkeypatch.setattr(bounds, "MOST_AT_ONCE", 40)
    tallied = refined = 0
    for seed in range(200):
        problem = drawn(seed)
        least = brute_force(problem)
        found = [solve(problem, engine=engine) for engine in ENGINES]
        assert found[0].arcs == found[1].arcs, seed
        assert found[0].status == "proven", seed
        assert (found[0].cost if found[0].arcs else None) == least, seed
        tallied += "tally_s" in found[0].notes and len(problem.count_cap) > 0
        refined += found[0].notes.get("buckets", 0) > 1
    assert tallied > 10
    assert refined > 10


def test_forbidding_again_and_again() -> None:
    """With ever more days forbidden the search gives what enumeration gives, and never anything cheaper."""
    problem = next(p for p in (drawn(s) for s in range(100)) if len(solve(p, engine="numpy").arcs) and len(p.arc_to) > 25)
    forbidden: frozenset[tuple[int, int]] = frozenset()
    last = -(10**9)
    for _ in range(12):
        solution = solve(problem, forbidden=forbidden, engine="numpy")
        least = brute_force(problem, forbidden)
        assert (solution.cost if solution.arcs else None) == least
        if least is None:
            break
        assert least >= last
        last = least
        forbidden |= {(1, solution.arcs[1])}
    assert len(forbidden) >= 2


def test_bound_never_above_the_best_plan() -> None:
    """However coarse or fine its buckets, the bound at pick-up is no more than the best plan costs, and finer is not lower."""
    from tripplan.schedule.bounds import make_bound
    from tripplan.schedule.buckets import Resting, make_buckets
    from tripplan.schedule.tables import make_tables

    tight = 0
    for seed in range(80):
        problem = drawn(seed)
        least = brute_force(problem)
        tables = make_tables(problem)
        for n in (1, 2, 4):
            sizes = [n] * len(problem.cap)
            root = make_bound(tables, make_buckets(Resting(tables), sizes), sizes).root
            if least is not None:
                assert root <= least, (seed, n)
                tight += n == 4 and root == least
    assert tight > 3  # not below by being nothing


def test_stop_and_limits_leave_an_honest_answer() -> None:
    """Stopped at once: unknown. Stopped by a label limit: a gap whose bound is below the best, or unknown."""
    problem = next(p for p in (drawn(s) for s in range(100)) if solve(p, engine="numpy").arcs)
    least = brute_force(problem)
    assert least is not None
    assert solve(problem, should_stop=lambda: True).status == "unknown"
    assert solve(problem, max_seconds=0.0).status == "unknown"
    for most in range(12):
        short = solve(problem, max_labels=most, engine="numpy")
        assert short.bound <= least
        if short.arcs:
            assert short.cost >= least
        if short.status == "proven":
            assert short.cost == least
    told: list[tuple[str, float]] = []
    solve(problem, progress=lambda stage, share: told.append((stage, share)))
    assert set(STAGES.values()) <= {stage for stage, _ in told} <= {*STAGES.values(), COMPILING}
    assert all(0 <= share <= 1 for _, share in told)


@pytest.mark.skipif(COMPILED != "numba", reason="numba is not there")
def test_first_use_says_so_while_it_compiles(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Compiling is told, and not told over, until a loop is ready or kept from an earlier run."""
    from tripplan.schedule import bound_kernels, label_kernels

    problem = next(p for p in (drawn(s) for s in range(100)) if solve(p, engine="numpy").arcs)
    monkeypatch.setattr(label_kernels, "cache_folder", lambda: str(tmp_path))

    def told() -> set[str]:
        said: set[str] = set()
        solve(problem, engine="numba", progress=lambda what, _: said.add(what))
        return said

    for module in (bound_kernels, label_kernels):
        monkeypatch.setattr(module, "ready", lambda: False)
    assert COMPILING in told()
    assert STAGES["search"] not in told()
    (tmp_path / "label_kernels._expand-1.py311.nbi").touch()
    assert STAGES["search"] in told()
    monkeypatch.setattr(bound_kernels, "ready", lambda: True)
    assert COMPILING not in told()


def test_interrupt_passes_through() -> None:
    """A KeyboardInterrupt in the middle is not swallowed."""
    problem = next(p for p in (drawn(s) for s in range(100)) if solve(p, engine="numpy").arcs)
    calls = 0

    def break_in(stage: str, share: float) -> None:
        nonlocal calls
        calls += 1
        if calls == 3:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        solve(problem, progress=break_in)


def test_a_limit_on_work_stops_at_the_same_place_each_time() -> None:
    """Stopped by work, not by time: the same answer again, an honest bound, and with enough of it the proof."""
    problem = next(p for p in (drawn(s) for s in range(100)) if solve(p, engine="numpy").arcs)
    least = brute_force(problem)
    assert least is not None
    seen = set()
    for work in (0.0, 1e3, 3e6, 1e7, 2e7, 4e7, 1e9):
        found = [solve(problem, engine=engine, max_work=work) for engine in ENGINES]
        assert (found[0].status, found[0].arcs, found[0].bound) == (found[1].status, found[1].arcs, found[1].bound)
        assert found[0].bound <= least
        assert not found[0].arcs or found[0].cost >= least
        seen.add(found[0].status)
    assert found[0].status == "proven"
    assert "unknown" in seen


def test_broken_problems_are_refused() -> None:
    """Arrays that break the contract, and unknown engines, raise ValueError with the reason."""
    problem = drawn(1)
    with pytest.raises(ValueError, match="arc costs"):
        solve(replace(problem, arc_cost=problem.arc_cost - 1000))
    block = problem.day_block.copy()
    block[:, :, 2] = -1
    with pytest.raises(ValueError, match="tail"):
        solve(replace(problem, day_block=block))
    with pytest.raises(ValueError, match="engine"):
        solve(problem, engine="abacus")


def test_same_arcs_from_arrays_in_another_order_of_memory() -> None:
    """Arrays that are read-only, of another integer type or not contiguous give the same plan."""
    import dataclasses

    import numpy as np

    problem = next(p for p in (drawn(s) for s in range(100)) if solve(p, engine="numpy").arcs)
    changed = {}
    for f in dataclasses.fields(problem):
        value = getattr(problem, f.name)
        if isinstance(value, np.ndarray) and value.ndim >= 2:
            value = np.asfortranarray(value)
            value.flags.writeable = False
            changed[f.name] = value
    other = dataclasses.replace(problem, **changed)
    assert solve(other, engine=COMPILED).arcs == solve(problem, engine="numpy").arcs


def short(monkeypatch: pytest.MonkeyPatch, *, to_the_end: bool) -> None:
    """Narrow small problems as only large ones are; ``to_the_end``: without a bound that remembers all sights after it."""
    from tripplan.schedule import memory_bound, narrowing, side_by_side
    from tripplan.schedule import solve as module

    for name, value in (("NARROW_WORK", -1.0), ("FIRST_WIDTH", 1), ("WIDTHS", (2, 3))):
        monkeypatch.setattr(module, name, value)
    for name, value in (
        ("MEMORY_STAGES", ((3, 2, 2), (6, 8, 3))), ("THIN_ROUNDS", 2), ("THIN", 2), ("WIDTHS", (1, 2)), ("LAST_WIDTHS", (3, None)),
        ("AIM", 0.02), ("GOOD", 0.02), ("FEW", 12),
    ):  # fmt: skip
        monkeypatch.setattr(narrowing, name, value)
    monkeypatch.setattr(side_by_side, "WORTH", 0)
    monkeypatch.setattr(side_by_side, "spare", lambda: True)
    if to_the_end:
        monkeypatch.setattr(narrowing, "MOST_BYTES", 0)
        monkeypatch.setattr(memory_bound, "PACK_CELLS", 0)


def check_short(seed: int) -> bool | None:
    """Compare with enumeration; None where there are too few sights, else whether there was a plan."""
    problem = drawn(seed)
    if len(problem.need) < 2:
        return None
    found = [solve(problem, engine=engine) for engine in ENGINES]
    least = brute_force(problem)
    assert found[0].arcs == found[1].arcs, seed
    assert [s.status for s in found] == ["proven", "proven"], seed
    assert (found[0].cost if found[0].arcs else None) == least, seed
    assert "columns" in found[0].notes, seed
    return least is not None


@pytest.mark.parametrize("to_the_end", [False, True])
def test_a_narrowed_problem_is_as_exact(monkeypatch: pytest.MonkeyPatch, to_the_end: bool) -> None:
    """Prices in place of sights, targets, and leaving out what no better plan needs prove what enumeration proves, in both engines."""
    short(monkeypatch, to_the_end=to_the_end)
    answers = [check_short(seed) for seed in range(120)]
    assert answers.count(True) > 10
    assert answers.count(False) > 10


@pytest.mark.long
@pytest.mark.parametrize("to_the_end", [False, True])
def test_a_narrowed_problem_is_as_exact_on_a_thousand(monkeypatch: pytest.MonkeyPatch, to_the_end: bool) -> None:
    """The same on 1,000 drawn problems, of which about every second has sights enough."""
    short(monkeypatch, to_the_end=to_the_end)
    assert [check_short(seed) for seed in range(1000, 2000)].count(True) > 40


def test_narrowing_leaves_every_plan_below_the_limit() -> None:
    """All plans that cost less than the limit are plans of the narrowed problem at the same cost; both engines keep the same days."""
    from itertools import pairwise

    from tripplan.schedule.buckets import Resting, make_buckets
    from tripplan.schedule.memory import make_memory
    from tripplan.schedule.memory_bound import Prices, make_layout, make_memory_bound
    from tripplan.schedule.narrow import kept_days, narrowed, passing, spread
    from tripplan.schedule.tables import make_tables

    kernels = None
    if COMPILED == "numba":
        from tripplan.schedule import narrow_kernels as kernels
    smaller = tried = 0
    for seed in range(150):
        problem = drawn(seed)
        least = brute_force(problem)
        if len(problem.need) < 2 or least is None:
            continue
        tables = make_tables(problem)
        sizes = [2] * len(problem.cap)
        layout = make_layout(tables, make_buckets(Resting(tables), sizes), sizes, make_memory(tables, 3))
        rng = np.random.default_rng(seed)
        prices = Prices.of(tables, layout.memory, rng.integers(0, 20, len(problem.need)))
        bound = make_memory_bound(tables, layout, prices)
        before = spread(problem) + 1
        ways = passing(tables, layout, prices, bound, least + 60)
        for limit in (least + 60, least + 20, least + 1, least):
            kept = kept_days(tables, layout, prices, bound, limit)
            assert (kept == kept_days(tables, layout, prices, bound, limit, kernels=kernels)).all(), seed
            assert not (kept & ~ways.below(limit)).any(), seed  # by steps, at least as much
            less, numbers = narrowed(problem, kept)
            assert spread(less) <= before  # a lower limit never keeps more
            before = spread(less)
            assert all(a < b for a, b in pairwise(numbers.tolist()))
            assert not (kept & ~problem.arc_days).any()
            found = brute_force(less) if len(numbers) else None
            assert found == least if limit > least else found is None or found >= least, seed
            most = int(np.bitwise_count(kept).sum())
            assert int(np.bitwise_count(ways.below(ways.few(most))).sum()) <= most, seed
            smaller += limit > least and spread(less) < spread(problem) // 2
            tried += limit > least
    assert tried > 30
    assert smaller > 10


def test_a_bound_with_a_short_memory_never_passes_the_truth(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whatever the prices, the bound at pick-up is at most the least cost; with all remembered it is the exact bound."""
    from tripplan.schedule.bounds import make_bound
    from tripplan.schedule.buckets import Resting, make_buckets
    from tripplan.schedule.memory import make_memory
    from tripplan.schedule.memory_bound import Prices, make_layout, make_memory_bound
    from tripplan.schedule.tables import make_tables

    tight = 0
    for seed in range(150):
        problem = drawn(seed)
        least = brute_force(problem)
        if len(problem.need) < 2 or least is None:
            continue
        tables = make_tables(problem)
        sizes = [2] * len(problem.cap)
        buckets = make_buckets(Resting(tables), sizes)
        rng = np.random.default_rng(seed)
        for most in (1, 3, 1000):
            layout = make_layout(tables, buckets, sizes, make_memory(tables, most))
            each = rng.integers(0, 60, len(problem.need))
            assert make_memory_bound(tables, layout, Prices.of(tables, layout.memory, each)).root <= least, seed
        every = tuple(range(len(problem.need)))
        strict = make_tables(replace(problem, must=np.ones_like(problem.must)))
        layout = make_layout(strict, buckets, sizes, make_memory(strict, 1000, every))
        whole = make_memory_bound(strict, layout, Prices.of(strict, layout.memory, np.zeros(len(every), np.int64)))
        assert whole.root == make_bound(strict, buckets, sizes).root, seed
        tight += whole.root < strict.inf
    assert tight > 3


def test_a_narrowing_search_stopped_anywhere_is_honest(monkeypatch: pytest.MonkeyPatch) -> None:
    """Stopped after any number of looks at the clock, or any work, its bound is no more than the best plan costs."""
    short(monkeypatch, to_the_end=True)
    problem = next(p for p in (drawn(s) for s in range(200)) if len(p.need) > 2 and len(solve(p, engine="numpy").arcs))
    least = brute_force(problem)
    assert least is not None
    found = set()
    for looks in range(1, 1000, 7):
        left = iter(range(looks))
        halted = solve(problem, engine="numpy", should_stop=lambda left=left: next(left, None) is None)
        assert halted.bound <= least
        assert not halted.arcs or halted.cost >= least
        found.add(halted.status)
        if halted.status == "proven":
            break
    assert halted.status == "proven"
    assert halted.cost == least
    assert "unknown" in found
