"""Files of local knowledge: what is read from them, and one clear line for everything that cannot be."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tripplan.model.errors import BadInputError
from tripplan.model.local import PlaceNote, RoadNote
from tripplan.request import local_table
from tripplan.request.local_columns import COLUMNS, read_mapping
from tripplan.request.local_files import load_local, load_locals

ROAD = "way,road,lat,lon,lat2,lon2,answer,from,to,for,max_height_m,max_weight_kg,author,date\n"
PLACE = "role,name,ref,lat,lon,power,grey,hours,price_cents,pets,admits,guests_only,kind,offer,answer\n"


@pytest.fixture
def file(tmp_path: Path):
    """Write a text under a name and return its path."""

    def write(text: str | bytes, name: str = "notes.csv") -> Path:
        path = tmp_path / name
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return path

    return write


def test_road_rows(file) -> None:
    """Each kind of road row: by way, several ways, by name and point, a part, closures, limits; the source with it."""
    text = ROAD + (
        "123,,,,,,unsealed,,,,,,M. Tarn,2026-01-10\n"
        "w124;way/125,,,,,,Closed,11-01,04-15,,,,,\n"
        ",Firth Road,-43.2,-25.6,-43.1,-25.5,sealed,,,,,,,\n"
        "126,,,,,,,,,,3.1,none,,\n"
        "127,,,,,,ends only,,,van,,,,\n"
    )
    notes = load_local(file(text)).notes
    assert all(isinstance(note, RoadNote) for note in notes)
    one, two, three, four, five = notes
    assert (one.ways, one.surface, one.access) == ((123,), "unsealed", "")
    assert one.source.label == "local note: notes.csv, row 2, M. Tarn, 2026-01-10"
    assert (two.ways, two.access, two.since, two.until) == ((124, 125), "closed", "11-01", "04-15")
    assert two.source.label == "local note: notes.csv, row 3"
    assert (three.road, three.at, three.surface) == ("Firth Road", ((-25.6, -43.2), (-25.5, -43.1)), "sealed")
    assert dict(four.limits) == {"max_height_m": 3.1, "max_weight_kg": None}
    assert (five.access, five.van_only) == ("ends only", True)


def test_place_rows(file) -> None:
    """Depots, dump points, powered sites, and answers to single offers."""
    text = PLACE + (
        "depot,Long Lee,,-43.4,-26.6,,,,,,,,,,\n"
        "dump,Yard,,-43.4,-26.5,,no,Mo-Sa 08:00-18:00,400,,,yes,,,\n"
        "site,Lee Pitches,new,-43.4,-26.4,yes,unknown,,2500,no,presumed,,farm stay,,\n"
        ",,n22,,,,,,,,,,,grey,yes\n"
        ",,way/23,-1,-1,,,,,,,,,admits,no\n"
        ",,n24,,,,,,,,,,,grey,\n"
    )
    got = load_local(file(text))
    assert got.unanswered == 1
    depot, dump, site, grey, admits = got.notes
    assert isinstance(dump, PlaceNote)
    assert (depot.role, depot.name, depot.at) == ("depot", "Long Lee", (-26.6, -43.4))
    assert dump.role == "service"
    assert dict(dump.offers) == {"cassette": "yes", "grey": "no"}
    assert dict(dump.values) == {"hours": "Mo-Sa 08:00-18:00", "price_cents": 400, "only_guests": True}
    assert (site.ref, site.admits) == ("new", "presumed")
    assert dict(site.values) == {"price_cents": 2500, "pets": "no", "kind": "farm stay"}
    assert (grey.ref, grey.offers, grey.at) == ("n22", (("grey", "yes"),), None)
    assert (admits.ref, admits.admits, admits.offers) == ("w23", "no", ())


def test_separators_marks_and_blank_rows(file) -> None:
    """Semicolons, tabs, a byte order mark, Windows line ends, blank lines: what spreadsheets write."""
    for separator in ",;\t":
        text = "\ufeff" + 'way,answer,remark\r\n123,sealed,"seen, twice"\r\n,,\r\n\r\n124,closed,\r\n'.replace(",", separator)
        notes = load_local(file(text)).notes
        assert [note.source.row for note in notes] == ["row 2", "row 5"]


def test_geojson(file) -> None:
    """Points, areas and lines with the same names as columns; true and false are yes and no."""
    features = [
        {"type": "Feature", "geometry": {"type": "Point", "coordinates": [-26.5, -43.4]}, "properties": {"role": "dump", "name": "Yard", "grey": True, "power": None, "price_cents": 400.0}},
        {"type": "Feature", "geometry": {"type": "Polygon", "coordinates": [[[-26, -43], [-25, -43], [-25, -42], [-26, -42], [-26, -43]]]}, "properties": {"role": "site"}},
        {"type": "Feature", "geometry": {"type": "LineString", "coordinates": [[-26, -43], [-25.9, -43], [-25.8, -43.1]]}, "properties": {"way": 123, "answer": "unsealed"}},
        {"type": "Feature", "geometry": None, "properties": {"way": "124", "answer": "closed"}},
    ]  # fmt: skip
    yard, site, part, way = load_local(file(json.dumps({"type": "FeatureCollection", "features": features}), "a.geojson")).notes
    assert dict(yard.offers) == {"cassette": "yes", "grey": "yes"}
    assert dict(yard.values) == {"price_cents": 400}
    assert yard.source.label == "local note: a.geojson, feature 1"
    assert site.at == (-25.5, -42.5)
    assert part.at == ((-26.0, -43.0), (-25.8, -43.1))
    assert way.ways == (124,)


#: An invented official list of dump stations, with columns and words of its own.
STATIONS = (
    "OBJECTID;Bezeichnung;Y_COORD;X_COORD;GRAUWASSER;CHEM_WC;OPEN\n"
    "1;Marrendal Nord;-43.36;-26.56;J;J;24/7\n"
    "2;;-43.30;-25.60;N;J;\n"
)


@pytest.mark.parametrize("way", ["text", "toml"])
def test_official_list_by_a_mapping(file, way: str) -> None:
    """A list with other column names comes in by a mapping, from the command line or a TOML file; other columns are not looked at."""
    path = file(STATIONS, "stations.csv")
    if way == "text":
        mapping = read_mapping(
            "stations.csv: name=Bezeichnung,lat=Y_COORD,lon=X_COORD,hours=OPEN,role:=dump,author:=Roads office"
        )
    else:
        toml = file(
            'file = "stations.csv"\n[columns]\nname = "Bezeichnung"\nlat = "Y_COORD"\nlon = "X_COORD"\ngrey = "GRAUWASSER"\ncassette = "CHEM_WC"\nhours = "OPEN"\n'
            '[same]\nrole = "dump"\nauthor = "Roads office"\ndate = 2026-01-05\n[words]\nyes = ["J"]\nno = "N"\n',
            "stations.toml",
        )  # fmt: skip
        mapping = read_mapping(str(toml))
    [got] = load_locals([path], [mapping])
    first, second = got.notes
    assert (first.role, first.name, first.at) == ("service", "Marrendal Nord", (-26.56, -43.36))
    assert first.inside_only
    assert dict(first.values) == {"hours": "24/7"}
    assert first.source.author == "Roads office"
    if way == "toml":
        assert dict(first.offers) == {"cassette": "yes", "grey": "yes"}
        assert dict(second.offers) == {"cassette": "yes", "grey": "no"}
        assert second.source.noted == "2026-01-05"


def _line(call) -> str:
    with pytest.raises(BadInputError) as told:
        call()
    assert told.value.where
    assert told.value.accepted or "no such file" in told.value.what
    assert told.value.next_step
    line = told.value.one_line()
    assert "\n" not in line
    return line


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", ["is empty"]),
        ("way,answr\n1,sealed\n", ["`answr` is not known", "did you mean `answer`"]),
        ("way,answer,way\n1,sealed,1\n", ["`way` stands twice"]),
        ("way,answer\n1,sealed,x\n", ["row 2", "has 3 columns, the first line 2"]),
        ("way,answer,\n1,sealed,x\n", ["row 2", "without a name"]),
        ('way,answer\n"1,sealed\n', ["is not CSV"]),
        ("way,answer\nabc,sealed\n", ["row 2", '`way` is "abc"', "123"]),
        ("way,answer\n1,sealed\n2,tarmac\n", ["row 3", '`answer` is "tarmac"', "accepted: sealed, unsealed, unknown, closed, open, ends only"]),
        ("way,answer,from,to\n1,closed,2026-03-01,2026-02-01\n", ["row 2", '`to` is "2026-02-01"', "on or after `from`, which is 2026-03-01"]),
        ("way,answer,from\n1,closed,2026-02-30\n", ['`from` is "2026-02-30"', "2026-01-31"]),
        ("way,answer,from\n1,closed,01.02.2026\n", ['`from` is "01.02.2026"', "year, month, day"]),
        ("way,answer,from\n1,closed,02-30\n", ['`from` is "02-30"', "a day that there is"]),
        ("way,answer,from,to\n1,closed,11-01,2026-04-15\n", ["two dates of a year"]),
        ("way,answer,from\n1,closed,11-01\n", ["two without"]),
        ("way,answer,from\n1,sealed,2026-01-01\n", ["dates only where the answer is closed"]),
        ("way,answer,for\n1,closed,car\n", ['`for` is "car"', "van"]),
        ("way,answer,for,from\n1,closed,van,2026-01-01\n", ["`for`", "dates"]),
        ("way,answer,lat\n1,closed,50\n", ["`lon` is empty", "give both"]),
        ("way,answer,lat,lon\n1,closed,91,8\n", ['`lat` is "91"', "-90 to 90"]),
        ("way,answer,lat,lon\n1,closed,nan,8\n", ['`lat` is "nan"']),
        ('way;answer;lat;lon\n1;closed;50,1;8\n', ['`lat` is "50,1"', "write 50.1"]),
        ("way,answer,lat2,lon2\n1,closed,50,8\n", ["the start of the part"]),
        ("way,max_height_m\n1,9 ft\n", ['`max_height_m` is "9 ft"', "0.5 to 50 m"]),
        ("way,max_weight_kg\n1,3.5\n", ['`max_weight_kg` is "3.5"', "kg"]),
        ("way,role\n1,site\n", ["`role`", "make two rows"]),
        ("road,answer\nFirth Road,sealed\n", ["lat and lon"]),
        ("way,date,answer\n1,yesterday,sealed\n", ['`date` is "yesterday"']),
        ("role,lat,lon\npub,50,8\n", ['`role` is "pub"', "site, depot, sight, service, dump, water, gas"]),
        ("role,name\nsite,Nowhere\n", ["`lat` is empty", "say where"]),
        ("name,lat,lon\nWhat,50,8\n", ["`role` is empty"]),
        ("role,lat,lon,power\nsite,50,8,maybe\n", ['`power` is "maybe"', "yes, no, presumed, unknown"]),
        ("role,lat,lon,hours\nsite,50,8,whenever we like\n", ['`hours` is "whenever we like"', "Mo-Fr"]),
        ("role,lat,lon,price_cents\nsite,50,8,25.5\n", ['`price_cents` is "25.5"', "whole"]),
        ("role,lat,lon,kind\ndump,50,8,farm stay\n", ["`kind`", "only for a site"]),
        ("role,lat,lon,kind\nsite,50,8,castle\n", ['`kind` is "castle"', "caravan site"]),
        ("role,lat,lon,guests_only\ndump,50,8,presumed\n", ["`guests_only`", "yes or no"]),
        ("role,lat,lon,answer\nsite,50,8,yes\n", ["`answer`", "what it answers"]),
        ("role,ref,lat,lon\nsite,x12,50,8\n", ['`ref` is "x12"', "n123"]),
        ("ref,offer,answer\nn1,wifi,yes\n", ['`offer` is "wifi"', "grey"]),
        ("ref,offer,answer\n,grey,yes\n", ["`ref` is empty"]),
        ("role,lat,lon,to\nsite,50,8,2026-01-01\n", ["`to`"]),
        ("way,answer,remark\n1,sealed," + "x" * 3000 + "\n", ["row 2", "3000 letters"]),
        (b"way,answer\n1,gesch\xf6ttert\n", ["is not UTF-8", "0xf6"]),
        ("way,answer\n1,seal\x00ed\n", []),
    ],
)  # fmt: skip
def test_bad_csv(file, text: str | bytes, words: list[str]) -> None:
    """Every mistake is one line: file, row, column, value, what is accepted, what to do."""
    line = _line(lambda: load_local(file(text)))
    assert line.startswith(str(file(text)))
    for word in words:
        assert word in line, line


@pytest.mark.parametrize(
    ("data", "words"),
    [
        ("{", ["is not JSON"]),
        ("[" * 100_000, ["is "]),
        ("[]", ["no GeoJSON of features"]),
        ({"type": "Feature", "geometry": {"type": "MultiPoint", "coordinates": []}, "properties": {}}, ["feature 1", "MultiPoint"]),
        ({"type": "Feature", "geometry": {"type": "Point", "coordinates": ["a", 1]}, "properties": {"role": "site"}}, ["position is"]),
        ({"type": "Feature", "geometry": {"type": "Polygon", "coordinates": [[]]}, "properties": {"role": "site"}}, ["position is"]),
        ({"type": "Feature", "geometry": None, "properties": {"role": ["site"]}}, ["`role` holds a list"]),
        ({"type": "Feature", "geometry": None, "properties": {"rool": "site"}}, ["`rool` is not known", "`role`"]),
    ],
)  # fmt: skip
def test_bad_geojson(file, data, words: list[str]) -> None:
    """The same for GeoJSON."""
    text = data if isinstance(data, str) else json.dumps(data)
    line = _line(lambda: load_local(file(text, "a.geojson")))
    for word in words:
        assert word in line, line


@pytest.mark.parametrize(
    ("mapping", "words"),
    [
        ("name", ['"name"', "our=theirs"]),
        ("role:=dump", ["no column is mapped"]),
        ("nom=NAME", ["`nom` is no column of ours"]),
        ("lat=Y,lat=Z", ["mapped twice"]),
        ("lat=Y,lat:=3", ["mapped twice"]),
        ("lat=Y_COORD,lon=X,role:=dump", ["no column `X`", "X_COORD"]),
        ("other.csv: lat=Y_COORD", ["`other.csv`", "stations.csv"]),
        ("lat=Y_COORD,lon=X_COORD,grey=GRAUWASSER,role:=dump", ["row 2", '`grey` is "J"', "their column `GRAUWASSER`", "[words]"]),
        ("none.toml", ["no such file"]),
    ],
)  # fmt: skip
def test_bad_mapping(file, mapping: str, words: list[str]) -> None:
    """A mapping that is none, of columns that nobody has, or for another file."""
    path = file(STATIONS, "stations.csv")
    line = _line(lambda: load_locals([path], [read_mapping(mapping)]))
    for word in words:
        assert word in line, line


@pytest.mark.parametrize(
    ("toml", "words"),
    [
        ("colums = 1", ["`colums` is not known", "columns"]),
        ("[columns]\nlat = [1]", ["`lat` is no single value"]),
        ("columns = 3", ["`columns` is no table"]),
        ('file = 3\n[columns]\nlat = "Y"', ["`file`"]),
        ('[columns]\nlat = "Y"\n[words]\nyes = "J"\nno = "j"', ['"j" stands for']),
    ],
)
def test_bad_mapping_file(file, toml: str, words: list[str]) -> None:
    """The same for a mapping in a TOML file."""
    line = _line(lambda: read_mapping(str(file(toml, "m.toml"))))
    for word in words:
        assert word in line, line


def test_two_files_of_one_name(file, tmp_path: Path) -> None:
    """Notes are named by their file: two of one name are refused; a mapping without a name needs one file alone."""
    (tmp_path / "sub").mkdir()
    one, two = file("way,answer\n1,sealed\n"), file("way,answer\n1,sealed\n", "sub/notes.csv")
    assert "two files are called notes.csv" in _line(lambda: load_locals([one, two]))
    other = file("way,answer\n1,sealed\n", "other.csv")
    assert "does not say for which file" in _line(lambda: load_locals([one, other], [read_mapping("way=way")]))


def test_limits_of_size(file, monkeypatch: pytest.MonkeyPatch) -> None:
    """A file with too many rows or bytes is refused by its size."""
    monkeypatch.setattr(local_table, "MOST_ROWS", 3)
    assert "holds 4 rows" in _line(lambda: load_local(file("way,answer\n" + "1,sealed\n" * 4)))
    monkeypatch.setattr(local_table, "MOST_MB", 0.001)
    assert "larger than" in _line(lambda: load_local(file("way,answer\n" + "1,sealed\n" * 400)))
    assert "no such file" in _line(lambda: load_local(Path("nowhere.csv")))


@settings(max_examples=300, deadline=None)
@given(
    header=st.lists(st.sampled_from([*COLUMNS, "", "x"]), min_size=1, max_size=6),
    rows=st.lists(st.lists(st.one_of(st.sampled_from(["1", "sealed", "closed", "yes", "n1", "site", "50", "2026-01-01", "11-01", "", "new"]), st.text(max_size=8)), max_size=6), max_size=3),
)  # fmt: skip
def test_any_table(tmp_path_factory: pytest.TempPathFactory, header: list[str], rows: list[list[str]]) -> None:
    """Whatever a table holds, it is read or refused in one line."""
    path = tmp_path_factory.getbasetemp() / "any.csv"
    with path.open("w", encoding="utf-8", newline="", errors="replace") as out:
        csv.writer(out).writerows([header, *(row[: len(header)] for row in rows)])
    try:
        load_local(path)
    except BadInputError as error:
        line = error.one_line()
    else:
        line = str(path)
    assert line.startswith(str(path))
    assert "\n" not in line


@settings(max_examples=200, deadline=None)
@given(st.recursive(st.none() | st.booleans() | st.floats() | st.text(max_size=5), lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.sampled_from(["type", "features", "geometry", "properties", "coordinates", "role", "way"]), inner, max_size=4)))  # fmt: skip
def test_any_json(tmp_path_factory: pytest.TempPathFactory, data: object) -> None:
    """Whatever a GeoJSON file holds, it is read or refused in one line."""
    path = tmp_path_factory.getbasetemp() / "any.geojson"
    whole = {"type": "FeatureCollection", "features": [{"type": "Feature", "geometry": data, "properties": data}]}
    path.write_text(json.dumps(whole), encoding="utf-8")
    line = str(path)
    try:
        load_local(path)
    except BadInputError as error:
        line = error.one_line()
    assert line.startswith(str(path))
