"""A map file to a `RawMap`: three passes by libosmium with its own filters, text in between."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tripplan.model.errors import BadInputError
from tripplan.model.leftovers import scratch_folder
from tripplan.model.progress import Progress, silent
from tripplan.osm.keys import (
    BASE_LAYER_OF,
    BORDER_TAG,
    ENTRANCE_VALUES,
    FORD_TAG,
    NODE_KEYS,
    NODE_KEYS_OF_ANY_VALUE,
    PLACE_TAGS,
    PLACES_TO_LOOK_UP,
    ROAD_TAGS,
    STATES_OF,
)
from tripplan.osm.opl import parse_members, parse_tags
from tripplan.osm.packed import refuse_bombs
from tripplan.osm.raw import RawMap, RawNode, RawRelation
from tripplan.osm.rings import Assembler, WantedRelation
from tripplan.osm.ways import WayTable

__all__ = ["ACCEPTED", "read_file"]

#: Endings of files that are read (`.opl` is libosmium's line format).
ACCEPTED = (".osm.pbf", ".pbf", ".osm", ".osm.gz", ".osm.bz2", ".osm.opl", ".opl")
#: Text taken at a time [bytes]: little enough for the arrays made of it to stay near the processor.
_CHUNK = 1 << 21


def read_file(path: Path | str, *, progress: Progress = silent) -> RawMap:
    """Read roads, places, names and base map from a map file.

    Parameters
    ----------
    path
        A ``.osm.pbf``, ``.osm``, ``.osm.gz`` or ``.osm.bz2`` file.
    progress
        Called with a few words and the share done now and then.

    Raises
    ------
    BadInputError
        No such file, not OSM, cut off, no roads in it, no room for scratch files.
    """
    file = Path(path)
    _check(file)
    try:
        refuse_bombs(file)
        with scratch_folder() as scratch:
            return _read(file, scratch, progress)
    except (RuntimeError, ValueError, LookupError, ArithmeticError, MemoryError) as error:
        if isinstance(error, BadInputError):
            raise
        raise _not_readable(file, error) from None
    except OSError as error:
        raise BadInputError(
            f"cannot be read ({error.strerror or error})", where=str(file), next_step="free room on the disk or mend access"
        ) from None


def _check(file: Path) -> None:
    if not file.exists():
        raise BadInputError(
            "no such file", where=str(file), accepted=", ".join(ACCEPTED[:5]), next_step="give the path of a map extract"
        )
    if not file.is_file():
        raise BadInputError("is not a file", where=str(file), accepted=", ".join(ACCEPTED[:5]))
    if not file.name.lower().endswith(ACCEPTED):
        raise BadInputError(
            f"ending {file.suffix or 'none'!r} is not that of a map file", where=str(file), accepted=", ".join(ACCEPTED[:5])
        )
    if file.stat().st_size == 0:
        raise BadInputError("the file is empty", where=str(file), next_step="fetch it again")


def _not_readable(file: Path, error: Exception) -> BadInputError:
    text = str(error)
    low = text.lower()
    if "no space" in low:
        return BadInputError("no room on disk for scratch files", where=str(file), next_step="free room or set TMPDIR")
    if "eof" in low or "truncated" in low or "unexpected end" in low or "unclosed token" in low or "no element found" in low:
        return BadInputError("the file is cut off", where=str(file), next_step="fetch it again")
    return BadInputError(
        f"not a sound OpenStreetMap file ({text[:160] or type(error).__name__})", where=str(file), next_step="fetch it again"
    )


def _read(file: Path, scratch: Path, say: Progress) -> RawMap:
    import osmium

    bits = osmium.osm.osm_entity_bits
    faults: Counter[str] = Counter()
    source = osmium.io.File(str(file))

    say("Reading relations", 0.0)
    relations = scratch / "relations.opl"
    with osmium.io.Reader(source, bits.RELATION) as reader:
        header = reader.header()
        stamp = header.get("osmosis_replication_timestamp")
        _apply(osmium, reader, [osmium.filter.KeyFilter("type")], relations)
    restrictions, wanted = _relations(relations, faults)

    say("Reading roads and places", 0.1)
    data = scratch / "data.opl"
    store = osmium.NodeLocationsForWays(osmium.index.create_map("flex_mem"))
    store.ignore_errors()
    node_filter = osmium.filter.KeyFilter(*NODE_KEYS)
    node_filter.enable_for(bits.NODE)
    way_filter = osmium.filter.TagFilter(*ROAD_TAGS, *PLACE_TAGS, *BASE_LAYER_OF, BORDER_TAG)
    way_filter.enable_for(bits.WAY)
    with osmium.io.Reader(source, bits.NODE | bits.WAY) as reader:
        _apply(osmium, reader, [store, node_filter, way_filter], data, stamps=not stamp)
    nodes, entrances, ways, newest = _nodes_and_ways(data, faults)
    data.unlink()

    assembler = Assembler(wanted, faults)
    if assembler.way_ids:
        say("Reading areas", 0.8)
        members = scratch / "members.opl"
        id_filter = osmium.filter.IdFilter(sorted(assembler.way_ids))
        id_filter.enable_for(bits.WAY)
        with osmium.io.Reader(source, bits.WAY) as reader:
            _apply(osmium, reader, [store, id_filter], members)
        for line in _lines(members):
            assembler.add(line)
    del store

    if not stamp:
        stamp = newest
    if not stamp:
        written = datetime.fromtimestamp(file.stat().st_mtime, tz=UTC).date()
        stamp = f"{written.isoformat()} (date of the file; it carries none)"
    raw = ways.finish(str(file.name), stamp[:10] if "(" not in stamp else stamp, nodes, assembler, restrictions, faults)
    raw = replace(raw, entrances=entrances, state_areas=assembler.states)
    if len(raw.way_id) == 0:
        raise BadInputError("no roads in it", where=str(file), next_step="take an extract with highway=* ways and their nodes")
    return raw


def _apply(osmium: Any, reader: Any, handlers: list[Any], out: Path, *, stamps: bool = False) -> None:
    """Write what passes the filters as OPL."""
    form = f"opl,locations_on_ways=true,add_metadata={'timestamp' if stamps else 'false'}"
    writer = osmium.SimpleWriter(osmium.io.File(str(out), form))
    try:
        osmium.apply(reader, *handlers, writer)
        writer.close()
    except BaseException as error:
        _never_destroy(writer)
        if isinstance(error, osmium.InvalidLocationError):
            raise ValueError(str(error)) from None
        raise


def _never_destroy(thing: object) -> None:
    """Leave an object that failed to the end of the process: the destructor of a writer in error ends it at once (libosmium 2.x)."""
    import ctypes

    ctypes.pythonapi.Py_IncRef(ctypes.py_object(thing))


def _lines(path: Path) -> Iterator[bytes]:
    """Yield the lines of a file."""
    for text in _chunks(path):
        yield from text.split(b"\n")


def _chunks(path: Path) -> Iterator[bytes]:
    """Yield some whole lines at a time, without the last one's end."""
    with path.open("rb") as file:
        while text := file.read(_CHUNK):
            text += file.readline()
            yield text.removesuffix(b"\n")


def _relations(path: Path, faults: Counter[str]) -> tuple[list[RawRelation], list[WantedRelation]]:
    restrictions: list[RawRelation] = []
    wanted: list[WantedRelation] = []
    place_signs = tuple(f"{k}={v}".encode() for k, v in PLACE_TAGS)
    water = tuple(f"{k}={v}".encode() for (k, v), layer in BASE_LAYER_OF.items() if layer == "water")
    seen: set[int] = set()
    for line in _lines(path):
        fields = line.split(b" ")
        tag_text = fields[-2][1:]
        if b"type=restriction" in tag_text:
            pass
        elif not (b"type=multipolygon" in tag_text or b"type=boundary" in tag_text or b"type=site" in tag_text):
            continue
        tags = parse_tags(tag_text)
        number = int(fields[0][1:])
        if number in seen:
            faults["relations met twice"] += 1
            continue
        seen.add(number)
        kind = tags.get("type", "")
        if kind.startswith("restriction"):
            restrictions.append(RawRelation(number, tags, parse_members(fields[-1][1:])))
            continue
        pairs = set(tag_text.split(b","))
        if tags.get("boundary") == "administrative" and tags.get("admin_level") == "2":
            layer = "border"
        elif tags.get("boundary") == "administrative" and tags.get("ISO3166-2", "").startswith(STATES_OF):
            layer = "state"
        elif any(sign in pairs for sign in place_signs):
            layer = "place"
        elif any(sign in pairs for sign in water):
            layer = "water"
        else:
            continue
        ways = tuple((ref, role) for letter, ref, role in parse_members(fields[-1][1:]) if letter == "w")
        wanted.append(WantedRelation(number, layer, tags, ways))
    return restrictions, wanted


def _nodes_and_ways(path: Path, faults: Counter[str]) -> tuple[list[RawNode], NDArray[np.int32], WayTable, str]:
    nodes: dict[int, RawNode] = {}
    gaps: list[tuple[int, int]] = []
    entrance = frozenset(f"entrance={value}".encode() for value in ENTRANCE_VALUES)
    signs = {f"{key}={value}".encode() for key, value in PLACE_TAGS} | {f"place={value}".encode() for value in PLACES_TO_LOOK_UP}
    signs.add("=".join(FORD_TAG).encode())
    starts = tuple(f"{key}=".encode() for key in NODE_KEYS_OF_ANY_VALUE)
    table = WayTable(faults)
    newest = b""
    for text in _chunks(path):
        lines: list[bytes] = []
        if text[:1] != b"w" or b"\nn" in text:
            lines = text.split(b"\n")
            text = b"\n".join(line for line in lines if line[:1] == b"w")
        if text:
            fields = text.replace(b"\n", b" ").split(b" ")
            wide = len(fields) // (text.count(b"\n") + 1)
            if wide > 3:  # with time stamps
                newest = max(newest, *fields[2::wide])
            table.add([int(field[1:]) for field in fields[::wide]], fields[wide - 2 :: wide], fields[wide - 1 :: wide])
        for line in lines:
            if line[:1] != b"n":
                continue
            fields = line.split(b" ")
            if fields[2][:1] == b"t" and fields[2] > newest:  # only there when it was asked for
                newest = fields[2]
            pairs = fields[-3][1:].split(b",")
            if b"entrance=" in fields[-3] and not entrance.isdisjoint(pairs) and fields[-2][1:] and fields[-1][1:]:
                gaps.append((round(float(fields[-2][1:]) * 1e7), round(float(fields[-1][1:]) * 1e7)))
            if not any(pair in signs or pair.startswith(starts) for pair in pairs):
                continue
            number = int(fields[0][1:])
            if number in nodes:
                faults["nodes met twice"] += 1
                continue
            x, y = fields[-2][1:], fields[-1][1:]
            if not x or not y:
                faults["places or barriers without a position"] += 1
                continue
            nodes[number] = RawNode(number, float(x), float(y), parse_tags(fields[-3][1:]))
    return list(nodes.values()), np.array(gaps, np.int32).reshape(-1, 2), table, newest[1:].decode()
