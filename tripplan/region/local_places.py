"""An operator's places: put beside those of the map, or into the one that they are."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from tripplan.model.errors import BadInputError
from tripplan.model.local import NoteSource, PlaceNote
from tripplan.model.place import OfferFact, Place
from tripplan.model.words import Offer, SiteKind, Source
from tripplan.region.find import fold
from tripplan.region.geometry import EARTH_RADIUS_M
from tripplan.region.region import Region

__all__ = ["merge_places"]

#: A place of the map within this distance and of the same role may be the one meant [m].
_SAME_PLACE_M = 150.0
#: Of several, the nearest is taken only if the next is at least so many times as far, and this much further [m].
_TIMES, _FURTHER_M = 3.0, 20.0
#: Off the roads by more than this a place is on another map [degrees].
_MARGIN = 0.02
_OFFER = {"yes": Offer.YES, "no": Offer.NO, "presumed": Offer.PRESUMED, "unknown": Offer.UNKNOWN}


@dataclass
class _Own:
    """A place in the making: the map's, or new; and who said what of it."""

    place: Place
    new: bool
    said: dict[str, tuple[Any, NoteSource]] = field(default_factory=dict)

    def put(self, what: str, value: Any, source: NoteSource) -> None:
        """Note one thing that is said of it."""
        old = self.said.get(what)
        if old is not None and old[0] != value:
            name = self.place.name or self.place.ref
            raise BadInputError(
                f"`{what}` of {name} is {value}, but {old[0]} in {old[1].where}", where=source.where, accepted="notes that agree",
                next_step="take one of the two out; if they are two places, give each a name of its own",
            )  # fmt: skip
        self.said.setdefault(what, (value, source))

    def made(self) -> Place:
        """Return the place with all that was said."""
        changes: dict[str, Any] = {}
        offers = dict(self.place.offers)
        labels: dict[str, list[str]] = {}
        for what, (value, source) in self.said.items():
            if what.startswith("offer "):
                word = what.removeprefix("offer ")
                offers[word] = OfferFact(_OFFER[value], Source.LOCAL_NOTE, source.label)
                continue
            if what == "admits":
                changes |= {"admits": _OFFER[value], "admits_why": source.label}
            elif what == "position":
                changes |= {"lon": value[0], "lat": value[1]}
                if hasattr(self.place, "entrances"):  # they belong to where the map has it
                    changes["entrances"] = ()
            elif what in ("pets", "fee"):
                changes[what] = _OFFER[value]
            else:
                changes[what] = SiteKind(value) if what == "kind" else value
            labels.setdefault(source.label, []).append(what.replace("_", " ").removesuffix(" cents"))
        if self.new:
            source_text = "; ".join(dict.fromkeys((self.place.source, *labels)))
        else:
            beside = [f"{', '.join(words)}: {label}" for label, words in labels.items()]
            source_text = "; ".join((self.place.source, *beside))
        return replace(self.place, offers=offers, source=source_text, **changes)


def merge_places(region: Region, notes: Sequence[PlaceNote]) -> tuple[Sequence[Place], set[int], list[str]]:
    """Return all places, the rows of those of the map that were changed, and what each note did in words.

    The map's places keep their rows; new ones follow them.

    Raises
    ------
    BadInputError
        A place that is not there or is not one alone, one that is off the map, or notes that contradict each other.
    """
    if not notes:
        return region.places, set(), []
    work = _Work(region)
    effects = [""] * len(notes)
    # First those that say where they are: others may speak of them by name.
    for late in (False, True):
        for k, note in enumerate(notes):
            if note.ref.startswith("local:") == late:
                effects[k] = work.take(note)
    return work.all_places(), {row for row, own in work.own.items() if not own.new}, effects


class _Work:
    def __init__(self, region: Region) -> None:
        self.region = region
        self.own: dict[int, _Own] = {}
        self._next = len(region.places)
        self._roles: dict[str, list[int]] = {}
        for place in region.places:
            self._roles.setdefault(place.role, []).append(place.index)
        self._at = np.array([(p.lon, p.lat) for p in region.places]).reshape(-1, 2)

    def all_places(self) -> Sequence[Place]:
        """Return the map's places and after them the new ones, each by a name of its own."""
        made = {row: own.made() for row, own in self.own.items()}
        new = [made[row] for row in sorted(made) if self.own[row].new]
        names = [place.ref for place in new]
        refs: set[str] = set()
        for k, place in enumerate(new):
            ref = place.ref if place.name and names.count(place.ref) == 1 else f"{place.ref}@{place.lat:.5f},{place.lon:.5f}"
            while ref in refs:
                ref += "'"
            refs.add(ref)
            new[k] = replace(place, ref=ref)
        return (*(made.get(place.index, place) for place in self.region.places), *new)

    def take(self, note: PlaceNote) -> str:
        """Put one note into the place that it means; return what it did."""
        if note.at is not None and not self._on_map(note):
            if note.inside_only:
                return f"{note.name or note.role or 'place'}: left out, off the map"
            west, south, east, north = self.region.meta.bbox
            raise BadInputError(
                f"position {note.at[1]:g}, {note.at[0]:g} is off the map", where=note.source.where,
                accepted=f"lat {south:.2f} to {north:.2f}, lon {west:.2f} to {east:.2f}", next_step="mend lat and lon; are the two swapped?",
            )  # fmt: skip
        own = self._meant(note)
        self._fill(own, note)
        name = note.name or own.place.name or own.place.ref
        told = [f"{word} {answer}" for word, answer in note.offers] + ([f"admits {note.admits}"] if note.admits else [])
        told += [f"{what.replace('_', ' ')} {value}" for what, value in note.values]
        verb = f"new {own.place.role}" if own.new else f"{own.place.role} {own.place.ref}"
        return f"{name} ({verb}): {', '.join(told) or 'where it is'}"

    def _fill(self, own: _Own, note: PlaceNote) -> None:
        source = note.source
        if note.name:
            own.put("name", note.name, source)
        if note.at is not None and note.ref not in ("", "new"):
            # Found by being near, the map's own position stands: it may be the gate.
            own.put("position", note.at, source)
        for word, answer in note.offers:
            own.put(f"offer {word}", answer, source)
        if note.admits:
            own.put("admits", note.admits, source)
        for what, value in note.values:
            own.put(what, value, source)

    def _on_map(self, note: PlaceNote) -> bool:
        assert note.at is not None
        west, south, east, north = self.region.meta.bbox
        width = (east - west) % 360
        return (note.at[0] - west + _MARGIN) % 360 <= width + 2 * _MARGIN and south - _MARGIN <= note.at[1] <= north + _MARGIN

    def _meant(self, note: PlaceNote) -> _Own:
        if note.ref and note.ref != "new":
            return self._by_ref(note)
        rows = self._near(note) if not note.ref else []
        if rows:
            return self._open(self._one(note, rows))
        assert note.at is not None
        for own in self.own.values():
            if own.new and own.place.role == note.role and self._same_new(own.place, note):
                return own
        place = Place(
            self._next, f"local:{note.name or note.role}", note.role, note.name, *note.at, source=note.source.label,
            admits=Offer.YES, admits_why=note.source.label,
        )  # fmt: skip
        self._next += 1
        self.own[place.index] = _Own(place, new=True)
        return self.own[place.index]

    def _same_new(self, place: Place, note: PlaceNote) -> bool:
        away = _metres((place.lon, place.lat), note.at or (0.0, 0.0))
        return fold(place.name) == fold(note.name) and away <= (_SAME_PLACE_M if note.name else 10.0)

    def _by_ref(self, note: PlaceNote) -> _Own:
        row = self.region.place_by_ref.get(note.ref)
        if row is None:
            new = [own for own in self.own.values() if own.new and own.place.ref == note.ref.partition("@")[0]]
            if "@" in note.ref:
                new = [own for own in new if note.ref == f"{own.place.ref}@{own.place.lat:.5f},{own.place.lon:.5f}"]
            if len(new) == 1:
                return new[0]
            raise BadInputError(
                f'`ref` "{note.ref}" is {"not one place alone" if new else f"no place of region {self.region.meta.name}"}', where=note.source.where,
                accepted="the identity of a site, a service or a sight of the map, such as n123",
                next_step="look it up again, or give role, lat and lon",
            )  # fmt: skip
        place = self.region.places[row]
        if note.role and place.role != note.role:
            raise BadInputError(
                f"`role` is {note.role}, but {note.ref} is a {place.role}", where=note.source.where, accepted=f"{place.role}, or nothing",
                next_step="mend `role` or `ref`",
            )  # fmt: skip
        return self._open(row)

    def _open(self, row: int) -> _Own:
        return self.own.setdefault(row, _Own(self.region.places[row], new=False))

    def _near(self, note: PlaceNote) -> list[tuple[float, int]]:
        """Return distance and row of the map's places that may be meant, the nearest first."""
        rows = np.array(self._roles.get(note.role, []), np.int64)
        if not len(rows) or note.at is None:
            return []
        away = _metres_many(self._at[rows], note.at)
        near = sorted((float(away[k]), int(rows[k])) for k in np.flatnonzero(away <= _SAME_PLACE_M))
        if note.role != "service":
            return near
        # A gas seller beside a tap is another place: of services, what is spoken of has to be there.
        words = {word for word, _ in note.offers}
        return [(m, row) for m, row in near if words & set(self.region.places[row].offers) or self._named(row, note)]

    def _named(self, row: int, note: PlaceNote) -> bool:
        return bool(note.name) and fold(self.region.places[row].name) == fold(note.name)

    def _one(self, note: PlaceNote, near: list[tuple[float, int]]) -> int:
        """Return the one that is meant: by name, or clearly the nearest.

        Raises
        ------
        BadInputError
            When it is not clear.
        """
        named = [row for _, row in near if self._named(row, note)]
        if len(named) == 1:
            return named[0]
        first, row = near[0]
        place = self.region.places[row]
        alone = len(near) == 1 or near[1][0] >= max(_TIMES * first, first + _FURTHER_M)
        other_name = bool(note.name and place.name) and not set(fold(note.name).split()) & set(fold(place.name).split())
        if alone and not other_name:
            return row
        listed = ", ".join(f"{self.region.places[r].ref} {self.region.places[r].name!r} {m:.0f} m away" for m, r in near[:3])
        raise BadInputError(
            f"{note.name or 'the place'} may be one of the map: {listed}", where=note.source.where, accepted="a place that is one alone",
            next_step=f"write {place.ref} into `ref` if it is that one, or new if it is another",
        )  # fmt: skip


def _metres(a: tuple[float, float], b: tuple[float, float]) -> float:
    return float(_metres_many(np.array([a]), b)[0])


def _metres_many(points: Any, to: Iterable[float]) -> Any:
    lon, lat = to
    east = np.radians((points[:, 0] - lon + 180) % 360 - 180) * np.cos(np.radians(lat))
    return EARTH_RADIUS_M * np.hypot(east, np.radians(points[:, 1] - lat))
