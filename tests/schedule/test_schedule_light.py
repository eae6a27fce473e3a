"""The frame of days by light: where the sun does not set or rise, on days that change the clock, and beside the date line."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from helpers.plans import island
from helpers.toytrips import OUTFIT

from tripplan.almanac.sun import sun_day
from tripplan.model.place import Spot
from tripplan.model.trip import Firm, Trip
from tripplan.model.van import Party, Van
from tripplan.schedule.candidates import Cast, Site
from tripplan.schedule.hours import DayHours, hours_of, moment_of
from tripplan.van.use import StayKind

REGION = island()
MARGIN = 45


def frame(
    tz: str, first: date, depot: tuple[float, float], sites: list[tuple[float, float]], nights: int = 3, **change: object
) -> tuple[Trip, DayHours]:
    """Return a trip with sites at some points, and the hours of its days."""
    start = datetime(first.year, first.month, first.day, 9, tzinfo=ZoneInfo(tz))
    base = Spot("d", "Depot", *depot)
    values: dict[str, object] = {
        "name": "light", "tz": tz, "firm": Firm("firm", "0", 90, handover_min=60), "outfit": OUTFIT, "car": OUTFIT, "van": Van("van", 45, 35, 12, 8, 4.5, 2, 80),
        "party": Party("pair", 2), "depot": base, "return_depot": base, "pick_up": start,
        "return_by": (start + timedelta(days=nights)).replace(hour=16), "sunset_margin_min": MARGIN,
    }  # fmt: skip
    trip = Trip(**{**values, **change})  # type: ignore[arg-type]
    days = nights + 1
    made = tuple(
        Site(Spot(str(k), f"site {k}", *at), None, {}, StayKind(), 0, 0, True, (True,) * days, (None,) * days, 0)
        for k, at in enumerate(sites)
    )
    return trip, hours_of(trip, REGION, Cast(made, (), (), (-1,) * days))


@pytest.mark.parametrize(("first", "lat", "polar"), [
    (date(2026, 6, 18), 70.0, "day"), (date(2026, 12, 18), 70.0, "night"), (date(2026, 12, 18), -70.0, "day"), (date(2026, 6, 18), -70.0, "night"),
])  # fmt: skip
def test_a_sun_that_does_not_set_or_rise_bounds_no_day(first, lat, polar):
    """At 70° N in June and December, and mirrored in the south, the trip's own hours alone bound the days."""
    lon = 24.0
    assert (
        sun_day(first, lon, lat, "Etc/GMT-2").polar == polar
    )  # the month of June at 70° N has no night (e.g. NOAA solar calculator)
    trip, hours = frame("Etc/GMT-2", first, (lon, lat), [(lon + 0.4, lat + 0.2)])
    assert (hours.leave[1:] == trip.leave_after_min * 60).all()
    assert (hours.arrive[:-1] == trip.arrive_by_min * 60).all()


def test_short_days_bind_and_mirror():
    """At 60° a winter day bounds leaving and arriving by the sun, the same in the north in December as in the south in June, within minutes.

    The sun of the two solstices mirrors but for the earth's distance (the equation of time differs): compared are day lengths.
    """
    _, north = frame("Etc/GMT-2", date(2026, 12, 20), (30.0, 60.0), [(30.2, 60.2)])
    _, south = frame("Etc/GMT-2", date(2026, 6, 20), (30.0, -60.0), [(30.2, -60.2)])
    for hours in (north, south):
        assert hours.leave[1, 2] > 9 * 3600
        assert hours.arrive[1, 2] < 15 * 3600
    lengths = [int(h.arrive[1, 2] - h.leave[1, 2]) for h in (north, south)]
    assert abs(lengths[0] - lengths[1]) < 600


def test_light_never_flatters():
    """Whatever the place in a cell of the grid, no day begins before its sunrise or ends later than the margin before its sunset."""
    sites = [(25.0 + 0.13 * k, 66.9 + 0.11 * k) for k in range(9)]  # over the edge of the polar night
    trip, hours = frame("Europe/Helsinki", date(2026, 12, 12), (25.0, 66.5), sites)
    seen = set()
    for d in range(1, 3):
        for k, (lon, lat) in enumerate(sites):
            sun = sun_day(trip.dates[d], lon, lat, trip.tz)
            seen.add(sun.polar)
            if sun.sunrise is None or sun.sunset is None:
                assert (hours.leave[d, 2 + k], hours.arrive[d, 2 + k]) == (trip.leave_after_min * 60, trip.arrive_by_min * 60)
                continue
            assert moment_of(trip, d, int(hours.leave[d, 2 + k])) >= sun.sunrise - timedelta(seconds=1)
            assert moment_of(trip, d, int(hours.arrive[d, 2 + k])) <= sun.sunset - timedelta(minutes=MARGIN) + timedelta(
                seconds=1
            )
    assert seen == {"", "night"}


@pytest.mark.parametrize(("tz", "depot", "before"), [
    ("Europe/Berlin", (10.0, 52.0), date(2026, 10, 24)), ("Europe/Berlin", (10.0, 52.0), date(2026, 3, 28)),
    ("Pacific/Auckland", (175.0, -40.0), date(2026, 4, 4)), ("Pacific/Auckland", (175.0, -40.0), date(2026, 9, 26)),
])  # fmt: skip
def test_days_that_change_the_clock(tz, depot, before):
    """The night of the change moves sunset by an hour on the wall, and moments of the day carry the new offset.

    Change on the last Sundays of March and October (Directive 2000/84/EC), on the first Sunday of April and the last of September (NZ
    Time Act 1974 and the order of 2007).
    """
    trip, hours = frame(tz, before, depot, [(depot[0] + 0.2, depot[1])], arrive_by_min=24 * 60, leave_after_min=4 * 60)
    shift = int(hours.arrive[1, 2] - hours.arrive[0, 2])
    assert abs(abs(shift) - 3600) < 5 * 60
    for d in (0, 1):
        sun = sun_day(trip.dates[d], trip.depot.lon, trip.depot.lat, tz)
        assert sun.sunset is not None
        gap = sun.sunset - timedelta(minutes=MARGIN) - moment_of(trip, d, int(hours.arrive[d, 2]))
        assert timedelta(seconds=-60) <= gap <= timedelta(minutes=12)  # the earliest of the cell's corners
    before_change, after = (moment_of(trip, d, 12 * 3600).utcoffset() for d in (0, 1))
    assert before_change != after


@pytest.mark.parametrize(("tz", "lon", "lat"), [
    ("Pacific/Kiritimati", -157.4, 1.9), ("Pacific/Chatham", -176.5, -44.0), ("Pacific/Fiji", 179.9, -17.0), ("Etc/GMT+12", -179.9, 52.0), ("Pacific/Apia", -171.8, -13.9),
])  # fmt: skip
def test_zones_beside_the_date_line(tz, lon, lat):
    """Where the clock runs a day ahead of the longitude, or behind it, sunset is that of the date on the wall."""
    trip, hours = frame(
        tz, date(2026, 3, 19), (lon, lat), [(lon - 0.3 if lon > 0 else lon + 0.3, lat)], arrive_by_min=24 * 60, leave_after_min=0
    )
    sun = sun_day(trip.dates[1], lon, lat, tz)
    assert sun.sunset is not None
    assert sun.sunset.date() == trip.dates[1]
    last = moment_of(trip, 1, int(hours.arrive[1, 0]))
    assert timedelta(seconds=-60) <= sun.sunset - timedelta(minutes=MARGIN) - last <= timedelta(minutes=10)
    assert 4 * 3600 < hours.leave[1, 0] < 9 * 3600


def test_guests_need_no_desk():
    """A desk that shuts at 15:00 bounds those who arrive, not those who come back by car."""
    from dataclasses import replace

    trip, _ = frame("Etc/UTC", date(2026, 6, 1), (0.0, 45.0), [])
    site = Site(Spot("s", "site", 0.1, 45.0), None, {}, StayKind(), 0, 0, True, (True,) * 4, (((10 * 3600, 15 * 3600),),) * 4, 0)
    hours = hours_of(trip, REGION, Cast((replace(site),), (), (), (-1,) * 4))
    assert (hours.arrive[:-1, 2] == 15 * 3600).all()
    assert (hours.back[:-1, 2] == trip.arrive_by_min * 60).all()


def test_check_out_bounds_leaving_and_never_forbids():
    """A check-out is the latest start; one before the day may begin is moved to that."""
    from dataclasses import replace

    trip, _ = frame("Etc/UTC", date(2026, 6, 1), (0.0, 45.0), [(0.1, 45.0)])
    site = Site(Spot("s", "site", 0.1, 45.0), None, {}, StayKind(), 0, 0, True, (True,) * 4, (None,) * 4, 0)
    for until, latest in ((10 * 3600, 10 * 3600), (7 * 3600, 9 * 3600)):
        hours = hours_of(trip, REGION, Cast((replace(site, check_out=(until,) * 4),), (), (), (-1,) * 4))
        assert (hours.leave_by[1:, 2] == latest).all()
        assert (hours.leave_by[:, 0] == 86_400).all()
