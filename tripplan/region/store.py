"""A region as one file: a zip of plain .npy columns, stored and aligned, so that loading maps them and reads nothing."""

from __future__ import annotations

import contextlib
import errno
import json
import mmap
import os
import re
import struct
import zipfile
import zlib
from collections.abc import Iterator, Sequence
from dataclasses import asdict, fields
from pathlib import Path
from typing import Any, overload

import numpy as np
from numpy.typing import NDArray

from tripplan.model.errors import BadInputError
from tripplan.model.leftovers import scratch_name
from tripplan.model.place import OfferFact, Place
from tripplan.model.words import Offer, SiteKind, Source
from tripplan.region.columns import Aids, BaseMap, Junctions, Pieces, RegionMeta, Towns, Turns, Ways
from tripplan.region.region import Region
from tripplan.region.sound import bad_column, bad_meta, bad_number, bad_strings
from tripplan.region.strings import PackedStrings, pack

__all__ = ["FORMAT", "PackedPlaces", "load", "place_of", "place_text", "save"]

FORMAT = RegionMeta.__dataclass_fields__["format"].default
_TABLES: dict[str, Any] = {
    "ways": Ways,
    "pieces": Pieces,
    "junctions": Junctions,
    "turns": Turns,
    "towns": Towns,
    "base": BaseMap,
    "aids": Aids,
}
#: Tables that a file of the same format may be without.
_LATER = frozenset({"aids"})
_ALIGN = 64
_STAMP = (1980, 1, 1, 0, 0, 0)  # the same region is the same bytes
#: Files up to this size have all their checksums tested on loading [bytes].
_CHECK_ALL = 48 << 20
#: Longest text that is read whole (meta.json, local.json) [bytes].
_MOST_TEXT = 64 << 20
_HEADER = re.compile(r"\{'descr': '([<|][fiu][1248])', 'fortran_order': False, 'shape': \((\d{1,15}),\), \}\s*")
_REBUILD = "build the region again with `tripplan region build`"


class PackedPlaces(Sequence[Place]):
    """Places as JSON lines, decoded one at a time when asked for."""

    __slots__ = ("_known", "_lines")

    def __init__(self, lines: PackedStrings) -> None:
        self._lines = lines
        self._known: dict[int, Place] = {}

    def __len__(self) -> int:
        return len(self._lines)

    @overload
    def __getitem__(self, index: int) -> Place: ...
    @overload
    def __getitem__(self, index: slice) -> tuple[Place, ...]: ...
    def __getitem__(self, index: int | slice) -> Place | tuple[Place, ...]:
        if isinstance(index, slice):
            return tuple(self[k] for k in range(*index.indices(len(self))))
        if not -len(self) <= index < len(self):
            raise IndexError(index)
        index %= len(self)
        place = self._known.get(index)
        if place is None:
            try:
                place = self._known[index] = place_of(self._lines[index])
            except (LookupError, TypeError, ValueError, AttributeError, RecursionError):
                raise BadInputError(f"the region file is damaged (place {index})", next_step=_REBUILD) from None
        return place


def place_of(text: str) -> Place:
    """Return the place that `place_text` wrote."""
    data: dict[str, Any] = json.loads(text)
    offers = {
        word: OfferFact(Offer(answer), Source(source), evidence)
        for word, (answer, source, evidence) in data.pop("offers").items()
    }
    for word, kind in (("kind", SiteKind), ("admits", Offer), ("pets", Offer), ("fee", Offer)):
        data[word] = kind(data[word])
    data["entrances"] = tuple((float(lon), float(lat)) for lon, lat in data.get("entrances", ()))
    return Place(offers=offers, **data)


def place_text(place: Place) -> str:
    """Return a place as one line of JSON: the same place is the same text."""
    data = {f.name: getattr(place, f.name) for f in fields(Place)}
    data["offers"] = {word: [int(fact.answer), str(fact.source), fact.evidence] for word, fact in sorted(place.offers.items())}
    return json.dumps(data, ensure_ascii=True, separators=(",", ":"))


def _columns(region: Region) -> Iterator[tuple[str, NDArray[Any]]]:
    for table in _TABLES:
        values = getattr(region, table)
        if values is None:
            continue
        for field in fields(values):
            yield f"{table}/{field.name}", getattr(values, field.name)
    for name, packed in (
        ("strings", pack(region.strings)),
        ("places", pack([place_text(place) for place in region.places])),
    ):
        yield f"{name}/data", packed.data
        yield f"{name}/ptr", packed.ptr
    if region.local is not None:
        for name, column in region.local.columns.items():
            yield f"local/{name}", column


def save(region: Region, path: Path | str) -> None:
    """Write a region to one file; nothing is left half-written.

    Raises
    ------
    BadInputError
        When there is no room on the disk or the file cannot be written.
    """
    target = Path(path)
    beside = target.with_name(scratch_name(target.name))
    try:
        with beside.open("wb") as file:
            with zipfile.ZipFile(file, "w", zipfile.ZIP_STORED) as archive:
                _add(archive, file.tell(), "meta.json", json.dumps(asdict(region.meta), ensure_ascii=False, indent=1).encode())
                if region.local is not None:
                    _add(archive, file.tell(), "local.json", region.local.text.encode())
                if region.climate:
                    from tripplan.almanac.normals import stations_text

                    _add(archive, file.tell(), "climate.json", stations_text(region.climate).encode())
                for name, column in _columns(region):
                    _add(archive, file.tell(), f"{name}.npy", *_npy(column))
            file.flush()
            os.fsync(file.fileno())
        beside.replace(target)
    except OSError as error:
        with contextlib.suppress(OSError):
            beside.unlink()
        if error.errno in (errno.ENOSPC, errno.EDQUOT):
            raise BadInputError(
                "no room on disk", where=str(target), next_step="free room or write the region elsewhere"
            ) from None
        raise BadInputError(
            f"cannot be written ({error.strerror or error})", where=str(target), next_step="give a path in a folder that is there"
        ) from None
    except BaseException:
        with contextlib.suppress(OSError):
            beside.unlink()
        raise


def _npy(column: NDArray[Any]) -> tuple[bytes, memoryview]:
    """Return the head of a ``.npy`` file and what follows it, as it lies in memory."""
    import io

    plain = np.ascontiguousarray(column)
    head = io.BytesIO()
    np.lib.format.write_array_header_1_0(head, np.lib.format.header_data_from_array_1_0(plain))
    return head.getvalue(), plain.data.cast("B") if plain.size else memoryview(b"")


def _add(archive: zipfile.ZipFile, offset: int, name: str, *parts: bytes | memoryview) -> None:
    info = zipfile.ZipInfo(name, _STAMP)
    info.external_attr = 0o644 << 16
    # A padding field makes the column begin at a multiple of 64 bytes, so that it can be mapped as it lies.
    pad = -(offset + 30 + len(name.encode()) + 4) % _ALIGN
    info.extra = struct.pack("<HH", 0xD935, pad) + bytes(pad)
    info.file_size = sum(len(part) for part in parts)
    with archive.open(info, "w") as member:
        for part in parts:
            member.write(part)


def load(path: Path | str) -> Region:
    """Open a region: columns are mapped from the file and read when they are used.

    Raises
    ------
    BadInputError
        No such file, not a region, from another format, or damaged.
    """
    file = Path(path)
    try:
        there, folder = file.is_file(), file.is_dir()
        empty = there and not file.stat().st_size
    except (OSError, ValueError) as error:  # ValueError: a null character in the path
        reason = getattr(error, "strerror", None) or str(error)
        raise BadInputError(f"cannot be read ({reason})", where=str(file), next_step="check the path") from None
    if folder:
        raise BadInputError("is a folder", where=str(file), accepted="a region file", next_step="name the file in it")
    if not there:
        raise BadInputError("no such region", where=str(file), next_step="build one with `tripplan region build`")
    if empty:
        raise BadInputError("the region file is empty", where=str(file), next_step=_REBUILD)
    try:
        return _load(file)
    except BadInputError:
        raise
    except zipfile.BadZipFile:
        raise BadInputError("not a region file, or cut off", where=str(file), next_step=_REBUILD) from None
    except (
        LookupError,
        ValueError,
        TypeError,
        AttributeError,
        struct.error,
        EOFError,
        RuntimeError,
        ArithmeticError,
        MemoryError,
    ):
        raise BadInputError("the region file is damaged", where=str(file), next_step=_REBUILD) from None
    except OSError as error:
        raise BadInputError(f"cannot be read ({error.strerror or error})", where=str(file)) from None


def _load(file: Path) -> Region:
    with file.open("rb") as handle, zipfile.ZipFile(handle) as archive:
        entries = {info.filename: info for info in archive.infolist()}
        if "meta.json" not in entries:
            raise BadInputError("not a region", where=str(file), next_step=_REBUILD)
        data = json.loads(_text(archive, entries["meta.json"], file))
        if not isinstance(data, dict) or data.get("format") != FORMAT:
            found = data.get("format", "none") if isinstance(data, dict) else "none"
            raise BadInputError(
                f"the region is of format {str(found)[:40]!r}", where=str(file), accepted=f"{FORMAT!r}", next_step=_REBUILD
            )
        data["bbox"] = tuple(data["bbox"])
        meta = RegionMeta(**data)
        if bad_meta(meta):
            raise BadInputError("the region file is damaged (meta)", where=str(file), next_step=_REBUILD)
        notes = _text(archive, entries["local.json"], file) if "local.json" in entries else ""
        climate_text = _text(archive, entries["climate.json"], file) if "climate.json" in entries else ""
        whole = memoryview(mmap.mmap(handle.fileno(), 0, access=mmap.ACCESS_READ))
    check = len(whole) <= _CHECK_ALL

    def column(name: str) -> NDArray[Any]:
        return _column(whole, entries[f"{name}.npy"], file, check=check)

    tables = {
        table: kind(**{f.name: column(f"{table}/{f.name}") for f in fields(kind)})
        for table, kind in _TABLES.items()
        if table not in _LATER or any(name.startswith(f"{table}/") for name in entries)
    }
    strings, places = (PackedStrings(column(f"{name}/data"), column(f"{name}/ptr")) for name in ("strings", "places"))
    wrong = bad_column(tables) or (bad_number(tables, len(strings)) if check else "")
    wrong = wrong or next(
        (k for k, p in (("strings", strings), ("places", places)) if bad_strings(p.data, p.ptr, check=check)), ""
    )
    if wrong:
        raise BadInputError(f"the region file is damaged ({wrong})", where=str(file), next_step=_REBUILD)
    local = None
    if notes:
        from tripplan.region.local_facts import LocalFacts

        names = [name[len("local/") : -len(".npy")] for name in entries if name.startswith("local/")]
        local = LocalFacts(notes, {name: column(f"local/{name}") for name in names})
        if check:
            local.check()
    climate: tuple[Any, ...] = ()
    if climate_text:
        from tripplan.almanac.normals import stations_from

        climate = stations_from(climate_text)
    return Region(meta=meta, strings=strings, places=PackedPlaces(places), local=local, climate=climate, **tables)


def _column(whole: memoryview, info: zipfile.ZipInfo, file: Path, *, check: bool) -> NDArray[Any]:
    start = info.header_offset
    name_size, extra_size = struct.unpack_from("<HH", whole, start + 26)
    start += 30 + name_size + extra_size
    stop = start + info.file_size
    if stop > len(whole) or info.compress_type != zipfile.ZIP_STORED:
        raise BadInputError("the region file is cut off", where=str(file), next_step=_REBUILD)
    if check and zlib.crc32(whole[start:stop]) != info.CRC:
        raise BadInputError("the region file is damaged", where=str(file), next_step=_REBUILD)
    size = int.from_bytes(whole[start + 8 : start + 10], "little")
    header = _HEADER.fullmatch(bytes(whole[start + 10 : start + 10 + size]).decode("latin-1"))
    if header is None:
        raise BadInputError("the region file is damaged", where=str(file), next_step=_REBUILD)
    dtype, count = np.dtype(header[1]), int(header[2])
    if start + 10 + size + count * dtype.itemsize > stop:
        raise BadInputError("the region file is damaged", where=str(file), next_step=_REBUILD)
    return np.frombuffer(whole, dtype, count, start + 10 + size)


def _text(archive: zipfile.ZipFile, info: zipfile.ZipInfo, file: Path) -> str:
    """Return a member that is text: stored as it is and of some size only, so that no small file unpacks to a large one."""
    if info.compress_type != zipfile.ZIP_STORED or info.file_size > _MOST_TEXT:
        raise BadInputError("the region file is damaged", where=str(file), next_step=_REBUILD)
    return archive.read(info).decode()
