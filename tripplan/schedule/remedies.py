"""The smallest sets of changes that give a trip without a plan one, each proven by solving the changed trip.

A set counts as smallest when every part of it was searched to its end and gave no plan. Steps of one thing (20, 40, 60 more
minutes at the wheel) only ever allow more, so the least that is enough is found by halving. All changes allow more, but for the
dates: where all of them together are not enough, no set of them is, and none is tried one by one.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from itertools import combinations

from tripplan.model.errors import BadInputError, NoPlanError
from tripplan.model.plan import Excess, Plan
from tripplan.model.progress import Progress, silent
from tripplan.model.remedy import Change, Remedies, Remedy
from tripplan.model.trip import Trip
from tripplan.model.words import Offer
from tripplan.region.region import Region
from tripplan.schedule.changes import SUPPOSED, Option, changes_for, suppose

__all__ = ["Solver", "missing_offers", "remedies"]

#: Plans a changed trip, or raises NoPlanError (``proven`` false on it where the search was stopped).
Solver = Callable[[Trip, Region], Plan]
#: Says whether a plan passes a check that shares nothing with the search.
Checked = Callable[[Plan, Region], bool]
#: Largest sets that are tried.
_MOST_CHANGES = 3
#: Sets shown; enough to choose from.
_MOST_SHOWN = 6
#: With so many single changes found, no pairs are looked for.
_ENOUGH = 3


@dataclass
class _Bench:
    """What has been tried so far: sets of options by number, with a plan, ``None`` (none exists) or absent (not known)."""

    trip: Trip
    region: Region
    options: Sequence[Option]
    solver: Solver
    checked: Checked
    until: float
    progress: Progress
    known: dict[frozenset[int], Plan | None] = field(default_factory=dict)
    regions: dict[frozenset[str], Region] = field(default_factory=dict)
    tried: int = 0

    def out_of_time(self) -> bool:
        return time.monotonic() > self.until

    def plan(self, numbers: frozenset[int]) -> Plan | None:
        """Solve the trip with a set of changes made; kept."""
        if numbers in self.known:
            return self.known[numbers]
        self.tried += 1
        self.progress("Looking for changes that give a plan", float("nan"))
        trip, words = self.trip, set[str]()
        for n in sorted(numbers):
            trip = self.options[n].apply(trip)
            if self.options[n].supposes:
                words.add(self.options[n].supposes)
        key = frozenset(words)
        if key not in self.regions:
            self.regions[key] = suppose(self.region, key)
        try:
            found: Plan | None = self.solver(trip, self.regions[key])
            if found is not None and not self.checked(found, self.regions[key]):
                return None
        except (NoPlanError, BadInputError) as error:
            if isinstance(error, NoPlanError) and not error.proven:
                return None
            found = None
        self.known[numbers] = found
        return found


def remedies(
    trip: Trip,
    region: Region,
    error: NoPlanError,
    solver: Solver,
    checked: Checked = lambda _plan, _region: True,
    *,
    seconds: float = 60.0,
    progress: Progress = silent,
) -> Remedies:
    """Find the smallest sets of changes after which a plan exists.

    Parameters
    ----------
    error
        What the nearest plan breaks: changes that bear on it are tried first.
    solver
        Plans a trip; called once for each set that is tried. checked: a plan that fails it is never shown.
    seconds
        When to stop looking; what was found until then is returned.
    """
    words = {e.what.removesuffix(" at the return") for e in error.excesses if isinstance(e, Excess)}
    options = sorted(changes_for(trip, region), key=lambda o: bool(o.helps) and not o.helps & words)
    bench = _Bench(trip, region, options, solver, checked, time.monotonic() + seconds, progress)
    found: list[frozenset[int]] = []
    singles = _ladders(options)
    whole = True
    best: list[int] = []
    for steps in singles:
        if bench.out_of_time():
            whole = False
            break
        enough = _least(bench, steps)
        if enough is None:
            best.append(steps[-1])
        else:
            found.append(frozenset((enough,)))
    together = _together(bench, best) if whole and len(found) < _ENOUGH else None
    for size in range(2, _MOST_CHANGES + 1) if together else ():
        if len(found) >= (_ENOUGH if size == 2 else 1) or not whole:
            break
        # With one way out known, only changes that bear on what is broken are put together.
        pool = [n for n in best if not options[n].helps or options[n].helps & words] if found else best
        sets = [frozenset(c) for c in combinations(pool, size) if len({options[n].family for n in c}) == size]
        sets.sort(
            key=lambda c: (
                sum(bool(options[n].helps) and not options[n].helps & words for n in c),
                _effort(options, c),
                sorted(c),
            )
        )
        for numbers in sets:
            if bench.out_of_time():
                whole = False
                break
            if any(part <= numbers for part in found):
                continue
            if bench.plan(numbers) is not None:
                found.append(_eased(bench, numbers))
            if len(found) >= _MOST_SHOWN:
                break
    if together and not found:
        found.append(_eased(bench, _thinned(bench, together)))
    rows = [_remedy(bench, numbers) for numbers in dict.fromkeys(found)]
    rows.sort(key=lambda r: (len(r.changes), r.effort, [c.text for c in r.changes]))
    return Remedies(tuple(rows[:_MOST_SHOWN]), bench.tried, whole, missing_offers(region))


def _ladders(options: Sequence[Option]) -> list[list[int]]:
    """Return numbers of options; steps of one thing together, from the least on."""
    rows: list[list[int]] = []
    at: dict[str, list[int]] = {}
    for n, option in enumerate(options):
        if option.step:
            if option.family not in at:
                at[option.family] = []
                rows.append(at[option.family])
            at[option.family].append(n)
        else:
            rows.append([n])
    for row in rows:
        row.sort(key=lambda n: options[n].step)
    return rows


def _least(bench: _Bench, steps: Sequence[int], others: frozenset[int] = frozenset()) -> int | None:
    """Return the first of rising steps that is enough together with others; ``None`` where the last is not."""
    if bench.plan(others | {steps[-1]}) is None:
        return None
    low, high = 0, len(steps) - 1
    while low < high and not bench.out_of_time():
        middle = (low + high) // 2
        if bench.plan(others | {steps[middle]}) is None:
            low = middle + 1
        else:
            high = middle
    return steps[high]


def _together(bench: _Bench, numbers: Sequence[int]) -> frozenset[int] | None:
    """Return all changes made at once, where that is enough; else no smaller set of them is, as each only allows more.

    One day more and one day less contradict each other: each is tried apart, and neither.
    """
    dates = [n for n in numbers if bench.options[n].change.key in ("one day more", "one day less")]
    last: dict[str, int] = {}
    for n in numbers:  # of one family the change that goes furthest
        kept = last.setdefault(bench.options[n].family, n)
        if bench.options[n].change.effort > bench.options[kept].change.effort:
            last[bench.options[n].family] = n
    rest = frozenset(last.values()) - frozenset(dates)
    for extra in (frozenset[int](), *(frozenset((n,)) for n in dates)):
        if bench.plan(rest | extra) is not None:
            return rest | extra
    return None


def _thinned(bench: _Bench, numbers: frozenset[int]) -> frozenset[int]:
    """Leave out of a set that is enough what it can do without, what asks most first."""
    for n in sorted(numbers, key=lambda n: (-bench.options[n].change.effort, n)):
        if bench.out_of_time():
            break
        if len(numbers) > 1 and bench.plan(numbers - {n}) is not None:
            numbers -= {n}
    return numbers


def _eased(bench: _Bench, numbers: frozenset[int]) -> frozenset[int]:
    """Take each step of a set no further than it must go."""
    ladders = {row[-1]: row for row in _ladders(bench.options) if len(row) > 1}
    for n in sorted(numbers):
        if n in ladders:
            others = numbers - {n}
            least = _least(bench, ladders[n], others)
            numbers = others | {n if least is None else least}
    return numbers


def _effort(options: Sequence[Option], numbers: frozenset[int]) -> int:
    return sum(options[n].change.effort for n in numbers)


def _remedy(bench: _Bench, numbers: frozenset[int]) -> Remedy:
    plan = bench.known[numbers]
    assert plan is not None
    changes = tuple(
        replace(_worded(bench.options[n], bench.trip, plan), name=bench.options[n].change.text)
        for n in sorted(numbers, key=lambda n: bench.options[n].change.effort)
    )
    parts = [numbers - {n} for n in numbers]
    smallest = all(not part or bench.known.get(part, plan) is None for part in parts)
    for n in numbers:  # and no smaller step of the same thing
        option = bench.options[n]
        less = [m for m, o in enumerate(bench.options) if o.family == option.family and option.step and o.step == option.step - 1]
        smallest = smallest and all(bench.known.get(numbers - {n} | {m}, plan) is None for m in less)
    return Remedy(changes, plan, smallest)


def _worded(option: Option, trip: Trip, plan: Plan) -> Change:
    """Say a change as the plan found makes use of it."""
    change = option.change
    if change.key == "longer drive":
        more = []
        for day in plan.days:
            limit = min(trip.first_day_drive_s, trip.max_drive_s) if day.number == 1 else trip.max_drive_s
            wheel = max(sum(leg.drive_s for leg in day.legs if leg.mode == mode) for mode in ("van", "car"))
            if wheel > limit + 1:
                more.append(f"{-(-(wheel - limit) // 60):.0f} min on day {day.number + trip.first_number - 1}")
        return replace(change, text=f"Drive longer than wished: {', '.join(more)}") if more else change
    if change.key == "budget":
        money = plan.cost.money_cents / 100
        return replace(change, text=f"Spend {money:.2f} instead of {trip.budget_cents / 100:.2f} {trip.firm.currency}".rstrip())
    if option.supposes:
        word = "stay" if option.supposes == "admits" else option.supposes
        names = [p.spot.name for p in plan.presumed_offers if p.evidence == SUPPOSED and p.offer == word]
        sites = ", ".join(dict.fromkeys(names)) or "the sites of the plan"
        return replace(change, text=change.text.replace("{sites}", sites))
    return change


def missing_offers(region: Region) -> tuple[str, ...]:
    """Say which services the map knows nowhere at all, and what would settle it."""
    words = {"cassette": "dump point for a toilet cassette", "grey": "drain for grey water", "fresh": "drinking-water tap"}
    known = {
        word for place in region.places for word in words
        if place.offer(word).answer in (Offer.YES, Offer.PRESUMED) or (place.offer("piped").answer in (Offer.YES, Offer.PRESUMED) and word != "cassette")
    }  # fmt: skip
    return tuple(
        f"The map of {region.meta.name} knows no {what} anywhere: one place that has it, told in a file of local knowledge, would settle it"
        for word, what in words.items() if word not in known
    )  # fmt: skip
