"""Random trips on a region, written as a person would write them and read as a trip file is; and random ways to spoil a plan."""

from __future__ import annotations

from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import Any

import numpy as np

from tripplan.model.trip import Trip
from tripplan.model.words import Offer
from tripplan.region.region import Region
from tripplan.request.forms import Origin
from tripplan.request.trip_file import trip_of

SAMPLE = Path(__file__).resolve().parents[2] / "data_sample"
VANS = ("vans/four_berth.toml", "vans/two_berth.toml")
PARTIES = ("parties/couple.toml", "parties/family.toml", "parties/friends_with_dog.toml")
OUTFITS = ("outfits/estate_and_four_berth.toml", "outfits/hatchback_and_two_berth.toml")


def random_trip(region: Region, seed: int, *, easy: bool = False) -> Trip:
    """Return a trip; same region and seed, same trip; ``easy``: asks less, for maps that tell little of what places offer.

    Raises
    ------
    BadInputError
        Where chance put together what a trip file may not hold.
    """
    file = SAMPLE / f"random_{seed}.toml"
    return trip_of(eased(written(region, seed)) if easy else written(region, seed), file, region, Origin(file.name, ""))


def written(region: Region, seed: int) -> dict[str, Any]:
    """Return the trip as its file would hold it."""
    rng = np.random.default_rng((2026, seed))
    chance = lambda share: bool(rng.random() < share)  # noqa: E731
    pick = lambda rows: rows[int(rng.integers(len(rows)))]  # noqa: E731
    nights = int(rng.integers(2, 10))
    day = date(2026, 1, 1) + timedelta(days=int(rng.integers(365)))
    begin = datetime.combine(day, time(int(rng.integers(8, 14))))
    end = datetime.combine(day + timedelta(days=nights), time(int(rng.integers(12, 18))))
    dates = [(begin + timedelta(days=k)).date() for k in range(nights + 1)]
    sites = [p for p in region.places if p.role == "site"]
    open_sites = [p for p in sites if p.admits >= Offer.PRESUMED] or sites
    sights = [p for p in region.places if p.role == "sight"]
    depots = [
        *(f"{lat / 1e7:.6f}, {lon / 1e7:.6f}" for lon, lat in zip(region.towns.lon_e7, region.towns.lat_e7, strict=True)),
        *(p.ref for p in open_sites[:40]),
    ]
    small = chance(0.4)
    hours = pick(("", "", "", "Mo-Sa 08:00-18:00", "Mo-Su 07:00-20:00"))
    if hours.startswith("Mo-Sa"):  # else most such trips are refused at once
        begin, end = (t + timedelta(days=t.weekday() == 6) for t in (begin, end))
        dates = [begin.date() + timedelta(days=k) for k in range((end.date() - begin.date()).days + 1)]
        nights = len(dates) - 1
    van = _van(rng, small)
    raw: dict[str, Any] = {
        "name": f"random trip {seed}", "van": van, "party": PARTIES[0] if small and chance(0.5) else PARTIES[2] if small else pick(PARTIES),
        "firm": {**_firm(rng), "depot_hours": hours}, "outfit": OUTFITS[small],
        "pick_up": {"place": pick(depots), "time": begin}, "return": {"time": end},
        "confidence": float(rng.choice([0.8, 0.9, 0.95, 0.95, 0.95, 0.99])),
        "driving": {"max_h": float(rng.choice([1.5, 2, 3, 4, 5])), "first_day_max_h": float(rng.choice([1, 2, 3])), "drivers": int(rng.integers(1, 3)),
                    "ferries": chance(0.8), "tolls": chance(0.8), "sunset_margin_min": int(rng.choice([0, 30, 45, 90])), "hourly_closures_all_day": chance(0.7)},
        "levels": _levels(rng, small, van),
        "wishes": {"presumed_offers": chance(0.75)},
    }  # fmt: skip
    if chance(0.2):
        raw["return"]["place"] = pick(depots)
    wishes = raw["wishes"]
    if chance(0.3):
        wishes["powered_nights_at_least"] = int(rng.integers(0, nights + 1))
    if chance(0.25):
        wishes["max_one_night_stays"] = int(rng.integers(0, 3))
    if chance(0.15):
        wishes["budget_cents"] = int(rng.integers(8_000, 15_000)) * nights
    if chance(0.1):
        wishes["site_kinds"] = ["caravan site", "camp site"]
    if chance(0.05):
        wishes["fridge_limit_h"] = float(rng.choice([6, 12, 20]))
    if chance(0.3):
        raw["avoid"] = sorted({pick(open_sites).ref for _ in range(2)})
    if chance(0.3):
        raw["no_towing"] = sorted({pick(dates[1:-1] or dates) for _ in range(int(rng.integers(1, 3)))})
    if chance(0.3):
        site, first, many = pick(open_sites), int(rng.integers(nights)), int(rng.integers(1, 4))
        raw["bookings"] = [{"night": night, "place": site.ref} for night in dates[:-1][first : first + many]]
    if sights:
        raw["sights"] = [_sight(rng, pick(sights), nights) for _ in range(int(rng.integers(0, 4)))]
    if chance(0.25):
        site = pick(open_sites)
        raw.setdefault("sights", []).append(
            {"place": site.ref, "nights": int(rng.integers(1, min(nights, 3) + 1)), "near_km": float(rng.choice([5, 15, 30]))}
        )
    if chance(0.3):
        raw["weights"] = {
            "drive_hour_cents": int(rng.integers(0, 3000)), "service_stop_cents": int(rng.integers(0, 1500)), "one_night_cents": int(rng.integers(0, 2000)),
            "km_cents": int(rng.integers(5, 60)), "unpowered_night_cents": int(rng.choice([0, 1500])), "no_shower_night_cents": int(rng.choice([0, 1000])),
            "far_km_cents": int(rng.choice([0, 20])),
        }  # fmt: skip
    return raw


def eased(raw: dict[str, Any]) -> dict[str, Any]:
    """Return a trip of at most three nights without what no place may give: bookings, must-see sights, an empty barrel on return."""
    end = min(
        raw["return"]["time"], datetime.combine(raw["pick_up"]["time"].date() + timedelta(days=3), raw["return"]["time"].time())
    )
    last = end.date()
    firm = {
        **raw["firm"],
        "depot_hours": "",
        "return_cassette_empty": False,
        "return_grey_empty": False,
        "return_gas_kg": 0.0,
        "last_mile_m": 2000.0,
    }
    sights = [{"value_cents": 1000, **s, "must": False} for s in raw.get("sights", []) if not s.get("nights")]
    return {
        **{k: v for k, v in raw.items() if k not in ("bookings", "avoid")}, "firm": firm, "sights": sights,
        "return": {**raw["return"], "time": end}, "van": {**raw["van"], "cassettes": 2, "gas_bottles": 2, "battery_ah": 200.0, "solar_w": 400.0},
        "levels": {k: v for k, v in raw["levels"].items() if k == "cassette_l"} | {"fresh_l": raw["van"]["fresh_l"], "flush_l": raw["van"]["flush_l"]},
        "no_towing": [d for d in raw.get("no_towing", []) if d < last], "wishes": {"presumed_offers": True},
    }  # fmt: skip


def _sight(rng: np.random.Generator, place: Any, nights: int) -> dict[str, Any]:
    must = bool(rng.random() < 0.3)
    sight = {
        "place": place.ref,
        "must": must,
        "via": str(rng.choice(["either", "van", "car only"])),
        "hours": float(rng.choice([0.5, 1, 2, 3])),
    }
    return sight if must else {**sight, "value_cents": int(rng.integers(200, 5000))}


def _firm(rng: np.random.Generator) -> dict[str, Any]:
    return {
        "name": "Long Lee Vans", "phone": "+999 5550 000", "towing_limit_kmh": float(rng.choice([80, 85, 100])), "last_mile_m": float(rng.choice([500, 1000, 2000])),
        "last_mile_at_stops": bool(rng.random() < 0.3), "car_surface": str(rng.choice(["any", "sealed"])), "ferries_allowed": bool(rng.random() < 0.8),
        "return_cassette_empty": bool(rng.random() < 0.7),
        "return_grey_empty": bool(rng.random() < 0.7), "return_gas_kg": float(rng.choice([0, 0, 1, 2])), "handover_min": int(rng.choice([30, 60, 90])), "return_min": 60, "emergency_number": "112",
    }  # fmt: skip


def _van(rng: np.random.Generator, small: bool) -> dict[str, Any]:
    import tomllib

    van: dict[str, Any] = tomllib.loads((SAMPLE / VANS[small]).read_text("utf-8"))
    for name in ("fresh_l", "grey_l", "battery_ah", "solar_w"):
        van[name] = float(round(van[name] * rng.uniform(0.7, 2.0)))
    van["cassettes"] = int(rng.choice([1, 1, 2]))
    van["gas_bottles"] = int(rng.choice([1, 2, 2]))
    van["gas_propane"] = float(rng.choice([1, 1, 0.6]))
    van["flush_l"] = float(rng.choice([van["flush_l"], van["flush_l"], 0]))
    van["battery_kind"] = str(rng.choice(["agm", "agm", "flooded", "gel", "lifepo4"]))
    van["battery_depth"] = 0.8 if van["battery_kind"] == "lifepo4" else 0.5
    van["fridge_towing"] = str(rng.choice(["none", "car_12v", "battery"]))
    van["car_charge_a"] = float(rng.choice([0, 0, 10]))
    van["piped_water"] = bool(rng.random() < 0.3)
    return van


def _levels(rng: np.random.Generator, small: bool, van: dict[str, Any]) -> dict[str, Any]:
    levels = {
        "fresh_l": van["fresh_l"] * float(rng.choice([1, 1, 0, 0.3])), "flush_l": van["flush_l"] * float(rng.choice([1, 1, 0, 0.5])),
        "grey_l": van["grey_l"] * float(rng.choice([0, 0, 0, 0.3])), "cassette_l": van["cassette_l"] * float(rng.choice([0, 0, 0, 0.2])),
    }  # fmt: skip
    if rng.random() < 0.3:
        levels["gas_kg"] = van["gas_bottle_kg"] * van["gas_bottles"] * float(rng.uniform(0.4, 1))
    if rng.random() < 0.3:
        levels["battery_ah"] = van["battery_ah"] * float(rng.uniform(0.7, 1))
    return levels
