"""One day at a time through a problem: the meaning of its arrays in plain Python, for checks and for words.

The engines of the search do the same on whole arrays. What is fixed here where the contract leaves room:

- a block is allowed when ``max(L + prefix, L + total, tail) <= cap``; over it, an elastic store pays for the difference
  and goes on at the cap;
- an arc's sight counts as done at once, whatever its ``need``;
- on the last day nothing of the night happens: after the arc, its counts and the one-night rule, ``goal_cap`` is tested;
- ``couple`` rows work in their order, after the night's block, and what they add is tested against the cap;
- a must sight earns no reward.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from .problem import Problem

__all__ = ["Excess", "State", "first_state", "step", "walk"]


@dataclass(frozen=True)
class Excess:
    """By how much a store was over its limit.

    Parameters
    ----------
    day, store
        Numbers of the day and the store.
    when
        ``day``, ``night`` or ``goal``.
    units
        Over the limit [units of the store].
    """

    day: int
    store: int
    when: str
    units: int


@dataclass(frozen=True)
class State:
    """Where the trip stands when a day begins, or at the goal.

    Parameters
    ----------
    place, nights
        Place, and nights in a row spent there.
    levels, progress, counts
        Of each store, sight and counter.
    cost
        So far; at the goal with the rewards of nice sights taken off [cents].
    excesses
        Paid for so far.
    """

    place: int
    nights: int
    levels: tuple[int, ...]
    progress: tuple[int, ...]
    counts: tuple[int, ...]
    cost: int
    excesses: tuple[Excess, ...] = ()


def first_state(problem: Problem) -> State:
    """Return the state at pick-up."""
    return State(
        problem.start,
        0,
        tuple(int(v) for v in problem.start_level),
        (0,) * len(problem.need),
        (0,) * len(problem.count_cap),
        0,
    )


def _over(problem: Problem, day: int, when: str, store: int, peak: int, limit: int, out: list[Excess]) -> int | None:
    """Return the price of being at ``peak``, None when that is forbidden."""
    if peak <= limit:
        return 0
    weight = int(problem.excess_weight[store])
    if weight <= 0:
        return None
    out.append(Excess(day, store, when, peak - limit))
    return weight * (peak - limit)


def step(problem: Problem, day: int, arc: int, state: State) -> State | None:
    """Return the state after a day and its night, None when the arc cannot be taken.

    Parameters
    ----------
    problem, day, arc
        The trip, the day's number and the arc's.
    state
        At the start of the day.
    """
    p = problem
    last = day == p.days - 1
    here, to = state.place, int(p.arc_to[arc])
    if not int(p.arc_ptr[here]) <= arc < int(p.arc_ptr[here + 1]) or not (int(p.arc_days[arc]) >> day) & 1:
        return None
    if (to != p.goal) if last else (int(p.night_cost[day, to]) < 0):
        return None
    levels, excesses, cost = list(state.levels), list(state.excesses), state.cost + int(p.arc_cost[arc])
    counts = [a + int(b) for a, b in zip(state.counts, p.arc_count[arc], strict=True)]

    def block(rows: object, when: str) -> bool:
        nonlocal cost
        for r in range(len(levels)):
            total, prefix, tail = (int(rows[i][r]) for i in range(3))  # type: ignore[index]
            end = max(levels[r] + total, tail)
            cap = int(p.cap[r])
            price = _over(p, day, when, r, max(levels[r] + prefix, end), cap, excesses)
            if price is None:
                return False
            cost += price
            levels[r] = min(end, cap)
        return True

    def serve(bits: int) -> None:
        for r in range(len(levels)):
            if bits >> r & 1:
                levels[r] = 0

    if not block(p.day_block[day, int(p.arc_use[arc])], "day"):
        return None
    serve(int(p.arc_reset[arc]))
    sights = int(p.arc_sights[arc])
    progress = [int(p.need[s]) if sights >> s & 1 else n for s, n in enumerate(state.progress)]
    if to != here and state.nights == 1:
        cost += p.one_night_cost
        counts = [a + int(b) for a, b in zip(counts, p.one_night_count, strict=True)]
    nights = state.nights + 1 if to == here else 1
    if last:
        for r, level in enumerate(levels):
            price = _over(p, day, "goal", r, level, int(p.goal_cap[r]), excesses)
            if price is None:
                return None
            cost += price
        for s, n in enumerate(progress):
            done = n >= int(p.need[s])
            if p.must[s] and not done:
                return None
            if done and not p.must[s]:
                cost -= int(p.value[s])
    else:
        if int(p.max_stay[to]) and nights > int(p.max_stay[to]):
            return None
        serve(int(p.arrive_reset[to]))
        if not block(p.night_block[day, int(p.night_class[to])], "night"):
            return None
        cost += int(p.night_cost[day, to])
        counts = [a + int(b) for a, b in zip(counts, p.night_count[day, to], strict=True)]
        progress = [min(int(p.need[s]), n + int(p.cover[to, s])) for s, n in enumerate(progress)]
        leaving = int(p.leave_reset[to])
        for source, target, numerator, denominator in p.couple:
            if leaving >> source & 1:
                grown = levels[target] - (-levels[source] * numerator // denominator)
                price = _over(p, day, "night", target, grown, int(p.cap[target]), excesses)
                if price is None:
                    return None
                cost += price
                levels[target] = min(grown, int(p.cap[target]))
        serve(leaving)
    if any(n > int(c) for n, c in zip(counts, p.count_cap, strict=True)):
        return None
    return State(to, nights, tuple(levels), tuple(progress), tuple(counts), cost, tuple(excesses))


def walk(problem: Problem, arcs: Iterable[int]) -> tuple[State, ...] | None:
    """Return the states at the start, after each night and at the goal; None when a day is not allowed.

    Parameters
    ----------
    problem
        The trip.
    arcs
        One arc a day, in order.
    """
    states = [first_state(problem)]
    for day, arc in enumerate(arcs):
        following = step(problem, day, int(arc), states[-1])
        if following is None:
            return None
        states.append(following)
    return tuple(states) if len(states) == problem.days + 1 else None
