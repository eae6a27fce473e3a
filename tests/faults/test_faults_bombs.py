"""Small files that would unpack to a gigabyte, and large ones of nothing: one line, within seconds and bounded memory."""

from __future__ import annotations

import bz2
import os
import resource
import struct
import subprocess
import sys
import time
import zlib
from collections.abc import Callable
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
MEGABYTE = 1 << 20
XML = b'<?xml version="1.0"?><osm version="0.6">'


def repeated(data: bytes, times: int) -> tuple[bytes, int, int]:
    """Return data as often as wanted, deflated without making it: deflated bytes, sum, size."""
    packer = zlib.compressobj(9, zlib.DEFLATED, -15)
    once = packer.compress(data) + packer.flush(zlib.Z_FULL_FLUSH)  # after a full flush blocks stand alone
    crc = 0
    for _ in range(times):
        crc = zlib.crc32(data, crc)
    return once * times + b"\x03\x00", crc, len(data) * times


def gz(head: bytes, data: bytes, times: int) -> bytes:
    """Return a gzip file of two members: a beginning, then data again and again."""
    out = b""
    for part, count in ((head, 1), (data, times)):
        body, crc, size = repeated(part, count)
        out += b"\x1f\x8b\x08\x00\x00\x00\x00\x00\x00\xff" + body + struct.pack("<II", crc, size & 0xFFFFFFFF)
    return out


def zipped(member: bytes, times: int) -> bytes:
    """Return a zip file with one member of so many megabytes of zeros."""
    body, crc, size = repeated(bytes(MEGABYTE), times)
    fields = struct.pack("<3H3I2H", 8, 0, 0, crc, len(body), size, len(member), 0)
    local = b"PK\x03\x04" + struct.pack("<2H", 20, 0) + fields + member
    central = b"PK\x01\x02" + struct.pack("<3H", 20, 20, 0) + fields + struct.pack("<3H2I", 0, 0, 0, 0, 0) + member
    return local + body + central + b"PK\x05\x06" + struct.pack("<4H2IH", 0, 0, 1, 1, len(central), len(local) + len(body), 0)


def entities(open_: bytes, close: bytes) -> bytes:
    """Return an XML text whose nine entities stand for a billion letters."""
    names = b"abcdefghij"
    rows = b"".join(b'<!ENTITY %c "%s">' % (names[k], b"&%c;" % names[k - 1] * 10) for k in range(1, 10))
    return b'<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a "aaaaaaaaaa">' + rows + b"]>" + open_ + b"&j;" + close


def pbf(blocks: int) -> bytes:
    """Return a pbf file whose blocks of 30 MB are zeros, packed."""
    data = zlib.compress(bytes(30 * MEGABYTE), 9)

    def varint(n: int) -> bytes:
        return bytes((n & 127 | 128, *varint(n >> 7))) if n > 127 else bytes((n,))

    def block(kind: bytes) -> bytes:
        blob = b"\x10" + varint(30 * MEGABYTE) + b"\x1a" + varint(len(data)) + data
        head = b"\x0a" + varint(len(kind)) + kind + b"\x18" + varint(len(blob))
        return struct.pack(">I", len(head)) + head + blob

    return block(b"OSMHeader") + block(b"OSMData") * blocks


#: File -> its bytes; ``None``: a gigabyte of zeros that takes no room.
BOMBS: dict[str, Callable[[], bytes] | None] = {
    "zeros.osm.gz": lambda: gz(b"\0", bytes(MEGABYTE), 1024),
    "spaces.osm.gz": lambda: gz(XML, b" " * MEGABYTE, 1024),
    "attribute.osm.gz": lambda: gz(XML + b'<node id="1" lat="1" lon="', b"1" * MEGABYTE, 1024),
    "tags.osm.gz": lambda: gz(XML + b'<node id="1" lat="1" lon="1">', b'<tag k="a" v="b"/>' * 50_000, 1000),
    "nodes.osm.gz": lambda: gz(XML + b'<way id="1">', b'<nd ref="1"/>' * 80_000, 1000),
    "deep.osm.gz": lambda: gz(XML, b"<a>" * 300_000, 1000),
    "attribute.osm.bz2": lambda: bz2.compress(XML + b'<node id="') + bz2.compress(b"1" * MEGABYTE) * 1024,
    "zeros.osm.pbf": lambda: pbf(40),
    "laugh.osm": lambda: entities(b'<osm version="0.6"><node id="1" lat="1" lon="1"><tag k="x" v="', b'"/></node></osm>'),
    "nothing.osm": None, "nothing.osm.pbf": None, "nothing.osm.opl": None,
    "laugh.gpx": lambda: entities(b"<gpx><trk><name>", b"</name></trk></gpx>"),
    "laugh.kml": lambda: entities(b"<kml><Document><name>", b"</name></Document></kml>"),
    "route.gpx": lambda: entities(b"<gpx><rte><name>", b"</name></rte></gpx>"),
    "deep.kml": lambda: b"<kml>" + b"<a>" * 1_000_000,
    "deep.gpx": lambda: b"<gpx><rte>" + b"<a>" * 1_000_000,
    "deep.geojson": lambda: b'{"type":"FeatureCollection","features":' + b"[" * 1_000_000,
    "zipped.kmz": lambda: zipped(b"doc.kml", 1024), "zipped.gpx": lambda: zipped(b"a.gpx", 1024), "packed.gpx": lambda: gz(b"<gpx>", bytes(MEGABYTE), 1024),
    "nothing.gpx": None, "nothing.csv": None, "nothing.geojson": None,
    "nothing.region": None, "zipped.region": lambda: zipped(b"meta.json", 1024),
    "nothing.json": None, "deep.json": lambda: b'{"format":"tripplan plan 1","days":' + b"[" * 1_000_000,
    "nothing.toml": None, "deep.toml": lambda: b"a = " + b"[" * 400_000, "dotted.toml": lambda: b"a." * 40_000 + b"b = 1",
}  # fmt: skip


def command(name: str) -> list[str]:
    """Return the words that hand a file in where its kind belongs."""
    if ".osm" in name:
        return ["region", "build", name, "--out", "out.region"]
    if name.endswith(".region"):
        return ["region", "show", name]
    if name.endswith(".json"):
        return ["audit", name, "--region", "sound.region"]
    if name.endswith(".toml"):
        return ["plan", name, "--region", "sound.region", "--out", "papers"]
    return ["check", name, "--region", "sound.region"]


#: The peak is asked of the process itself: what the kernel counts for a child may be left over from the one that forked it.
LIMITED = """
import atexit, pathlib, resource, sys
resource.setrlimit(resource.RLIMIT_AS, (2 << 30, 2 << 30))
status = pathlib.Path("/proc/self/status")
if status.exists():
    atexit.register(lambda: pathlib.Path("peak.txt").write_text(status.read_text().split("VmHWM:")[1].split()[0]))
from tripplan.cli.main import main
main(sys.argv[1:])
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a sound region in it."""
    from helpers.fuzz_seeds import rich_map

    from tripplan.region.build import build
    from tripplan.region.store import save

    folder = tmp_path_factory.mktemp("bombs")
    save(build(rich_map(folder)), folder / "sound.region")
    return folder


def end_of(name: str, folder: Path) -> None:
    """Hand a file in, in a process of 2 GB; see that it ends in one line, within 5 s of work and 300 MB."""
    made = BOMBS[name]
    path = folder / name
    path.write_bytes(made() if made else b"")
    if made is None:
        os.truncate(path, 1 << 30)
    env = {**os.environ, "PYTHONPATH": str(ROOT), "TMPDIR": str(folder), "TRIPPLAN_CACHE": str(folder / "cache")}
    since = time.monotonic()
    child = subprocess.Popen(
        [sys.executable, "-c", LIMITED, *command(name)],
        cwd=folder,
        env=env,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )
    assert child.stdout is not None
    told = child.stdout.read()
    _, status, used = os.wait4(child.pid, 0)
    child.returncode = os.waitstatus_to_exitcode(status)
    path.unlink()
    assert child.returncode == 2, (name, child.returncode, told)
    assert told.count("\n") == 1, told
    assert "Traceback" not in told
    assert used.ru_utime + used.ru_stime < 5, (name, time.monotonic() - since)
    peak = folder / "peak.txt"
    if peak.exists():
        assert int(peak.read_text()) < 300 * 1024, (name, peak.read_text())
        peak.unlink()
    assert not (folder / "out.region").exists()


@pytest.mark.parametrize("name", ["attribute.osm.gz", "zeros.osm.pbf", "deep.gpx", "zipped.region", "dotted.toml"])
def test_a_bomb_ends_in_one_line(folder: Path, name: str) -> None:
    """One of each family of readers, through the command line."""
    end_of(name, folder)


@pytest.mark.long
@pytest.mark.parametrize("name", BOMBS)
def test_every_bomb_ends_in_one_line(folder: Path, name: str) -> None:
    """All of them."""
    end_of(name, folder)


def test_sound_files_are_not_taken_for_bombs(tmp_path: Path) -> None:
    """A long road and many like nodes pass: 2,000 nodes a way is the most that the map allows (OSM API 0.6, capabilities)."""
    from tripplan.region.build import build

    nodes = "".join(f"n{k} v1 T x{8 + k / 1e5:.5f} y50\n" for k in range(1, 2001))
    path = tmp_path / "long.osm.opl"
    path.write_text(nodes + "w1 v1 Thighway=primary N" + ",".join(f"n{k}" for k in range(1, 2001)) + "\n")
    assert len(build(path).pieces.way) == 1
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss > 0
