"""Libosmium's passes over a map file, to lines of OPL: all that may matter, then the members of areas.

Libosmium keeps the interpreter to itself while it reads. A large file is therefore read by a process of its own, whose lines come over a
pipe while it goes on: two kernels do two things at once. Where there is no second process to be had, or the file is small, the
same passes are made here.
"""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import IO, Any, Protocol

from tripplan.osm.keys import BASE_LAYER_OF, BORDER_TAG, NODE_KEYS, PLACE_TAGS, ROAD_TAGS

__all__ = ["Passes", "lines_of", "main", "passes_over"]

#: Files from this size on are worth a process of their own [bytes].
_APART = 16 << 20
#: Text taken at a time [bytes]: little enough for the arrays made of it to stay near the processor.
_CHUNK = 1 << 21
#: What a pipe holds, where that can be set [bytes].
_PIPE = 1 << 20
_SAID = 4000


class Passes(Protocol):
    """Two passes, in this order."""

    def everything(self, *, stamps: bool) -> Iterator[bytes]:
        """Yield roads, places, names, base map and relations of a type, ways with their nodes' positions; with time stamps if asked."""
        ...

    def members(self, ids: Iterable[int]) -> Iterator[bytes]:
        """Yield the ways of these ids with their nodes' positions."""
        ...


@contextmanager
def passes_over(file: Path, scratch: Path) -> Iterator[Passes]:
    """Get ready to read a file, in a process of its own if it is large. Nothing is read yet.

    Parameters
    ----------
    scratch
        A folder for what lies between.

    Raises
    ------
    RuntimeError, ValueError, OSError
        While passing over it: what libosmium says of a file that cannot be read.
    """
    child = _started(file, scratch) if file.stat().st_size >= _APART else None
    if child is None:
        yield _Here(file, scratch)
        return
    try:
        yield _Apart(child, scratch)
    finally:
        child.kill()
        for stream in (child.stdin, child.stdout, child.stderr):
            with suppress(OSError):
                if stream is not None:
                    stream.close()
        child.wait()


def lines_of(file: IO[bytes]) -> Iterator[bytes]:
    """Yield some whole lines at a time, without the last one's end."""
    while text := file.read(_CHUNK):
        text += file.readline()
        yield text.removesuffix(b"\n")


class _Here:
    """The passes made by this process, each to a scratch file."""

    def __init__(self, file: Path, scratch: Path) -> None:
        self._reader = _Reader(str(file))
        self._scratch = scratch

    def everything(self, *, stamps: bool) -> Iterator[bytes]:
        data = self._scratch / "data.opl"
        self._reader.everything(str(data), stamps=stamps)
        yield from _read_and_gone(data)

    def members(self, ids: Iterable[int]) -> Iterator[bytes]:
        data = self._scratch / "members.opl"
        self._reader.members(str(data), ids)
        yield from _read_and_gone(data)


def _read_and_gone(path: Path) -> Iterator[bytes]:
    with path.open("rb") as file:
        yield from lines_of(file)
    path.unlink()


class _Reader:
    """Libosmium and what it keeps from one pass to the next: where the nodes are."""

    def __init__(self, file: str) -> None:
        import osmium

        self._osmium: Any = osmium
        self._bits = osmium.osm.osm_entity_bits
        self._source = osmium.io.File(file)
        self._store = osmium.NodeLocationsForWays(osmium.index.create_map("flex_mem"))
        self._store.ignore_errors()

    def everything(self, out: str, *, stamps: bool) -> None:
        """Write the first pass."""
        wanted, bits = self._osmium.filter, self._bits
        nodes, relations = wanted.KeyFilter(*NODE_KEYS), wanted.KeyFilter("type")
        ways = wanted.TagFilter(*ROAD_TAGS, *PLACE_TAGS, *BASE_LAYER_OF, BORDER_TAG)
        for one, kind in ((nodes, bits.NODE), (ways, bits.WAY), (relations, bits.RELATION)):
            one.enable_for(kind)
        self._apply(bits.NODE | bits.WAY | bits.RELATION, [nodes, ways, relations], out, stamps=stamps)

    def members(self, out: str, ids: Iterable[int]) -> None:
        """Write the second pass."""
        ways = self._osmium.filter.IdFilter(sorted(ids))
        ways.enable_for(self._bits.WAY)
        self._apply(self._bits.WAY, [ways], out)

    def _apply(self, kinds: Any, filters: list[Any], out: str, *, stamps: bool = False) -> None:
        """Write what passes the filters as OPL; ``-`` is standard output."""
        osmium = self._osmium
        form = f"opl,locations_on_ways=true,add_metadata={'timestamp' if stamps else 'false'}"
        with osmium.io.Reader(self._source, kinds) as reader:
            writer = osmium.SimpleWriter(osmium.io.File(out, form))
            try:
                osmium.apply(reader, self._store, *filters, writer)
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


class _Apart:
    """The passes made by another process, which is told on its standard input what to do."""

    def __init__(self, child: subprocess.Popen[bytes], scratch: Path) -> None:
        self._child = child
        self._members = scratch / "members.opl"

    def everything(self, *, stamps: bool) -> Iterator[bytes]:
        self._tell("stamps" if stamps else "plain")
        assert self._child.stdout is not None
        last = b""
        for text in lines_of(self._child.stdout):
            if last:
                yield last
            last = text
        self._hear()  # what failed may have ended in the middle of a line
        if last:
            yield last

    def members(self, ids: Iterable[int]) -> Iterator[bytes]:
        self._tell(" ".join(map(str, sorted(ids))))
        self._hear()
        yield from _read_and_gone(self._members)

    def _tell(self, line: str) -> None:
        assert self._child.stdin is not None
        try:
            self._child.stdin.write(line.encode() + b"\n")
            self._child.stdin.flush()
        except OSError:
            self._hear()

    def _hear(self) -> None:
        """Wait for the word that a pass is whole; raise what went wrong."""
        assert self._child.stderr is not None
        said = self._child.stderr.readline(_SAID)
        if said == _WHOLE:
            return
        code = self._child.wait()
        kind, _, text = said.decode("utf-8", "replace").strip().partition(" ")
        if kind == MemoryError.__name__:
            raise MemoryError(text)
        raise RuntimeError(text or f"its reading ended with {code}")


_WHOLE = b"whole\n"


def _started(file: Path, scratch: Path) -> subprocess.Popen[bytes] | None:
    # Nothing of the folder that somebody stands in is imported (-P).
    command = [sys.executable, "-P", "-W", "ignore", "-m", __name__, str(file.resolve()), str(scratch.resolve() / "members.opl")]
    package = str(Path(__file__).resolve().parents[2])
    path = os.pathsep.join(filter(None, (package, os.environ.get("PYTHONPATH", ""))))
    try:
        child = subprocess.Popen(  # noqa: S603 - our own interpreter, our own module
            command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, env={**os.environ, "PYTHONPATH": path},
        )  # fmt: skip
    except (OSError, ValueError):
        return None
    with suppress(ImportError, AttributeError, OSError):  # a larger pipe: fewer turns from one process to the other
        import fcntl

        assert child.stdout is not None
        fcntl.fcntl(child.stdout, fcntl.F_SETPIPE_SZ, _PIPE)
    return child


def main() -> None:
    """Make the passes over a file as told on standard input, line by line: the first to standard output, the second to a file."""
    file, members = sys.argv[1:3]
    try:
        reader = _Reader(file)
        if how := sys.stdin.readline().strip():
            reader.everything("-", stamps=how == "stamps")
            with suppress(OSError):
                os.close(1)  # the end of the lines
            os.write(2, _WHOLE)
        if ids := sys.stdin.readline().split():
            reader.members(members, map(int, ids))
            os.write(2, _WHOLE)
    except BaseException as error:  # noqa: BLE001 - told to the process that asked
        text = " ".join(str(error).split())[: _SAID // 8]
        os.write(2, f"{type(error).__name__} {text}\n".encode("utf-8", "replace"))
        os._exit(1)
    os._exit(0)


if __name__ == "__main__":
    main()
