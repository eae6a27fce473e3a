"""`tripplan new`: questions answered by a person, and the trip file that comes of it."""

from __future__ import annotations

import io
import tomllib
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tripplan.region.store import load
from tripplan.request.trip_file import load_trip
from tripplan.request.writing import toml_value

HIRE = ["Our first trip", "Long Lee", "2027-02-02 10:00", "", "2027-02-05 15:00"]
FIRM = ["Invented Vans", "+999 5550 000", "85", "2", "Mo-Sa 08:00-18:00"]
REST = ["", "", "", "", "", "3", "", "1", "yes"]
END = ["", ""]


def told(monkeypatch: pytest.MonkeyPatch, lines: list[str]) -> None:
    """Let a person answer with these lines, and then say no more."""
    monkeypatch.setattr("sys.stdin", io.StringIO("".join(f"{line}\n" for line in lines)))


def test_answers_become_a_trip(run: Any, island: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The file holds what was answered, is a trip that can be loaded, and the next command is named."""
    path = tmp_path / "mine.toml"
    told(monkeypatch, [*HIRE, *FIRM, "2", "1", "", "", *REST, "Pell Sands", "no", "2", *END])
    ran = run("new", path, "--region", island)
    assert ran.code == 0
    assert f"tripplan plan {path} --region {island}" in ran.out
    trip = load_trip(path, load(island))
    assert (trip.name, trip.nights, trip.party.adults, trip.party.children) == ("Our first trip", 3, 2, 1)
    assert (trip.firm.name, trip.firm.towing_limit_kmh, trip.firm.return_gas_kg) == ("Invented Vans", 85, 2)
    assert trip.van.berths >= 3  # three people are offered a van with beds for them
    assert (trip.max_drive_s, trip.powered_nights_at_least) == (3 * 3600, 1)
    assert trip.levels.fresh_l == trip.van.fresh_l
    assert [(s.spot.name, s.must, s.hours) for s in trip.sights] == [("Pell Sands", False, 2)]


def test_names_and_needed_answers_are_told(run: Any, island: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A question mark brings names that the map knows, of what is asked for; pressing past a needed answer is told and asked again."""
    path = tmp_path / "mine.toml"
    told(monkeypatch, ["", "?", "", *HIRE[1:], *FIRM, "2", "", "", "", *REST, "?", *END])
    ran = run("new", path, "--region", island)
    assert ran.code == 0, ran.out
    assert "Skellhaven" in ran.out.partition("An answer is needed")[0]  # a town: the island has no depot on its map
    assert "An answer is needed here" in ran.out
    assert "Pell Sands" in ran.out  # a sight
    assert "Lothmere Dump Station" not in ran.out


def test_a_van_of_ones_own_is_asked_store_by_store(
    run: Any, island: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The last choice asks for each store; what is pressed past keeps the usual figure."""
    path = tmp_path / "mine.toml"
    own = ["3", "5", "55", "", "21", "2", "", "", "", "", "lifepo4", "", "", ""]
    told(monkeypatch, [*HIRE, *FIRM, "", "", "", *own, *REST[:5], *REST[5:], *END])
    ran = run("new", path, "--region", island)
    assert ran.code == 0, ran.out
    van = load_trip(path, load(island)).van
    assert (van.berths, van.fresh_l, van.cassette_l, van.cassettes, van.battery_kind) == (5, 55, 21, 2, "lifepo4")


def test_what_cannot_be_read_is_asked_again(run: Any, island: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """An unknown place, a wrong date, a return before the pick-up and a figure out of range each get one line, and the question again."""
    path = tmp_path / "mine.toml"
    hire = ["T", "Nowhere at all", "Long Lee", "tomorrow", "2027-02-02 10:00", "", "2027-02-01 10:00", "2027-02-04 12:00"]
    told(monkeypatch, [*hire, *FIRM[:2], "500", "85", "2", "", "2", "", "", "9", "1", *REST, *END])
    ran = run("new", path, "--region", island)
    assert ran.code == 0, ran.out
    for said in ("not on the map", "a date and time such as", "not 1 to 35 nights", "20 to 130 km/h", "1 to 3"):
        assert said in ran.out
    assert load_trip(path, load(island)).nights == 2


@pytest.mark.parametrize("answered", [0, 3, 11, 25])
def test_stopping_half_way_writes_nothing(
    run: Any, island: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, answered: int
) -> None:
    """When the answers end, so does the command, and there is no file."""
    told(monkeypatch, [*HIRE, *FIRM, "", "", "", "1", *REST][:answered])
    ran = run("new", tmp_path / "mine.toml", "--region", island)
    assert ran.code == 130
    assert "stopped" in ran.err
    assert list(tmp_path.iterdir()) == []


def test_a_file_that_is_there_is_kept(run: Any, island: Path, tmp_path: Path) -> None:
    """Without --force nothing is written over; a name without .toml and a missing folder are refused before any question."""
    path = tmp_path / "mine.toml"
    path.write_text("name = 'old'", encoding="utf-8")
    for where, said in ((path, "there already"), (tmp_path / "trip.txt", ".toml"), (tmp_path / "no" / "mine.toml", "no folder")):
        ran = run("new", where, "--region", island)
        assert ran.code == 2
        assert said in ran.err
    assert path.read_text(encoding="utf-8") == "name = 'old'"


@given(st.text(st.characters(exclude_categories=("Cs",)), max_size=80))
def test_any_text_comes_back_from_the_file(text: str) -> None:
    """What a person typed is read back from TOML as it was."""
    assert tomllib.loads(f"x = {toml_value(text)}")["x"] == text
