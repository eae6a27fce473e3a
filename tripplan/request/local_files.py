"""Files of local knowledge: an operator's own places and road notes, CSV or GeoJSON, row by row to notes.

A row with `way` or `road` speaks of a road, any other of a place. A row of `tripplan region doubts` with nothing in its
`answer` is passed over.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

from tripplan.model.errors import BadInputError
from tripplan.model.local import LIMITS, LocalNote, NoteSource, PlaceNote, RoadNote
from tripplan.model.place import OFFERS
from tripplan.model.words import SiteKind
from tripplan.request.local_columns import PLACE_COLUMNS, ROAD_COLUMNS, Mapping
from tripplan.request.local_table import Row, read_rows

__all__ = ["LocalFile", "load_local", "load_locals"]

#: Words of `role`: the role of the place, and what such a place has unless its row says otherwise.
_ROLES: dict[str, tuple[str, dict[str, str]]] = {
    "site": ("site", {}), "depot": ("depot", {}), "sight": ("sight", {}), "service": ("service", {}),
    "dump": ("service", {"cassette": "yes"}), "water": ("service", {"fresh": "yes"}), "gas": ("service", {"gas": "yes"}),
}  # fmt: skip
_SURFACES = ("sealed", "unsealed", "unknown")
_ACCESS = ("closed", "open", "ends only")
_ANSWERS = ("yes", "no", "presumed", "unknown")
_YES_NO = {
    "yes": "yes", "no": "no", "presumed": "presumed", "unknown": "unknown", "true": "yes", "false": "no", "y": "yes", "n": "no", "1": "yes",
    "0": "no", "x": "yes",
}  # fmt: skip
_KINDS = {kind.value: kind for kind in SiteKind}
_LETTERS_OF_TEXT = 300
#: Whole numbers: column, field of a place, least, most, unit.
_COUNTS = (
    ("longest_stay_nights", 0, 366, "nights, 0 for no limit"), ("price_cents", 0, 1_000_000, "cents, whole"), ("capacity", 0, 10_000, "pitches"),
)  # fmt: skip
_TEXTS = ("hours", "season", "check_in", "check_out", "phone", "website", "note")


@dataclass(frozen=True, slots=True)
class LocalFile:
    """What a file of local knowledge holds: its name, its notes in order, and how many rows have no answer yet."""

    name: str
    notes: tuple[LocalNote, ...]
    unanswered: int = 0


def load_locals(paths: Sequence[Path], mappings: Sequence[Mapping] = ()) -> tuple[LocalFile, ...]:
    """Read several files, each with the mapping that names it.

    Raises
    ------
    BadInputError
        As `load_local`; two files of one name; a mapping that fits no file or not one alone.
    """
    names = [path.name for path in paths]
    for name in names:
        if names.count(name) > 1:
            raise BadInputError(
                f"two files are called {name}", where="--local", accepted="files of different names, for notes are named by them",
                next_step="rename one",
            )  # fmt: skip
    own: dict[str, Mapping] = {}
    for mapping in mappings:
        name = mapping.file or (names[0] if len(names) == 1 else "")
        if name not in names or name in own:
            said = f"a mapping for `{mapping.file}`" if mapping.file else "a mapping that does not say for which file"
            raise BadInputError(
                said, where="--map", accepted=f"one of {', '.join(names) or 'the files given with --local'}, each once",
                next_step='begin it with the name of its file, as in "stations.csv: lat=Y,lon=X"',
            )  # fmt: skip
        own[name] = mapping
    return tuple(load_local(path, own.get(path.name)) for path in paths)


def load_local(path: Path, mapping: Mapping | None = None) -> LocalFile:
    """Read one file.

    Raises
    ------
    BadInputError
        With file, row, column, value, what is accepted and what to do.
    """
    path = Path(path)
    notes: list[LocalNote] = []
    unanswered = 0
    for row in read_rows(path, mapping):
        note = _Reader(row, path, mapping).note()
        if note is None:
            unanswered += 1
        else:
            notes.append(note)
    return LocalFile(path.name, tuple(notes), unanswered)


class _Reader:
    """One row in the reading."""

    def __init__(self, row: Row, path: Path, mapping: Mapping | None) -> None:
        self.cells = row.cells
        self.where = f"{path}, {row.name}"
        self.mapping = mapping
        self.source = NoteSource(path.name, row.name, self._plain("author", 80), self._date("date"))

    def note(self) -> LocalNote | None:
        """Return what the row says; ``None`` when it says nothing yet."""
        if "way" in self.cells or "road" in self.cells:
            return self._road()
        return self._place()

    # ---------------------------------------------------------------------------------------------- roads

    def _road(self) -> RoadNote | None:
        for column in PLACE_COLUMNS:
            if column in self.cells:
                raise self._bad(column, f"a row about a road or about a place; this one has `{'way' if 'way' in self.cells else 'road'}` too",
                                "make two rows of it")  # fmt: skip
        at = self._points()
        ways = self._ways()
        if not ways and not at:
            raise self._bad("road", "a road's name or ref with the columns lat and lon", "say where on the road, or give `way`")
        answer = self.cells.get("answer", "").casefold().replace("_", " ")
        limits = tuple((name, self._limit(name, unit)) for name, unit in LIMITS if name in self.cells)
        if not answer and not limits:
            return None
        if answer and answer not in _SURFACES + _ACCESS:
            raise self._bad("answer", ", ".join(_SURFACES + _ACCESS), "write one of these, or nothing")
        since, until = self._span(answer)
        who = self.cells.get("for", "all").casefold()
        if who not in ("all", "van"):
            raise self._bad("for", "all, or van for the van alone", "write one of these, or nothing")
        if who == "van" and answer not in _ACCESS:
            raise self._bad("for", f"van only with the answers {', '.join(_ACCESS)}", "leave it empty")
        if who == "van" and (since or until):
            raise self._bad("for", "all, where the closure has dates", "write all: between the dates nobody drives there")
        return RoadNote(
            self.source, ways, self._plain("road", 120), at, answer if answer in _SURFACES else "", answer if answer in _ACCESS else "",
            who == "van", since, until, limits,
        )  # fmt: skip

    def _ways(self) -> tuple[int, ...]:
        out = []
        for part in re.split(r"[;\s]+", self.cells.get("way", "")):
            found = re.fullmatch(r"(?:w|way/)?(\d{1,18})", part.casefold())
            if part and not found:
                raise self._bad("way", "numbers of ways on the map, such as 123 or 123;124", "mend the number")
            if found:
                out.append(int(found[1]))
        return tuple(dict.fromkeys(out))

    def _points(self) -> tuple[tuple[float, float], ...]:
        first, second = self._point("lat", "lon"), self._point("lat2", "lon2")
        if second and not first:
            raise self._bad("lat2", "the start of the part in lat and lon beside its end in lat2 and lon2", "give both points")
        return tuple(point for point in (first, second) if point)

    def _span(self, answer: str) -> tuple[str, str]:
        since, until = self._day("from"), self._day("to")
        if (since or until) and answer != "closed":
            raise self._bad(
                "from" if since else "to", "dates only where the answer is closed", "take the dates out, or make a row `closed`"
            )
        yearly = [len(day) == 5 for day in (since, until) if day]
        if any(yearly) and yearly != [True, True]:
            raise self._bad("from" if since else "to", "two dates of a year, as in 2026-01-05 and 2026-03-10, or two without, as in 11-01 and 04-15",
                            "write both in the same way")  # fmt: skip
        if since and until and not any(yearly) and until < since:
            raise self._bad("to", f"a date on or after `from`, which is {since}", "mend one of the two dates")
        return since, until

    def _day(self, column: str) -> str:
        text = self.cells.get(column, "")
        if re.fullmatch(r"\d\d-\d\d", text):
            try:
                date.fromisoformat(f"2024-{text}")
            except ValueError:
                raise self._bad(column, "a day that there is, as in 04-15", "mend the date") from None
            return text
        return self._date(column)

    def _limit(self, column: str, unit: str) -> float | None:
        if self.cells[column].casefold() == "none":
            return None
        least, most = (0.5, 50.0) if unit == "m" else (100.0, 200_000.0)
        return self._number(column, least, most, f"{least:g} to {most:g} {unit}, or none")

    # ---------------------------------------------------------------------------------------------- places

    def _place(self) -> PlaceNote | None:
        for column in ROAD_COLUMNS:
            if column in self.cells:
                raise self._bad(
                    column, "a row about a road with `way` or `road`, or one about a place", "say which road, or take it out"
                )
        ref = self._ref()
        if "offer" in self.cells:
            return self._one_offer(ref)
        if "answer" in self.cells:
            raise self._bad("answer", "an answer to `way`, `road` or `offer`", "say what it answers")
        word = self.cells.get("role", "").casefold()
        if word not in _ROLES and (word or ref in ("", "new")):
            raise self._bad("role", ", ".join(_ROLES), "say what the place is")
        role, given = _ROLES.get(word, ("", {}))
        at = self._point("lat", "lon")
        if at is None and ref in ("", "new"):
            raise self._bad("lat", "the columns lat and lon, or `ref` of a place of the map", "say where the place is")
        if "kind" in self.cells and role not in ("site", ""):
            raise self._bad("kind", "a kind only for a site", "take it out")
        offers = dict(given)
        offers |= {offer: self._answer(offer) for offer in OFFERS if offer in self.cells}
        return PlaceNote(
            self.source, role, self._plain("name", 120), ref, at, tuple(sorted(offers.items())),
            self._answer("admits") if "admits" in self.cells else "", self._values(), inside_only=self.mapping is not None,
        )  # fmt: skip

    def _one_offer(self, ref: str) -> PlaceNote | None:
        """Read an answered row of doubts: its position and name are there to read."""
        offer = self.cells["offer"].casefold()
        if offer not in (*OFFERS, "admits"):
            raise self._bad("offer", ", ".join((*OFFERS, "admits")), "write one of these")
        if ref in ("", "new"):
            raise self._bad("ref", "the place that the offer is of, such as n123", "give its `ref`")
        if "answer" not in self.cells:
            return None
        answer = self._answer("answer")
        note = PlaceNote(self.source, ref=ref)
        return replace(note, admits=answer) if offer == "admits" else replace(note, offers=((offer, answer),))

    def _ref(self) -> str:
        text = self.cells.get("ref", "")
        if not text or text.casefold() == "new":
            return text.casefold()
        if text.startswith("local:"):
            return text
        found = re.fullmatch(r"(?:(n|w|r)|(node|way|relation)/)(\d{1,18})", text.casefold())
        if not found:
            raise self._bad(
                "ref", "an identity on the map such as n123, w123 or r123, local:NAME, or new", "mend it or leave it empty"
            )
        return f"{(found[1] or found[2])[0]}{int(found[3])}"

    def _answer(self, column: str) -> str:
        text = self.cells[column].casefold()
        words = self.mapping.words if self.mapping else {}
        answer = words.get(text) or _YES_NO.get(text, "")
        if answer not in _ANSWERS:
            more = ", or words that [words] of a --map file translates" if self.mapping else ""
            raise self._bad(column, ", ".join(_ANSWERS) + more, "write one of these, or nothing")
        return answer

    def _values(self) -> tuple[tuple[str, str | int | bool], ...]:
        out: dict[str, str | int | bool] = {}
        for name in _TEXTS:
            if name in self.cells:
                out[name] = self._plain(name, _LETTERS_OF_TEXT)
        for name in ("hours", "season"):
            if name in out:
                self._check_hours(name)
        for name in ("check_in", "check_out"):
            if name in out:
                self._check_times(name)
        for name, least, most, unit in _COUNTS:
            if name in self.cells:
                number = self._number(name, least, most, f"{least} to {most} {unit}")
                if not number.is_integer():
                    raise self._bad(name, f"{least} to {most} {unit}", "write a whole number")
                out[name] = int(number)
        for name in ("pets", "fee"):
            if name in self.cells:
                out[name] = self._answer(name)
        if "guests_only" in self.cells:
            answer = self._answer("guests_only")
            if answer not in ("yes", "no"):
                raise self._bad("guests_only", "yes or no", "write one of these, or nothing")
            out["only_guests"] = answer == "yes"
        if "kind" in self.cells:
            kind = self.cells["kind"].casefold().replace("_", " ")
            if kind not in _KINDS:
                raise self._bad("kind", ", ".join(_KINDS), "write one of these, or nothing")
            out["kind"] = kind
        return tuple(out.items())

    def _check_times(self, column: str) -> None:
        from datetime import date

        from tripplan.almanac.hours import check_times

        if check_times(self.cells[column], date(2025, 6, 2), latest=column == "check_out") is None:
            raise self._bad(
                column, 'a time or two, such as "14:00", "14:00-20:00" or "-18:00"', "mend it, or write it into `note`"
            )

    def _check_hours(self, column: str) -> None:
        from tripplan.almanac.hours import is_readable

        if not is_readable(self.cells[column]):
            raise self._bad(column, 'hours as the open map writes them, such as "Mo-Fr 08:00-17:00; Sa 09:00-12:00" or "Oct-Apr"',
                            "mend them, or write them into `note`")  # fmt: skip

    # ---------------------------------------------------------------------------------------------- cells

    def _point(self, lat: str, lon: str) -> tuple[float, float] | None:
        if lat not in self.cells and lon not in self.cells:
            return None
        for column, other in ((lat, lon), (lon, lat)):
            if column not in self.cells:
                raise self._bad(column, f"degrees beside `{other}`", "give both")
        return self._degrees(lon, 180.0), self._degrees(lat, 90.0)

    def _degrees(self, column: str, most: float) -> float:
        value = self._number(column, -math.inf, math.inf, "degrees as a decimal number, such as -43.21")
        if not -most <= value <= most:
            raise self._bad(column, f"-{most:g} to {most:g} degrees", "mend the value; are latitude and longitude swapped?")
        return value

    def _number(self, column: str, least: float, most: float, accepted: str) -> float:
        text = self.cells[column]
        if re.fullmatch(r"[-+]?\d+,\d+", text):
            raise self._bad(column, accepted + ", with a decimal point", f"write {text.replace(',', '.')}")
        if not re.fullmatch(r"[-+]?(\d+(\.\d*)?|\.\d+)([eE][-+]?\d{1,2})?", text):
            raise self._bad(column, accepted, "mend the value")
        value = float(text)
        if not least <= value <= most:
            raise self._bad(column, accepted, "mend the value")
        return value

    def _date(self, column: str) -> str:
        text = self.cells.get(column, "")
        if not text:
            return ""
        try:
            if not re.fullmatch(r"\d{4}-\d\d-\d\d", text):
                raise ValueError
            return date.fromisoformat(text).isoformat()
        except ValueError:
            raise self._bad(column, "a date such as 2026-01-31", "write year, month, day") from None

    def _plain(self, column: str, most: int) -> str:
        """Return a text without what cannot be printed, cut to a length."""
        return "".join(c if c.isprintable() else " " for c in self.cells.get(column, ""))[:most].strip()

    def _bad(self, column: str, accepted: str, next_step: str) -> BadInputError:
        value = self.cells.get(column)
        said = (
            f'`{column}` is "{value if len(value) <= 60 else value[:57] + "..."}"'
            if value is not None
            else f"`{column}` is empty"
        )
        if self.mapping and column in self.mapping.columns:
            said += f" (their column `{self.mapping.columns[column]}`)"
        return BadInputError(said, where=self.where, accepted=accepted, next_step=next_step)
