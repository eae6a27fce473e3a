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
from tripplan.roads.check import CheckResult, Stretch
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
            "remarks": [plain(remark) for remark in result.track.remarks],
        }  # fmt: skip
    else:
        names = [plain(spot.name) for spot in result.waypoints]
        out |= {
            "way_points": names, "towing_s": round(result.total_s),
            "gaps": [_gap(names, g.first, g.second, g.why) for g in result.gaps], "sealed_way": result.sealed_way,
            "advised": {
                "length_m": round(sum(leg.length_m for leg in result.advised), 1),
                "towing_s": round(sum(leg.drive_s + leg.ferry_s for leg in result.advised)),
                "left_out": [_gap(names, g.first, g.second, g.why) for g in result.advised_gaps],
            } if result.advised else None,
        }  # fmt: skip
    out["stretches"] = [_stretch(s) for s in result.stretches]
    return json.dumps(out, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def _gap(names: list[str], first: int, second: int, why: str) -> dict[str, Any]:
    return {"from": names[first], "to": names[second] if second >= 0 else None, "why": plain(why)}


def _stretch(s: Stretch) -> dict[str, Any]:
    out: dict[str, Any] = asdict(s)
    del out["leg"]
    for key, digits in (("from_m", 1), ("length_m", 1), ("lon", 6), ("lat", 6), ("town_km", 2), ("sealed_p", 3)):
        out[key] = round(out[key], digits) if math.isfinite(out[key]) else None
    out["why"] = [plain(text) for text in s.why]
    for key in ("name", "ref", "town"):
        out[key] = plain(out[key])
    out["osm_way"] = s.osm_way or None
    return out
