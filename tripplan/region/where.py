"""In which country and time zone a region lies, and how that is known."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from tripplan.osm.raw import RawArea, RawMap

__all__ = ["country_of", "inside", "state_of", "zone_countries"]


def inside(lon_e7: NDArray[np.int32], lat_e7: NDArray[np.int32], area: RawArea) -> NDArray[np.bool_]:
    """Whether points lie in an area: even number of crossings of any ring is out."""
    result = np.zeros(len(lon_e7), bool)
    x, y = lon_e7.astype(np.float64), lat_e7.astype(np.float64)
    for ring in (*area.outer, *area.inner):
        ax, ay = ring[:-1, 0].astype(np.float64), ring[:-1, 1].astype(np.float64)
        bx, by = ring[1:, 0].astype(np.float64), ring[1:, 1].astype(np.float64)
        step = max(1, 4_000_000 // max(len(ax), 1))
        for start in range(0, len(x), step):
            px, py = x[start : start + step, None], y[start : start + step, None]
            spans = (ay <= py) != (by <= py)
            with np.errstate(divide="ignore", invalid="ignore"):
                crosses = spans & (px < ax + (py - ay) * (bx - ax) / (by - ay))
            result[start : start + step] ^= (crosses.sum(axis=1) % 2).astype(bool)
    return result


@lru_cache(maxsize=1)
def zone_countries() -> dict[str, tuple[str, ...]]:
    """Return the countries of each time zone, by the zone tables of the time zone database (zone1970.tab, then zone.tab)."""
    import zoneinfo
    from importlib import resources
    from pathlib import Path

    found: dict[str, tuple[str, ...]] = {}
    for name in ("zone.tab", "zone1970.tab"):
        texts: list[str] = []
        try:
            texts.append((resources.files("tzdata") / "zoneinfo" / name).read_text(encoding="utf-8"))
        except (ModuleNotFoundError, FileNotFoundError, OSError):
            texts += [
                (Path(folder) / name).read_text(encoding="utf-8") for folder in zoneinfo.TZPATH if (Path(folder) / name).is_file()
            ][:1]
        for text in texts:
            for line in text.splitlines():
                if line and not line.startswith("#"):
                    codes, _, zone = line.split("\t")[:3]
                    found.setdefault(zone, tuple(codes.split(",")))
    return found


def country_of(raw: RawMap, zone: str) -> tuple[str, str]:
    """Return ISO 3166-1 code and how it is known ("" when it is not).

    The file's own boundary of admin_level 2 rules if it is whole and holds more than half of a sample of the road
    points; then the time zone, where it belongs to one country.
    """
    step = max(1, len(raw.lon_e7) // 2000)
    lon, lat = raw.lon_e7[::step], raw.lat_e7[::step]
    best, share = "", 0.5
    for area in raw.country_areas:
        code = next(
            (area.tags[key] for key in ("ISO3166-1:alpha2", "ISO3166-1", "country_code_iso3166_1_alpha_2") if area.tags.get(key)),
            "",
        )
        if len(code) != 2 or not code.isalpha():
            continue
        held = float(inside(lon, lat, area).mean())
        if held > share:
            best, share = code.upper(), held
    if best:
        return best, f"boundary of the map holds {share:.0%} of the roads"
    countries = zone_countries().get(zone, ())
    if len(countries) == 1:
        return countries[0], f"time zone {zone}"
    return "", f"time zone {zone} is in {', '.join(countries)}" if countries else "not known"


#: Share of the road points that a state has to hold for its own limits to count on all of them.
_WHOLLY = 0.995


def state_of(raw: RawMap) -> str:
    """Return the ISO 3166-2 code of the state that holds the roads, "" when none holds (nearly) all of them.

    Of a region that reaches into a neighbour state nothing is said: the strictest limits of the country then hold.
    """
    step = max(1, len(raw.lon_e7) // 2000)
    lon, lat = raw.lon_e7[::step], raw.lat_e7[::step]
    for area in raw.state_areas:
        if float(inside(lon, lat, area).mean()) >= _WHOLLY:
            return area.tags.get("ISO3166-2", "").upper()
    return ""
