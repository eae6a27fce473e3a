"""What a check found, as JSON for other programs: the same figures as the list."""

from __future__ import annotations

import json
import math
from dataclasses import asdict
from datetime import date
from typing import Any

from tripplan.model.outfit import Outfit
from tripplan.region.region import Region
from tripplan.report.safe import plain
from tripplan.roads.check import Boat, CheckResult, Detour, Stretch
from tripplan.roads.track_check import TrackCheck

__all__ = ["check_json"]


def check_json(result: CheckResult | TrackCheck, region: Region, outfit: Outfit, when: date) -> str:
    """Return the result of a check as JSON text: lengths in m, places in degrees, the same input giving the same text."""
    out: dict[str, Any] = {
        "format": "tripplan check 1",
        "checked": "track" if isinstance(result, TrackCheck) else "way-points",
        "outfit": plain(outfit.name),
        "date": when.isoformat(),
        "region": plain(region.meta.name),
        "data_date": plain(region.meta.data_date),
        "attribution": plain(region.meta.attribution),
        "forbidden": result.forbidden,
        "length_m": round(result.length_m, 1),
    }
    if isinstance(result, TrackCheck):
        out |= {
            "track": plain(result.track.name), "points": len(result.track.lon), "matched_m": round(result.told_m, 1),
            "noise_m": round(result.match.noise_m, 1), "speeds_judged": result.timed,
            "carriageway_untold_m": round(result.twins_untold_m, 1),
            "remarks": [plain(remark) for remark in result.track.remarks],
            "over_limit": {
                "stretches": result.over_limit.stretches, "length_m": round(result.over_limit.length_m, 1),
                "seconds": round(result.over_limit.seconds), "most_kmh": round(result.over_limit.most_kmh, 1),
                "from_m": round(result.over_limit.at_m, 1),
            } if result.timed else None,
        }  # fmt: skip
    else:
        names = [plain(spot.name) for spot in result.waypoints]
        out |= {
            "way_points": names, "towing_s": round(result.total_s),
            "legs": _legs(names, result),
            "gaps": [_gap(names, g.first, g.second, g.why) for g in result.gaps], "sealed_way": result.sealed_way,
            "ferries": [_boat(boat) for boat in result.ferries],
            "shorter": [_detour(names, detour) for detour in result.detours],
            "advised": {
                "length_m": round(sum(leg.length_m for leg in result.advised), 1),
                "towing_s": round(sum(leg.drive_s + leg.ferry_s for leg in result.advised)),
                "left_out": [_gap(names, g.first, g.second, g.why) for g in result.advised_gaps],
            } if result.advised else None,
        }  # fmt: skip
    out["tolls"] = [_rounded(asdict(toll)) for toll in result.tolls]
    out["stretches"] = [_stretch(s) for s in result.stretches]
    return json.dumps(out, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def _gap(names: list[str], first: int, second: int, why: str) -> dict[str, Any]:
    return {"from": names[first], "to": names[second] if second >= 0 else None, "why": plain(why)}


def _legs(names: list[str], result: CheckResult) -> list[dict[str, Any]]:
    """Return each leg with its answer: ``clear``, ``forbidden`` or ``no way``."""
    bad = {s.leg for s in result.stretches if s.forbidden}
    return [
        {
            "from": names[k], "to": names[k + 1], "length_m": round(leg.length_m, 1) if leg else None,
            "answer": "no way" if leg is None else "forbidden" if k in bad else "clear",
        }
        for k, leg in enumerate(result.legs)
    ]  # fmt: skip


def _boat(boat: Boat) -> dict[str, Any]:
    """Return a ferry with what the map says of it; what it is silent about is null or empty."""
    out: dict[str, Any] = {"from_m": round(boat.from_m, 1)}
    for key, value in asdict(boat.crossing).items():
        number = isinstance(value, float)
        out[key] = (
            (round(value, 1) if math.isfinite(value) else None) if number else plain(value) if isinstance(value, str) else value
        )
    return out


def _detour(names: list[str], detour: Detour) -> dict[str, Any]:
    way = detour.way
    return {
        "from": names[way.leg], "to": names[way.leg + 1], "length_m": round(way.length_m, 1), "longer_m": round(way.longer_m, 1),
        "stretches": [_stretch(s) for s in detour.stretches],
    }  # fmt: skip


def _stretch(s: Stretch) -> dict[str, Any]:
    out = asdict(s)
    del out["leg"]
    out["why"] = [plain(text) for text in s.why]
    return _rounded(out)


def _rounded(out: dict[str, Any]) -> dict[str, Any]:
    """Return figures to the digits that they have, texts made plain."""
    for key, digits in (("from_m", 1), ("length_m", 1), ("lon", 6), ("lat", 6), ("town_km", 2), ("sealed_p", 3)):
        if key in out:
            out[key] = round(out[key], digits) if math.isfinite(out[key]) else None
    for key in ("name", "ref", "town"):
        out[key] = plain(out[key])
    out["osm_way"] = out["osm_way"] or None
    return out
