"""What a plan leans on and what to be careful about: presumed offers, cautions, assumptions, notes of a day."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import takewhile

import numpy as np

from tripplan.model.cautions import LAST_WORD, caution
from tripplan.model.place import OfferFact, Place, Spot
from tripplan.model.plan import Caution, Day, Holds, Leg, PresumedOffer
from tripplan.model.trip import Trip
from tripplan.model.van import DayWeather
from tripplan.model.words import STORES, Offer, Store
from tripplan.schedule.candidates import AVOID_KM, SERVES, Site, Stop, spot_of
from tripplan.schedule.follow import left_alone
from tripplan.schedule.work import Work

__all__ = ["assumptions_of", "cautions_of", "day_notes", "presumed_of"]

_R = range(len(STORES))
#: Hours that cannot be read hold nothing up and are shown as written.
_UNREAD = "hours as written: {}"
#: A stay of more nights is asked about first, and at a site that is known to take tourers. Common practice, no source.
_LONG, _LONG_WHERE_KNOWN = 7, 14


def _site_words(site: Site, store: int) -> list[str]:
    """Offers of a site that serve a store, surest first."""
    words = ("fresh", "piped", "grey", "cassette")
    serving = [w for w in words if (SERVES.get(w, SERVES["fresh"] | SERVES["grey"]) >> store) & 1]
    facts = [(site.offers.get(w, OfferFact()).answer, w) for w in serving]
    return [w for a, w in sorted(facts, key=lambda f: -f[0]) if a >= Offer.PRESUMED]


def _presumed_at(work: Work, arcs: Sequence[int]) -> np.ndarray[tuple[int, ...], np.dtype[np.bool_]]:
    """(days, 2, R) services that stand on a presumed offer only: on the way, and at the night's place."""
    found = np.zeros((len(arcs), 2, len(STORES)), dtype=bool)
    for d, arc in enumerate(arcs):
        for r in _R:
            best = [f.answer for s in work.stops(arc) if s.sight < 0 for w, f in s.offers.items() if SERVES[w] >> r & 1]
            found[d, 0, r] = bool(best) and max(best) == Offer.PRESUMED
            end = int(work.options.end[arc])
            if end >= 2:
                site = work.cast.sites[end - 2]
                words = _site_words(site, r)
                found[d, 1, r] = bool(site.serves >> r & 1) and bool(words) and site.offers[words[0]].answer == Offer.PRESUMED
    return found


def presumed_of(work: Work, arcs: Sequence[int]) -> tuple[PresumedOffer, ...]:
    """List what to telephone about: offers on the way, those of sites that the levels count on, unreadable hours."""
    shaky = _presumed_at(work, arcs)
    found: list[PresumedOffer] = []
    for d, arc in enumerate(arcs):
        for stop in work.stops(arc):
            for word, place in stop.givers:
                fact = place.offer(word)
                if fact.answer == Offer.PRESUMED:
                    spot = stop.spot if place is stop.place else spot_of(place)
                    stores = tuple(STORES[r].value for r in _R if SERVES[word] & stop.serves & (1 << r))
                    found.append(_presumed(work, d, stop.spot, spot, word, fact.evidence, stores))
            raw = _raw_hours(work, stop) if stop.hours_unknown else ""
            if raw.strip():
                found.append(PresumedOffer(d + 1, stop.spot, "hours", _UNREAD.format(raw), (), None, 0.0))
        end = int(work.options.end[arc])
        if end < 2:
            continue
        site = work.cast.sites[end - 2]
        if site.ask and (d == 0 or int(work.options.end[arcs[d - 1]]) != end):
            found.append(PresumedOffer(d + 1, site.spot, "hours", _UNREAD.format("; ".join(site.ask)), (), None, 0.0))
        if site.place is not None and site.place.admits != Offer.YES:
            found.append(_presumed(work, d, site.spot, site.spot, "stay", site.place.admits_why, ()))
        if site.kind.powered and site.offers["power"].answer == Offer.PRESUMED:
            found.append(_presumed(work, d, site.spot, site.spot, "power", site.offers["power"].evidence, ("battery",)))
        by_word: dict[str, list[str]] = {}
        for r in _R:
            if shaky[d, 1, r]:
                by_word.setdefault(_site_words(site, r)[0], []).append(STORES[r].value)
        for word, names in by_word.items():
            found.append(_presumed(work, d, site.spot, site.spot, word, site.offers[word].evidence, tuple(names)))
    return tuple(found)


def _presumed(work: Work, day: int, at: Spot, spot: Spot, word: str, evidence: str, stores: tuple[str, ...]) -> PresumedOffer:
    known, km = _next_known(work, at, word)
    return PresumedOffer(day + 1, spot, word, evidence, stores, known, km)


def _next_known(work: Work, spot: Spot, word: str) -> tuple[Spot | None, float]:
    """Return the nearest place by road that is known to have an offer, and how far it is [km]."""
    joined = work.ways[0].joined_van
    if joined is None:
        return None, 0.0
    spots = list(joined.spots)
    if spot not in spots:
        return None, 0.0
    length = joined.matrix().length_m[spots.index(spot)].astype(np.float64).copy()
    yes = np.zeros(len(spots), dtype=bool)
    for row, other in enumerate(spots):
        place = work.region.places[other.place] if other.place >= 0 else None
        yes[row] = place is not None and other.place != spot.place and _known(place, word)
    length[~yes] = np.inf
    best = int(length.argmin())
    return (spots[best], round(float(length[best]) / 1000, 1)) if np.isfinite(length[best]) else (None, 0.0)


def _known(place: Place, word: str) -> bool:
    if word == "stay":
        return place.role == "site" and place.admits == Offer.YES
    return place.offer(word).answer == Offer.YES and (place.role != "site" or place.admits == Offer.YES)


def _dry(work: Work, arc: int) -> tuple[str, str]:
    """What is empty at pick-up, and where the day of pick-up fills it; "" each where nothing is."""
    names = ("fresh water barrel", "flush tank")
    dry = [(r, name) for r, name in zip((0, 3), names, strict=True) if work.use.pick_up.dry[r]]
    if not dry:
        return "", ""
    spots: dict[str, None] = {}
    for r, _ in dry:
        site = work.cast.sites[int(work.options.end[arc]) - 2]
        stop = next((s for s in work.stops(arc) if s.serves >> r & 1), None)
        if stop is not None or site.serves >> r & 1:
            spots[stop.spot.name if stop is not None else site.spot.name] = None
    return " and the ".join(name for _, name in dry), " and ".join(spots)


def day_notes(work: Work, arcs: Sequence[int], day: Day) -> tuple[str, ...]:
    """Return what to know on a day of a path."""
    notes, arc = [], arcs[day.number - 1]
    under_way = work.trip.under_way
    if day.number == 1 and under_way is not None:
        notes += [_if_it_fails_again(work, store, text) for store, text in under_way.failed]
    if day.number == 1 and under_way is not None and under_way.tasks:
        notes.append(
            f"Now, by {work.trip.pick_up:%H:%M}, at {day.start.name}: {', '.join(under_way.tasks)}; the levels count with it"
        )
    if day.number == 1 and under_way is None:
        dry, where = _dry(work, arc)
        if dry and where:
            notes.append(
                f"The {dry} {'is' if ' and ' not in dry else 'are'} empty at pick-up: fill at {where} before the first night"
            )
    notes += [closure.text for closure in day.closures]
    notes += _of_the_energy(day, first=day.number == 1 and under_way is None)
    doubtful = next((ways.doubtful for ways in work.ways if ways.days >> (day.number - 1) & 1), ())
    for leg in day.legs:
        where = f"{leg.start.name} to {leg.end.name}"
        if leg.unknown_m >= 1:
            notes.append(f"Phone first: {leg.unknown_m:.0f} m of road whose surface the map does not tell, {where}")
        if leg.presumed_m >= 1:
            notes.append(f"{leg.presumed_m / 1000:.1f} km of road only presumed to be sealed, {where}")
        if leg.tolls:
            notes.append(f"Toll road, {where}")
        notes += _of_the_road(work, leg, where, doubtful)
        if leg.off_road_m > 150:
            notes.append(f"The map leaves {leg.off_road_m:.0f} m between road and place, {where}")
    if day.holiday:
        notes.append("A public holiday: what serves you may keep other hours than usual, ask before you set off")
    if day.legs and day.sunrise is None and _dark(work, day):
        notes.append("The sun does not rise: you tow in the dark, and no hour before sunset is kept")
    for stop in work.stops(arc):
        if stop.hours_unknown:
            raw = _raw_hours(work, stop)
            notes.append(f"Ask for the hours of {stop.spot.name}" + (f" (the map says: {raw})" if raw else ""))
    if day.night is None:
        emptied = (("cassette", work.trip.firm.return_cassette_empty), ("grey water", work.trip.firm.return_grey_empty))
        wanted = [name for name, asked in emptied if asked]
        if wanted:
            notes.append(f"The firm wants {' and '.join(wanted)} empty: after emptying today, use them no more")
    if day.night is not None:
        site = work.cast.sites[int(work.options.end[arc]) - 2]
        if (site.hours_unknown or site.ask) and day.night.stay_night == 1:
            raw = "; ".join(site.ask)
            notes.append(f"Ask {site.spot.name} for its hours" + (f" (the map says: {raw})" if raw else ""))
        if not site.price_known and day.night.stay_night == 1:
            notes.append(f"The price of a night at {site.spot.name} is not known; {site.price_cents / 100:.2f} is counted")
        if work.trip.pets and site.place is not None and site.place.pets == Offer.UNKNOWN and day.night.stay_night == 1:
            notes.append(f"Ask {site.spot.name} whether pets may come")
        if nights := _long_stay(work, arcs, day):
            notes.append(f"Ask {site.spot.name} whether {nights} nights are allowed: many sites limit a stay")
    return tuple(notes)


def _long_stay(work: Work, arcs: Sequence[int], day: Day) -> int:
    """Return the nights of the stay that begins on a day (the rest of a trip: goes on), where they are so many that a site may refuse; else 0."""
    d, ends = day.number - 1, [int(work.options.end[arc]) for arc in arcs[:-1]]
    if day.night is None or (d and ends[d - 1] == ends[d]):
        return 0
    here = list(takewhile(lambda n: ends[n] == ends[d], range(d, len(ends))))
    site, booked = work.cast.sites[ends[d] - 2], {booking.night for booking in work.trip.bookings}
    place = site.place
    if (place is not None and place.longest_stay_nights) or all(work.trip.dates[n] in booked for n in here):
        return 0  # the map's own limit is held; who has booked has been told
    nights = day.night.stay_night - 1 + len(here)
    known = place is not None and place.admits == Offer.YES
    return nights if nights > (_LONG_WHERE_KNOWN if known else _LONG) else 0


def _if_it_fails_again(work: Work, store: str, text: str) -> str:
    """Add to a sentence on what failed before where else it is known to be done."""
    other, km = _next_known(work, work.trip.depot, "fresh" if store == "flush" else store)
    if other is None:
        return f"{text}. If it fails again, ask where else before you use it further: no other place is known"
    return f"{text}. If it fails again, do it first at {other.name}, {km:.1f} km away, before you use it further"


def _holidays(work: Work) -> str:
    """Say whose public holidays are counted."""
    from tripplan.almanac.hours import is_holiday

    country = work.region.meta.country
    if is_holiday(work.trip.dates[0], country) is None:
        return "Public holidays are not known here: ask whether one falls on your days, hours may differ on it"
    return f"Public holidays are the national ones of {country}; those of a part of it are not known"


def _raw_hours(work: Work, stop: Stop) -> str:
    """Return the hours of a stop as written."""
    told = work.trip.sights[stop.sight].visiting if stop.sight >= 0 else ""
    return told or (stop.place.hours if stop.place is not None else "")


def _dark(work: Work, day: Day) -> bool:
    from tripplan.almanac.sun import sun_day

    return sun_day(day.date, day.end.lon, day.end.lat, work.trip.tz).polar == "night"


def _of_the_energy(day: Day, *, first: bool) -> list[str]:
    """What of the day's energy asks for something to be done; ``first``: it is the day of pick-up, and begins with a warm fridge."""
    energy = day.energy
    if energy is None:
        return []
    notes = []
    if energy.carried_kg > energy.payload_kg:
        notes.append(
            f"Too heavy: {energy.carried_kg:.0f} kg carried, {energy.payload_kg:.0f} kg allowed: leave water or things behind"
        )
    if energy.fridge_above_h > 0:
        cold = (
            f"cold again {energy.fridge_recool_h:.1f} h after arriving"
            if energy.fridge_recool_h >= 0
            else "not cold again that day"
        )
        if first:
            notes.append(f"The fridge is warm at pick-up: {cold}; buy what must be kept cold after that, or carry ice packs")
        else:
            notes.append(
                f"The fridge is above 5 °C for {energy.fridge_above_h:.1f} h (up to {energy.fridge_warmest_c:.0f} °C), {cold}: ice packs, or shop on arrival"
            )
    if energy.mains == "needed":
        notes.append(f"This night needs its mains: {energy.mains_why[0]}")
    if energy.gas_left_cold_kg > 0:
        notes.append(f"In the cold {energy.gas_left_cold_kg:.1f} kg of the gas in full bottles stay in them: ask for propane")
    return notes


#: So many things to ask about are named on one leg.
_MOST_ASKED = 5


def _of_the_road(work: Work, leg: Leg, where: str, doubtful: tuple[int, ...]) -> list[str]:
    """Ferries and steep stretches of a leg, and what to ask about before it is driven."""
    from tripplan.roads.asks import asks_along
    from tripplan.roads.ferries import crossings
    from tripplan.roads.steep import graded_share, steep_stretches

    van = leg.mode == "van"
    notes = []
    if leg.ferry_s > 0:
        notes = [f"{ferry.words()}, {where}" for ferry in crossings(work.region, leg, work.trip.outfit if van else work.trip.car)]
    steep = steep_stretches(work.region, leg.runs) if van else ()
    for one in steep:
        name = f" on {one.name}" if one.name else ""
        notes.append(
            f"Steep: {one.percent:.0f} % tagged over {one.length_m / 1000:.1f} km{name}, {one.from_m / 1000:.0f} km after {leg.start.name}"
        )
    if steep:
        share = graded_share(work.region, leg.runs)
        notes.append(f"The map tells a grade on {share:.0%} of the road, {where}: the rest may be steep too")
    asks = asks_along(work.region, leg.runs, doubtful)
    for ask in asks[:_MOST_ASKED]:
        name = f" on {ask.name}" if ask.name else ""
        notes.append(f"Ask first{name}, {ask.from_m / 1000:.0f} km after {leg.start.name}: {ask.text}")
    if len(asks) > _MOST_ASKED:
        notes.append(
            f"Ask first about {len(asks) - _MOST_ASKED} more signs that nobody could read, {where}: check lists all of them"
        )
    return notes


#: Caution of a fridge that gets warm, by what it runs on while towing.
_FRIDGE_WARM = {"none": "fridge_warm", "car_12v": "fridge_warm_car", "battery": "fridge_warm_battery"}


def cautions_of(work: Work, arcs: Sequence[int], days: Sequence[Day]) -> tuple[Caution, ...]:
    """Choose the cautions that concern this plan, and the days of each."""
    from tripplan.schedule.use import weather_of
    from tripplan.van.facts import value
    from tripplan.van.load import nose_range_kg

    trip = work.trip
    on: dict[str, list[int]] = {}

    def add(key: str, *numbers: int) -> None:
        on.setdefault(key, []).extend(numbers)

    for key in (
        "gas_off_driving",
        "tyres",
        "loading",
        "nose_weight",
        "nobody_rides",
        "mirrors",
        "breaks",
        "clearance",
        "wind",
        "descents",
    ):
        add(key, *(day.number for day in days if day.kind == "towing"))
    for d, day in enumerate(days):
        if any(closure.kind == "wind" for closure in day.closures) and day.kind != "towing":
            add("wind", day.number)
        weather = weather_of(trip, d, day.end.lat)
        if any(leg.ferry_s > 0 for leg in day.legs if leg.mode == "van"):
            add("gas_off_ferry", day.number)
        served = {s for e in day.events for s in e.stores} | {line.store for line in day.levels if line.served}
        if served & {"cassette", "grey"}:
            add("black_water", day.number)
            add("chemicals", day.number)
        if served & {"fresh", "flush"}:
            add("drinking_water", day.number)
        if any("gas" in e.stores for e in day.events):
            add("autogas", day.number)
        if day.night is not None:
            if day.night.powered:
                add("mains", day.number)
            heating = day.night.runs_on.get("heating", "")
            if "gas" in heating or trip.van.hob_aboard:
                add("carbon_monoxide", day.number)
                add("gas_leak", day.number)
            if "less than wished" in heating or "none aboard" in heating:
                add("cold_van", day.number)
            add("spacing", day.number)
            if weather.low_c <= 0:
                add("frost", day.number)
                add("butane_cold", day.number)
        if day.kind == "towing":
            if day.energy is not None and day.energy.fridge_warmest_c > value("fridge_limit_c"):
                add(_FRIDGE_WARM[trip.van.fridge_towing], day.number)
            if day.energy is not None and day.energy.carried_kg > day.energy.payload_kg:
                add("overload", day.number)
            if nose_range_kg(trip.outfit.van_mass_kg)[0] > trip.van.nose_weight_kg:
                add("nose_limit", day.number)
    if any(leg.presumed_m >= 1 or leg.unknown_m >= 1 for day in days for leg in day.legs) or presumed_of(work, arcs):
        add("presumed")
    add("licensed_work")
    add(LAST_WORD)
    whole = tuple(day.number for day in days)
    return tuple(caution(key, () if tuple(numbers) == whole else tuple(dict.fromkeys(numbers))) for key, numbers in on.items())


def _most_on_last_day(work: Work, r: int) -> float:
    """What the last day may use of a store at the confidence [L, kg]."""
    from tripplan.van.limits import UNITS_PER
    from tripplan.van.spread import raised

    held = work.use.pick_up.held
    mean = np.array(work.use.last_day[r] / UNITS_PER[r])
    return float(raised(mean, held.shared[r] * mean, held.daily[r] * mean, float(held.z[r])))


def _holding(work: Work, holds: Holds | None) -> str:
    """Say how sure the stores are, and at what confidence each limit is held."""
    party = work.trip.party
    habits = f"with habits of a party spread by {party.spread_shared:.0%} (one sigma) and days that differ besides"
    least = work.use.pick_up.held.confidence
    said = f"Each limit by itself is held on {_share(least)} of such trips or more"
    return said + (f", all stores together on {_share(holds.together)}" if holds is not None else "") + f", {habits}"


def _price_of_together(holds: Holds | None, total_cents: int) -> list[str]:
    """Say how far from the cheapest a plan may be whose limits had to be held tighter, where they had."""
    if holds is None or not holds.least_cents or max(holds.each.values(), default=0.0) <= holds.asked + 1e-6:
        return []
    more = total_cents - holds.least_cents
    if more <= 0:
        return []
    return [
        f"To hold all stores together single limits are held tighter: a plan that does so for up to {more / 100:.2f} less is not "
        "ruled out, none for still less"
    ]


def _share(share: float) -> str:
    """Say a share in per cent, rounded down: no more is told than holds."""
    return f"{int(share * 1000 + 1e-6) / 1000:.1%}".replace(".0%", "%")


def _weather_words(trip: Trip) -> list[str]:
    """Say what weather was counted with, one line for each source."""
    from tripplan.schedule.use import weather_of

    by_source: dict[str, list[DayWeather]] = {}
    for d in range(len(trip.dates)):
        weather = weather_of(trip, d, trip.depot.lat)
        by_source.setdefault(weather.source, []).append(weather)
    lines = []
    for source, days in by_source.items():
        low, high = min(w.low_c for w in days), max(w.high_c for w in days)
        sun = sorted(w.sun_kwh_per_m2 for w in days)
        some = f" on {len(days)} of {len(trip.dates)} days" if len(by_source) > 1 else ""
        lines.append(f"Weather{some}: {source}: {low:.0f} to {high:.0f} °C, sun {sun[0]:.1f} to {sun[-1]:.1f} kWh/m² a day")
    return lines


def _unused_climate(work: Work) -> list[str]:
    """Say that the region's climate table tells nothing of the places that the trip names, where weather is guessed for that."""
    from tripplan.almanac.climate import GUESS_SOURCE
    from tripplan.almanac.normals import FARTHEST_KM, nearest_km
    from tripplan.schedule.use import weather_of

    trip, stations = work.trip, work.region.climate
    if not stations or all(weather_of(trip, d, trip.depot.lat).source != GUESS_SOURCE for d in range(len(trip.dates))):
        return []
    spots = (trip.depot, trip.return_depot, *(s.spot for s in trip.sights), *(b.spot for b in trip.bookings))
    km, name = nearest_km(stations, ((spot.lon, spot.lat) for spot in spots))
    if km <= FARTHEST_KM:  # the weather was made before the table was there
        return []
    return [
        f"The region's climate table was not used: its nearest station, {name}, is {km:.0f} km from the places of the trip, "
        f"and one further than {FARTHEST_KM:g} km says nothing of them"
    ]


def assumptions_of(work: Work, arcs: Sequence[int], holds: Holds | None = None, total_cents: int = 0) -> tuple[str, ...]:
    """Say what the plan takes for granted; ``total_cents``: what it costs with all its weights."""
    trip = work.trip
    said = [
        *(trip.under_way.told if trip.under_way is not None else ()),
        *_weather_words(trip),
        *_unused_climate(work),
        _holding(work, holds),
        *_price_of_together(holds, total_cents),
        "On a towing day the hours between leaving and the latest arrival count as spent in the van with nothing given, "
        "and what a day uses counts in full after a service on the way: real levels are better",
        f"A night whose price is not known counts {trip.weights.unknown_price_cents / 100:.2f}, a service whose price is not known nothing",
        "Hours that the map does not tell close nothing: ask first where a day says so",
        _holidays(work),
        "Barrels and cassette are filled and emptied on foot at a site, on arrival and every morning, where the site offers it",
        "A day with the van stops at most twice, or at two services and a sight; a day by car at most twice",
    ]
    dry, where = _dry(work, arcs[0]) if trip.under_way is None else ("", "")
    if dry:
        verb = "is" if " and " not in dry else "are"
        said.append(
            f"The {dry} {verb} empty at pick-up and {verb} not used before being filled; until then wash and go where you stop"
            + (f": fill at {where} before the first night" if where else "")
        )
    if any(int(work.options.serves[a]) >> 4 & 1 for a in arcs):
        said.append(
            f"A gas stop exchanges every bottle that has been opened, so that the gas is full after it; "
            f"money is counted for all {trip.van.gas_bottles} that are carried, the most it can be"
        )
    gas = STORES.index(Store.GAS)
    if left_alone(work)[gas] and int(work.options.serves[arcs[-1]]) >> gas & 1:
        said.append(
            "The gas is exchanged on the last day so that it comes back full: leave it turned off at the bottle after that"
        )
    for name, asked in (("cassette", trip.firm.return_cassette_empty), ("grey", trip.firm.return_grey_empty)):
        store = next(s for s in STORES if s.value == name)
        if asked:
            left = _most_on_last_day(work, STORES.index(store))
            said.append(
                f"The {name} is emptied on the last day; use it no more after that, or at most {left:.1f} L come back in it"
            )
    if any(s.place < 0 for s in trip.avoid):
        said.append(f"Around a place to avoid that is no site of the map, {AVOID_KM:g} km are kept clear of stops")
    said += [f"Closures brought: {left}" for left in trip.closures_left]
    doubtful = sum(len(w.doubtful) for w in work.ways)
    if doubtful:
        said.append(f"{doubtful} roads with a closing time that nobody could read count as open: look at signs")
    return tuple(said)
