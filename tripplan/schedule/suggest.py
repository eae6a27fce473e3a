"""Loops worth offering: for one depot, season, van and party several plans that differ by theme, sights chosen by the search."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from math import ceil

from tripplan.model.choice import LeftOut, Sums
from tripplan.model.errors import NoPlanError
from tripplan.model.place import Spot
from tripplan.model.plan import Plan
from tripplan.model.progress import Progress, silent
from tripplan.model.trip import Trip
from tripplan.region.columns import Flag
from tripplan.region.region import Region
from tripplan.schedule.choices import MOST_SHARED, shared_nights, sums_of
from tripplan.schedule.suggest_sights import Picked, pick, with_sights
from tripplan.schedule.suggest_values import COAST_KM, Valued

__all__ = ["MOST_SIGHTS", "THEMES", "Suggestion", "Theme", "sights_seen", "suggestions"]

#: Sights that a search may choose from; with more it takes minutes on a week.
MOST_SIGHTS = 12
#: What a theme makes of a sight that is its own, and of one that is not. Own choice.
_OWN, _OTHER = 2.0, 0.25
#: Most driving on an easy trip, and on its first day [s]. Common practice, no source.
_EASY_S, _EASY_FIRST_S = 2 * 3600, 5400
#: So little driving a day is easy whatever other loops drive [s]. Common practice, no source.
_EASY_ANYWAY_S = 1800


@dataclass(frozen=True)
class Theme:
    """A kind of loop: how it turns a trip and the worth of sights.

    Parameters
    ----------
    suits
        Who it suits, for people.
    steps
        Ways to turn the trip, the strictest first, with what each gives up in words; the first that has a plan counts.
    own
        Which sights are the theme's own; ``None``: all alike.
    lacks
        Why the region or the trip has nothing for it; empty: it has. ``None``: it always has.
    gentle
        Whether no day of it may tow longer than the longest day of the best loop of all does, half an hour apart.
    """

    key: str
    title: str
    suits: str
    steps: tuple[tuple[str, Callable[[Trip], Trip]], ...]
    own: Callable[[Valued], bool] | None = None
    lacks: Callable[[Trip, Region, Sequence[Valued]], str] | None = None
    gentle: bool = False

    def worth(self, sight: Valued) -> int:
        """Return what a sight is worth under the theme [cents]."""
        if self.own is None:
            return sight.cents
        return round(sight.cents * (_OWN if self.own(sight) else _OTHER))


@dataclass(frozen=True, slots=True)
class Suggestion:
    """One loop.

    Parameters
    ----------
    trip
        As planned: the theme's limits, and the sights that the search could choose from.
    own_seen
        Names of the theme's own sights that the plan sees, each with the evidence that it is one.
    gave_up
        What the theme would have liked and no plan keeps; empty: nothing.
    picked
        What the search could choose from, and what it could not and why.
    """

    theme: Theme
    plan: Plan
    trip: Trip
    sums: Sums
    picked: Picked
    seen: tuple[Spot, ...]
    own_seen: tuple[tuple[str, str], ...] = ()
    gave_up: str = ""

    @property
    def key(self) -> str:
        """Word for files and links."""
        return self.theme.key

    @property
    def title(self) -> str:
        """For people."""
        return self.theme.title


def _same(trip: Trip) -> Trip:
    return trip


def _easy(one_night: int, drive_s: int, powered: bool) -> Callable[[Trip], Trip]:
    def turn(trip: Trip) -> Trip:
        stays = one_night if trip.max_one_night_stays < 0 else min(one_night, trip.max_one_night_stays)
        return replace(
            trip, max_drive_s=min(trip.max_drive_s, drive_s), first_day_drive_s=min(trip.first_day_drive_s, max(_EASY_FIRST_S, drive_s - 1800)),
            powered_nights_at_least=trip.nights if powered else trip.powered_nights_at_least, max_one_night_stays=stays,
        )  # fmt: skip

    return turn


def _powered(short: int) -> Callable[[Trip], Trip]:
    def turn(trip: Trip) -> Trip:
        return replace(trip, powered_nights_at_least=max(trip.powered_nights_at_least, trip.nights - short, 0))

    return turn


def _no_ferries(trip: Trip) -> Trip:
    return replace(trip, ferries=False)


def _no_coast(_trip: Trip, _region: Region, valued: Sequence[Valued]) -> str:
    if all(v.coast_km == float("inf") for v in valued):
        return "the base map of the region has no coast"
    return "" if any(_by_coast(v) for v in valued) else f"no sight lies within {COAST_KM:.0f} km of the coast"


def _no_hills(_trip: Trip, _region: Region, valued: Sequence[Valued]) -> str:
    return "" if any(v.hills for v in valued) else "nothing on the map speaks for hills"


def _no_boats(trip: Trip, region: Region, _valued: Sequence[Valued]) -> str:
    if not trip.ferries or not trip.firm.ferries_allowed:
        return "no loop here takes a ferry"
    return "" if bool((region.ways.flags & Flag.FERRY).any()) else "there are no ferries in the region"


def _by_coast(sight: Valued) -> bool:
    return sight.coast_km <= COAST_KM


def _hilly(sight: Valued) -> bool:
    return bool(sight.hills)


#: In the order in which they are tried and shown.
THEMES: tuple[Theme, ...] = (
    Theme("best", "The best of all", "anyone with no theme in mind: the sights most worth the way", (("", _same),)),
    Theme("coast", "Along the coast", "people who want the sea", (("", _same),), _by_coast, _no_coast),
    Theme("hills", "Into the hills", "people who want views, passes and waterfalls; expect bends and grades", (("", _same),), _hilly, _no_hills),
    Theme(
        "easy", "An easy first trip", "people new to a van: short drives, mains each night, two nights or more at a place",
        (
            ("", _easy(0, _EASY_S, powered=True)),
            ("one stay of a single night", _easy(1, _EASY_S, powered=True)),
            ("one stay of a single night, and up to 3 hours of driving a day", _easy(1, 3 * 3600, powered=True)),
            ("one stay of a single night, up to 3 hours of driving a day, and nights without mains", _easy(1, 3 * 3600, powered=False)),
        ),
        gentle=True,
    ),
    Theme("dry", "No ferries", "people who would rather not go aboard with a van", (("", _no_ferries),), None, _no_boats),
    Theme(
        "mains", "Mains each night", "people who want heating, fridge and lights without a thought for gas and battery",
        (("", _powered(0)), ("one night without mains", _powered(1)), ("two nights without mains", _powered(2))),
    ),
)  # fmt: skip


def suggestions(
    trip: Trip,
    region: Region,
    valued: Sequence[Valued],
    solver: Callable[[Theme, Trip], Plan],
    *,
    themes: Sequence[Theme] = THEMES,
    most_sights: int = MOST_SIGHTS,
    progress: Progress = silent,
) -> Iterator[Suggestion | LeftOut]:
    """Yield the loops of a trip one after another, and the themes that give none worth showing.

    Parameters
    ----------
    trip
        Depot, nights, van and party; its own sights and bookings hold in every loop.
    solver
        Plans and audits a trip for a theme; the plan's own trip may be written differently but asks for the same.
    """
    shown: list[Suggestion] = []
    for number, theme in enumerate(themes):
        progress(f"Looking for a loop: {theme.title.lower()}", number / len(themes))
        why = theme.lacks(trip, region, valued) if theme.lacks is not None else ""
        most_s = (
            next((max(_longest_s(one.plan), _EASY_ANYWAY_S) for one in shown if one.theme.key == "best"), None)
            if theme.gentle
            else None
        )
        found = LeftOut(theme.title, why) if why else _one(trip, valued, solver, theme, most_sights, most_s)
        if isinstance(found, Suggestion):
            why = _too_like(found, shown) or _off_theme(found)
            if not why:
                shown.append(found)
            yield LeftOut(theme.title, why) if why else found
        else:
            yield found


def _one(
    trip: Trip,
    valued: Sequence[Valued],
    solver: Callable[[Theme, Trip], Plan],
    theme: Theme,
    most_sights: int,
    most_s: int | None = None,
) -> Suggestion | LeftOut:
    """Plan a theme by its strictest step that has a plan; a search that is stopped without one tries with half the sights."""
    why, tried = "", list[Trip]()
    for gave_up, turn in theme.steps:
        turned = turn(trip)
        if most_s is not None:
            turned = replace(
                turned, max_drive_s=min(turned.max_drive_s, most_s), first_day_drive_s=min(turned.first_day_drive_s, most_s)
            )
        if turned in tried:
            continue  # what it gives up is no more than what was given up before
        tried.append(turned)
        most = most_sights
        while True:
            picked = pick(turned, valued, theme.worth, most)
            try:
                plan = solver(theme, with_sights(turned, picked.taken))
            except NoPlanError as error:
                why = str(error)
                if not error.proven and picked.taken:
                    most = len(picked.taken) // 2
                    continue
                break
            return _suggestion(theme, plan, turned, picked, gave_up)
    return LeftOut(theme.title, why)


def _suggestion(theme: Theme, plan: Plan, turned: Trip, picked: Picked, gave_up: str) -> Suggestion:
    seen = sights_seen(plan)
    at = {(spot.lon, spot.lat) for spot in seen}
    own: tuple[tuple[str, str], ...] = ()
    if theme.own is not None:
        own = tuple((v.spot.name, v.hills if theme.key == "hills" else f"{v.coast_km:.1f} km from the coast")
                    for v, _ in picked.taken if theme.own(v) and (v.spot.lon, v.spot.lat) in at)  # fmt: skip
    return Suggestion(theme, plan, plan.trip, sums_of(plan, turned), picked, seen, own, gave_up)


def sights_seen(plan: Plan) -> tuple[Spot, ...]:
    """Return the sights that a plan visits, in order, each once."""
    spots = (event.spot for day in plan.days for event in day.events if event.kind == "sight" and event.spot is not None)
    return tuple({(s.lon, s.lat): s for s in spots}.values())


def _too_like(found: Suggestion, shown: Sequence[Suggestion]) -> str:
    if not shown:
        return ""
    share, like = max(((shared_nights(found.plan, s.plan), s) for s in shown), key=lambda pair: pair[0])
    if share <= MOST_SHARED:
        return ""
    nights = found.trip.nights
    return f'it spends {round(share * nights)} of {nights} nights at the same places as "{like.title}"'


def _longest_s(plan: Plan) -> int:
    """Return the driving with the van on the day of a plan that has most of it [s]."""
    return ceil(max((sum(leg.drive_s for leg in day.legs if leg.mode == "van") for day in plan.days), default=0.0))


def _off_theme(found: Suggestion) -> str:
    if found.theme.own is None or found.own_seen:
        return ""
    return "none of its own sights is worth the way"
