"""GPX and KML tracks, read as a stream: no tree is built, document types and entities are refused, depth is bounded."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from xml.parsers import expat

from tripplan.model.errors import BadInputError
from tripplan.request.track_points import Draft, shortened

__all__ = ["read_gpx", "read_kml"]

_MOST_DEPTH = 100
_MOST_ELEMENTS = 2_000_000
#: Texts that are kept are cut here, but for the coordinates of a KML line.
_MOST_TEXT = 400
_CHUNK = 1 << 20


@dataclass
class _Stack:
    """Where the stream is, and the text of the element that is open."""

    names: list[str] = field(default_factory=list)
    text: list[str] = field(default_factory=list)
    wanted: bool = False
    long: bool = False
    size: int = 0


def _stream(
    text: str,
    where: str,
    root: str,
    accepted: str,
    start: Callable[[_Stack, str, dict[str, str]], None],
    end: Callable[[_Stack, str, str], None],
) -> None:
    """Drive two handlers over an XML text; names come without their namespace."""
    stack = _Stack()
    parser = expat.ParserCreate(encoding="utf-8", namespace_separator=" ")
    parser.buffer_text = True
    count = 0

    def refuse(*_: object) -> None:
        raise BadInputError(
            "declares a document type or entities", where=where, accepted=f"plain {root.upper()} without <!DOCTYPE>",
            next_step="save the track again",
        )  # fmt: skip

    def on_start(tag: str, attributes: dict[str, str]) -> None:
        nonlocal count
        count += 1
        name = tag.rpartition(" ")[2]
        if not stack.names and name != root:
            raise BadInputError(
                f"is not {root.upper()} but <{shortened(name)}>", where=where, accepted=accepted, next_step="check the file"
            )
        if len(stack.names) >= _MOST_DEPTH or count > _MOST_ELEMENTS:
            what = "is nested too deep" if len(stack.names) >= _MOST_DEPTH else f"holds more than {_MOST_ELEMENTS:,} elements"
            raise BadInputError(what, where=where, accepted=accepted, next_step="check the file")
        stack.names.append(name)
        stack.wanted = stack.long = False
        stack.text.clear()
        stack.size = 0
        start(stack, name, attributes)

    def on_end(tag: str) -> None:
        end(stack, tag.rpartition(" ")[2], "".join(stack.text) if stack.wanted else "")
        stack.names.pop()
        stack.wanted = False
        stack.text.clear()

    def on_text(data: str) -> None:
        if stack.wanted and (stack.long or stack.size <= _MOST_TEXT):
            stack.size += len(data)
            stack.text.append(data)

    parser.StartElementHandler = on_start
    parser.EndElementHandler = on_end
    parser.CharacterDataHandler = on_text
    parser.StartDoctypeDeclHandler = refuse
    parser.EntityDeclHandler = refuse
    try:
        for at in range(0, len(text), _CHUNK):
            parser.Parse(text[at : at + _CHUNK], False)
        parser.Parse("", True)
    except expat.ExpatError as error:
        raise BadInputError(f"is not XML ({error})", where=where, accepted=accepted, next_step="check the file") from None
    except UnicodeEncodeError:
        raise BadInputError("holds half characters", where=where, accepted=accepted, next_step="save it as UTF-8 text") from None


def read_gpx(text: str, where: str, accepted: str) -> Draft:
    """Read every ``trk`` of a GPX file, a part for each ``trkseg``."""
    draft = Draft(where)
    point: list[str] = []
    time = ""

    def start(stack: _Stack, name: str, attributes: dict[str, str]) -> None:
        nonlocal time
        path = stack.names
        if name == "trkseg" and path[1:] == ["trk", "trkseg"]:
            draft.new_part()
        elif name == "trkpt" and path[1:] == ["trk", "trkseg", "trkpt"]:
            point[:] = [attributes.get("lon", ""), attributes.get("lat", "")]
            time = ""
        elif (name == "time" and path[1:] == ["trk", "trkseg", "trkpt", "time"]) or (
            name == "name" and path[1:] == ["trk", "name"]
        ):
            stack.wanted = True
        elif name == "rte" and len(path) == 2:
            draft.routes = True
        elif name == "wpt" and len(path) == 2:
            draft.points = True

    def end(stack: _Stack, name: str, said: str) -> None:
        nonlocal time
        if name == "trkpt" and stack.names[1:] == ["trk", "trkseg", "trkpt"]:
            draft.add(point[0], point[1], time)
        elif name == "time" and stack.wanted:
            time = said
        elif name == "name" and stack.wanted and not draft.name:
            draft.name = said.strip()[:200]

    _stream(text, where, "gpx", accepted, start, end)
    return draft


def read_kml(text: str, where: str, accepted: str) -> Draft:
    """Read every ``LineString`` and ``gx:Track`` of a KML file, a part each."""
    draft = Draft(where)
    when: list[str] = []
    coord: list[str] = []

    def start(stack: _Stack, name: str, _: dict[str, str]) -> None:
        path = stack.names
        parent = path[-2] if len(path) > 1 else ""
        if name == "Track":
            when.clear()
            coord.clear()
        elif name in ("when", "coord") and parent == "Track":
            stack.wanted = True
        elif name == "coordinates" and parent == "LineString":
            stack.wanted = stack.long = True
        elif name == "coordinates" and parent == "Point":
            draft.points = True
        elif name == "name" and parent in ("Document", "Placemark"):
            stack.wanted = True

    def end(stack: _Stack, name: str, said: str) -> None:
        if name == "when" and stack.wanted:
            when.append(said)
        elif name == "coord" and stack.wanted:
            coord.append(said)
        elif name == "Track":
            if when and len(when) != len(coord):
                raise BadInputError(
                    f"a track has {len(when)} times and {len(coord)} positions", where=where, accepted="one `when` a `gx:coord`",
                    next_step="save the track again",
                )  # fmt: skip
            draft.new_part()
            for row, words in enumerate(coord):
                numbers = words.split()
                draft.add(numbers[0] if numbers else "", numbers[1] if len(numbers) > 1 else "", when[row] if when else "")
            when.clear()
            coord.clear()
        elif name == "coordinates" and stack.wanted:
            draft.new_part()
            for words in said.split():
                numbers = words.split(",")
                draft.add(numbers[0], numbers[1] if len(numbers) > 1 else "", "")
        elif name == "name" and stack.wanted and not draft.name:
            draft.name = said.strip()[:200]

    _stream(text, where, "kml", accepted, start, end)
    return draft
