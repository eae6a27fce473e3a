"""Local knowledge from the command line: built in, added, listed, taken out, asked for and answered."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from tripplan.model.words import Offer, Source, Surface
from tripplan.region.local import without_local
from tripplan.region.store import load


@pytest.fixture
def with_notes(run, island: Path, sample: Path, tmp_path: Path) -> Path:
    """The island with the sample's notes and places."""
    out = tmp_path / "with.region"
    ran = run(
        "region", "add", island, "--local", sample / "sample_notes.csv", "--local", sample / "sample_places.csv", "--out", out
    )
    assert ran.code == 0, ran.err
    return out


def test_the_sample_files(with_notes: Path, island: Path) -> None:
    """The sample's notes change surface, access, closures, limits and offers as they say; all else is the map's."""
    made, before = load(with_notes), load(island)
    assert made.meta.key != before.meta.key
    source = list(Source).index(Source.LOCAL_NOTE)
    by_note = made.ways.surface_source == source
    assert {Surface(int(s)) for s in made.ways.surface[by_note]} == {Surface.SEALED, Surface.UNSEALED}
    assert {made.string(int(n)) for n in made.ways.name[by_note]} == {"East Head Road", "Pell Sands Road"}
    depot = made.places[made.place_by_ref["local:Long Lee Yard"]]
    assert (depot.role, depot.hours) == ("depot", "Mo-Sa 08:00-18:00")
    yard = next(place for place in made.places if place.name == "Hollumstow Yard")
    assert yard.offer("grey").answer is Offer.YES
    assert "sample_places.csv, row 4, M. Tarnholm, 2026-01-08" in yard.offer("grey").evidence
    wells = next(place for place in made.places if place.name == "Sund Wells" and place.role == "site")
    assert (wells.price_cents, wells.offer("power").source) == (1800, Source.LOCAL_NOTE)
    assert without_local(made).meta == before.meta


def test_built_in_or_added_is_the_same(run, with_notes: Path, sample: Path, tmp_path: Path) -> None:
    """`region build --local` makes the file that `region add --local` makes."""
    files = ["--local", sample / "sample_notes.csv", "--local", sample / "sample_places.csv"]
    ran = run("region", "build", sample / "island.osm.pbf", "--name", "Sample island", *files, "--out", tmp_path / "built.region")
    assert ran.code == 0, ran.err
    assert "Read sample_notes.csv: 5 notes." in ran.out
    assert (tmp_path / "built.region").read_bytes() == with_notes.read_bytes()


def test_listed_and_taken_out(run, island: Path, with_notes: Path, tmp_path: Path) -> None:
    """`region show` lists every note with its source; taken out, file by file, the map is what it was to the byte."""
    shown = run("region", "show", with_notes)
    assert shown.code == 0
    assert "Local knowledge: 10 notes" in shown.out
    assert "East Head Road, 3.0 km: sealed (map: unknown) [sample_notes.csv, row 2, M. Tarnholm, 2026-01-08]" in shown.out
    assert "Local knowledge: none." in run("region", "show", island).out
    one, none = tmp_path / "one.region", tmp_path / "none.region"
    ran = run("region", "add", with_notes, "--without", "sample_notes.csv", "--out", one)
    assert ran.code == 0
    assert "East Head Road" not in ran.out
    assert "Long Lee Yard" in ran.out
    assert run("region", "add", one, "--without", "sample_places.csv", "--out", none).code == 0
    assert none.read_bytes() == island.read_bytes()


def test_a_region_over_itself(run, island: Path, sample: Path, tmp_path: Path) -> None:
    """The file that is read may be the one that is written."""
    region = tmp_path / "own.region"
    region.write_bytes(island.read_bytes())
    for _ in range(2):
        assert run("region", "add", region, "--local", sample / "sample_notes.csv", "--out", region).code == 0
    assert load(region).local is not None
    assert len(load(region).local.notes) == 5


def test_doubts_answered(run, island: Path, tmp_path: Path) -> None:
    """Doubts are listed and written; unanswered rows are passed over; answered ones go back in and are asked no more."""
    out = tmp_path / "doubts.csv"
    ran = run("region", "doubts", island, "--top", 6, "--out", out)
    written = out.read_bytes()
    over = run("region", "doubts", island, "--top", 6, "--out", out)
    assert (over.code, over.err.count("\n")) == (2, 1)
    assert "there already, perhaps with answers" in over.err
    assert out.read_bytes() == written
    assert ran.code == 0, ran.err
    assert "Roads in doubt" in ran.out
    assert "Offers in doubt" in ran.out
    with out.open(encoding="utf-8-sig", newline="") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == 12
    for row in rows:
        assert all(row[column] for column in ("what", "lat", "lon", "routes", "share_percent", "now", "evidence", "town"))
        assert not row["answer"]
    blank = run("region", "add", island, "--local", out, "--out", tmp_path / "blank.region")
    assert blank.code == 0, blank.err
    assert "12 rows without an answer passed over" in blank.out
    assert (tmp_path / "blank.region").read_bytes() == island.read_bytes()
    answers = {}
    for k, row in enumerate(rows[:-1]):
        row["answer"] = ("sealed" if k % 2 else "unsealed") if row["what"] == "road" else ("yes" if k % 2 else "no")
        row["author"], row["date"] = "M. Tarnholm", "2026-02-01"
        answers[row["way"] or (row["ref"], row["offer"])] = row["answer"]
    with out.open("w", encoding="utf-8-sig", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]), delimiter=";")
        writer.writeheader()
        writer.writerows(rows)
    ran = run("region", "add", island, "--local", out, "--out", tmp_path / "answered.region")
    assert ran.code == 0, ran.err
    assert "11 notes, 1 row without an answer" in ran.out
    made = load(tmp_path / "answered.region")
    for asked, answer in answers.items():
        if isinstance(asked, str):
            way = int((made.ways.osm_id == int(asked)).nonzero()[0][0])
            assert made.ways.surface[way] == (Surface.SEALED if answer == "sealed" else Surface.UNSEALED)
        else:
            place = made.places[made.place_by_ref[asked[0]]]
            told = place.admits if asked[1] == "admits" else place.offer(asked[1]).answer
            assert told is (Offer.YES if answer == "yes" else Offer.NO)
    again = run("region", "doubts", tmp_path / "answered.region", "--top", 500, "--out", tmp_path / "again.csv")
    assert again.code == 0
    with (tmp_path / "again.csv").open(encoding="utf-8-sig", newline="") as file:
        left = {row["way"] or (row["ref"], row["offer"]) for row in csv.DictReader(file)}
    assert not left & answers.keys()


def test_official_list_of_dump_stations(run, island: Path, tmp_path: Path) -> None:
    """An invented official list with columns of its own comes in by a mapping; what lies off the map is left out and said so."""
    (tmp_path / "stations.csv").write_text(
        "NR;TITEL;HOCH;RECHTS;GRAU\n1;Corrahithe Mole;-42.5795;-25.3300;ja\n2;Tarrow Wharf;-43.3100;-27.3000;nein\n3;Far Land;-10;10;ja\n",
        encoding="utf-8",
    )
    (tmp_path / "stations.toml").write_text(
        '[columns]\nname = "TITEL"\nlat = "HOCH"\nlon = "RECHTS"\ngrey = "GRAU"\n[same]\nrole = "dump"\nauthor = "Island roads office"\n[words]\nyes = "ja"\nno = "nein"\n',
        encoding="utf-8",
    )
    ran = run(
        "region",
        "add",
        island,
        "--local",
        tmp_path / "stations.csv",
        "--map",
        tmp_path / "stations.toml",
        "--out",
        tmp_path / "r",
    )
    assert ran.code == 0, ran.err
    assert "Far Land: left out, off the map" in ran.out
    made = load(tmp_path / "r")
    mole = made.places[made.place_by_ref["local:Corrahithe Mole"]]
    assert (mole.offer("cassette").answer, mole.offer("grey").answer) == (Offer.YES, Offer.YES)
    assert mole.offer("grey").evidence == "local note: stations.csv, row 2, Island roads office"
    assert made.places[made.place_by_ref["local:Tarrow Wharf"]].offer("grey").answer is Offer.NO
    assert "local:Far Land" not in made.place_by_ref


def test_check_names_the_note(run, with_notes: Path, tmp_path: Path) -> None:
    """A way over a road that a note calls unsealed is forbidden, and the note is named."""
    points = tmp_path / "way.csv"
    points.write_text("name,lat,lon\na,-43.0442,-27.6863\nb,-43.06173,-27.74295\n", encoding="utf-8")
    ran = run("check", points, "--region", with_notes)
    assert ran.code == 1, ran.err
    assert "local note: sample_notes.csv, row 3, M. Tarnholm, 2026-01-08" in ran.out


@pytest.mark.parametrize(
    ("args", "words"),
    [
        (["region", "add", "{island}", "--out", "{tmp}/r"], ["nothing to add", "--local"]),
        (["region", "add", "{island}", "--local", "{tmp}/none.csv", "--out", "{tmp}/r"], ["no such file"]),
        (["region", "add", "{tmp}/none.region", "--without", "a.csv", "--out", "{tmp}/r"], ["no such region"]),
        (["region", "add", "{island}", "--without", "a.csv", "--out", "{tmp}/r"], ["a.csv is not in region", "no local knowledge"]),
        (["region", "add", "{island}", "--local", "{tmp}/bad.csv", "--out", "{tmp}/r"], ["bad.csv, row 2", "`way` 999999", "look the number up"]),
        (["region", "add", "{island}", "--local", "{tmp}/word.csv", "--out", "{tmp}/r"], ["word.csv, row 2", '`answer` is "paved"', "sealed"]),
        (["region", "build", "{tmp}/none.pbf", "--local", "{tmp}/word.csv", "--out", "{tmp}/r"], ["word.csv, row 2"]),
        (["region", "add", "{island}", "--local", "{tmp}/bad.csv", "--out", "{tmp}"], ["is a folder"]),
        (["region", "doubts", "{island}", "--out", "{tmp}/no/such.csv"], ["is no folder"]),
        (["region", "doubts", "{island}", "--top", "0"], ["--top"]),
        (["region", "add", "{island}", "--map", "lat=Y", "--out", "{tmp}/r"], ["nothing to add"]),
    ],
)  # fmt: skip
def test_bad_input(run, island: Path, tmp_path: Path, args: list[str], words: list[str]) -> None:
    """One line, exit code 2, and nothing written."""
    (tmp_path / "bad.csv").write_text("way,answer\n999999,sealed\n", encoding="utf-8")
    (tmp_path / "word.csv").write_text("way,answer\n1031,paved\n", encoding="utf-8")
    ran = run(*(arg.format(island=island, tmp=tmp_path) for arg in args))
    assert ran.code == 2, (ran.out, ran.err)
    assert ran.err.count("\n") == 1
    assert "Traceback" not in ran.err
    for word in words:
        assert word in ran.err, ran.err
    assert sorted(path.name for path in tmp_path.iterdir()) == ["bad.csv", "word.csv"]
