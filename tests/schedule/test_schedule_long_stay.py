"""A long stay at one pitch is asked about before it is counted on."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from helpers.toytrips import REGION, toy_trip

from tripplan.model.place import Place
from tripplan.model.trip import Booking
from tripplan.model.words import Offer
from tripplan.schedule.assemble import assemble
from tripplan.schedule.notes import _long_stay
from tripplan.schedule.work import Work


@pytest.fixture(scope="module")
def work() -> Work:
    """Fifteen nights, of which any number may be spent at one site."""
    trip, cast, ways = toy_trip(3, nights=15)
    return assemble(trip, REGION, cast, ways)


def asked(work: Work, nights: int, day: int = 1, behind: int = 0) -> int:
    """Return what is asked about on a day when so many nights from the first on are at one site and the rest at another."""
    o = work.options
    at = [int(np.flatnonzero(o.end == end)[0]) for end in (2, 3)]
    arcs = [*[at[0]] * nights, *[at[1]] * (15 - nights), int(np.flatnonzero(o.end == 1)[0])]
    return _long_stay(work, arcs, SimpleNamespace(number=day, night=SimpleNamespace(stay_night=behind + 1)))  # type: ignore[arg-type]


def of_place(work: Work, **facts: object) -> Work:
    """Return the work with its first site a place of the map."""
    place = Place(index=0, ref="n1", role="site", name="a", lon=0.0, lat=0.0, **facts)  # type: ignore[arg-type]
    return replace(work, cast=replace(work.cast, sites=(replace(work.cast.sites[0], place=place), *work.cast.sites[1:])))


def test_more_than_a_week_is_asked_about(work: Work) -> None:
    """Seven nights pass, eight are asked about, once; nights already spent there count with them (common practice, no source)."""
    assert [asked(work, nights) for nights in (7, 8, 15)] == [0, 8, 15]
    assert [asked(work, 8, day) for day in (2, 8)] == [0, 0]
    assert asked(work, 5, behind=4) == 9


def test_a_site_known_to_take_tourers_has_a_fortnight_and_its_own_limit_rules(work: Work) -> None:
    """Presumed: a week; known: two; a limit on the map or a booking of every night settles it."""
    assert [asked(of_place(work, admits=Offer.PRESUMED), nights) for nights in (7, 8)] == [0, 8]
    assert [asked(of_place(work, admits=Offer.YES), nights) for nights in (14, 15)] == [0, 15]
    assert asked(of_place(work, longest_stay_nights=28), 15) == 0
    spot, days = work.cast.sites[0].spot, work.trip.dates
    booked = [replace(work, trip=replace(work.trip, bookings=tuple(Booking(day, spot) for day in days[:n]))) for n in (7, 8)]
    assert [asked(part, 8) for part in booked] == [8, 0]
