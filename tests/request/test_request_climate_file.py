"""Climate tables and a trip's own weather by day: what is read, and each mistake as one line."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from tripplan.almanac.climate import GUESS_SOURCE, weather_for
from tripplan.almanac.sun import clear_sky_kwh
from tripplan.model.errors import BadInputError
from tripplan.region.build import build
from tripplan.region.region import Region
from tripplan.region.store import load, save
from tripplan.request.climate_file import load_climate, load_days
from tripplan.request.trip_file import load_trip

SAMPLE = Path(__file__).resolve().parents[2] / "data_sample"
HEAD = "station,lat,lon,month,mean_c,low_c,high_c,sun_kwh_per_m2\n"
YEAR = HEAD + "".join(f"Mill,-43.3,-26.6,{m},12,7,17,3.5\n" for m in range(1, 13))
DAYS = "date,mean_c,low_c,high_c,sun_kwh_per_m2\n2026-02-03,11,6,15,4.1\n2026-02-04,12,7,16,5\n"


@pytest.fixture(scope="module")
def region() -> Region:
    """The sample island with its climate table."""
    island = build(SAMPLE / "island.osm.pbf", name="Sample island")
    return replace(island, climate=load_climate(SAMPLE / "sample_climate.csv"))


def test_the_samples_table() -> None:
    """Six invented stations with twelve months each, warm in January as the south is."""
    stations = load_climate(SAMPLE / "sample_climate.csv")
    assert len(stations) == 6
    assert all(s.months[0][0] > s.months[6][0] + 5 for s in stations)
    assert {s.source for s in stations} == {"sample_climate.csv"}


def test_clouds_instead_of_sun(tmp_path: Path) -> None:
    """A table that tells the share of sky under cloud gets its sun from the clear sky of the place."""
    file = tmp_path / "c.csv"
    file.write_text(YEAR.replace("sun_kwh_per_m2", "cloud_share").replace(",3.5\n", ",1\n"), encoding="utf-8")
    (mill,) = load_climate(file)
    assert mill.months[0][3] == pytest.approx(0.25 * clear_sky_kwh(date(2025, 1, 15), -43.3, -26.6), abs=0.01)


def test_semicolons_and_a_mark_of_utf8(tmp_path: Path) -> None:
    """Spreadsheets write semicolons and a byte-order mark."""
    file = tmp_path / "c.csv"
    file.write_text(YEAR.replace(",", ";"), encoding="utf-8-sig")
    assert load_climate(file)[0].name == "Mill"


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "is empty"),
        (HEAD, "holds no stations"),
        (YEAR.replace("mean_c", "mean"), "has a column `mean`; accepted: a .csv with the columns"),
        (YEAR.replace(",sun_kwh_per_m2", "").replace(",3.5\n", "\n"), "has no column `sun_kwh_per_m2` or `cloud_share`"),
        (YEAR.replace(",12,7,17", ",12,13,17", 1), "row 2: low, mean and high are 13, 12 and 17; accepted: low <= mean <= high"),
        (YEAR.replace(",3.5\n", ",35\n", 1), "row 2: `sun_kwh_per_m2` is '35'; accepted: 0 to 12 kWh/m² a day"),
        (YEAR.replace(",3.5\n", ",3,5\n", 1), "row 2: has 9 columns, the first line 8"),
        (YEAR.replace("Mill,-43.3,-26.6,2,", "Mill,-43.3,-26.6,1,"), "row 3: 'Mill' has month 1 twice"),
        (YEAR.replace("Mill,-43.3,-26.6,12,12,7,17,3.5\n", ""), "'Mill' lacks month 12"),
        (YEAR.replace("Mill,-43.3,-26.6,5,", "Mill,-43.3,-26.7,5,"), "row 6: 'Mill' stands at two places"),
        (YEAR.replace(",5,12,", ",May,12,"), "row 6: `month` is 'May'; accepted: 1 to 12"),
        (YEAR.replace("-43.3", "nan", 1), "row 2: `lat` is 'nan'"),
        (YEAR.replace("Mill", '"Mill', 1), "is not CSV"),
    ],
)  # fmt: skip
def test_each_mistake_is_one_line(tmp_path: Path, text: str, says: str) -> None:
    """What, where, what is accepted, and what to do."""
    file = tmp_path / "c.csv"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(BadInputError) as caught:
        load_climate(file)
    assert says in str(caught.value)
    assert "\n" not in str(caught.value)
    assert caught.value.accepted
    assert caught.value.next_step


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (DAYS.replace("2026-02-04", "4 Feb"), "row 3: `date` is '4 Feb'; accepted: a date such as 2026-02-03"),
        (DAYS.replace("2026-02-04", "2026-02-03"), "row 3: 2026-02-03 stands twice"),
        (DAYS.splitlines()[0] + "\n", "holds no days"),
        (DAYS.replace(",11,", ",hot,"), "row 2: `mean_c` is 'hot'; accepted: -60 to 45 °C"),
    ],
)  # fmt: skip
def test_mistakes_in_days(tmp_path: Path, text: str, says: str) -> None:
    """The same for weather by day."""
    file = tmp_path / "d.csv"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(BadInputError) as caught:
        load_days(file, -26.6, -43.3)
    assert says in str(caught.value)
    assert caught.value.next_step


def test_a_trip_gets_the_regions_climate(region: Region) -> None:
    """Every date of the sample trips is planned with the region's table, named in the source; without it by the guess."""
    trip = load_trip(SAMPLE / "trip_family_loop.toml", region)
    assert [day for day, _ in trip.weather_days] == list(trip.dates)
    assert all("sample_climate.csv" in w.source for _, w in trip.weather_days)
    bare = load_trip(SAMPLE / "trip_family_loop.toml", replace(region, climate=()))
    assert bare.weather_days == ()
    assert weather_for(bare.dates[0], -43, bare.weather, by_date=bare.weather_days).source == GUESS_SOURCE


def _copy(tmp_path: Path, more: str) -> Path:
    """Write the sample trip with a line at its top, its parts beside it."""
    import shutil

    for folder in ("vans", "parties", "outfits"):
        shutil.copytree(SAMPLE / folder, tmp_path / folder)
    shutil.copy(SAMPLE / "firm.toml", tmp_path)
    text = (SAMPLE / "trip_family_loop.toml").read_text(encoding="utf-8")
    place = text.index("[pick_up]")
    (tmp_path / "trip.toml").write_text(text[:place] + more + text[place:], encoding="utf-8")
    return tmp_path / "trip.toml"


def test_the_trips_own_file_rules_by_day(tmp_path: Path, region: Region) -> None:
    """`weather = "days.csv"` rules on its days, the region's table on the others."""
    path = _copy(tmp_path, 'weather = "days.csv"\n')
    (tmp_path / "days.csv").write_text(DAYS, encoding="utf-8")
    trip = load_trip(path, region)
    by_date = dict(trip.weather_days)
    assert by_date[date(2026, 2, 3)].mean_c == 11
    assert by_date[date(2026, 2, 3)].source == "the trip's weather file days.csv"
    assert "sample_climate.csv" in by_date[date(2026, 2, 5)].source
    assert len(by_date) == len(trip.dates)


def test_months_in_the_trip_rule_over_the_region(tmp_path: Path, region: Region) -> None:
    """`[[weather]]` for February leaves no February day to the region's table."""
    path = _copy(tmp_path, "[[weather]]\nmonth = 2\nmean_c = 9\nlow_c = 4\nhigh_c = 14\nsun_kwh_per_m2 = 3\n\n")
    trip = load_trip(path, region)
    assert trip.weather_days == ()
    assert weather_for(trip.dates[0], -43, trip.weather, by_date=trip.weather_days).mean_c == 9


@pytest.mark.parametrize(
    ("more", "says"),
    [
        ('weather = "none.csv"\n', "no such file"),
        ("weather = 3\n", "`weather` is '3'; accepted: one or more tables of keys, or the path of a .csv file"),
        ("[weather]\nmonth = 2\n\n", "write `[[weather]]` with two brackets"),
    ],
)  # fmt: skip
def test_a_bad_weather_key_is_one_line(tmp_path: Path, region: Region, more: str, says: str) -> None:
    """A file that is not there, a number, or one pair of brackets too few."""
    with pytest.raises(BadInputError) as caught:
        load_trip(_copy(tmp_path, more), region)
    assert says in str(caught.value)


def test_a_region_keeps_its_table(tmp_path: Path, region: Region) -> None:
    """Saved and loaded, the stations are the same; the map's key does not change with them; a damaged table is refused."""
    save(region, tmp_path / "one.region")
    again = load(tmp_path / "one.region")
    assert again.climate == region.climate
    assert again.meta.key == replace(region, climate=()).meta.key
    save(replace(again, climate=()), tmp_path / "two.region")
    assert load(tmp_path / "two.region").climate == ()
    broken = tmp_path / "three.region"
    data = (tmp_path / "one.region").read_bytes()
    broken.write_bytes(data.replace(b'[["Long Lee"', b'{["Long Lee"', 1))
    with pytest.raises(BadInputError):
        load(broken)
