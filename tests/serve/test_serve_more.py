"""What the page does beside planning: the map to choose on, closures, what wishes cost, suggested loops, an older plan held against today."""

from __future__ import annotations

import json
import re
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from helpers.served import PLACE, START, WISHES, Visitor, settings_of

from tripplan.model.errors import BadInputError
from tripplan.serve.forms import fresh_draft
from tripplan.serve.wished import lifted

#: A gale over the north of the island on two days of the trip.
GALE = {
    "type": "Feature", "properties": {"name": "Gale <b>over</b> the north", "kind": "wind", "from": "2027-02-04", "to": "2027-02-05", "source": "the weather desk"},
    "geometry": {"type": "Polygon", "coordinates": [[[-27.8, -42.9], [-24.2, -42.9], [-24.2, -42.4], [-27.8, -42.4], [-27.8, -42.9]]]},
}  # fmt: skip


def feed(*features):
    return json.dumps({"type": "FeatureCollection", "features": features})


def heading(answer):
    found = re.search(r"<h1>(.*?)</h1>", answer.text, re.DOTALL)
    return re.sub(r"<[^>]*>", "", found[1]) if found else ""


# ------------------------------------------------------------------------------------------------- choosing on the map


def test_the_map_holds_the_sights_and_towns_of_the_region(quiet, region_file):
    """What the map's script lays down is JSON with every sight of the region, named by the identity that the list has."""
    from tripplan.region.store import load

    visitor, _, _ = quiet
    visitor.post("/", START)
    page = visitor.get("/places").text
    where = re.search(r'src="(/region\.js\?\w+)"', page)[1]
    assert re.search(r'<section id="pick"[^>]* hidden>', page), "without scripts the list stands alone"
    script = visitor.get(where)
    assert script.status_code == 200
    assert script.headers["content-type"].startswith("text/javascript")
    assert "max-age" in script.headers["cache-control"]
    data = json.loads(json.loads(re.search(r"textContent=(\".*\");document", script.text)[1]))
    region = load(region_file)
    sights = {p.ref for p in region.places if p.role == "sight"}
    assert {row[5] for row in data["places"] if row[0] == "sight"} == sights
    assert "Marrendal" in {row[4] for row in data["places"] if row[0] == "town"}
    assert set(re.findall(r'name="pick-\d+" value="([^"]*)"', page)) == sights
    west, south, east, north = region.meta.bbox
    assert all(south <= row[2] <= north and west <= row[3] <= east for row in data["places"])
    for name in ("leaflet.js", "leaflet.css", "map.js", "pick.js"):
        assert visitor.get(f"/static/{name}").status_code == 200


def test_ticked_sights_are_added_changed_and_taken_out(quiet):
    """Several are ticked at once, each with its usual stay; one is changed in its place; one that is no sight is not taken."""
    visitor, _, _ = quiet
    visitor.post("/", START)
    page = visitor.get("/places").text
    found = re.findall(r'name="(pick-\d+)" value="([^"]*)"[^>]*><label[^>]*><bdi>([^<]*)', page)
    refs = {name: (key, ref) for key, ref, name in found}
    two = dict(refs[name] for name in ("Pell Sands", "Slate Caverns"))
    told = visitor.post("/places", {**two, "pick-9999": "n1", "do": "add"}).text
    chosen = re.search(r"<tbody>(.*?)</tbody>", told, re.DOTALL)[1]
    assert re.findall(r'<th scope="row"><bdi>([^<]*)', chosen) == ["Pell Sands", "Slate Caverns"]
    assert not set(re.findall(r'name="(pick-\d+)"', told)) & set(two)
    form = visitor.get("/places?edit=1").text
    assert 'name="instead" value="1"' in form
    assert 'value="Slate Caverns"' in form
    values = {
        "instead": "1",
        "place": "Slate Caverns",
        "place_is": refs["Slate Caverns"][1],
        "place_typed": "Slate Caverns",
        "do": "add",
    }
    told = visitor.post("/places", {**PLACE, **values, "hours": "4", "must": "no"}).text
    rows = re.findall(
        r'<tr><th scope="row"><bdi>([^<]*)</bdi>( <span class="hint">\(if it fits\))?.*?<td>([^<]*)</td>', told, re.DOTALL
    )
    assert [(name, bool(nice), stay.strip()) for name, nice, stay in rows] == [
        ("Pell Sands", False, "1.5 h"),
        ("Slate Caverns", True, "4 h"),
    ]
    assert visitor.post("/places", {"do": "add"}).status_code == 422
    assert visitor.post("/places", {"do": "on"}).url.path == "/wishes"
    assert (
        visitor.post("/places", {f"pick-{n}": ref for n, (_, ref) in enumerate(refs.values())} | {"do": "add"}).status_code == 422
    )


def test_what_is_reached_and_what_a_place_adds_is_told_at_once(quiet):
    """Each sight of the list says how far it is with the van and by car, or why not; one chosen says what there and back comes to."""
    visitor, _, _ = quiet
    visitor.post("/", START)
    listed = dict(re.findall(r'<bdi>([^<]*)</bdi> <span class="hint">([^<]*)</span></label>', visitor.get("/places").text))
    assert re.fullmatch(r"with the van: \d+\skm, .*; by car alone: \d+\skm, .*", listed["Pell Sands"])
    assert "not reached (the way in has" in listed["Slate Caverns"]
    told = visitor.post("/places", {**PLACE, "place": "Pell Sands"}).text
    one_way = int(re.search(r"with the van: (\d+)", listed["Pell Sands"])[1])
    alone = re.search(r'data-label="There and back">(\d+)\skm, \d+\sh \d+\smin, ([\d.]+)', told)
    assert abs(int(alone[1]) - 2 * one_way) <= 4
    assert abs(float(alone[2]) - int(alone[1]) * 0.25) < 0.2, "25 cents a kilometre, as the trip's weights say"


def test_a_point_chosen_on_the_map_keeps_the_name_it_was_shown_with(quiet):
    """The map fills in a name and where it is; the trip goes from there, and is told by that name."""
    visitor, _, _ = quiet
    point = {"pick_up": "Long Lee", "pick_up_typed": "Long Lee", "pick_up_is": "-43.388000, -26.492000"}
    assert visitor.post("/", {**START, **point}).url.path == "/places"
    assert "from <bdi>Long Lee</bdi>" in visitor.get("/wishes").text


# ------------------------------------------------------------------------------------------------- closures and wind


def test_a_file_of_closures_is_brought_planned_with_and_told(visitor):
    """A gale brought as a file stands on the wishes, on the plan with its road found, and nothing is towed where it blows."""
    visitor.post("/", START)
    answer = visitor.post(
        "/closures",
        {**WISHES, "max_h": "3.5", "closures": "add"},
        files={"file": ("x.geojson", feed(GALE).encode(), "application/json")},
    )
    assert answer.url.path == "/wishes"
    assert "Gale &lt;b&gt;over&lt;/b&gt; the north" in answer.text
    assert "wind warning, no towing there" in answer.text
    assert 'name="max_h" type="number" value="3.5"' in answer.text, "what was typed beside it is kept"
    asked = visitor.post("/wishes", WISHES)
    page = visitor.wait(asked.url.path)
    assert heading(page) == "Our trip"
    assert "Closed roads and wind warnings" in page.text
    assert re.search(r"no towing there, from 4 Feb 2027 to 5 Feb 2027; [\d.]+ km of road", page.text)
    plan = json.loads(visitor.get(f"{asked.url.path}/plan.json").text)
    assert [c["name"] for c in plan["trip"]["closures"]] == ["Gale <b>over</b> the north"]
    gone = visitor.post("/closures", {**WISHES, "closures": "drop"})
    assert "None are known on your dates" in gone.text


@pytest.mark.parametrize(
    ("body", "words"),
    [
        (b"", "Choose a file"),
        (b"\xff\xfe\x00", "not UTF-8"),
        (b"{]", "not JSON"),
        (feed({**GALE, "properties": {"kind": "storm"}}).encode(), "kind"),
        (feed().encode(), "closes no road"),
        (b"[" * 100_000, "nested too deep"),
        (b" " * 320_000, "too large"),
        (
            feed({**GALE, "geometry": {"type": "LineString", "coordinates": [[-43.36, -26.59], [-43.35, -26.58]]}}).encode(),
            "Change the two over",
        ),
    ],
)
def test_a_file_that_holds_no_closures_is_refused_beside_its_field(quiet, body, words):
    """Whatever is wrong with it is told there, nothing is kept, and no path of this machine is named."""
    visitor, _, _ = quiet
    visitor.post("/", START)
    answer = visitor.post("/closures", {**WISHES, "closures": "add"}, files={"file": ("../x.geojson", body, "application/json")})
    assert answer.status_code == 422
    assert words in re.search(r'id="file-wrong">([^<]*)', answer.text)[1]
    assert "Your own file counts" not in visitor.get("/wishes").text


# ------------------------------------------------------------------------------------------------- weather

DAYS_CSV = "date,mean_c,low_c,high_c,sun_kwh_per_m2\n2027-02-04,-3,-9,2,1.5\n2027-03-04,1,0,2,1\n"
#: The island's climate, invented: one station with the same month twelve times.
CLIMATE_CSV = "station,lat,lon,month,mean_c,low_c,high_c,sun_kwh_per_m2\n" + "".join(
    f"Cold Hill,-43.3,-26.5,{month},4,-7,11,2\n" for month in range(1, 13)
)


def bring(visitor, body):
    return visitor.post("/weather", {**WISHES, "weather": "add"}, files={"weather_file": ("../x.csv", body, "text/csv")})


def test_weather_is_brought_told_and_taken_out(quiet, region_file):
    """A forecast rules over its own day, a climate table over all; both reach the trip that is planned, and go again."""
    from tripplan.region.store import load
    from tripplan.serve.draft import trip_in

    visitor, _, pool = quiet
    visitor.post("/", START)
    assert "climate table" in visitor.get("/wishes").text, "where the weather comes from is told without a file too"
    told = bring(visitor, DAYS_CSV.encode())
    assert told.url.path == "/wishes"
    assert "Thu 4 Feb 2027: -9 to 2 °C, sun 1.5 to 1.5" in told.text
    assert "your own file" in told.text
    visitor.post("/wishes", WISHES)
    trip = trip_in(pool.jobs[-1].spec["draft"], settings_of(region_file, "unused").firm, load(region_file))
    own = dict(trip.weather_days)
    assert (own[date(2027, 2, 4)].low_c, own[date(2027, 2, 4)].source) == (-9, "your own file")
    assert own[date(2027, 2, 3)].source != "your own file"
    assert date(2027, 3, 4) not in own
    told = bring(visitor, CLIMATE_CSV.encode())
    assert "Wed 3 Feb 2027 to Sat 6 Feb 2027: -7 to 11 °C" in told.text
    assert "Cold Hill" in told.text
    gone = visitor.post("/weather", {**WISHES, "weather": "drop"})
    assert "Your own file counts" not in gone.text
    assert "Cold Hill" not in gone.text


@pytest.mark.parametrize(
    ("body", "words"),
    [
        (b"", "Choose a file"),
        (b"\xff\xfe\x00", "not UTF-8"),
        (b"date,mean_c\n", "no column"),
        (DAYS_CSV.replace("-9", "cold").encode(), "low_c"),
        (DAYS_CSV.replace("2027-02", "2031-02").encode(), "no weather for your dates"),
        (CLIMATE_CSV.replace("-43.3", "50").encode(), "no weather for your dates"),
        (b" " * 61_000, "too large"),
    ],
)
def test_a_file_that_tells_no_weather_is_refused_beside_its_field(quiet, body, words):
    """Whatever is wrong is told there in a line, and nothing is kept."""
    visitor, _, _ = quiet
    visitor.post("/", START)
    answer = bring(visitor, body)
    assert answer.status_code == 422
    assert words in re.search(r'id="weather_file-wrong">([^<]*)', answer.text)[1]
    assert "Your own file counts" not in visitor.get("/wishes").text


def test_the_firms_closures_are_read_again_when_they_change(tmp_path: Path):
    """A new state of the file counts at once; one that cannot be read leaves the last in force, and says so without the file's name."""
    import os

    from tripplan.serve.closed import Closed

    path = tmp_path / "closed.geojson"
    path.write_text(feed(GALE), encoding="utf-8")
    closed = Closed((str(path),), "Etc/GMT+2")
    assert [len(file.closures) for file in closed.files()] == [1]
    path.write_text(feed(GALE, GALE), encoding="utf-8")
    os.utime(path, (1, 1))
    assert [len(file.closures) for file in closed.files()] == [2]
    path.write_text("{", encoding="utf-8")
    os.utime(path, (2, 2))
    assert [len(file.closures) for file in closed.files()] == [2]
    assert closed.faults()
    assert str(tmp_path) not in closed.faults()[0]
    with pytest.raises(BadInputError):
        Closed((str(tmp_path / "none.geojson"),), "Etc/GMT+2")


# ------------------------------------------------------------------------------------------------- what wishes cost


def test_each_wish_is_lifted_alone():
    """What was wished for is left out one at a time; what was not wished for is no wish."""
    draft = {
        "sights": [{"place": "n1", "label": "A"}, {"place": "n2", "label": "B"}], "bookings": [{"night": "2027-02-04", "place": "n3", "label": "C"}],
        "wishes": {"powered_nights_at_least": 2, "max_one_night_stays": 0, "budget_cents": -1, "presumed_offers": True},
        "driving": {"max_h": 3, "first_day_max_h": 2, "ferries": False, "tolls": True},
    }  # fmt: skip
    found = lifted(draft)
    assert [one.wish for one in found] == [
        "To see A", "To see B", "The night of 2027-02-04 at C", "2 nights with mains at least", "At most 0 stays of a single night", "No ferries",
        "At most 3 h of driving a day, 2 h on the first",
    ]  # fmt: skip
    assert [s["label"] for s in found[0].draft["sights"]] == ["B"]
    assert found[2].draft["bookings"] == []
    assert found[5].draft["driving"] == {**draft["driving"], "ferries": True}
    assert draft["driving"]["ferries"] is False, "the draft itself stays"


def test_what_a_wish_costs_is_the_difference_of_two_plans(visitor):
    """The figure beside a sight is that of the plan less the plan without it, which its button gives."""
    link = visitor.plan(places=("Pell Sands",))
    visitor.wait(link)
    asked = visitor.post(f"{link}/costs")
    page = visitor.wait(asked.url.path)
    assert heading(page) == "What each wish costs"
    row = re.search(r"To see Pell Sands</bdi></th>(.*?)</tr>", page.text, re.DOTALL)[1]
    km, car, minutes, money = re.findall(r'<td data-label="[^"]*">([^<]*)</td>', row)
    assert "button" in row
    without = visitor.post(f"{asked.url.path}/without", {"wish": "0"})
    visitor.wait(without.url.path)

    def sums(where):
        plan = json.loads(visitor.get(f"{where}/plan.json").text)
        legs = [leg for day in plan["days"] for leg in day["legs"]]
        by = {mode: sum(leg["length_m"] for leg in legs if leg["mode"] == mode) / 1000 for mode in ("van", "car")}
        return (
            by["van"],
            by["car"],
            sum(leg["drive_s"] for leg in legs) / 60,
            sum(plan["cost"][k] for k in ("nights_cents", "km_cents", "services_cents")) / 100,
        )

    own, other = sums(link), sums(without.url.path)
    for told, mine, theirs in zip((km, car, minutes, money), own, other, strict=True):
        figure = float(re.sub(r"[^\d.]", "", told) or 0) * (-1 if told.startswith("\N{MINUS SIGN}") else 1)
        assert abs(figure - (mine - theirs)) <= 1.0, (told, mine, theirs)
    assert visitor.post(f"{asked.url.path}/without", {"wish": "99"}).status_code == 404
    assert "What moved" in visitor.get(without.url.path).text or "3 nights" in visitor.get(without.url.path).text


# ------------------------------------------------------------------------------------------------- loops to start from


@pytest.fixture(scope="module")
def loops_folder(region_file, tmp_path_factory):
    """What the command wrote, one loop of two nights."""
    from click.testing import CliRunner

    from tripplan.cli.suggest import command

    out = tmp_path_factory.mktemp("loops") / "out"
    done = CliRunner().invoke(
        command,
        ["--region", str(region_file), "--depot", "Long Lee", "--nights", "2", "--date", "2027-02-03", "--theme", "best", "--most-sights", "3", "--out", str(out)],
        standalone_mode=False,
    )  # fmt: skip
    assert done.return_value == 0, (done.output, done.exception)
    return out


def test_the_firms_loops_are_shown_and_started_from(region_file, loops_folder, tmp_path):
    """Each loop has its picture and figures; its button puts van, party, places and dates into the forms, and they give the same loop."""
    from starlette.testclient import TestClient

    from tripplan.model.serial import plan_from_json
    from tripplan.region.store import load
    from tripplan.serve.app import make_app

    settings = settings_of(region_file, str(tmp_path / "p.sqlite"), suggestions=loops_folder)
    with TestClient(make_app(settings, load(region_file))) as client:
        visitor = Visitor(client)
        page = visitor.get("/loops")
        assert heading(page) == "Suggested loops"
        assert "The best of all: 2 nights from Long Lee" in page.text
        picture = visitor.get("/loops/0.svg")
        assert picture.headers["content-type"] == "image/svg+xml"
        assert picture.text.startswith("<svg")
        assert 'xmlns="http://www.w3.org/2000/svg"' in picture.text
        assert visitor.get("/loops/9.svg").status_code == 404
        assert visitor.post("/loops", {"loop": "9"}).status_code == 404
        start = visitor.post("/loops", {"loop": "0"})
        assert start.url.path == "/"
        assert 'value="Long Lee"' in start.text
        plan = plan_from_json((loops_folder / "best" / "plan.json").read_text())
        seen = {event.spot.name for day in plan.days for event in day.events if event.kind == "sight"}
        chosen = re.search(r"<tbody>(.*?)</tbody>", visitor.get("/places").text, re.DOTALL)[1]
        assert set(re.findall(r'<th scope="row"><bdi>([^<]*)', chosen)) == seen
        assert seen
        wishes = {**WISHES, "max_h": "4", "first_day_max_h": "2", "one_night": ""}
        asked = visitor.post("/wishes", wishes)
        visitor.wait(asked.url.path)
        again = plan_from_json(visitor.get(f"{asked.url.path}/plan.json").text)
        assert {event.spot.name for day in again.days for event in day.events if event.kind == "sight"} == seen


def test_a_loop_of_a_past_season_moves_on_by_whole_weeks():
    """The pick-up comes to lie ahead, on the same day of the week; one that lies ahead stays."""
    from tripplan.serve.offered import moved

    draft = {"pick_up": {"place": "a", "time": "2026-02-04T10:00"}, "return": {"place": "a", "time": "2026-02-08T15:00"}}
    later = moved(draft, date(2027, 6, 1))
    assert later["pick_up"]["time"] == "2028-02-02T10:00"
    assert later["return"]["time"] == "2028-02-06T15:00"
    assert date.fromisoformat(later["pick_up"]["time"][:10]).weekday() == date(2026, 2, 4).weekday()
    assert moved(draft, date(2026, 2, 4)) == draft


def test_suggestions_of_another_map_or_none_are_refused(region_file, loops_folder, tmp_path):
    """A folder without loops, and one made on another map, is refused at the start in one line."""
    from dataclasses import replace

    from tripplan.region.store import load
    from tripplan.serve.offered import load_loops

    region = load(region_file)
    with pytest.raises(BadInputError, match="holds no suggestions"):
        load_loops(tmp_path, {}, region)
    other = replace(region, meta=replace(region.meta, key="0" * 64))
    with pytest.raises(BadInputError, match="another map"):
        load_loops(loops_folder, {}, other)


def test_loops_are_worked_out_to_their_end(region_file):
    """One night: every theme gives a loop with its papers or says why not, the easy one towing no longer a day than the best."""
    from tripplan.region.store import load
    from tripplan.schedule.suggest import THEMES
    from tripplan.serve.draft import trip_in
    from tripplan.serve.kept import Job
    from tripplan.serve.tasks import results_of

    region, settings = load(region_file), settings_of(region_file, "unused")
    draft = {
        **fresh_draft(settings.vans, datetime(2027, 1, 20, tzinfo=UTC)), "pick_up": {"place": "Long Lee", "label": "", "time": "2027-02-03T10:00"},
        "return": {"place": "Long Lee", "label": "", "time": "2027-02-04T15:00"},
    }  # fmt: skip
    job = Job("x", "s", "suggest", {"draft": draft, "steps": []}, "running", 1, "")
    first, *others = results_of(job, None, region, settings, lambda *_: None)
    assert first.kind == "suggest"
    assert len(first.view["loops"]) == len(others) > 0
    assert len(others) + len(first.view["left_out"]) == len(THEMES)
    assert all(one["why"] for one in first.view["left_out"])
    for made in others:
        assert made.papers["loop.svg"].startswith(b"<svg")
        assert "map.html" in made.papers
        assert trip_in(made.spec["draft"], settings.firm, region).nights == 1


@pytest.mark.long
def test_loops_are_worked_out_for_a_visitor(visitor):
    """From the visitor's depot, nights and van: loops with pictures and plans, and one to start from; themes without one say why."""
    visitor.post("/", {**START, "children": "0", "return_time": "2027-02-06T15:00"})
    asked = visitor.post("/wishes", {**WISHES, "do": "suggest"})
    page = visitor.wait(asked.url.path, most_s=300)
    assert heading(page) == "Suggested loops", page.text[:1500]
    links = re.findall(r'src="(/t/[\w-]+)/loop\.svg"', page.text)
    assert links
    assert "Not shown" in page.text
    for link in links:
        assert visitor.get(f"{link}/loop.svg").text.startswith("<svg")
        assert visitor.get(f"{link}/map.html").status_code == 200
    assert visitor.post(f"{links[0]}/edit").url.path == "/"
    assert "<tbody>" in visitor.get("/places").text


# ------------------------------------------------------------------------------------------------- held against today


def test_a_kept_plan_is_held_against_todays_closures_and_repaired(region_file, tmp_path):
    """A plan holds until the firm learns of a closed road on its way; then what breaks is told, and a repair keeps off it."""
    from starlette.testclient import TestClient

    from tripplan.region.store import load
    from tripplan.serve.app import make_app

    path = tmp_path / "closed.geojson"
    path.write_text(feed(), encoding="utf-8")
    settings = settings_of(region_file, str(tmp_path / "p.sqlite"), closures=(str(path),))
    with TestClient(make_app(settings, load(region_file))) as client:
        visitor = Visitor(client)
        link = visitor.plan()
        visitor.wait(link)
        asked = visitor.post(f"{link}/recheck")
        assert heading(visitor.wait(asked.url.path)) == "The plan holds"
        nights = [day["night"]["spot"] for day in json.loads(visitor.get(f"{link}/plan.json").text)["days"] if day["night"]]
        lon, lat = nights[0]["lon"], nights[0]["lat"]
        ring = [
            [lon - 0.03, lat - 0.03],
            [lon + 0.03, lat - 0.03],
            [lon + 0.03, lat + 0.03],
            [lon - 0.03, lat + 0.03],
            [lon - 0.03, lat - 0.03],
        ]
        flood = {
            **GALE,
            "properties": {"name": "Flood", "kind": "closed", "source": "the roads office"},
            "geometry": {"type": "Polygon", "coordinates": [ring]},
        }
        path.write_text(feed(flood), encoding="utf-8")
        asked = visitor.post(f"{link}/recheck")
        page = visitor.wait(asked.url.path)
        assert heading(page) == "The plan no longer holds"
        assert "Flood" in page.text
        repaired = re.search(r'href="(/t/[\w-]+)">Open the repaired plan', page.text)
        assert repaired, page.text
        plan = json.loads(visitor.get(f"{repaired[1]}/plan.json").text)
        assert [c["name"] for c in plan["trip"]["closures"]] == ["Flood"]
        for day in plan["days"]:
            if day["night"]:
                spot = day["night"]["spot"]
                assert abs(spot["lon"] - lon) > 0.03 or abs(spot["lat"] - lat) > 0.03
        assert heading(visitor.get(repaired[1])) == "Our trip"
        assert visitor.post(f"{asked.url.path}/recheck").status_code == 404, "only a plan can be held against today"


# ------------------------------------------------------------------------------------------------- staff


def test_a_recorded_track_gets_verdict_map_and_sealed_way(visitor, region_file):
    """A drive over a gravel road: forbidden, with its map, and a sealed way between the points that the van may be at."""
    from tripplan.region.geometry import piece_line
    from tripplan.region.store import load

    region = load(region_file)
    track = gravel_drive(region, piece_line)
    points = "".join(
        f'<trkpt lat="{lat:.6f}" lon="{lon:.6f}"><time>2027-02-03T{n // 3600:02d}:{n // 60 % 60:02d}:{n % 60:02d}Z</time></trkpt>'
        for n, (lon, lat) in track
    )
    gpx = f'<?xml version="1.0"?><gpx version="1.1" creator="x" xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>{points}</trkseg></trk></gpx>'
    values = {
        "height_m": "2.6",
        "width_m": "2.3",
        "length_m": "11.5",
        "car_mass_kg": "1900",
        "van_mass_kg": "1300",
        "as": "auto",
        "day": "",
    }
    asked = visitor.post("/check", values, files={"file": ("drive.gpx", gpx.encode(), "application/gpx+xml")})
    page = visitor.wait(asked.url.path)
    assert heading(page) == "This way is not for the van", page.text[:2000]
    assert "Advise instead:" in page.text
    assert "km on sealed roads" in page.text
    for name in ("check.html", "sealed.html", "check.json"):
        assert visitor.get(f"{asked.url.path}/{name}").status_code == 200
    found = json.loads(visitor.get(f"{asked.url.path}/check.json").text)
    assert found["forbidden"]
    assert visitor.get(f"{asked.url.path}/sealed.html").text.count("Nothing forbidden was found.") == 1


def gravel_drive(region, piece_line):
    """Points every second of a drive at 50 km/h: sealed road, the longest gravel road that begins on it, back again, and on by sealed road."""
    import numpy as np

    from tripplan.model.words import Surface
    from tripplan.region.geometry import segment_lengths_m

    pieces = region.pieces
    surface = region.ways.surface[pieces.way]
    ends: dict[int, list[int]] = {}
    for n in np.flatnonzero(surface == Surface.SEALED).tolist():
        for end in (int(pieces.a[n]), int(pieces.b[n])):
            ends.setdefault(end, []).append(n)
    rows = [n for n in np.flatnonzero(surface == Surface.UNSEALED).tolist() if int(pieces.a[n]) in ends]
    row = max(rows, key=lambda n: float(pieces.length_m[n]))
    here = int(pieces.a[row])
    first, last = sorted(ends[here], key=lambda n: float(pieces.length_m[n]))[-2:]
    parts = ((first, bool(pieces.b[first] == here)), (row, True), (row, False), (last, bool(pieces.a[last] == here)))
    line = np.vstack([piece_line(region, piece, forward) for piece, forward in parts])
    line = line[np.concatenate(([True], (line[1:] != line[:-1]).any(axis=1)))]
    along = np.concatenate(([0.0], np.cumsum(segment_lengths_m(line[:, 0], line[:, 1]))))
    at = np.arange(0, along[-1], 50 / 3.6 * 3)
    return [(3 * n, (float(np.interp(m, along, line[:, 0])), float(np.interp(m, along, line[:, 1])))) for n, m in enumerate(at)]
