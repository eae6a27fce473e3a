"""Tables of bookings: what each row becomes, and what is said of a row or a table that is wrong."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tripplan.model.errors import BadInputError
from tripplan.request.bookings import BookingRow, load_bookings

SAMPLE = Path(__file__).resolve().parents[2] / "data_sample"
TRIP = SAMPLE / "trip_isle_weekend.toml"


def rows(tmp_path: Path, text: str, trip: Path | None = TRIP) -> tuple[BookingRow, ...]:
    """Read a table from text."""
    path = tmp_path / "bookings.csv"
    path.write_text(text, encoding="utf-8")
    return load_bookings(path, trip)


def test_cells_replace_values_of_the_trip_and_of_its_files(tmp_path: Path) -> None:
    """A cell goes before the trip file, also where the trip names a party file; empty cells leave things as they are."""
    one, two = rows(
        tmp_path,
        "booking,party.adults,pick_up.time,driving.max_h,sights\nB1,1,2026-03-12 09:00,2.5,Kelder Arch; Isle Seal Ledge\nB2,,,,\n",
    )
    assert one.raw["party"]["adults"] == 1
    assert one.raw["party"]["pets"] == 1  # from the party's file
    assert one.raw["pick_up"]["time"].isoformat() == "2026-03-12T09:00:00"
    assert one.raw["driving"]["max_h"] == 2.5
    assert [s["place"] for s in one.raw["sights"]] == ["Kelder Arch", "Isle Seal Ledge"]
    assert two.raw["party"] == "parties/friends_with_dog.toml"
    assert len(two.raw["sights"]) > 2
    assert not one.fault
    assert not two.fault


@pytest.mark.parametrize("comma", [",", ";", "\t"])
def test_columns_are_parted_as_in_every_other_table(tmp_path: Path, comma: str) -> None:
    """Commas, semicolons or tabs, blank lines before the heading, a mark of byte order; rows are numbered as an editor does."""
    text = "\ufeff\n\nbooking,party.adults\nB1,1\n\nB2,ten\n".replace(",", comma)
    one, two = rows(tmp_path, text)
    assert (one.number, one.raw["party"]["adults"]) == (4, 1)
    assert (two.number, "whole numbers" in two.fault) == (6, True)


def test_rows_name_their_trip_and_van_beside_the_table(tmp_path: Path) -> None:
    """Files in cells are looked for in the table's folder, and semicolons part columns where there are no commas."""
    (tmp_path / "t.toml").write_text(TRIP.read_text(encoding="utf-8"), encoding="utf-8")
    (tmp_path / "v.toml").write_text((SAMPLE / "vans" / "four_berth.toml").read_text(encoding="utf-8"), encoding="utf-8")
    (row,) = rows(tmp_path, "booking;trip;van\nB1;t.toml;v.toml\n", None)
    assert row.raw["van"]["berths"] == 4
    assert row.path == tmp_path / "t.toml"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "empty"), ("name,van\nx,y\n", "no column booking"), ("booking,party.adlts\nB,1\n", "did you mean party.adults"),
        ("booking,booking\nB,B\n", "twice"), ("booking\n", "0 bookings"), ('booking,name\nB,"open\n', "is not CSV"), (" \n;\n", "is empty"),
    ],
)  # fmt: skip
def test_a_table_that_cannot_be_used_is_refused(tmp_path: Path, text: str, said: str) -> None:
    """One line says what is wrong with the whole table."""
    with pytest.raises(BadInputError, match=said):
        rows(tmp_path, text)


@pytest.mark.parametrize(
    ("cells", "said"),
    [
        (",1,", "`booking` is empty"), ("B,ten,", "whole numbers from 1 to 10"), ("B,1,tomorrow", "a date and time"), ("B,1,,9", "4 cells under 3 columns"),
        ("B" * 81 + ",1,", "longer than 80"),
    ],
)  # fmt: skip
def test_a_wrong_row_keeps_its_fault_and_the_rest_stand(tmp_path: Path, cells: str, said: str) -> None:
    """The row says what is wrong with it; the one after it is as it should be."""
    wrong, right = rows(tmp_path, f"booking,party.adults,pick_up.time\n{cells}\nGood,2,\n")
    assert said in wrong.fault
    assert not right.fault


def test_one_name_twice_is_said(tmp_path: Path) -> None:
    """The second of two bookings with one name is the one at fault: its papers would go over the first's."""
    first, second = rows(tmp_path, "booking\nB1\nB1\n")
    assert not first.fault
    assert "row 2" in second.fault


def test_names_that_differ_only_in_case_have_folders_of_their_own(tmp_path: Path) -> None:
    """On a disk that does not tell them apart, neither writes over the other; nor does one take the name of a device."""
    found = rows(tmp_path, "booking\nB1\nb1\nnul\n")
    assert found[0].folder == "B1"
    assert len({row.folder.casefold() for row in found}) == 3
    assert found[2].folder != "nul"


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.text(st.characters(exclude_categories=("Cs", "Cc")), min_size=1, max_size=60), min_size=2, max_size=8, unique=True
    )
)
def test_folders_are_plain_and_apart(tmp_path_factory: pytest.TempPathFactory, names: list[str]) -> None:
    """Whatever a booking is called, its folder stays inside, is plain, and is no other booking's, also where case does not count."""
    import csv
    import io

    text = io.StringIO()
    csv.writer(text).writerows([["booking", "name"], *([name, "x"] for name in names)])
    found = [row for row in rows(tmp_path_factory.mktemp("b"), text.getvalue()) if not row.fault]
    folders = [row.folder for row in found]
    assert all(set(folder) <= set("ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789_-") for folder in folders)
    assert len({f.casefold() for f in folders}) == len(folders)
