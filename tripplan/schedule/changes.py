"""Single changes that may turn a trip without a plan into one that has a plan; pure functions of the trip."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import partial
from itertools import groupby

from tripplan.model.place import OfferFact, Place
from tripplan.model.remedy import Change
from tripplan.model.trip import Booking, Sight, Trip
from tripplan.model.words import Offer, day_name
from tripplan.region.region import Region
from tripplan.schedule.behind import nights_behind

__all__ = ["SUPPOSED", "Option", "changes_for", "suppose"]

#: More driving is tried in steps of so many minutes, up to so many.
DRIVE_STEPS_MIN = (20, 40, 60, 90, 120)
#: A fridge's limit is raised in steps of so many hours.
_FRIDGE_STEPS_H = (2.0, 4.0)
#: Why a supposed offer is there.
SUPPOSED = "nobody says so: ask there first"
#: Share of the toilet visits aboard of people who use the site's block by day. Common practice, no source.
BLOCK_BY_DAY = 0.2
#: Stores that a shortage of each word is about: which changes are tried first.
_WATER, _WASTE = frozenset(("fresh", "flush")), frozenset(("grey", "cassette"))
_STORES = _WATER | _WASTE | {"gas", "battery"}


@dataclass(frozen=True)
class Option:
    """A change that may be tried.

    Parameters
    ----------
    apply
        The trip with the change made.
    helps
        Words of the excesses that it is most likely to mend; empty: any.
    family
        No two options of one family are combined.
    supposes
        Offer word that a site is taken to have though nobody says so, or ``admits``; empty: none.
    step
        From 1 on: one more is the same thing done further, so that the smallest that is enough can be looked for; 0: apart.
    """

    change: Change
    apply: Callable[[Trip], Trip]
    helps: frozenset[str]
    family: str
    supposes: str = ""
    step: int = 0


def changes_for(trip: Trip, region: Region) -> tuple[Option, ...]:
    """Return every single change that fits a trip, easiest first."""
    found = [
        *_at_pick_up(trip), *_presumed(trip), *_habits(trip), *_equipment(trip), *_wishes(trip), *_driving(trip), *_standing(trip),
        *_bookings(trip), *_sights(trip), *_dates(trip), *_ask(region),
    ]  # fmt: skip
    return tuple(sorted(found, key=lambda option: option.change.effort))


def _option(
    key: str,
    text: str,
    effort: int,
    helps: frozenset[str] | set[str],
    apply: Callable[[Trip], Trip],
    family: str = "",
    step: int = 0,
    how: str = "",
) -> Option:
    return Option(Change(key, text, effort, how), apply, frozenset(helps), family or key, step=step)


def _at_pick_up(trip: Trip) -> Iterator[Option]:
    if trip.under_way is not None:  # the levels are what was read
        return
    levels, van = trip.levels, trip.van
    if levels.fresh_l < van.fresh_l or levels.flush_l < van.flush_l:
        yield _option(
            "full water", "Fill fresh and flush water at pick-up, before the first drive", 1, _WATER,
            lambda t: replace(t, levels=replace(t.levels, fresh_l=t.van.fresh_l, flush_l=t.van.flush_l)),
            how=f"[levels] fresh_l = {van.fresh_l:g}, flush_l = {van.flush_l:g}",
        )  # fmt: skip
    full = van.gas_bottle_kg * van.gas_bottles
    if levels.gas_kg < full - 0.01:
        yield _option(
            "full gas", f"Ask the firm for full gas bottles at pick-up ({full:g} kg)", 1, {"gas"},
            lambda t: replace(t, levels=replace(t.levels, gas_kg=t.van.gas_bottle_kg * t.van.gas_bottles)),
            how=f"[levels] gas_kg = {full:g}",
        )  # fmt: skip
    if levels.cassette_l > 0 or levels.grey_l > 0:
        yield _option(
            "empty at pick-up", "Ask the firm for an empty cassette and grey barrel at pick-up", 1, _WASTE,
            lambda t: replace(t, levels=replace(t.levels, cassette_l=0.0, grey_l=0.0)),
            how="[levels] cassette_l = 0, grey_l = 0",
        )  # fmt: skip


def _presumed(trip: Trip) -> Iterator[Option]:
    if not trip.presumed_offers:
        yield _option(
            "presumed offers", "Accept offers that are presumed, and telephone before you rely on them", 1, _STORES | {"night"},
            lambda t: replace(t, presumed_offers=True), how="[wishes] presumed_offers = true",
        )  # fmt: skip


def _habits(trip: Trip) -> Iterator[Option]:
    party = trip.party
    if party.toilet_share_with_block > BLOCK_BY_DAY:
        yield _option(
            "toilet block", "Use the toilet block by day wherever a site has one, and the toilet aboard only at night", 2,
            {"cassette", "flush"}, lambda t: replace(t, party=replace(t.party, toilet_share_with_block=BLOCK_BY_DAY)),
            how=f"in the party: toilet_share_with_block = {BLOCK_BY_DAY:g}",
        )  # fmt: skip
    if party.showers_per_day > 0 and trip.van.shower_aboard:
        yield _option(
            "no showers aboard", "Shower only where a site has showers, never aboard", 2, {"fresh", "grey", "gas"},
            lambda t: replace(t, van=replace(t.van, shower_aboard=False)),
            how="in the van: shower_aboard = false",
        )  # fmt: skip
    if trip.van.fridge_towing == "battery":  # apart, no steps: what spares the battery warms the fridge, which may have a limit
        yield _option(
            "fridge on the car", "Run the fridge on the car's 12 V while towing, off aboard a ferry: ask whether car and lead feed it", 1,
            {"battery"}, partial(_with_fridge_on, "car_12v"), "fridge while towing", how='in the van: fridge_towing = "car_12v"',
        )  # fmt: skip
        yield _option(
            "fridge off", "Leave the fridge off while towing and aboard a ferry: door shut, ice packs, shop on arrival", 2,
            {"battery"}, partial(_with_fridge_on, "none"), "fridge while towing", how='in the van: fridge_towing = "none"',
        )  # fmt: skip


def _equipment(trip: Trip) -> Iterator[Option]:
    if trip.under_way is not None:  # the firm and its store of spare parts lie behind
        return
    van = trip.van
    for more in range(1, 4 - van.cassettes + 1):
        yield _option(
            "spare cassette", f"Ask the firm for {_spare(more, 'cassette')}, clean and with a cap", 2, {"cassette"},
            partial(_with_cassettes, more), "cassettes", more,
            how=f"in the van: cassettes = {van.cassettes + more}",
        )  # fmt: skip
    for more in range(1, 4 - van.gas_bottles + 1):
        yield _option(
            "spare gas bottle", f"Ask the firm for {_spare(more, 'gas bottle')} ({van.gas_bottle_kg:g} kg), full", 2, {"gas"},
            partial(_with_bottles, more), "bottles", more,
            how=f"in the van: gas_bottles = {van.gas_bottles + more}; [levels] gas_kg = {trip.levels.gas_kg + more * van.gas_bottle_kg:g}",
        )  # fmt: skip
    if not van.piped_water and 2 * van.fresh_l <= 400:
        yield _option(
            "second barrel", f"Take a second water barrel of {van.fresh_l:g} L, filled when the first is", 2, {"fresh"},
            lambda t: replace(t, van=replace(t.van, fresh_l=2 * t.van.fresh_l)),
            how=f"in the van: fresh_l = {2 * van.fresh_l:g}",
        )  # fmt: skip
    if 2 * van.grey_l <= 400:
        yield _option(
            "second grey barrel", f"Take a second grey barrel of {van.grey_l:g} L", 2, {"grey"},
            lambda t: replace(t, van=replace(t.van, grey_l=2 * t.van.grey_l)),
            how=f"in the van: grey_l = {2 * van.grey_l:g}",
        )  # fmt: skip


def _spare(count: int, what: str) -> str:
    return f"one more {what}" if count == 1 else f"{count} more {what}s"


def _wishes(trip: Trip) -> Iterator[Option]:
    if trip.site_kinds:
        yield _option(
            "any site",
            "Accept sites of every kind",
            2,
            frozenset(),
            lambda t: replace(t, site_kinds=()),
            how="[wishes] site_kinds = []",
        )
    if trip.avoid:
        yield _option(
            "nothing avoided",
            "Accept the places you wished to avoid",
            3,
            frozenset(),
            lambda t: replace(t, avoid=()),
            how="avoid = []",
        )
    wanted, behind = trip.powered_nights_at_least, trip.under_way
    slept_powered, singles = (behind.powered, behind.singles) if behind is not None else (0, 0)  # the trip's file counts them too
    for less in range(1, wanted + 1):
        yield _option(
            "fewer powered nights", f"Be content with {wanted - less} powered nights instead of {wanted}", 2, {"powered nights"} | _STORES,
            partial(_with_powered, wanted - less), "powered", less,
            how=f"[wishes] powered_nights_at_least = {slept_powered + wanted - less}",
        )  # fmt: skip
    stays = trip.max_one_night_stays
    for more in range(1, trip.nights - stays + 1) if stays >= 0 else ():
        yield _option(
            "one-night stays", f"Accept {stays + more} {'stay' if stays + more == 1 else 'stays'} of one night instead of {stays}", 2, {"one-night stays"} | _STORES,
            partial(_with_single, stays + more), "one-night stays", more,
            how=f"[wishes] max_one_night_stays = {singles + stays + more}",
        )  # fmt: skip
    if trip.fridge_limit_h >= 0:
        steps = [hours for hours in _FRIDGE_STEPS_H if trip.fridge_limit_h + hours <= 24]
        for step, hours in enumerate(steps, 1):
            yield _option(
                "warmer fridge", f"Let the fridge be above 5 °C for up to {trip.fridge_limit_h + hours:g} h of a day, with ice packs", 2, {"fridge"},
                partial(_with_warm_fridge, trip.fridge_limit_h + hours), "fridge", step,
                how=f"[wishes] fridge_limit_h = {trip.fridge_limit_h + hours:g}",
            )  # fmt: skip
        yield _option(
            "fridge as a caution", "Take the fridge's hours as a caution: ice packs, shop on arrival, nothing aboard that spoils", 3, {"fridge"},
            partial(_with_warm_fridge, -1.0), "fridge", len(steps) + 1, how="[wishes] take fridge_limit_h out",
        )  # fmt: skip
    if trip.budget_cents >= 0:
        yield _option(
            "budget",
            "Spend more than the budget",
            4,
            {"budget"},
            lambda t: replace(t, budget_cents=-1),
            how="[wishes] budget_cents, higher",
        )
    if not trip.ferries and trip.firm.ferries_allowed:
        yield _option(
            "ferries",
            "Take ferries",
            3,
            {"way", "driving", "sight"},
            lambda t: replace(t, ferries=True),
            how="[driving] ferries = true",
        )
    if not trip.tolls:
        yield _option(
            "tolls",
            "Use toll roads",
            2,
            {"way", "driving", "sight"},
            lambda t: replace(t, tolls=True),
            how="[driving] tolls = true",
        )


def _driving(trip: Trip) -> Iterator[Option]:
    late = {"driving", "sight", "way", "arrival", *_STORES}
    whole = trip.under_way is None  # on the way, the first day's limit is what is left of today's
    for step, minutes in enumerate(DRIVE_STEPS_MIN, 1):
        if trip.max_drive_s + 60 * minutes > 12 * 3600:
            break
        yield _option(
            "longer drive", f"Drive up to {minutes} min more in a day", 3, late,
            partial(_with_driving, 60 * minutes),
            "driving", step, how=f"[driving] max_h = {(trip.max_drive_s + 60 * minutes) / 3600:.4g}"
            + (f", first_day_max_h = {min(trip.first_day_drive_s / 60 + minutes, 720) / 60:.4g}" if whole else ""),
        )  # fmt: skip
    if trip.leave_after_min > 7 * 60:
        yield _option(
            "earlier start", "Be on the road from 07:00", 3, {"arrival", "opening hours", "driving", "late return"},
            lambda t: replace(t, leave_after_min=min(t.leave_after_min, 7 * 60)), how="[driving] leave_after = 07:00:00",
        )  # fmt: skip
    if trip.arrive_by_min < 20 * 60 or trip.sunset_margin_min > 15:
        yield _option(
            "later arrival", "Arrive as late as 20:00, or a quarter of an hour before sunset", 3, {"arrival", "opening hours", "driving"},
            lambda t: replace(t, arrive_by_min=max(t.arrive_by_min, 20 * 60), sunset_margin_min=min(t.sunset_margin_min, 15)),
            how="[driving] arrive_by = 20:00:00, sunset_margin_min = 15",
        )  # fmt: skip


def _standing(trip: Trip) -> Iterator[Option]:
    for day in trip.no_towing:
        yield _option(
            f"tow on {day.isoformat()}", f"Tow on {day_name(day)} after all", 3, {"no towing", *_STORES},
            partial(_towing_on, day),
            how=f"take {day.isoformat()} out of no_towing",
        )  # fmt: skip


def _bookings(trip: Trip) -> Iterator[Option]:
    ordered = sorted(trip.bookings, key=lambda b: b.night)
    for _, group in groupby(ordered, key=lambda b: (b.spot.place, b.spot.lon, b.spot.lat)):
        run = list(group)
        shorter = {"first": (run[0],), "last": (run[-1],)} if len(run) > 1 else {}
        for which, gone in shorter.items():
            yield _without(gone, f"Give up the {which} booked night at {run[0].spot.name} ({day_name(gone[0].night)})", 4)
        nights = f"{len(run)} booked nights" if len(run) > 1 else f"booked night of {day_name(run[0].night)}"
        yield _without(tuple(run), f"Give up the {nights} at {run[0].spot.name}", 5)


def _without(gone: tuple[Booking, ...], text: str, effort: int) -> Option:
    days = {b.night for b in gone}
    # A booked stay on days without towing would hold the van where nothing is booked any more.
    return _option(
        f"booking {gone[0].night.isoformat()}+{len(gone)}", text, effort, frozenset(),
        lambda t: replace(
            t, bookings=tuple(b for b in t.bookings if b.night not in days),
            no_towing=tuple(d for d in t.no_towing if d not in days and d - timedelta(days=1) not in days),
        ),
        f"booking {gone[0].spot.place} {gone[0].spot.lon} {gone[0].spot.lat}",
        how=f"take out the [[bookings]] of {', '.join(b.night.isoformat() for b in gone)} and the days without towing that go with them",
    )  # fmt: skip


def _sights(trip: Trip) -> Iterator[Option]:
    for number, sight in enumerate(trip.sights):
        if sight.must:
            what = f"Leave out {sight.spot.name}" + (f" and its {sight.nights} nights" if sight.nights else "")
            yield _option(
                f"sight {number}", what, 4, {"sight", "driving", *_STORES},
                partial(_without_sight, sight),
                how=f"take out the [[sights]] of {sight.spot.name}",
            )  # fmt: skip
        if sight.must and sight.nights > 1:
            yield _option(
                f"nights at sight {number}", f"Stay one night less near {sight.spot.name}", 3, {"sight", *_STORES},
                partial(_shorter_at, sight),
                f"sight {number}", how=f"[[sights]] of {sight.spot.name}: nights = {nights_behind(sight, trip.under_way) + sight.nights - 1}",
            )  # fmt: skip


def _dates(trip: Trip) -> Iterator[Option]:
    if trip.nights < 35:
        yield _option(
            "one day more", f"Hire for one day more: return on {day_name(trip.return_by.date() + timedelta(days=1))}", 5,
            {"driving", "late return", "sight", "arrival", "way"}, lambda t: replace(t, return_by=t.return_by + timedelta(days=1)),
            how=f"[return] time = {trip.return_by + timedelta(days=1):%Y-%m-%dT%H:%M:%S}",
        )  # fmt: skip
    last = max((b.night for b in trip.bookings), default=date.min)
    if trip.nights > 1 and last < trip.return_by.date() - timedelta(days=1):
        yield _option(
            "one day less", f"Bring the van back a day earlier, on {day_name(trip.return_by.date() - timedelta(days=1))}", 5,
            _STORES | {"budget", "one-night stays"}, lambda t: replace(
                t, return_by=t.return_by - timedelta(days=1),
                no_towing=tuple(d for d in t.no_towing if d < t.return_by.date()),
            ), how=f"[return] time = {trip.return_by - timedelta(days=1):%Y-%m-%dT%H:%M:%S}",
        )  # fmt: skip


#: Offers that one call or a note of local knowledge may settle, with the stores they serve.
_ASKED = {
    "cassette": ("is a dump point for the toilet cassette", {"cassette"}), "grey": ("is a drain for grey water", {"grey"}),
    "fresh": ("is a drinking-water tap", {"fresh", "flush"}), "power": ("are mains hook-ups", {"battery", "powered nights"}),
}  # fmt: skip


def _ask(region: Region) -> Iterator[Option]:
    if not any(place.role == "site" for place in region.places):
        return
    for word, (what, helps) in _ASKED.items():
        option = _option(
            f"ask {word}", f"Ask whether there {what} at {{sites}}: the map does not say, and the plan needs it", 2, helps,
            lambda t: replace(t, presumed_offers=True), how="write the answers into a file of local places: tripplan region add",
        )  # fmt: skip
        yield replace(option, supposes=word)
    option = _option(
        "ask admits", "Ask whether a touring caravan may stay at {sites}: the map does not say, and the plan needs it", 2,
        {"night", "driving", "way", *_STORES}, lambda t: replace(t, presumed_offers=True),
        how="write the answers into a file of local places: tripplan region add",
    )  # fmt: skip
    yield replace(option, supposes="admits")


def suppose(region: Region, words: frozenset[str]) -> Region:
    """Return a region in which sites have what the map says nothing about; each such offer is marked as a supposition."""
    if not words:
        return region
    return replace(region, places=tuple(_supposed(place, words) for place in region.places))


def _supposed(place: Place, words: frozenset[str]) -> Place:
    if place.role != "site":
        return place
    if place.admits == Offer.UNKNOWN and "admits" in words:
        place = replace(place, admits=Offer.PRESUMED, admits_why=SUPPOSED)
    silent = [word for word in sorted(words - {"admits"}) if place.offer(word).answer == Offer.UNKNOWN]
    if not silent or place.admits not in (Offer.YES, Offer.PRESUMED):
        return place
    fact = OfferFact(Offer.PRESUMED, evidence=SUPPOSED)
    return replace(place, offers={**place.offers, **dict.fromkeys(silent, fact)})


# ------------------------------------------------------------------------------------------------- a trip with one change made


def _with_cassettes(more: int, trip: Trip) -> Trip:
    return replace(trip, van=replace(trip.van, cassettes=trip.van.cassettes + more))


def _with_bottles(more: int, trip: Trip) -> Trip:
    van = replace(trip.van, gas_bottles=trip.van.gas_bottles + more)
    return replace(trip, van=van, levels=replace(trip.levels, gas_kg=trip.levels.gas_kg + more * van.gas_bottle_kg))


def _with_powered(nights: int, trip: Trip) -> Trip:
    return replace(trip, powered_nights_at_least=nights)


def _with_warm_fridge(hours: float, trip: Trip) -> Trip:
    return replace(trip, fridge_limit_h=hours)


def _with_fridge_on(towing: str, trip: Trip) -> Trip:
    return replace(trip, van=replace(trip.van, fridge_towing=towing))


def _with_single(stays: int, trip: Trip) -> Trip:
    return replace(trip, max_one_night_stays=stays)


def _with_driving(more_s: int, trip: Trip) -> Trip:
    return replace(trip, max_drive_s=trip.max_drive_s + more_s, first_day_drive_s=min(trip.first_day_drive_s + more_s, 12 * 3600))


def _towing_on(day: date, trip: Trip) -> Trip:
    return replace(trip, no_towing=tuple(other for other in trip.no_towing if other != day))


def _without_sight(gone: Sight, trip: Trip) -> Trip:
    return replace(trip, sights=tuple(sight for sight in trip.sights if sight is not gone))


def _shorter_at(at: Sight, trip: Trip) -> Trip:
    return replace(trip, sights=tuple(replace(s, nights=s.nights - 1) if s is at else s for s in trip.sights))
