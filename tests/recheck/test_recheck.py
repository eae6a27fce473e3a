"""A plan handed out earlier, held against closures, a newer map and another forecast; and its smallest repair."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import fields, replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tripplan.audit.run import audit
from tripplan.carry import carry, lines_of_papers, lines_of_region
from tripplan.model.closure import Closure
from tripplan.model.errors import BadInputError, NoPlanError
from tripplan.model.plan import Day, Plan
from tripplan.model.serial import plan_from_json, plan_to_json
from tripplan.model.trip import Booking, Trip
from tripplan.model.words import Surface
from tripplan.recheck import changed_days, past_words, recheck, repair, repair_proof
from tripplan.region.build import build
from tripplan.region.columns import Pieces
from tripplan.region.region import Region
from tripplan.report.geojson import geojson_text
from tripplan.request.trip_file import load_trip
from tripplan.schedule.plan import make_plan

SAMPLE = Path(__file__).resolve().parents[2] / "data_sample"


@pytest.fixture(scope="module")
def region() -> Region:
    """The sample island."""
    return build(SAMPLE / "island.osm.pbf", name="island")


@pytest.fixture(scope="module")
def plan(region: Region, tmp_path_factory: pytest.TempPathFactory) -> Plan:
    """A plan of the sample as its file has it."""
    cache = tmp_path_factory.getbasetemp() / "cache"
    return plan_from_json(plan_to_json(make_plan(load_trip(SAMPLE / "trip_family_loop.toml", region), region, cache=cache)))


@pytest.fixture(autouse=True)
def own_cache(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> None:
    """Keep prepared files of the tests apart from the user's."""
    monkeypatch.setenv("TRIPPLAN_CACHE", str(tmp_path_factory.getbasetemp() / "cache"))


def newer(region: Region) -> Region:
    """Return the same island as a newer map has it: its pieces in another order, its places renumbered."""
    pieces = region.pieces
    order = np.random.default_rng(1).permutation(len(pieces.way))
    size = np.diff(pieces.ptr)[order]
    points = np.concatenate([np.arange(pieces.ptr[row], pieces.ptr[row + 1]) for row in order])
    new = Pieces(
        a=pieces.a[order], b=pieces.b[order], way=pieces.way[order], length_m=pieces.length_m[order],
        ptr=np.concatenate(([0], np.cumsum(size))).astype(np.int64), lon_e7=pieces.lon_e7[points], lat_e7=pieces.lat_e7[points],
        curve_kmh=pieces.curve_kmh[points],
    )  # fmt: skip
    row_of = np.empty(len(order), np.int32)
    row_of[order] = np.arange(len(order), dtype=np.int32)
    turns = replace(region.turns, pieces=row_of[region.turns.pieces])
    places = tuple(replace(place, index=k) for k, place in enumerate(reversed(list(region.places))))
    meta = replace(region.meta, key="newer" + region.meta.key[5:], data_date="2026-06-01")
    return Region(
        **{f.name: getattr(region, f.name) for f in fields(Region)}
        | {"meta": meta, "pieces": new, "turns": turns, "places": places}
    )


def towed(plan: Plan) -> Day:
    """Return the second towing day."""
    return [day for day in plan.days if day.kind == "towing"][1]


def closing(day: Day, region: Region) -> Callable[[Trip], Trip]:
    """Return what closes the middle of a day's way on its date."""
    runs = day.legs[0].runs
    way = int(region.ways.osm_id[region.pieces.way[runs.piece[len(runs.piece) // 2]]])
    closure = Closure("works", "closed", "test", day.date, day.date, ways=(way,))
    return lambda trip: replace(trip, closures=(closure,))


def test_a_plan_holds_on_its_own_map(plan: Plan, region: Region) -> None:
    """Nothing has changed: nothing is found."""
    checked = recheck(plan, region)
    assert (checked.broken, checked.figures, checked.unknown_ways) == ((), (), 0)


def test_a_plan_holds_on_a_newer_map_whose_rows_differ(plan: Plan, region: Region) -> None:
    """Roads are found by the line driven, places by identity: from the older map and from the paper alike."""
    today = newer(region)
    for lines in (lines_of_region(plan, region), lines_of_papers(plan, geojson_text(plan, region))):
        checked = recheck(plan, today, lines=lines)
        assert checked.broken == ()
        assert checked.unknown_ways == 0
        assert checked.plan.region_key == today.meta.key
        assert checked.plan.days[1].legs[0].length_m == pytest.approx(plan.days[1].legs[0].length_m, abs=1.0)
        assert audit(checked.plan, today) == checked.figures


def test_without_its_lines_the_quickest_way_is_checked_and_told(plan: Plan, region: Region) -> None:
    """A plan.json alone on another map: stops and nights are checked, and that the ways are today's is told."""
    checked = recheck(plan, newer(region))
    assert checked.unknown_ways == sum(bool(leg.runs.piece) for day in plan.days for leg in day.legs)
    assert checked.broken == ()


def test_what_changed_on_the_map_is_found(plan: Plan, region: Region) -> None:
    """A road that lost its seal, a site that is gone, a road drawn elsewhere: each is told with its day or name."""
    today, day = newer(region), towed(plan)
    lines = lines_of_region(plan, region)
    way = int(region.pieces.way[day.legs[0].runs.piece[len(day.legs[0].runs.piece) // 2]])
    surface = today.ways.surface.copy()
    surface[way] = Surface.UNSEALED
    worse = replace(today, ways=replace(today.ways, surface=surface))
    assert ("unsealed", day.number) in {(f.what, f.day) for f in recheck(plan, worse, lines=lines).broken}
    assert day.night is not None
    gone = replace(
        today, places=tuple(replace(p, ref="n1", lat=p.lat + 0.5) if p.ref == day.night.ref else p for p in today.places)
    )
    assert "place gone" in {f.what for f in recheck(plan, gone, lines=lines).broken}
    moved = lines[day.number, 0] + np.array([0.001, 0.0])
    assert "road changed" in {f.what for f in recheck(plan, today, lines={**lines, (day.number, 0): moved}).broken}


def test_another_map_is_not_taken_for_the_old_one(plan: Plan, region: Region) -> None:
    """`--planned-on` must be the plan's own map; papers of another plan tell nothing."""
    with pytest.raises(BadInputError, match="the region that the plan was made on"):
        lines_of_region(plan, newer(region))
    for text in ("", "[]", '{"features":[{"properties":{"kind":"day","day":"x"},"geometry":null}]}', "[" * 100_000):
        assert lines_of_papers(plan, text) == {}


def test_a_closure_breaks_the_day_and_the_repair_is_the_smallest(plan: Plan, region: Region) -> None:
    """The repair keeps to the closure, passes the audit, and no set of fewer nights gives a plan."""
    day = towed(plan)
    checked = recheck(plan, region, closures=closing(day, region))
    assert {(f.what, f.day) for f in checked.broken} == {("closed that day", day.number)}
    mended = repair(checked, region)
    assert audit(mended.plan, region) == ()
    assert mended.plan.trip.bookings == plan.trip.bookings
    assert mended.least
    assert mended.moved == mended.at_least
    assert "no repair moves fewer nights" in repair_proof(mended)
    nights = [(a.date, a.night.ref, b.night.ref) for a, b in zip(plan.days, mended.plan.days, strict=True) if a.night and b.night]
    assert {when for when, one, other in nights if one != other} <= set(mended.freed)
    for size in range(len(mended.freed)):
        assert size == 0  # one night freed at most: each smaller set is the empty one
        kept = tuple(Booking(d.date, d.night.spot) for d in checked.plan.days if d.night)
        with pytest.raises(NoPlanError):
            make_plan(replace(checked.plan.trip, bookings=kept), region, reasons=False)
    assert day.number in {one.number for one, _ in changed_days(checked.plan, mended.plan)}


def test_wind_where_the_van_stands_breaks_nothing(plan: Plan, region: Region) -> None:
    """A warning over a standing day changes no plan; the same over a towing day does."""
    still = next(day for day in plan.days if day.kind == "standing")

    def over(when: date) -> Callable[[Trip], Trip]:
        ring = ((-30.0, -50.0), (-20.0, -50.0), (-20.0, -40.0), (-30.0, -40.0))
        return lambda trip: replace(trip, closures=(Closure("gale", "wind", "test", when, when, rings=(ring,)),))

    assert recheck(plan, region, closures=over(still.date)).broken == ()
    assert {f.what for f in recheck(plan, region, closures=over(towed(plan).date)).broken} == {"towing in wind"}


def test_a_repair_in_wind_stays_and_says_why(plan: Plan, region: Region) -> None:
    """No towing on the day of the gale; the day says that the van stays, by whom it was warned, and until when."""
    day = towed(plan)
    ring = ((-30.0, -50.0), (-20.0, -50.0), (-20.0, -40.0), (-30.0, -40.0))
    gale = Closure("Gale", "wind", "weather office", day.date, day.date, rings=(ring,))
    mended = repair(recheck(plan, region, closures=lambda trip: replace(trip, closures=(gale,))), region).plan
    windy = mended.days[day.number - 1]
    assert windy.kind == "standing"
    assert [c.effect for c in windy.closures] == ["stays"]
    assert any("weather office" in note and "Stay put" in note for note in windy.notes)
    assert windy.number in next(c.days for c in mended.cautions if c.key == "wind")
    assert plan_from_json(plan_to_json(mended)).trip.closures == (gale,)


def test_wind_all_the_time_leaves_no_repair(plan: Plan, region: Region) -> None:
    """A warning without end over the whole island: no plan exists, and that is said."""
    ring = ((-30.0, -50.0), (-20.0, -50.0), (-20.0, -40.0), (-30.0, -40.0))
    gale = Closure("Gale", "wind", "t", rings=(ring,))
    with pytest.raises((NoPlanError, BadInputError)):
        repair(recheck(plan, region, closures=lambda trip: replace(trip, closures=(gale,))), region)


# ------------------------------------------------------------------------------------------------- the command


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Callable[..., tuple[int, str, str]]:
    """Run `tripplan` with words: exit code, output, errors."""
    from tripplan.cli.main import main

    def words(*args: object) -> tuple[int, str, str]:
        with pytest.raises(SystemExit) as stop:
            main([str(a) for a in args])
        told = capsys.readouterr()
        return int(stop.value.code or 0), told.out, told.err

    return words


@pytest.fixture(scope="module")
def files(plan: Plan, region: Region, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the region, the plan, and closures that break it on the second towing day."""
    from tripplan.region.geometry import run_line
    from tripplan.region.store import save

    folder = tmp_path_factory.mktemp("handed-out")
    save(region, folder / "island.region")
    (folder / "plan.json").write_text(plan_to_json(plan), encoding="utf-8")
    day = towed(plan)
    middle = run_line(region, day.legs[0].runs)
    middle = middle[len(middle) // 2 - 4 : len(middle) // 2 + 4]

    def feature(name: str, line: Any, when: date) -> dict[str, Any]:
        properties = {
            "name": name,
            "from": when.isoformat(),
            "to": when.isoformat(),
            "kind": "closed",
            "source": "roads <b>office</b>",
        }
        return {"type": "Feature", "properties": properties, "geometry": {"type": "LineString", "coordinates": line}}

    far = [[0.0, 0.0], [0.01, 0.0]]
    features = [feature("Works\x1b[31m", middle.tolist(), day.date), feature("Nowhere Road", far, day.date)]
    features.append(feature("Long ago", middle.tolist(), day.date - timedelta(days=900)))
    (folder / "works.geojson").write_text(json.dumps({"type": "FeatureCollection", "features": features}), encoding="utf-8")
    return folder


def test_the_command_tells_what_broke_and_writes_the_repair(
    files: Path, run: Callable[..., tuple[int, str, str]], tmp_path: Path
) -> None:
    """Exit code 0 while it holds; 1 with the finding, what no map knows, the days that change, and papers that pass their audit."""
    code, out, _ = run("recheck", files / "plan.json", "--region", files / "island.region")
    assert (code, "The plan holds" in out) == (0, True)
    code, out, _ = run(
        "recheck",
        files / "plan.json",
        "--region",
        files / "island.region",
        "--closures",
        files / "works.geojson",
        "--out",
        tmp_path / "new",
    )
    assert code == 1
    assert "closed that day" in out
    assert "NOT FOUND on this map" in out
    assert "smallest repair" in out
    assert "\x1b" not in out
    assert run("audit", tmp_path / "new" / "plan.json", "--region", files / "island.region")[0] == 0
    sheets = (tmp_path / "new" / "itinerary.html").read_text(encoding="utf-8")
    assert "<b>office</b>" not in sheets


def test_bad_input_is_one_line_and_writes_nothing(files: Path, run: Callable[..., tuple[int, str, str]], tmp_path: Path) -> None:
    """A broken feed, no plan, an address that is not asked: exit code 2 and no folder."""
    (tmp_path / "bad.geojson").write_text('{"type":"FeatureCollection","features":[5]}', encoding="utf-8")
    for closures in (tmp_path / "bad.geojson", tmp_path / "none.geojson", "http://192.0.2.1/feed"):
        code, _, err = run(
            "recheck", files / "plan.json", "--region", files / "island.region", "--closures", closures, "--out", tmp_path / "new"
        )
        assert (code, err.count("\n")) == (2, 1)
    assert run("recheck", files / "works.geojson", "--region", files / "island.region")[0] == 2
    raw = json.loads((files / "works.geojson").read_text(encoding="utf-8"))
    over = [f for f in raw["features"] if f["properties"]["name"] != "Nowhere Road"]
    for feature in over:
        feature["geometry"]["coordinates"] = [point[::-1] for point in feature["geometry"]["coordinates"]]
    (tmp_path / "over.geojson").write_text(json.dumps({"type": "FeatureCollection", "features": over}), encoding="utf-8")
    code, _, err = run(
        "recheck", files / "plan.json", "--region", files / "island.region", "--closures", tmp_path / "over.geojson"
    )
    assert (code, err.count("\n")) == (2, 1)
    assert "change the two over" in err
    assert not (tmp_path / "new").exists()


def test_a_trip_file_names_its_closures(files: Path, region: Region, tmp_path: Path) -> None:
    """Paths are relative to the trip file; what holds on no date of the trip is left away; an address is refused."""
    raw = (SAMPLE / "trip_family_loop.toml").read_text(encoding="utf-8")
    for part in ("vans", "parties", "outfits"):
        raw = raw.replace(f'"{part}/', f'"{SAMPLE.as_posix()}/{part}/')
    raw = raw.replace('"firm.toml"', f'"{SAMPLE.as_posix()}/firm.toml"')
    (tmp_path / "works.geojson").write_bytes((files / "works.geojson").read_bytes())
    (tmp_path / "trip.toml").write_text('closures = ["works.geojson"]\n' + raw, encoding="utf-8")
    assert [c.name for c in load_trip(tmp_path / "trip.toml", region).closures] == ["Works\x1b[31m", "Nowhere Road"]
    (tmp_path / "trip.toml").write_text('closures = ["https://example.org/feed"]\n' + raw, encoding="utf-8")
    with pytest.raises(BadInputError, match="give an address with --closures"):
        load_trip(tmp_path / "trip.toml", region)


def _of(plan: Plan, first: Callable[[Day], Day]) -> Plan:
    """Return a plan with its first day made otherwise."""
    return replace(plan, days=(first(plan.days[0]), *plan.days[1:]))


def _night(plan: Plan, **more: Any) -> Plan:
    return _of(plan, lambda day: replace(day, night=replace(day.night, **more)))  # type: ignore[type-var]


#: What somebody did to a plan's file, and what is said of it.
SPOILT: dict[str, tuple[Callable[[Plan], Plan], str]] = {
    "depot number": (lambda p: replace(p, trip=replace(p.trip, depot=replace(p.trip.depot, place=9999))), "place number 9999"),
    "depot is another": (lambda p: replace(p, trip=replace(p.trip, depot=replace(p.trip.depot, place=5))), "place number 5, which is"),
    "sight number": (lambda p: replace(p, trip=replace(p.trip, sights=(replace(p.trip.sights[0], spot=replace(p.trip.sights[0].spot, place=9999)),))), "a sight of"),
    "end number": (lambda p: _of(p, lambda day: replace(day, end=replace(day.end, place=9999))), "day 1 of the plan"),
    "stay": (lambda p: _night(p, stay_night=-3), "`stay_night` is -3"),
    "another region": (lambda p: replace(p, region_key="f" * 64, trip=replace(p.trip, depot=replace(p.trip.depot, lon=8.0, lat=50.0))), "off the map of"),
}  # fmt: skip


@pytest.mark.parametrize("spoilt", SPOILT)
def test_a_plan_that_the_map_cannot_have_given_is_refused_in_one_line(plan: Plan, region: Region, spoilt: str) -> None:
    """A number of no place or of another one, a night before the first, another region: told with where it stands, never held."""
    change, says = SPOILT[spoilt]
    with pytest.raises(BadInputError) as caught:
        recheck(change(plan), region)
    assert says in caught.value.one_line()
    assert "\n" not in caught.value.one_line()


def test_a_trip_that_is_past_is_called_so(plan: Plan) -> None:
    """Over, begun, or ahead: the first two are told with the date."""
    first, last = plan.trip.pick_up.date(), plan.trip.return_by.date()
    assert "was over on" in past_words(plan, last + timedelta(days=1))
    assert str(last.year) in past_words(plan, last + timedelta(days=1))
    assert "began on" in past_words(plan, last)
    assert past_words(plan, first) == ""


def test_carrying_to_the_same_map_changes_nothing(plan: Plan, region: Region) -> None:
    """The plan's own map needs no carrying."""
    assert carry(plan, region, {}).plan is plan


def test_a_day_that_goes_round_a_closure_says_so(plan: Plan, region: Region) -> None:
    """All nights kept: the way home goes round the works, and the day says what it keeps off, who says so and when."""
    day = plan.days[-1]
    runs = day.legs[0].runs
    nights = tuple(Booking(d.date, d.night.spot) for d in plan.days if d.night)
    for share in (0.5, 0.3, 0.7, 0.2, 0.8, 0.4, 0.6):
        row = region.pieces.way[runs.piece[int(len(runs.piece) * share)]]
        works = Closure("Works", "closed", "roads office", day.date, day.date, ways=(int(region.ways.osm_id[row]),))
        try:
            after = make_plan(replace(plan.trip, bookings=nights, closures=(works,)), region, reasons=False)
        except NoPlanError:
            continue
        last = after.days[-1]
        assert audit(after, region) == ()
        assert [c.effect for c in last.closures] == ["kept off"]
        assert last.closures[0].text in last.notes
        assert "roads office" in last.closures[0].text
        assert all(not d.closures for d in after.days[:-1])
        return
    pytest.fail("no way round any of the works")
