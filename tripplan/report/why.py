"""Why a service falls on its day: what the store would come to without it, by the plan's own levels."""

from __future__ import annotations

from dataclasses import dataclass

from tripplan.model.plan import Day, LevelLine, Plan
from tripplan.report import say
from tripplan.report.language import tell, word

__all__ = ["Need", "needs_of", "served_words", "services_of"]

_WHERE = {"way": word("on the way"), "site": word("at the site"), "car": word("by car")}
#: Mains and sun charge it unasked: nothing that anybody does.
_QUIET = frozenset({"battery"})


@dataclass(frozen=True, slots=True)
class Need:
    """What one day's service of one store is for.

    Parameters
    ----------
    until
        Number of the first day on which the limit would be passed without it; 0: it could be left out.
    level
        What the store would come to then, at least. limit: its limit.
    again
        Number of the day of the store's next service; 0: none follows.
    """

    store: str
    until: int
    level: float
    limit: float
    again: int

    def words(self) -> str:
        """Return the reason in words."""
        name = say.upper_first(say.store_name(self.store))
        if self.until:
            level, limit = say.amount(self.store, self.level), say.amount(self.store, self.limit)
            if say.fills(self.store):
                return tell(
                    "{name} today, otherwise {level} on day {day} (at most {limit}).",
                    name=name,
                    level=level,
                    day=self.until,
                    limit=limit,
                )
            return tell(
                "{name} today, otherwise {level} on day {day} (at least {limit}).",
                name=name,
                level=level,
                day=self.until,
                limit=limit,
            )
        if self.again:
            return tell("{name}: could wait until day {day}.", name=name, day=self.again)
        return tell("{name}: not needed to keep the limit.", name=name)


def _line(day: Day, store: str) -> LevelLine | None:
    return next((line for line in day.levels if line.store == store), None)


def needs_of(plan: Plan, day: Day) -> list[Need]:
    """Return what the services of a day are for, one a store that has been served.

    Without the service the store would go on from the level before it. A level below empty means that it would run dry. Where
    the service falls within the day's way, that level is at least the one on leaving.
    """
    later = [other for other in plan.days if other.number > day.number]
    out = []
    for line in day.levels:
        if not line.served or line.store not in say.stores_of(plan.trip.van):
            continue
        served = line.served.split("+")
        if served == ["site"] and line.store not in _QUIET:
            before, after = line.worst, line.end
        elif served[-1] == "site":  # the worst may have been before a service on the way, or before mains
            before, after = line.arrive, line.end
        else:
            before, after = line.leave, 0.0 if say.fills(line.store) else say.capacity(plan.trip.van, line.store)
        extra = before - after
        days = later if served[-1] == "site" else [day, *later]
        until, level, again = 0, 0.0, 0
        for other in days:
            next_line = _line(other, line.store)
            if next_line is None:
                continue
            # On the day itself the way before the service comes first: it's the levels after it that would be other ones.
            here = say.nearest_of(line.store, (next_line.arrive, next_line.end))
            would = (here if other is day else say.nearest_level(next_line)) + extra
            passed = would > next_line.limit if say.fills(line.store) else would < next_line.limit
            if passed:
                until, level = other.number, would
                break
            if other is not day and next_line.served:
                again = other.number
                break
        out.append(Need(line.store, until, level, line.limit, again))
    return out


def services_of(day: Day) -> list[tuple[str, str]]:
    """Return the services of a day worth naming: store and where (``way``, ``site``, ``car``)."""
    out = [
        (line.store, where)
        for line in day.levels
        for where in line.served.split("+")
        if where and not (where == "site" and line.store in _QUIET)
    ]
    named = {store for store, _ in out}
    for event in day.events:
        where = "site" if event.spot is not None and event.spot == day.start and day.night is None else "way"
        out += [(store, where) for store in event.stores if event.kind == "service" and store not in named]
    return list(dict.fromkeys(out))


def served_words(served: str) -> str:
    """Return where a store was served, in words."""
    return say.listed(tell(_WHERE[where]) if where in _WHERE else where for where in served.split("+"))
