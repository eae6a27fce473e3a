"""What must hold of any problem: laxer limits never cost more, forbidding never pays, engines agree, time changes nothing."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from helpers.instances import COMPILED, random_problem
from hypothesis import given, settings
from hypothesis import strategies as st

from tripplan.schedule.solve import solve

seeds = st.integers(0, 10**6)
some = settings(max_examples=60, deadline=None)


def cost(problem, **how):
    solution = solve(problem, engine="numpy", **how)
    assert solution.status == "proven"
    return solution.cost if solution.arcs else np.inf


@some
@given(seeds, st.integers(0, 6), st.booleans())
def test_larger_caps_never_cost_more(seed: int, more: int, elastic: bool) -> None:
    """Room in every store and counter: the best plan is not dearer."""
    p = random_problem(seed, places=5, days=4, elastic=elastic)
    lax = replace(p, cap=p.cap + more, goal_cap=p.goal_cap + more, count_cap=p.count_cap + more)
    assert cost(lax) <= cost(p)


@some
@given(seeds, st.data())
def test_forbidding_an_arc_of_the_best_plan_never_pays(seed: int, data: st.DataObject) -> None:
    """Without an arc of the best plan nothing cheaper is found."""
    p = random_problem(seed, places=5, days=4)
    best = solve(p, engine="numpy")
    if best.arcs:
        day = data.draw(st.integers(0, p.days - 1))
        assert cost(p, forbidden=frozenset({(day, best.arcs[day])})) >= best.cost


@some
@given(seeds, st.booleans(), st.booleans())
def test_engines_agree_and_repeat(seed: int, elastic: bool, couple: bool) -> None:
    """Both engines, and either run twice, give the same arcs."""
    p = random_problem(seed, places=5, days=5, elastic=elastic, couple=couple)
    first = solve(p, engine="numpy")
    assert first.arcs == solve(p, engine="numpy").arcs == solve(p, engine=COMPILED).arcs


@some
@given(seeds)
def test_elastic_is_never_dearer_than_hard(seed: int) -> None:
    """Being allowed to pay for what is over the cap never costs more than having to stay below."""
    p = random_problem(seed, places=5, days=4)
    soft = replace(p, excess_weight=np.full(len(p.cap), 7, np.int32))
    assert cost(soft) <= cost(p)


@some
@given(seeds, st.integers(1, 50))
def test_cost_scales(seed: int, factor: int) -> None:
    """All costs times a factor: the best cost times the factor, narrow or wide integers alike."""
    p = random_problem(seed, places=5, days=4)
    factor *= 100_000
    big = replace(
        p,
        arc_cost=p.arc_cost * factor,
        night_cost=np.where(p.night_cost < 0, -1, p.night_cost * factor),
        one_night_cost=p.one_night_cost * factor,
        value=p.value * factor,
    )
    assert cost(big) == cost(p) * factor
