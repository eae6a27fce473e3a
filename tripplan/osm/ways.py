"""Ways, line by line, into arrays: tags counted once a combination, coordinates parsed many ways at a time."""

from __future__ import annotations

from collections import Counter

import numpy as np
from numpy.typing import NDArray

from tripplan.osm.keys import BASE_LAYER_OF, FERRY_KEYS, PLACE_TAGS, ROAD_TAGS, road_key
from tripplan.osm.opl import NO_PLACE, parse_located, parse_tags, unescape
from tripplan.osm.raw import RawArea, RawLine, RawMap, RawNode, RawRelation
from tripplan.osm.rings import Assembler

__all__ = ["WayTable"]

_FLUSH = 20_000
_MOST_KNOWN = 400_000
_ROAD_SIGNS = frozenset(f"{k}={v}".encode() for k, v in ROAD_TAGS)
_AREA_SIGNS = frozenset(f"{k}={v}".encode() for k, v in PLACE_TAGS)
_BASE = {f"{key}={value}".encode(): layer for (key, value), layer in BASE_LAYER_OF.items()}
_DROP, _KEEP, _NAME, _REF, _FERRY = 0, 1, 2, 3, 4


class WayTable:
    """Collects way lines; `finish` makes the `RawMap`."""

    def __init__(self, faults: Counter[str]) -> None:
        self._faults = faults
        self._known: dict[bytes, int] = {}
        self._sets: dict[bytes, int] = {}
        self._names: dict[bytes, int] = {}
        self._id: list[int] = []
        self._tags: list[int] = []
        self._name: list[int] = []
        self._ref: list[int] = []
        self._count: list[int] = []
        self._text: list[bytes] = []
        self._parts: list[tuple[NDArray[np.int64], NDArray[np.int32], NDArray[np.int32]]] = []
        self._others: list[tuple[int, bytes, bytes]] = []
        self._flushed = 0

    def add(self, number: int, tag_text: bytes, node_text: bytes) -> None:
        """Take one way: id, tags and located nodes as OPL text."""
        known = self._known
        kept = []
        name = ref = -1
        road = False
        for pair in tag_text.split(b","):
            what = known.get(pair)
            if what is None:
                what = self._classify(pair)
            if what == _KEEP:
                kept.append(pair)
                road = road or pair in _ROAD_SIGNS
            elif what == _FERRY:
                if b"route=ferry" in tag_text:
                    kept.append(pair)
            elif what == _NAME:
                name = self._names.setdefault(pair[5:], len(self._names))
            elif what == _REF:
                ref = self._names.setdefault(pair[4:], len(self._names))
        if not road or b"area=yes" in kept:
            self._others.append((number, tag_text, node_text))
            return
        kept.sort()
        self._id.append(number)
        self._tags.append(self._sets.setdefault(b",".join(kept), len(self._sets)))
        self._name.append(name)
        self._ref.append(ref)
        self._count.append(node_text.count(b"n"))
        self._text.append(node_text)
        if len(self._text) >= _FLUSH:
            self.flush()

    def _classify(self, pair: bytes) -> int:
        key = pair.partition(b"=")[0]
        if key == b"name":
            return _NAME
        if key == b"ref":
            return _REF
        what = _KEEP if road_key(unescape(key)) else _FERRY if key in FERRY_KEYS else _DROP
        if len(self._known) < _MOST_KNOWN:
            self._known[pair] = what
        return what

    def flush(self) -> None:
        """Parse the coordinates that wait as text."""
        if self._text:
            text = b",".join(t for t in self._text if t)
            self._parts.append(parse_located(text, sum(self._count[self._flushed :])))
            self._flushed = len(self._count)
            self._text.clear()

    def finish(
        self,
        source_file: str,
        data_date: str,
        nodes: list[RawNode],
        assembler: Assembler,
        restrictions: list[RawRelation],
        faults: Counter[str],
    ) -> RawMap:
        """Return everything as a `RawMap`."""
        self.flush()
        areas, lines = self._other_ways()
        more_areas, more_lines, countries = assembler.finish()
        ids = np.array(self._id, np.int64)
        empty = (np.empty(0, np.int64), np.empty(0, np.int32), np.empty(0, np.int32))
        parts = self._parts or [empty]
        node_id, lon, lat = (np.concatenate([part[k] for part in parts]) for k in range(3))
        self._parts.clear()
        count = np.array(self._count, np.int64)
        keep_way = np.ones(len(ids), bool)
        _, first = np.unique(ids, return_index=True)
        if len(first) < len(ids):
            keep_way[:] = False
            keep_way[first] = True
            faults["ways met twice"] += len(ids) - len(first)
        line_way, line_ptr, points = sound_stretches(node_id, lon, count, keep_way, faults)
        if len(points) < len(node_id):
            node_id, lon, lat = node_id[points], lon[points], lat[points]
        used, line_row = _compact(line_way, len(ids))
        faults["ways without a sound stretch left out"] += int(keep_way.sum() - len(used))
        return RawMap(
            source_file=source_file, data_date=data_date, way_id=ids[used], way_tags=np.array(self._tags, np.int32)[used],
            way_name=np.array(self._name, np.int32)[used], way_ref=np.array(self._ref, np.int32)[used],
            tag_sets=[parse_tags(text) for text in self._sets], names=[unescape(text) for text in self._names], line_way=line_row, line_ptr=line_ptr,
            node_id=node_id, lon_e7=lon, lat_e7=lat, nodes=nodes, areas=areas + more_areas, lines=lines + more_lines, restrictions=restrictions,
            country_areas=countries, faults={k: int(v) for k, v in sorted(faults.items()) if v},
        )  # fmt: skip

    def _other_ways(self) -> tuple[list[RawArea], list[RawLine]]:
        """Places and base map from ways that are not roads."""
        areas: list[RawArea] = []
        lines: list[RawLine] = []
        seen: set[int] = set()
        for number, tag_text, node_text in self._others:
            if number in seen:
                continue
            seen.add(number)
            pairs = set(tag_text.split(b","))
            _, lon, lat = parse_located(node_text, node_text.count(b"n"))
            sound = lon != NO_PLACE
            if not sound.all():
                self._faults["areas and lines of the base map clipped"] += 1
            points = np.column_stack((lon, lat))[sound]
            if len(points) < 2:
                continue
            closed = bool(sound.all() and len(points) > 3 and (points[0] == points[-1]).all())
            if not pairs.isdisjoint(_AREA_SIGNS):
                areas.append(RawArea(f"w{number}", parse_tags(tag_text), (points,)))
            layer = next((_BASE[pair] for pair in _BASE if pair in pairs), "")
            if not layer and b"admin_level=2" in pairs and b"boundary=administrative" in pairs:
                layer = "border"
            if layer and (layer != "water" or closed):
                lines.append(RawLine(layer, closed and layer == "water", points))
        return areas, lines


def sound_stretches(
    node_id: NDArray[np.int64],
    lon: NDArray[np.int32],
    count: NDArray[np.int64],
    keep_way: NDArray[np.bool_],
    faults: Counter[str],
) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]:
    """Cut ways at missing nodes; drop repeats and stretches of one node.

    Returns
    -------
    line_way, line_ptr, points
        Way of each stretch, where its points start, and which of the given points are kept.
    """
    way_of = np.repeat(np.arange(len(count)), count)
    sound = (lon != NO_PLACE) & keep_way[way_of]
    same_way = np.empty(len(way_of), bool)
    same_way[:1] = False
    same_way[1:] = way_of[1:] == way_of[:-1]
    missing = ~sound & keep_way[way_of]
    if missing.any():
        faults["clipped ways kept in part"] += len(np.unique(way_of[missing]))
    joined = same_way.copy()
    joined[1:] &= sound[:-1]
    repeat = np.zeros(len(way_of), bool)
    repeat[1:] = joined[1:] & sound[1:] & (node_id[1:] == node_id[:-1])
    faults["nodes repeated in a way"] += int(repeat.sum())
    starts = sound & ~joined
    points = np.flatnonzero(sound & ~repeat)
    stretch = (np.cumsum(starts) - 1)[points]
    length = np.bincount(stretch, minlength=int(starts.sum())) if len(points) else np.zeros(0, np.int64)
    good = length >= 2
    if not good.all():
        faults["stretches of a single node left out"] += int((~good).sum())
        points = points[good[stretch]]
    line_way = way_of[np.flatnonzero(starts)][good]
    line_ptr = np.concatenate(([0], np.cumsum(length[good]))).astype(np.int64)
    return line_way, line_ptr, points


def _compact(line_way: NDArray[np.int64], n_ways: int) -> tuple[NDArray[np.int64], NDArray[np.int32]]:
    """Rows of ways that have a stretch, and each stretch's new row."""
    has = np.zeros(n_ways, bool)
    has[line_way] = True
    new_row = np.cumsum(has) - 1
    return np.flatnonzero(has), new_row[line_way].astype(np.int32)
