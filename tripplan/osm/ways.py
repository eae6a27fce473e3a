"""Ways into arrays, many at a time: each distinct tag is looked at once, each distinct combination counted once."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from itertools import compress, pairwise

import numpy as np
from numpy.typing import NDArray

from tripplan.osm.keys import BASE_LAYER_OF, FERRY_KEYS, PLACE_TAGS, ROAD_TAGS, road_key
from tripplan.osm.opl import NO_PLACE, Located, parse_located, parse_many_located, parse_tags, unescape, unescape_all
from tripplan.osm.raw import RawArea, RawLine, RawMap, RawNode, RawRelation
from tripplan.osm.rings import Assembler

__all__ = ["WayTable"]

_MOST_KNOWN = 1_000_000
#: So many lots of ways are parsed together: with what `read` takes at a time, 64 MB of text.
_BATCH = 32
_ROAD_SIGNS = frozenset(f"{k}={v}".encode() for k, v in ROAD_TAGS)
_AREA_SIGNS = frozenset(f"{k}={v}".encode() for k, v in PLACE_TAGS)
_BASE = {f"{key}={value}".encode(): layer for (key, value), layer in BASE_LAYER_OF.items()}
_DROP, _KEEP, _NAME, _REF, _FERRY = range(5)
#: A code is one of the kinds above in its lowest bits, whether a way begins with it, and a number.
_KIND, _BEGINS, _SHIFT = 7, 8, 4
_BEGIN = b"\nT"


class _Numbers(dict[bytes, int]):
    """Gives each distinct text a number when it is first asked for."""

    def __missing__(self, text: bytes) -> int:
        number = self[text] = len(self)
        return number


class _Codes(dict[bytes, int]):
    """What each distinct ``key=value`` is for; looked up by the million, so that only the first of each is looked at."""

    def __init__(self) -> None:
        self.names = _Numbers()
        self.kept = _Numbers()

    def __missing__(self, pair: bytes) -> int:
        if pair[:5] == b"name=":  # most of what is new
            code = self.names.setdefault(pair[5:], len(self.names)) << _SHIFT | _NAME
        else:
            code = self._code(pair[len(_BEGIN) :]) | _BEGINS if pair.startswith(_BEGIN) else self._code(pair)
        if len(self) < _MOST_KNOWN:
            self[pair] = code
        return code

    def _code(self, pair: bytes) -> int:
        key, _, value = pair.partition(b"=")
        if key == b"name":
            return self.names[value] << _SHIFT | _NAME
        if key == b"ref":
            return self.names[value] << _SHIFT | _REF
        if road_key(unescape(key)):
            return self.kept[pair] << _SHIFT | _KEEP
        return self.kept[pair] << _SHIFT | _FERRY if key in FERRY_KEYS else _DROP


class WayTable:
    """Collects ways, many at a time; `finish` makes the `RawMap`."""

    def __init__(self, faults: Counter[str]) -> None:
        self._faults = faults
        self._codes = _Codes()
        self._sets = _Numbers()
        self._id: list[NDArray[np.int64]] = []
        self._tags: list[NDArray[np.int32]] = []
        self._name: list[NDArray[np.int32]] = []
        self._ref: list[NDArray[np.int32]] = []
        self._count: list[NDArray[np.int64]] = []
        self._waiting: list[list[bytes]] = []
        self._parts: list[Located] = []
        self._others: list[tuple[int, bytes, bytes]] = []

    def add(self, numbers: Sequence[int], tag_texts: Sequence[bytes], node_texts: Sequence[bytes]) -> None:
        """Take some ways: ids, and tags and located nodes as OPL fields with their letters (``Thighway=road``, ``Nn1x2y3``)."""
        count = len(numbers)
        if not count:
            return
        pairs = (b"\n" + b",\n".join(tag_texts)).split(b",")
        codes = np.fromiter(map(self._codes.__getitem__, pairs), np.int64, len(pairs))
        road, tags, name, ref = self._read_codes(codes, count)
        for row in np.flatnonzero(~road).tolist():
            self._others.append((numbers[row], tag_texts[row][1:], node_texts[row][1:]))
        if not road.any():
            return
        self._id.append(np.array(numbers, np.int64)[road])
        self._tags.append(tags)
        self._name.append(name[road])
        self._ref.append(ref[road])
        self._waiting.append(list(compress(node_texts, road.tolist())))
        if len(self._waiting) >= _BATCH:
            self._parse()

    def _parse(self) -> None:
        """Parse the coordinates that wait as text, on two threads: the arrays' work is outside the interpreter."""
        if len(self._waiting) < 2:
            parsed = [parse_many_located(texts) for texts in self._waiting]
        else:
            with ThreadPoolExecutor(2) as pool:
                parsed = list(pool.map(parse_many_located, self._waiting))
        for located, counts in parsed:
            self._parts.append(located)
            self._count.append(counts)
        self._waiting.clear()

    def _read_codes(
        self, codes: NDArray[np.int64], count: int
    ) -> tuple[NDArray[np.bool_], NDArray[np.int32], NDArray[np.int32], NDArray[np.int32]]:
        """Return which ways are roads, the roads' combinations of tags, and all ways' names and refs (-1: none)."""
        kind, number = codes & _KIND, codes >> _SHIFT
        way = np.cumsum(codes & _BEGINS > 0) - 1
        name, ref = np.full(count, -1, np.int32), np.full(count, -1, np.int32)
        for wanted, column in ((_NAME, name), (_REF, ref)):
            rows = np.flatnonzero(kind == wanted)
            column[way[rows]] = number[rows]
        rows = np.flatnonzero((kind == _KEEP) | (kind == _FERRY))
        kind, number, way = kind[rows], number[rows], way[rows]
        kept = self._codes.kept
        is_road = np.zeros(count, np.bool_)
        is_road[way[np.isin(number, [kept[sign] for sign in _ROAD_SIGNS if sign in kept])]] = True
        is_road[way[number == kept.get(b"area=yes", -1)]] = False
        ferry = np.zeros(count, np.bool_)
        ferry[way[number == kept.get(b"route=ferry", -1)]] = True
        stays = is_road[way] & ((kind == _KEEP) | ferry[way])
        ordered = np.sort(way[stays] << 32 | number[stays])
        bounds = np.searchsorted(ordered, np.arange(count + 1) << 32)[np.append(is_road, True)] * 4
        text = (ordered & 0xFFFFFFFF).astype("<u4").tobytes()
        sets = self._sets
        tags = [sets[text[start:stop]] for start, stop in pairwise(bounds.tolist())]
        return is_road, np.array(tags, np.int32), name, ref

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
        self._parse()
        areas, lines = self._other_ways()
        more_areas, more_lines, countries = assembler.finish()
        none = [np.empty(0, np.int32)]
        tags, name, ref = (np.concatenate(column or none) for column in (self._tags, self._name, self._ref))
        ids, count = (np.concatenate(column or [np.empty(0, np.int64)]) for column in (self._id, self._count))
        empty = (np.empty(0, np.int64), np.empty(0, np.int32), np.empty(0, np.int32))
        parts = self._parts or [empty]
        node_id, lon, lat = (np.concatenate([part[k] for part in parts]) for k in range(3))
        self._parts.clear()
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
            source_file=source_file, data_date=data_date, way_id=ids[used], way_tags=tags[used], way_name=name[used], way_ref=ref[used],
            tag_sets=self._tag_sets(), names=unescape_all(list(self._codes.names)), line_way=line_row, line_ptr=line_ptr,
            node_id=node_id, lon_e7=lon, lat_e7=lat, nodes=nodes, areas=areas + more_areas, lines=lines + more_lines, restrictions=restrictions,
            country_areas=countries, faults={k: int(v) for k, v in sorted(faults.items()) if v},
        )  # fmt: skip

    def _tag_sets(self) -> list[dict[str, str]]:
        pairs = list(self._codes.kept)
        return [parse_tags(b",".join(sorted(pairs[number] for number in np.frombuffer(text, "<u4")))) for text in self._sets]

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
    same_way = way_of[1:] == way_of[:-1]
    if (
        keep_way.all()
        and not (lon == NO_PLACE).any()
        and not (same_way & (node_id[1:] == node_id[:-1])).any()
        and (count >= 2).all()
    ):
        return np.arange(len(count)), np.concatenate(([0], np.cumsum(count))).astype(np.int64), np.arange(len(lon))
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
