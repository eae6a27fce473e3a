"""A map file to a `RawMap`: libosmium reads (`tripplan.osm.passes`), text in between."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tripplan.model.errors import BadInputError
from tripplan.model.leftovers import scratch_folder
from tripplan.model.progress import Progress, silent
from tripplan.osm.keys import (
    BASE_LAYER_OF,
    ENTRANCE_VALUES,
    FORD_TAG,
    NODE_KEYS_OF_ANY_VALUE,
    PLACE_TAGS,
    PLACES_TO_LOOK_UP,
    STATES_OF,
)
from tripplan.osm.opl import parse_members, parse_tags
from tripplan.osm.packed import refuse_bombs
from tripplan.osm.passes import passes_over
from tripplan.osm.raw import RawMap, RawNode, RawRelation
from tripplan.osm.rings import Assembler, WantedRelation
from tripplan.osm.ways import WayTable

__all__ = ["ACCEPTED", "read_file"]

#: Endings of files that are read (`.opl` is libosmium's line format).
ACCEPTED = (".osm.pbf", ".pbf", ".osm", ".osm.gz", ".osm.bz2", ".osm.opl", ".opl")
#: Relations of other types hold nothing of ours. Looked for in the whole line: OPL writes = by its number everywhere but in tags.
_RELATION_TYPES = (b"type=restriction", b"type=multipolygon", b"type=boundary", b"type=site")


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

    faults: Counter[str] = Counter()
    with passes_over(file, scratch) as passes:
        refuse_bombs(file)
        say("Reading roads and places", 0.0)
        with osmium.io.Reader(osmium.io.File(str(file)), osmium.osm.osm_entity_bits.NOTHING) as reader:
            stamp = reader.header().get("osmosis_replication_timestamp")
        nodes, entrances, ways, relations, newest = _objects(passes.everything(stamps=not stamp), faults)
        restrictions, wanted = _relations(relations, faults)
        assembler = Assembler(wanted, faults)
        if assembler.way_ids:
            say("Reading areas", 0.4)
            for text in passes.members(assembler.way_ids):
                for line in text.split(b"\n"):
                    assembler.add(line)
    del passes  # and with them where the nodes are

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


def _relations(lines: list[bytes], faults: Counter[str]) -> tuple[list[RawRelation], list[WantedRelation]]:
    restrictions: list[RawRelation] = []
    wanted: list[WantedRelation] = []
    place_signs = tuple(f"{k}={v}".encode() for k, v in PLACE_TAGS)
    water = tuple(f"{k}={v}".encode() for (k, v), layer in BASE_LAYER_OF.items() if layer == "water")
    seen: set[int] = set()
    for line in lines:
        fields = line.split(b" ")
        tag_text = fields[-2][1:]
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


def _objects(
    chunks: Iterator[bytes], faults: Counter[str]
) -> tuple[list[RawNode], NDArray[np.int32], WayTable, list[bytes], str]:
    """Return nodes, gaps in fences, ways, the lines of the relations that may matter, and the newest time stamp if there are any."""
    relations: list[bytes] = []
    nodes: dict[int, RawNode] = {}
    gaps: list[tuple[int, int]] = []
    entrance = frozenset(f"entrance={value}".encode() for value in ENTRANCE_VALUES)
    signs = {f"{key}={value}".encode() for key, value in PLACE_TAGS} | {f"place={value}".encode() for value in PLACES_TO_LOOK_UP}
    signs.add("=".join(FORD_TAG).encode())
    starts = tuple(f"{key}=".encode() for key in NODE_KEYS_OF_ANY_VALUE)
    table = WayTable(faults)
    newest = b""
    for text in chunks:
        lines: list[bytes] = []
        if text[:1] != b"w" or b"\nn" in text or b"\nr" in text:
            lines = text.split(b"\n")
            text = b"\n".join(line for line in lines if line[:1] == b"w")
        if text:
            fields = text.replace(b"\n", b" ").split(b" ")
            wide = len(fields) // (text.count(b"\n") + 1)
            if wide > 3:  # with time stamps
                newest = max(newest, *fields[2::wide])
            table.add([int(field[1:]) for field in fields[::wide]], fields[wide - 2 :: wide], fields[wide - 1 :: wide])
        for line in lines:
            if line[:1] == b"r" and any(kind in line for kind in _RELATION_TYPES):
                relations.append(line)
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
    return list(nodes.values()), np.array(gaps, np.int32).reshape(-1, 2), table, relations, newest[1:].decode()
