"""What is said when no plan exists: each limit once, on its day, by its amount."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace

import pytest
from helpers.toytrips import REGION, toy_trip, toy_work

from tripplan.model.errors import NoPlanError
from tripplan.model.plan import Excess
from tripplan.model.van import Levels, Van
from tripplan.report.words import no_plan_words
from tripplan.schedule import explain
from tripplan.schedule.assemble import assemble
from tripplan.schedule.explain import excesses_of, no_plan
from tripplan.schedule.plan import best_path
from tripplan.schedule.solve import solve
from tripplan.schedule.walk import walk
from tripplan.schedule.work import Slack, Work

SMALL = Van("small", 20, 12, 8, 4, 2.0, 1, 40)


def hopeless(count: int = 6, confidence: float = 0.95) -> Iterator[tuple[Work, NoPlanError]]:
    """Toy trips in a van whose stores are far too small."""
    found = 0
    for seed in range(200):
        work = toy_work(seed, van=SMALL, levels=Levels(20, 0, 0, 4, 2.0, 36), confidence=confidence)
        if not best_path(work).arcs:
            yield work, no_plan(work)
            found += 1
            if found == count:
                return
    raise AssertionError("too few trips without a plan")


def rows(error: NoPlanError) -> list[Excess]:
    return [e for e in error.excesses if isinstance(e, Excess)]


def test_each_text_is_a_clause_with_its_amount_once():
    """A text begins with the date, names amount and unit once, and neither repeats another nor ends in a stop."""
    stores = set()
    for _, error in hopeless():
        texts = [e.text for e in rows(error)]
        assert len(set(texts)) == len(texts)
        for e in rows(error):
            if e.what not in explain._PAST:
                continue
            stores.add(e.what)
            said = f"{e.amount:.2f} kg" if e.unit == "kg" else f"{e.amount:.1f} {e.unit}"
            assert e.text.count(said) == 1
            assert re.match(r"(Mon|Tue|Wed|Thu|Fri|Sat|Sun) \d{1,2} [A-Z][a-z]{2}: ", e.text)
            assert not e.text.endswith(".")
            assert len(re.findall(r"\d [A-Z][a-z]{2}\b", e.text)) == 1
    assert len(stores) >= 3


def test_amounts_add_up_to_what_the_search_paid():
    """On the mean the amounts of a store add up to the units that the nearest plan is over by; at a confidence to no less."""
    proven = []
    for confidence in (0.5, 0.95):
        proven += [_adds_up(work, error, confidence) for work, error in hopeless(confidence=confidence)]
    assert any(proven)


def _adds_up(work: Work, error: NoPlanError, confidence: float) -> bool:
    slack = Slack(explain._POINT, explain._POINT, 100 * explain._POINT, 100 * explain._POINT, 2.0)
    loose = assemble(work.trip, REGION, work.cast, work.ways, slack)
    arcs = solve(loose.problem).arcs
    states = walk(loose.problem, arcs)
    assert states is not None
    per = (10, 10, 10, 10, 100, 10)
    for r, name in enumerate(explain._PAST):
        paid = sum(x.units for x in states[-1].excesses if x.store == r) / per[r]
        told = sum(e.amount for e in excesses_of(loose, arcs) if e.what.split()[0] == name)
        assert told == pytest.approx(paid) if confidence == 0.5 else paid - 1e-9 <= told <= 1.6 * paid + 1e-9
    return error.least


def test_a_later_day_says_how_much_more():
    """While a store is not served, its first excess says how far over it is, later ones how much more; served, it starts anew."""
    trip, cast, ways = toy_trip(4, nights=5, sites=1, services=0, sights=0)
    trip = replace(trip, van=SMALL, levels=Levels(20, 0, 0, 4, 2.0, 36))
    site = replace(cast.sites[0], open=(True,) * 6, max_stay=0, serves=0, kind=replace_kind(cast.sites[0].kind))
    texts = [e.text for e in rows(no_plan(assemble(trip, REGION, replace(cast, sites=(site,)), ways))) if e.what == "cassette"]
    assert "the cassette is" in texts[0]
    assert len(texts) >= 3
    assert all("more in the cassette" in text for text in texts[1:-1])


def replace_kind(kind):
    from tripplan.van.use import StayKind

    return StayKind(*(False for _ in kind))


def test_dry_first_night_is_told():
    """An empty barrel that no tap fills is named with the reason."""
    trip, cast, ways = toy_trip(2, nights=2)
    cast = replace(cast, sites=tuple(replace(s, serves=s.serves & ~9) for s in cast.sites), van_stops=cast.van_stops[4:])
    ways = [replace(w, van=w.van.take(keep, keep)) for w in ways for keep in [row_numbers(len(w.van.cents), 6, 10)]]
    error = no_plan(assemble(replace(trip, levels=Levels(0, 0, 0, 0, 9, 70)), REGION, cast, ways))
    first = next(e for e in rows(error) if e.what == "fresh")
    assert first.day == 1
    assert "empty at pick-up, and nothing fills it before the first night" in first.text


def row_numbers(count, cut_from, cut_to):
    import numpy as np

    return np.array([k for k in range(count) if not cut_from <= k < cut_to])


def test_cut_short_is_said(monkeypatch):
    """A nearest plan that is not proven to be the nearest says so."""
    monkeypatch.setattr(explain, "solve", lambda problem, **_: replace(solve(problem), status="gap"))
    work, _ = next(hopeless(1))
    error = no_plan(work)
    assert not error.least
    assert "not proven" in no_plan_words(error)[0]


def test_printed_once_and_grouped():
    """On paper each text stands once, under its store, with the sum where there are several."""
    for _, error in hopeless(3):
        lines = no_plan_words(error)
        for e in rows(error):
            assert sum(e.text in line for line in lines) == 1
        whats = [e.what for e in rows(error)]
        assert sum(" in all" in line for line in lines) == sum(whats.count(w) > 1 for w in set(whats))


def test_nights_wished_near_a_place_are_not_called_a_sight_missed():
    """Nights near a place are told by their number and reach; a visit as a place that must be seen."""
    work = toy_work(0)
    wishes = [(0, "no time for sight 0, which must be seen"), (1, "no room for one night within 25 km of sight 0, as wished"),
              (2, "no room for 2 nights within 25 km of sight 0, as wished")]  # fmt: skip
    for nights, text in wishes:
        sight = replace(work.trip.sights[0], must=True, nights=nights, near_km=25.0)
        assert [e.text for e in explain._missed(replace(work, trip=replace(work.trip, sights=(sight,))), [])] == [text]
