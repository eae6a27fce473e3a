"""Each command does its job from the words typed to the exit code."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from tripplan.report.write import PAPERS as ALL_PAPERS

PAPERS = set(ALL_PAPERS)


def test_plan_writes_all_papers_and_the_audit_passes(run, island: Path, sample: Path, tmp_path: Path) -> None:
    """A planned trip leaves every paper, and the plan on disk passes the audit command."""
    ran = run("plan", sample / "trip_isle_weekend.toml", "--region", island, "--out", tmp_path / "papers")
    assert ran.code == 0, ran.err
    assert {p.name for p in (tmp_path / "papers").iterdir()} == PAPERS
    assert "proven best" in ran.out
    again = run("audit", tmp_path / "papers" / "plan.json", "--region", island)
    assert again.code == 0, again.out
    assert again.out.startswith("Nothing found")


def test_audit_of_a_spoilt_plan_lists_findings(run, island: Path, sample: Path, tmp_path: Path) -> None:
    """A plan changed by hand is told from a good one, with amounts, and exit code 1."""
    run("plan", sample / "trip_isle_weekend.toml", "--region", island, "--out", tmp_path)
    plan = json.loads((tmp_path / "plan.json").read_text(encoding="utf-8"))
    plan["trip"]["van"]["cassette_l"] = 5.0
    (tmp_path / "plan.json").write_text(json.dumps(plan), encoding="utf-8")
    ran = run("audit", tmp_path / "plan.json", "--region", island)
    assert ran.code == 1
    assert "cassette" in ran.out
    assert " L " in ran.out


def test_no_plan_names_what_breaks_and_writes_nothing(run, island: Path, sample: Path, tmp_path: Path) -> None:
    """The impossible sample trip: exit code 1, the cassette named with day and litres, no file."""
    ran = run("plan", sample / "trip_too_long_in_the_north.toml", "--region", island, "--out", tmp_path / "papers")
    assert ran.code == 1
    assert "cassette" in ran.out
    assert "day 4" in ran.out
    assert not (tmp_path / "papers").exists() or not list((tmp_path / "papers").iterdir())


def test_demo_plans_the_first_sample_trip(run, tmp_path: Path) -> None:
    """The demo needs nothing prepared and says which files to open."""
    ran = run("demo", "--out", tmp_path / "mine")
    assert ran.code == 0, ran.err
    for name in PAPERS:
        assert name in ran.out
    assert run("demo", "--list").out.count("\n") == 4


def test_same_trip_gives_the_same_plan_bytes(run, island: Path, sample: Path, tmp_path: Path) -> None:
    """Planning twice writes the same plan.json, byte for byte."""
    for name in ("one", "two"):
        run("plan", sample / "trip_isle_weekend.toml", "--region", island, "--out", tmp_path / name)
    assert (tmp_path / "one" / "plan.json").read_bytes() == (tmp_path / "two" / "plan.json").read_bytes()


def test_region_build_and_show(run, sample: Path, tmp_path: Path) -> None:
    """Building says how much was read; showing tells surfaces, places and reach."""
    ran = run("region", "build", sample / "island.osm.pbf", "--out", tmp_path / "i.region")
    assert ran.code == 0, ran.err
    assert "km of road" in ran.out
    shown = run("region", "show", tmp_path / "i.region")
    assert shown.code == 0, shown.err
    for words in ("sealed", "unsealed", "caravan site", "Reached by", "OpenStreetMap contributors", "gravel"):
        assert words in shown.out


@pytest.mark.parametrize("kind", ["csv", "geojson", "gpx"])
def test_check_finds_the_gravel_pass(run, island: Path, tmp_path: Path, kind: str) -> None:
    """A route over the gravel pass is forbidden in every format, and the sealed way is advised with its difference."""
    points = [("Brackenfirth", *_town(island, "Brackenfirth")), ("Wrennick", *_town(island, "Wrennick"))]
    text = {
        "csv": "name,lat,lon\n" + "".join(f"{n},{y},{x}\n" for n, x, y in points),
        "geojson": json.dumps({"type": "LineString", "coordinates": [[x, y] for _, x, y in points]}),
        "gpx": '<gpx version="1.1" creator="t" xmlns="http://www.topografix.com/GPX/1/1"><rte>'
        + "".join(f'<rtept lat="{y}" lon="{x}"><name>{n}</name></rtept>' for n, x, y in points)
        + "</rte></gpx>",
    }[kind]
    file = tmp_path / f"way.{kind}"
    file.write_text(text, encoding="utf-8")
    ran = run("check", file, "--region", island, "--date", "2027-02-10")
    assert ran.code == 1, ran.out + ran.err
    assert "FORBIDDEN" in ran.out
    assert "gravel" in ran.out
    assert "Advise instead" in ran.out
    assert " min" in ran.out


def test_check_passes_a_sealed_way(run, island: Path, tmp_path: Path) -> None:
    """Two towns on the main road: nothing forbidden, exit code 0."""
    one, two = _town(island, "Tarrowby"), _town(island, "Pellavik")
    file = tmp_path / "way.csv"
    file.write_text(f"lat,lon\n{one[1]},{one[0]}\n{two[1]},{two[0]}\n", encoding="utf-8")
    ran = run("check", file, "--region", island, "--date", "2027-02-10")
    assert ran.code == 0, ran.out + ran.err
    assert "Nothing forbidden" in ran.out


def _town(island: Path, name: str) -> tuple[float, float]:
    from tripplan.region.find import find
    from tripplan.region.store import load

    spot = find(load(island), name)[0]
    return round(spot.lon, 6), round(spot.lat, 6)


@pytest.mark.skipif(sys.platform == "win32", reason="there a running process cannot be asked for harmlessly")
def test_region_build_clears_up_after_a_killed_one(run, sample: Path, tmp_path: Path) -> None:
    """The half-written file of a build that is over goes with the next build of that region."""
    gone = subprocess.run([sys.executable, "-c", "import os; print(os.getpid())"], capture_output=True, text=True, check=True)
    (tmp_path / f".r.region.{gone.stdout.strip()}.part").write_bytes(b"half")
    assert run("region", "build", sample / "island.osm.pbf", "--out", tmp_path / "r.region").code == 0
    assert [path.name for path in tmp_path.iterdir()] == ["r.region"]


def test_a_region_of_few_tags_says_so(run, tmp_path: Path) -> None:
    """`region show` says of each class that is not presumed that its tags are too few, and nothing of classes that are all tagged."""
    from helpers.drawn import draw

    ways = {"AB": "highway=tertiary surface=asphalt", "BC": "highway=tertiary", "CD": "highway=primary surface=asphalt"}
    path = draw("A-B-C-D", ways, folder=tmp_path, grid_m=1000).path
    assert run("region", "build", path, "--out", tmp_path / "few.region").code == 0
    shown = run("region", "show", tmp_path / "few.region")
    assert shown.code == 0, shown.err
    _, _, rest = shown.out.partition("Roads whose surface the map does not tell\n")
    assert rest.startswith(
        "  tertiary: nothing presumed of 2.0 km: too few tags to presume by (2.0 km tagged sealed, 0.0 km unsealed)\n\n"
    )


def test_a_gale_over_the_depot_is_no_bad_input(run, island: Path, sample: Path, tmp_path: Path) -> None:
    """The depot in a wind warning: no plan, with the warning's name and what to do; a warning that is over by then changes nothing."""
    ring = [[-60, -60], [60, -60], [60, -20], [-60, -20], [-60, -60]]

    def warned(last: str) -> Path:
        told = {"name": "Gale", "kind": "wind", "from": "2026-01-01", "to": last}
        feature = {"type": "Feature", "properties": told, "geometry": {"type": "Polygon", "coordinates": [ring]}}
        path = tmp_path / f"{last}.geojson"
        path.write_text(json.dumps({"type": "FeatureCollection", "features": [feature]}), encoding="utf-8")
        return path

    trip = sample / "trip_family_loop.toml"
    ran = run(
        "plan", trip, "--region", island, "--closures", warned("2026-02-05"), "--out", tmp_path / "papers", "--changes", "0"
    )
    assert ran.code == 1
    for words in ("Gale", "2026-02-03", "wait until it is over", "ask the firm", "Nothing was written"):
        assert words in ran.out
    assert not (tmp_path / "papers").exists()
    ran = run("plan", trip, "--region", island, "--closures", warned("2026-01-20"), "--out", tmp_path / "papers")
    assert ran.code == 0
