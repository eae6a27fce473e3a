"""What to do when a place of service turns out to be closed: the next one on the plan, and the nearest by road."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from tripplan.model.place import OfferFact, Spot
from tripplan.model.plan import Event, NextChance
from tripplan.model.words import STORES, Offer
from tripplan.schedule.candidates import BIT, SERVES, Stop, spot_of
from tripplan.schedule.levels import follow
from tripplan.schedule.ways import FAR
from tripplan.schedule.work import Work

__all__ = ["Chances"]

_R = range(len(STORES))


class Chances:
    """The next chances of the services along a path."""

    def __init__(self, work: Work, arcs: Sequence[int]) -> None:
        self.work, self.arcs = work, [int(a) for a in arcs]
        # Masks of what each day's stops serve, and each night's place.
        self.way = [int(np.bitwise_or.reduce([0, *(s.serves for s in work.stops(a))])) for a in self.arcs]
        self.site = [int(work.problem.leave_reset[work.options.end[a]]) for a in self.arcs]
        self.site[-1] = 0

    def put(self, day: int, events: tuple[Event, ...]) -> tuple[Event, ...]:
        """Return the events of a day, services at its stops with their next chance."""
        stops = [stop.spot for stop in self.work.stops(self.arcs[day])]
        return tuple(
            replace(e, next_chance=self.of(day, e))
            if e.kind == "service" and e.spot is not None and any(_near(spot, e.spot) for spot in stops)
            else e
            for e in events
        )

    def of(self, day: int, event: Event) -> NextChance:
        """Return the next chance of one service."""
        assert event.spot is not None
        mask = sum(BIT[s] for s in event.stores)
        planned, at = self._planned(day, event.spot, mask)
        nearest, km, minutes, known = self._nearest(day, event.spot, mask)
        return NextChance(planned, at, self._lasts(day, event.spot, mask, at), nearest, km, minutes, known)

    def _planned(self, day: int, shut: Spot, mask: int) -> tuple[Spot | None, int]:
        """Return the next stop or night elsewhere that serves all of it, and its day's number."""
        for d in range(day, len(self.arcs)):
            stops = self._stops(d) if d > day else ()
            stop = next((s for s in stops if s.sight < 0 and not mask & ~s.serves and not _near(s.spot, shut)), None)
            if stop is not None:
                return stop.spot, d + 1
            night = self._night(d)
            if night is not None and not mask & ~self.site[d] and not _near(night, shut):
                return night, d + 1
        return None, 0

    def _stops(self, day: int) -> Sequence[Stop]:
        return self.work.stops(self.arcs[day])

    def _night(self, day: int) -> Spot | None:
        """Return the site of a night; ``None``: the day ends at a depot."""
        end = int(self.work.options.end[self.arcs[day]])
        return self.work.cast.sites[end - 2].spot if end >= 2 else None

    def _lasts(self, day: int, shut: Spot, mask: int, until: int) -> bool:
        """Say whether all stores stay within their limits until served elsewhere the next time, with the place shut all along."""
        p = self.work.problem
        without = np.zeros((len(self.arcs), 2, len(STORES)), dtype=bool)
        lost = [bool(mask >> r & 1) for r in _R]
        without[day, 0] = lost
        for d in range(day, len(self.arcs)):
            night = self._night(d)
            # A day's services on the way are left out together: of two stops none is asked which of them gave what.
            if d > day and any(s.sight < 0 and s.serves & mask and _near(s.spot, shut) for s in self._stops(d)):
                without[d, 0] = lost
            if night is not None and _near(night, shut):
                without[d, 1] = lost
        levels = follow(self.work, self.arcs, without)
        cap, goal = p.cap.astype(np.int64), p.goal_cap.astype(np.int64)
        last = until - 1 if until else len(self.arcs) - 1
        on_site = bool(until) and not mask & ~self.site[last]
        for r in (r for r in _R if mask >> r & 1):
            for d in range(day, last + 1):
                row = levels[d]
                if row.road[r] > cap[r] or (row.worst[r] > cap[r] and (d < last or on_site or not until)):
                    return False
            if (
                last == len(self.arcs) - 1
                and not (self.way[last] & ~mask if last == day else self.way[last]) >> r & 1
                and levels[-1].end[r] > goal[r]
            ):
                return False
        return True

    def _nearest(self, day: int, spot: Spot, mask: int) -> tuple[Spot | None, float, int, bool]:
        """Return the nearest other place by road that offers all of it: where, how far, whether that is known."""
        work, arc = self.work, self.arcs[day]
        car = bool(work.options.car[arc])
        ways = work.ways_of(arc)
        table, joined = (ways.car, ways.joined_car) if car else (ways.van, ways.joined_van)
        points = [row for row, stop in zip(work.points(arc)[1:], work.stops(arc), strict=False) if _near(stop.spot, spot)]
        if joined is None or not points:
            return None, 0.0, 0, False
        spots = list(joined.spots)
        best: tuple[int, int] | None = None
        for row, other in enumerate(spots):
            seconds = int(table.drive_s[points[0], row])
            if seconds >= FAR or other.place < 0 or _near(other, spot) or (best is not None and seconds >= best[0]):
                continue
            if self._offers(other, mask) >= Offer.PRESUMED:
                best = seconds, row
        if best is None:
            return None, 0.0, 0, False
        length = float(joined.matrix(cache=work.cache).length_m[points[0], best[1]])
        other = spots[best[1]]
        place = work.region.places[other.place]
        return spot_of(place), round(length / 1000, 1), -(-best[0] // 60), self._offers(other, mask) == Offer.YES

    def _offers(self, spot: Spot, mask: int) -> Offer:
        """Return how sure it is that a stranger is served all of it at a place."""
        place = self.work.region.places[spot.place]
        if place.role != "service" or place.only_guests or place.admits == Offer.NO:
            return Offer.NO
        sure = Offer.YES
        for r in (r for r in _R if mask >> r & 1):
            facts = [place.offers.get(word, OfferFact()).answer for word, bits in SERVES.items() if bits >> r & 1]
            sure = min(sure, max(facts, default=Offer.NO))
        return sure if sure == Offer.YES or self.work.trip.presumed_offers else Offer.NO


def _near(one: Spot, other: Spot) -> bool:
    """Say whether two spots are one stop: side by side within some 200 m."""
    return abs(one.lon - other.lon) < 0.003 and abs(one.lat - other.lat) < 0.002
