"""Posted speeds, towing speeds with what ruled, and curves against published tables."""

import math
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tripplan.model.outfit import Outfit
from tripplan.model.words import Ruling
from tripplan.region.columns import HIGHWAYS, Flag
from tripplan.rules import speed as module
from tripplan.rules.speed import (
    CLASS_KMH,
    FERRY_KMH,
    NO_LIMIT_KMH,
    ROUGH_KMH,
    WALK_KMH,
    built_up,
    curve_radius,
    curve_speed,
    dual,
    parse_speed,
    posted,
    towing_speed,
)

nan = math.nan
RULINGS = list(Ruling)


@pytest.mark.parametrize(
    ("text", "kmh"),
    [
        ("50", 50), ("50 km/h", 50), ("50 mph", 80.4672), ("50mph", 80.4672), ("10 knots", 18.52), ("walk", WALK_KMH), ("none", NO_LIMIT_KMH),
        ("80;60", 60), ("60;80", 60), ("80; walk", WALK_KMH), ("100|80", 80), ("DE:urban", 50), ("FR:urban", 50), ("GB:nsl_single", 96.56064),
        ("GB:nsl_dual", 112.65408), ("DE:zone30", 30), ("DE:zone:30", 30), ("AT:zone:20", 20), ("zone30", 30), ("CH:rural", 80),
        ("signals", nan), ("variable", nan), ("", nan), ("0", nan), ("-50", nan), ("fast", nan), ("DE:nowhere", nan), ("50 mps", nan),
    ],
)  # fmt: skip
def test_parse(text: str, kmh: float) -> None:
    """Numbers, units, words, lists (the lowest) and implicit limits (national figures for cars from memory)."""
    assert parse_speed(text) == pytest.approx(kmh, nan_ok=True)


def triple(**tags: str) -> tuple[float, float, float]:
    found = posted({key.replace("__", ":"): value for key, value in tags.items()})
    return found.forward, found.backward, found.trailer


def test_posted_by_direction_and_for_trailers() -> None:
    """Directions win over the plain key; trailers have their own; conditions that are not ours are left out."""
    assert triple(maxspeed="80") == pytest.approx((80, 80, nan), nan_ok=True)
    assert triple(maxspeed="80", maxspeed__forward="60") == pytest.approx((60, 80, nan), nan_ok=True)
    assert triple(maxspeed__backward="50") == pytest.approx((nan, 50, nan), nan_ok=True)
    assert triple(maxspeed="110", maxspeed__trailer="90") == (110, 110, 90)
    assert triple(maxspeed="110", maxspeed__conditional="80 @ (trailer)") == (110, 110, 80)
    assert triple(maxspeed="110", maxspeed__conditional="90 @ (caravan); 80 @ (trailer)") == (110, 110, 80)
    for text in ("60 @ (weight>7.5)", "60 @ (hgv)", "130 @ (19:00-06:00)", "none @ (22:00-06:00)"):
        assert triple(maxspeed="110", maxspeed__conditional=text) == pytest.approx((110, 110, nan), nan_ok=True)
    assert triple(maxspeed="100", maxspeed__advisory="40", maxspeed__practical="30", maxspeed__hgv="60")[0] == 100
    assert triple(source__maxspeed="DE:urban")[0] == 50
    assert triple(maxspeed="70", source__maxspeed="DE:urban")[0] == 70
    assert math.isnan(triple(source__maxspeed="sign")[0])


def test_a_lower_limit_at_times_counts_always() -> None:
    """By hours, season or weather: the lower one, in its direction; without a plain limit there is none."""
    for text, kmh in (
        ("30 @ (Mo-Fr 07:00-09:00)", 30), ("80 @ wet", 80), ("30 @ (22:00-06:00); 50 @ (snow)", 30), ("90 @ (Nov-Apr); 130 @ (May)", 90),
    ):  # fmt: skip
        assert triple(maxspeed="110", maxspeed__conditional=text) == pytest.approx((kmh, kmh, nan), nan_ok=True)
        assert triple(maxspeed__conditional=text) == pytest.approx((nan, nan, nan), nan_ok=True)
    assert triple(maxspeed="100", maxspeed__forward__conditional="60 @ (wet)")[:2] == (60, 100)
    assert triple(maxspeed="100", maxspeed__trailer="90", maxspeed__trailer__conditional="70 @ (wet)") == (100, 100, 70)
    assert triple(maxspeed="100", maxspeed__motorcar="90")[0] == 90


def test_towns_and_duals() -> None:
    """What counts as built-up and as a dual carriageway, and what does not."""
    assert built_up({"highway": "primary", "zone:traffic": "DE:urban"})
    assert built_up({"highway": "residential", "lit": "yes"})
    assert not built_up({"highway": "primary", "lit": "yes"})
    assert not built_up({"highway": "primary", "maxspeed": "50", "zone:traffic": "DE:rural"})
    assert dual({"highway": "trunk", "oneway": "yes"})
    assert not dual({"highway": "trunk", "oneway": "yes", "junction": "roundabout"})
    assert not dual({"highway": "primary", "oneway": "yes", "source:maxspeed": "FR:urban"})
    assert dual({"highway": "tertiary", "dual_carriageway": "yes"})
    assert not dual({"highway": "tertiary", "oneway": "yes"})
    assert not dual({"highway": "primary", "oneway": "yes"})  # may as well be a street
    assert dual({"highway": "motorway"})
    assert dual({"highway": "trunk"}, one_way=-1)
    assert not dual({"highway": "trunk", "oneway": "yes"}, one_way=0)


def outfit(limit: float = 130, *, towing: bool = True, mass: float = 3400, approved: bool = False) -> Outfit:
    return Outfit("outfit", towing, mass, 1500, 1400, 2.6, 2.3, 11.5, limit, approved_100=approved)


def one(
    highway: str,
    country: str,
    who: Outfit,
    *,
    fwd: float = nan,
    bwd: float | None = None,
    trailer: float = nan,
    flags: int = 0,
    region: str = "",
) -> tuple[float, Ruling]:
    ways = SimpleNamespace(
        highway=np.array([HIGHWAYS.index(highway)], np.uint8), flags=np.array([flags], np.uint16), speed_fwd=np.array([fwd], np.float32),
        speed_bwd=np.array([fwd if bwd is None else bwd], np.float32), speed_trailer=np.array([trailer], np.float32),
    )  # fmt: skip
    found = towing_speed(ways, who, country, region)
    return float(found.fwd[0]), RULINGS[found.ruling_fwd[0]]


def test_the_flags_are_the_regions() -> None:
    """Bits and class defaults agree with the region's columns, which this room may not import."""
    assert (module.FLAG_FERRY, module.FLAG_MOTORROAD, module.FLAG_BUILT_UP, module.FLAG_DUAL, module.FLAG_ROUGH, module.FLAG_TOWN) == (
        Flag.FERRY, Flag.MOTORROAD, Flag.BUILT_UP, Flag.DUAL, Flag.ROUGH, Flag.TOWN,
    )  # fmt: skip
    assert set(CLASS_KMH) == set(HIGHWAYS)


def test_what_rules() -> None:
    """Each of the causes rules once, and its number is the lowest of all."""
    assert one("motorway", "NZ", outfit(80), fwd=110) == (80, Ruling.OUTFIT)
    assert one("motorway", "NZ", outfit(), fwd=110) == (90, Ruling.NATIONAL_TABLE)
    assert one("primary", "NZ", outfit(), fwd=80) == (80, Ruling.POSTED)
    assert one("primary", "NZ", outfit(), fwd=100, trailer=70) == (70, Ruling.POSTED_TRAILER)
    assert one("tertiary", "NZ", outfit()) == (CLASS_KMH["tertiary"], Ruling.CLASS_DEFAULT)
    assert one("primary", "NZ", outfit(), fwd=80, flags=Flag.ROUGH) == (ROUGH_KMH, Ruling.SURFACE)
    assert one("ferry", "NZ", outfit(), flags=Flag.FERRY) == (FERRY_KMH, Ruling.FERRY)


def test_class_default_only_where_nothing_is_posted() -> None:
    """A posted 80 on a small road is not cut to the class's 40; posted for trailers counts as posted."""
    assert one("tertiary", "", outfit(), fwd=80) == (80, Ruling.POSTED)
    assert one("tertiary", "", outfit(), trailer=70) == (70, Ruling.POSTED_TRAILER)


# The worked cases of the national sources: see the almanac's tests for the sources themselves.
def test_national_cases() -> None:
    """NZ, GB, DE, NSW, WA and California, with kinds of road from class and flags."""
    assert one("primary", "NZ", outfit(), fwd=100)[0] == 90
    assert one("primary", "GB", outfit(), fwd=60 * 1.609344)[0] == pytest.approx(80.47, abs=0.01)
    assert one("trunk", "GB", outfit(), fwd=70 * 1.609344, flags=Flag.DUAL)[0] == pytest.approx(96.56, abs=0.01)
    assert one("motorway", "DE", outfit(), fwd=NO_LIMIT_KMH) == (80, Ruling.NATIONAL_TABLE)
    assert one("motorway", "DE", outfit(approved=True), fwd=NO_LIMIT_KMH)[0] == 100
    assert one("trunk", "DE", outfit(approved=True), fwd=120, flags=Flag.MOTORROAD)[0] == 100
    assert one("trunk", "DE", outfit(approved=True), fwd=100)[0] == 80
    assert one("motorway", "AU", outfit(mass=4600), fwd=110, region="NSW")[0] == 100
    assert one("motorway", "AU", outfit(mass=4400), fwd=110, region="NSW")[0] == 110
    assert one("motorway", "AU", outfit(), fwd=110, region="WA")[0] == 100
    assert one("motorway", "US", outfit(), fwd=65 * 1.609344, region="CA")[0] == pytest.approx(88.51, abs=0.01)
    assert one("primary", "DE", outfit(), flags=Flag.BUILT_UP) == (50, Ruling.NATIONAL_TABLE)


def test_a_town_known_by_its_streets() -> None:
    """It bounds a road where nothing is posted, by the country's figure or 50; a sign there has the last word."""
    assert one("trunk", "DE", outfit(), flags=Flag.TOWN) == (50, Ruling.NATIONAL_TABLE)
    assert one("trunk", "GB", outfit(), flags=Flag.TOWN)[0] == pytest.approx(30 * 1.609344)
    assert one("trunk", "NZ", outfit(), flags=Flag.TOWN) == (50, Ruling.TOWN)
    assert one("trunk", "NZ", outfit(), fwd=70, flags=Flag.TOWN) == (70, Ruling.POSTED)
    assert one("trunk", "DE", outfit(), fwd=70, flags=Flag.TOWN) == (70, Ruling.POSTED)
    assert one("trunk", "DE", outfit(), fwd=70, flags=Flag.BUILT_UP) == (50, Ruling.NATIONAL_TABLE)
    assert one("residential", "NZ", outfit(), flags=Flag.TOWN) == (CLASS_KMH["residential"], Ruling.CLASS_DEFAULT)


def test_the_car_alone() -> None:
    """Without the van neither the national towing table nor limits for trailers hold."""
    assert one("motorway", "DE", outfit(110, towing=False), fwd=NO_LIMIT_KMH) == (110, Ruling.OUTFIT)
    assert one("primary", "NZ", outfit(110, towing=False), fwd=100, trailer=70) == (100, Ruling.POSTED)


@given(
    st.sampled_from(HIGHWAYS[:-1]), st.sampled_from(["", "NZ", "GB", "DE", "FR", "US"]), st.floats(20, 130), st.floats(5, 250), st.floats(0, 100),
    st.sampled_from([nan, 60.0, 90.0]), st.integers(0, 2047),
)  # fmt: skip
def test_a_faster_posted_limit_never_slows(
    highway: str, country: str, own: float, fwd: float, more: float, trailer: float, flags: int
) -> None:
    """Raising the posted limit never lowers the speed, and no speed passes any single limit."""
    slow, _ = one(highway, country, outfit(own), fwd=fwd, trailer=trailer, flags=flags)
    fast, ruling = one(highway, country, outfit(own), fwd=fwd + more, trailer=trailer, flags=flags)
    assert fast >= slow - 1e-4
    assert fast <= own + 1e-4 or ruling == Ruling.FERRY
    assert fast <= fwd + more + 1e-4 or ruling == Ruling.FERRY


# AASHTO Green Book (2011) metric table of minimum radii for e = 6 % with f = .19, .17, .14, .12: 79, 123, 252, 437 m
# (quoted from memory, recomputed from f); Ethiopian Roads Authority Geometric Design Manual (2002), ch. 8: 100 km/h,
# e = 8 %, f = .12 gives 394 m, rounded 395 (published source).
@pytest.mark.parametrize(
    ("kmh", "comfort", "radius"),
    [(50, 0.06 + 0.19, 79), (60, 0.06 + 0.17, 123), (80, 0.06 + 0.14, 252), (100, 0.06 + 0.12, 437), (100, 0.08 + 0.12, 394)],
)
def test_curves_against_published_tables(kmh: float, comfort: float, radius: float) -> None:
    """The radius for a speed, and the speed for that radius back again."""
    assert curve_radius(kmh, comfort) == pytest.approx(radius, abs=0.5)
    assert float(curve_speed(curve_radius(kmh, comfort), comfort)) == pytest.approx(kmh)


def test_towing_comfort() -> None:
    """With e + f = 0.16 (common practice): 50, 100, 200, 400 m give 31.9, 45.1, 63.7, 90.2 km/h; a straight has no bound."""
    found = curve_speed(np.array([50.0, 100.0, 200.0, 400.0, np.inf]))
    assert found[:4] == pytest.approx([31.9, 45.1, 63.7, 90.2], abs=0.05)
    assert np.isinf(found[4])


@given(st.text(max_size=25))
def test_any_text_gets_a_number_or_none(text: str) -> None:
    """No text raises; a speed is above zero."""
    for value in (parse_speed(text), posted({"maxspeed": text, "maxspeed:conditional": text}).trailer):
        assert math.isnan(value) or value > 0
