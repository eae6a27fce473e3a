"""The search against enumeration, and its engines against each other, on small random problems."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from helpers.instances import COMPILED, brute_force, random_problem

from tripplan.schedule.problem import Problem
from tripplan.schedule.solve import COMPILING, STAGES, Search, solve
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
    from tripplan.schedule import bounds
    from tripplan.schedule import solve as module

    for name, value in (("FIRST_WIDTH", 1), ("WIDTHS", (2, 3)), ("FEW_BUCKETS", 1), ("FINER_BUCKETS", (2, 8)), ("WIDE_GAP", 0.0)):
        monkeypatch.setattr(module, name, value)
    monkeypatch.setattr(module, "WORK_A_LABEL", 1e12)
    monkeypatch.setattr(bounds, "PACK_CELLS", 0)
    monkeypatch.setattr(bounds, "MOST_AT_ONCE", 40)
    tallied = refined = 0
    for seed in range(200):
        problem = drawn(seed)
        least = brute_force(problem)
        searches = [Search(problem, engine=engine) for engine in ENGINES]
        found = [search.solve() for search in searches]
        assert found[0].arcs == found[1].arcs, seed
        assert found[0].status == "proven", seed
        assert (found[0].cost if found[0].arcs else None) == least, seed
        tallied += "tally_s" in found[0].notes and len(problem.count_cap) > 0
        refined += searches[0]._bound is not None and max(searches[0]._bound.sizes) > 1
    assert tallied > 10
    assert refined > 10


def test_forbidding_again_and_again_reuses_one_search() -> None:
    """One Search gives, with ever more days forbidden, what enumeration gives, and never anything cheaper."""
    problem = next(p for p in (drawn(s) for s in range(100)) if len(solve(p, engine="numpy").arcs) and len(p.arc_to) > 25)
    search = Search(problem, engine="numpy")
    forbidden: frozenset[tuple[int, int]] = frozenset()
    last = -(10**9)
    for _ in range(12):
        solution = search.solve(forbidden=forbidden)
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


def test_interrupt_leaves_the_search_usable() -> None:
    """A KeyboardInterrupt in the middle passes through, and the same Search then solves as if nothing had been."""
    problem = next(p for p in (drawn(s) for s in range(100)) if solve(p, engine="numpy").arcs)
    search = Search(problem, engine="numpy")
    calls = 0

    def break_in(stage: str, share: float) -> None:
        nonlocal calls
        calls += 1
        if calls == 3:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        search.solve(progress=break_in)
    assert search.solve().cost == brute_force(problem)


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


def short(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let small problems remember their sights in part, as only large ones do."""
    from tripplan.schedule import solve as module

    for name, value in (
        ("SHORT_MEMORY", -1.0),
        ("FIRST_WIDTH", 1),
        ("WIDTHS", (2, 3)),
        ("MEMORY_STAGES", ((3, 2, 4), (6, 8, 3))),
        ("CROWD", 3),
        ("SHORT_GAPS", (0.0, 0.0)),
    ):
        monkeypatch.setattr(module, name, value)


def check_short(seed: int) -> bool | None:
    """Compare with enumeration; None where there are too few sights, else whether there was a plan."""
    problem = drawn(seed)
    if len(problem.need) < 3:
        return None
    searches = [Search(problem, engine=engine) for engine in ENGINES]
    assert all(search._hunt is not None for search in searches)
    found = [search.solve() for search in searches]
    least = brute_force(problem)
    assert found[0].arcs == found[1].arcs, seed
    assert [s.status for s in found] == ["proven", "proven"], seed
    assert (found[0].cost if found[0].arcs else None) == least, seed
    return least is not None


def test_a_short_memory_of_the_sights_is_as_exact(monkeypatch: pytest.MonkeyPatch) -> None:
    """Prices in place of sights, and longer memories after them, prove what enumeration proves, in both engines."""
    short(monkeypatch)
    answers = [check_short(seed) for seed in range(240)]
    assert answers.count(True) > 10
    assert answers.count(False) > 10


@pytest.mark.long
def test_a_short_memory_is_as_exact_on_a_thousand(monkeypatch: pytest.MonkeyPatch) -> None:
    """The same on 1,000 drawn problems, of which about every fourth has sights enough."""
    short(monkeypatch)
    assert [check_short(seed) for seed in range(1000, 2000)].count(True) > 40


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


def test_a_search_of_short_memory_stopped_anywhere_goes_on(monkeypatch: pytest.MonkeyPatch) -> None:
    """Stopped after any number of looks at the clock it leaves an honest bound, and asked again it proves the best plan."""
    short(monkeypatch)
    problem = next(p for p in (drawn(s) for s in range(200)) if len(p.need) > 2 and len(solve(p, engine="numpy").arcs))
    least = brute_force(problem)
    assert least is not None
    for looks in range(1, 60, 3):
        search = Search(problem, engine="numpy")
        left = iter(range(looks))
        halted = search.solve(should_stop=lambda left=left: next(left, None) is None)
        assert halted.bound <= least
        assert not halted.arcs or halted.cost >= least
        again = search.solve()
        assert (again.status, again.cost) == ("proven", least)
