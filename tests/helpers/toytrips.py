"""Small invented trips without a map: places in a plane, and the best plan found by trying everything."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime, timedelta
from itertools import pairwise, permutations
from zoneinfo import ZoneInfo

import numpy as np
from helpers.plans import island

from tripplan.model.outfit import Outfit
from tripplan.model.place import OfferFact, Spot
from tripplan.model.trip import Firm, Sight, Trip, Weights
from tripplan.model.van import Levels, Party, Van
from tripplan.model.words import Offer, Via
from tripplan.schedule.assemble import assemble
from tripplan.schedule.candidates import BIT, SERVES, Cast, Site, Stop
from tripplan.schedule.day import DayTask, Halt, LegTask, Sailing, kept
from tripplan.schedule.use import blocks_of, drive_classes
from tripplan.schedule.walk import State, first_state
from tripplan.schedule.ways import Ways, table_of
from tripplan.schedule.work import Work
from tripplan.van.use import StayKind

ZONE = "Pacific/Auckland"
REGION = island()
OUTFIT = Outfit("car and van", True, 3400, 1400, 1300, 2.6, 2.3, 12, 90)


def toy_trip(
    seed: int, *, nights: int = 3, sites: int = 4, services: int = 4, sights: int = 2, **change: object
) -> tuple[Trip, Cast, list[Ways]]:
    """Return a trip with few places, hours that bite and stores that run short; same seed, same trip."""
    rng = np.random.default_rng(seed)
    days = nights + 1
    start = datetime(2026, 2, 2, 10, tzinfo=ZoneInfo(ZONE)) + timedelta(days=int(rng.integers(0, 7)))
    spot = lambda name: Spot(name, name, 170.2 + float(rng.uniform(-0.2, 0.2)), -44.6 + float(rng.uniform(-0.2, 0.2)))  # noqa: E731
    depot = spot("depot")
    values: dict[str, object] = {
        "name": "toy", "tz": ZONE, "firm": Firm("firm", "0", 90), "outfit": OUTFIT, "car": replace(OUTFIT, towing=False, van_mass_kg=0),
        "van": Van("van", 45, 35, 12, 8, 4.5, 2, 80, solar_w=80), "party": Party("pair", 2, water_l=8, spread_shared=0.05),
        "depot": depot, "return_depot": depot, "pick_up": start, "return_by": (start + timedelta(days=nights)).replace(hour=16),
        "sights": tuple(
            Sight(spot(f"sight {k}"), bool(rng.random() < 0.4), int(rng.integers(500, 4000)), list(Via)[int(rng.integers(3))], float(rng.integers(1, 3)))
            for k in range(sights)
        ),
        "levels": Levels(45, 0, 0, 8, 9, 70), "weights": Weights(),
        "max_drive_s": 3 * 3600,
    }  # fmt: skip
    trip = Trip(**{**values, **change})  # type: ignore[arg-type]
    yes = OfferFact(Offer.YES)
    chosen = []
    for k in range(sites):
        words = [w for w in ("power", "fresh", "grey", "cassette", "toilets", "showers") if rng.random() < 0.45]
        serves = 0
        for w in words:
            serves |= SERVES.get(w, 0)
        kind = StayKind(
            "power" in words,
            "fresh" in words,
            False,
            "grey" in words,
            "cassette" in words,
            "toilets" in words,
            "showers" in words,
        )
        chosen.append(
            Site(spot(f"site {k}"), None, dict.fromkeys(words, yes), kind, serves, int(rng.integers(0, 5000)), True,
                 tuple(bool(rng.random() < 0.95) for _ in range(days)), (None,) * days, int(rng.choice([0, 0, 2])))
        )  # fmt: skip
    stops = []
    for k in range(services):
        mask = int(
            rng.choice(
                [BIT["grey"] | BIT["cassette"], SERVES["fresh"], BIT["gas"], SERVES["fresh"] | BIT["grey"] | BIT["cassette"]]
            )
        )
        windows = tuple(_windows(rng) for _ in range(days)) if rng.random() < 0.5 else (None,) * days
        cents = int(rng.integers(0, 800)) + (6000 if mask & BIT["gas"] else 0)
        stops.append(Stop(spot(f"service {k}"), None, mask, -1, 1200, cents, 500, windows, {}))
    seen = [Stop(s.spot, None, 0, k, round(s.hours * 3600), 0, 0, (None,) * days, {}) for k, s in enumerate(trip.sights)]
    van = (*stops, *(s for s, t in zip(seen, trip.sights, strict=True) if t.via is not Via.CAR_ONLY))
    car = (
        *(replace(s, serves=BIT["gas"]) for s in stops if s.serves & BIT["gas"]),
        *(s for s, t in zip(seen, trip.sights, strict=True) if t.via is not Via.VAN),
    )
    cast = Cast(tuple(chosen), van, car, (-1,) * days)
    ways = Ways((1 << days) - 1, _table(rng, [depot, depot, *(s.spot for s in chosen), *(s.spot for s in van)], trip),
                _table(rng, [*(s.spot for s in chosen), *(s.spot for s in car)], trip), None, None)  # fmt: skip
    return trip, cast, [ways]


def _windows(rng: np.random.Generator):  # type: ignore[no-untyped-def]
    if rng.random() < 0.3:
        return ()
    opens = int(rng.integers(8, 13)) * 3600
    return ((opens, opens + int(rng.integers(1, 5)) * 3600),)


def _table(rng: np.random.Generator, spots: list[Spot], trip: Trip):  # type: ignore[no-untyped-def]
    at = np.array([(s.lon * 78, s.lat * 111) for s in spots])
    # Shortest ways: no detour is shorter. Each end has a lane of its own, slower out than in.
    lane = rng.uniform(0, 3, len(at))
    km = np.hypot(*(at[:, None] - at[None]).transpose(2, 0, 1)) * 1.5 + lane[:, None] + 0.5 * lane[None, :]
    np.fill_diagonal(km, 0)
    drive = np.rint(km / 40 * 3600).astype(np.int32)
    afloat = rng.random(len(at)) < 0.1
    total = drive + (afloat[:, None] != afloat[None, :]) * 1800
    return table_of(total.astype(np.int32), drive, km * 1000, trip.weights)


def toy_work(seed: int, **change: object) -> Work:
    """Return the toy trip as a problem."""
    trip, cast, ways = toy_trip(seed, **change)  # type: ignore[arg-type]
    return assemble(trip, REGION, cast, ways)


def _fits(work: Work, day: int, ends, legs, stops, *, stay: bool) -> bool:  # type: ignore[no-untyped-def]
    """Say whether the clock of a day, in whole minutes, is kept; a ferry lies at the end of its leg."""
    hours = work.hours
    tasks = tuple(LegTask(-(-d // 60)) if t == d else LegTask(0, (Sailing(-(-d // 60), 0, -(-(t - d) // 60)),)) for t, d in legs)
    halts = tuple(Halt(-(-s.seconds // 60), _minutes(s.windows[day])) for s in stops)
    earliest = -(-int(hours.leave[day, ends[0]]) // 60)
    if day == len(work.trip.dates) - 1:  # what the firm wants back empty is emptied in 20 min at the last site, unless on the way
        serves = [s.serves for s in stops] + [0]
        at_site = work.cast.sites[ends[0] - 2].serves & ~np.bitwise_or.reduce(serves)
        earliest += 20 * bool(at_site & (BIT["grey"] | BIT["cassette"]))
    desk = None if ends[1] < 2 or ends[0] == ends[1] else work.cast.sites[ends[1] - 2].hours[day]
    task = DayTask(
        earliest, earliest, int((hours.back if stay else hours.arrive)[day, ends[1]]) // 60, tasks, halts, _minutes(desk or None)
    )
    return kept(task, earliest) is not None


def _minutes(windows):  # type: ignore[no-untyped-def]
    return None if windows is None else tuple((-(-a // 60), b // 60) for a, b in windows)


def with_desks(seed: int, **change: object) -> Work:
    """Return a toy trip whose sites take arrivals at noon and late, and whose days end between: doors that the tables do not see."""
    trip, cast, ways = toy_trip(seed, arrive_by_min=16 * 60 + 30, **change)  # type: ignore[arg-type]
    rng = np.random.default_rng(seed + 10_000)
    sites = []
    for site in cast.sites:
        opens = int(rng.integers(21, 26)) * 1800
        desk = ((opens, opens + int(rng.integers(1, 5)) * 1800), (17 * 3600, 18 * 3600))
        sites.append(replace(site, hours=(desk,) * len(trip.dates) if rng.random() < 0.8 else site.hours))
    # Near and dear against far and free: what the cheaper way cannot keep, the dearer one may.
    stops = tuple(replace(s, cents=int(rng.integers(0, 4000))) if s.sight < 0 else s for s in cast.van_stops)
    return assemble(trip, REGION, replace(cast, sites=tuple(sites), van_stops=stops), ways)


def _days_of(work: Work, day: int, place: int) -> Iterator[tuple[int, bool, tuple[int, ...], int, int, int, int]]:
    """Every way to spend a day: to which place, whether the van stays, stops, cost, money, time on the way and aboard; the clock alone says if it can be."""
    trip, cast, ways, hours = work.trip, work.cast, work.ways[0], work.hours
    last = day == len(trip.dates) - 1
    places = 2 + len(cast.sites)
    limit = min(trip.first_day_drive_s, trip.max_drive_s) if day == 0 else trip.max_drive_s
    ends_of_day = [(1, False)] if last else [*((to, False) for to in range(2, places)), *([(place, True)] if place >= 2 else [])]
    for to, stay in ends_of_day:
        stops, table = (cast.car_stops, ways.car) if stay else (cast.van_stops, ways.van)
        first = len(cast.sites) if stay else places
        ends = (place - 2, to - 2) if stay else (place, to)
        numbers = range(len(stops))
        ways_there = [(), *((a,) for a in numbers), *permutations(numbers, 2)]
        if not stay:  # with the van also two services and a sight
            ways_there += [c for c in permutations(numbers, 3) if sum(stops[k].sight >= 0 for k in c) == 1]
        for chain in ways_there:
            if len(chain) == 2 and stay and all(stops[k].sight < 0 for k in chain):
                continue
            if not chain and not stay and to == place:
                continue  # with the van one goes somewhere
            points = [ends[0], *(first + k for k in chain), ends[1]] if chain or not stay else []
            legs = [(int(table.total_s[a, b]), int(table.drive_s[a, b])) for a, b in pairwise(points)]
            if sum(d for _, d in legs) > limit:
                continue
            if not last and hours.arrive[day, to] < 0:
                continue
            if (chain or not stay) and not _fits(work, day, (place, to), legs, [stops[k] for k in chain], stay=stay):
                continue
            cost = sum(int(table.cents[a, b]) for a, b in pairwise(points))
            cost += sum(stops[k].cents + stops[k].charge_cents for k in chain)
            money = sum(int(table.km_cents[a, b]) for a, b in pairwise(points)) + sum(stops[k].cents for k in chain)
            yield to, stay, chain, cost, money, sum(t for t, _ in legs), sum(t - d for t, d in legs)


def brute_force(work: Work) -> int | None:
    """Return the least cost of any plan within the budget, by trying every sequence of days; None when there is none."""
    p, cast = work.problem, work.cast
    # Blocks of their own, for whatever may be served together on the way.
    use = blocks_of(work.trip, cast, work.hours, range(1 << 5), drive_classes(work.trip, work.trip.max_drive_s))
    kind_of = use.kind_of
    front: dict[tuple[object, ...], int] = {}
    begin = first_state(p)
    budget = work.trip.budget_cents
    front[(begin.place, 0, begin.levels, 0, 0)] = 0
    must = sum(1 << k for k, s in enumerate(work.trip.sights) if s.must)
    best: int | None = None
    for day in range(p.days):
        following: dict[tuple[object, ...], int] = {}
        last = day == p.days - 1
        for (place, nights, levels, seen, paid), cost in front.items():
            for to, stay, chain, more, money, taken, aboard in _days_of(work, day, int(place)):  # type: ignore[call-overload]
                stops = cast.car_stops if stay else cast.van_stops
                serves, sights = 0, int(seen)  # type: ignore[call-overload]
                for k in chain:
                    serves |= stops[k].serves
                    sights |= 1 << stops[k].sight if stops[k].sight >= 0 else 0
                if day == 0:  # a store that is as good as it can be at pick-up gains nothing on that day
                    serves &= ~sum(1 << r for r, v in enumerate(p.start_level) if v == 0)
                row = use.first_stay + int(kind_of[to - 2]) if stay else use.masks.index(serves) * use.classes
                if not stay and use.classes > 1:  # what draws on the battery: driving and crossing
                    # Where the car charges on the way, the classes of days with a crossing come after the others.
                    anew = use.classes_s.index(use.classes_s[0], 1) if aboard and use.classes_s.count(use.classes_s[0]) > 1 else 0
                    row += next(c for c, end in enumerate(use.classes_s) if c >= anew and taken <= end)
                block = use.day_block[day, row].astype(np.int64)
                level = _add(p, np.array(levels), block)
                if level is None:
                    continue
                level[[bool(serves >> r & 1) for r in range(6)]] = 0
                spent = cost + more + (p.one_night_cost if nights == 1 and to != place else 0)
                money += int(paid) + (0 if last else cast.sites[to - 2].price_cents)  # type: ignore[call-overload]
                if 0 <= budget < money:
                    continue
                if last:
                    if (level > p.goal_cap).any() or must & ~sights:
                        continue
                    gain = sum(s.value_cents for k, s in enumerate(work.trip.sights) if not s.must and sights >> k & 1)
                    best = spent - gain if best is None else min(best, spent - gain)
                    continue
                site = cast.sites[to - 2]
                count = int(nights) + 1 if to == place else 1  # type: ignore[call-overload]
                if not site.open[day] or (site.max_stay and count > site.max_stay):
                    continue
                at_site = [bool(site.serves >> r & 1) for r in range(6)]
                level[at_site] = 0
                level = _add(p, level, use.night_block[day, kind_of[to - 2]])
                if level is None:
                    continue
                level[at_site] = 0
                key = (to, count, tuple(level.tolist()), sights, money if budget >= 0 else 0)
                spent += site.price_cents
                if spent < following.get(key, 10**12):
                    following[key] = spent
        front = following
    return best


def _add(p, level, block):  # type: ignore[no-untyped-def]
    end = np.maximum(level + block[0], block[2])
    return None if (np.maximum(level + block[1], end) > p.cap).any() else end


__all__ = ["State", "brute_force", "toy_trip", "toy_work"]
