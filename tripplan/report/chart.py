"""The levels of all stores over a trip as figures to draw: one model, whatever draws it (page, picture, PDF, terminal).

Nothing here knows ink, points or pixels. A day is one unit wide: day 1 lies between 0 and 1. Levels are in the store's own
unit. Texts are plain and clean, not escaped.
"""

from __future__ import annotations

from dataclasses import dataclass

from tripplan.model.plan import LevelLine, Plan
from tripplan.model.words import Store
from tripplan.report import say
from tripplan.report.language import tell, word
from tripplan.report.safe import plain

__all__ = ["ARRIVE_AT", "NIGHT_AT", "WAY_AT", "Chart", "ServiceMark", "Strip", "levels_of"]

#: Where in a day its moments are drawn: services on the way, arriving, the level nearest to the limit, which a night brings.
WAY_AT, ARRIVE_AT, NIGHT_AT = 0.4, 0.45, 0.95


@dataclass(frozen=True, slots=True)
class ServiceMark:
    """One service: where it is drawn [days], on which day, and whether on the ``way``, at the ``site`` or by ``car``."""

    x: float
    day: int
    where: str


@dataclass(frozen=True, slots=True)
class Strip:
    """One store over the trip.

    Parameters
    ----------
    name
        In words. unit: of every level here (L, kg, Ah).
    full
        What it holds. limit: what must not be passed, ``None`` where no day tells one.
    fills
        Whether use makes the level rise: then the limit is a most, else a least.
    line
        (x, level) of the level as planned, which holds with the trip's confidence; x in days.
    expected
        (x, level) of the level to be expected on the average, at the same x; empty where the plan does not tell it. What lies between the
        two is the spread.
    worst
        (day, level) that comes nearest to the limit; ``None`` without levels.
    bound
        The limit in words: ``at most 54 of 60 L``.
    """

    store: str
    name: str
    unit: str
    full: float
    limit: float | None
    fills: bool
    line: tuple[tuple[float, float], ...]
    expected: tuple[tuple[float, float], ...]
    services: tuple[ServiceMark, ...]
    worst: tuple[int, float] | None
    bound: str

    def share(self, level: float) -> float:
        """Return a level as a share of what the store holds, 0 to 1."""
        return max(0.0, min(1.0, level / self.full)) if self.full > 0 else 0.0


@dataclass(frozen=True, slots=True)
class Chart:
    """All strips, in the fixed order of stores, over ``days`` (their numbers), with a title and what it all says in words."""

    title: str
    trip: str
    confidence: float
    days: tuple[int, ...]
    dates: tuple[str, ...]
    strips: tuple[Strip, ...]
    words: str


def levels_of(plan: Plan) -> Chart:
    """Return the chart of a plan: a strip for each store that the van has."""
    strips = tuple(_strip(plan, store) for store in say.stores_of(plan.trip.van))
    return Chart(
        title=tell("Levels of all stores over the trip"),
        trip=plain(plan.trip.name),
        confidence=plan.trip.confidence,
        days=tuple(day.number for day in plan.days),
        dates=tuple(say.short_day(day.date) for day in plan.days),
        strips=strips,
        words="; ".join(words for strip in strips if (words := _nearest(strip))) + ".",
    )


def _nearest(strip: Strip) -> str:
    if strip.worst is None or strip.limit is None:
        return ""
    day, level = strip.worst
    return tell(
        "{store} comes nearest to its limit of {limit} on day {day}, with {level}",
        store=strip.name, limit=say.amount(strip.store, strip.limit), day=day, level=say.amount(strip.store, level),
    )  # fmt: skip


def _strip(plan: Plan, store: str) -> Strip:
    full = max(say.capacity(plan.trip.van, store), 1e-9)
    rows = [(i, day.number, line) for i, day in enumerate(plan.days) for line in day.levels if line.store == store]
    limit = rows[-1][2].limit if rows else None
    nearest = min(rows, key=lambda row: say.room_left(row[2]), default=None)
    whole = say.amount(store, full)
    bound = tell("holds {full}", full=whole)
    if limit is not None:
        sentence = word("at most {limit} of {full}") if say.fills(store) else word("at least {limit} of {full}")
        bound = tell(sentence, limit=say.figure(store, limit), full=whole)
    return Strip(
        store=store,
        name=say.store_name(store),
        unit=Store(store).unit,
        full=full,
        limit=limit,
        fills=say.fills(store),
        line=tuple(point for i, _, line in rows for point in _moments(i, line, (line.leave, line.arrive, line.worst, line.end))),
        expected=_expected(rows),
        services=tuple(mark for i, day, line in rows for mark in _marks(i, day, line)),
        worst=(nearest[1], say.nearest_level(nearest[2])) if nearest is not None else None,
        bound=bound,
    )


def _moments(i: int, line: LevelLine, levels: tuple[float, ...]) -> list[tuple[float, float]]:
    """Return the points of a day: its worst by night, or where it is served on the way and was worse before than after."""
    leave, arrive, worst, end = levels
    before = line.served in ("way", "car") and line.worst != say.nearest_of(line.store, (line.arrive, line.end))
    on_way = [(i + WAY_AT, worst)] if before else []
    by_night = [] if before else [(i + NIGHT_AT, worst)]
    return [(float(i), leave), *on_way, (i + ARRIVE_AT, arrive), *by_night, (float(i + 1), end)]


def _expected(rows: list[tuple[int, int, LevelLine]]) -> tuple[tuple[float, float], ...]:
    """Return the expected level at the same moments; empty where a day does not tell it, so that no gap is drawn over."""
    if any(len(line.expected) != 4 for _, _, line in rows):
        return ()
    return tuple(point for i, _, line in rows for point in _moments(i, line, line.expected))


def _marks(i: int, day: int, line: LevelLine) -> list[ServiceMark]:
    """Return a mark for each service of a day; on the way and at the site may both be."""
    wheres = [where for where in line.served.split("+") if where]
    return [ServiceMark(i + (NIGHT_AT if where == "site" else WAY_AT), day, where) for where in wheres]
