"""A plan as text and back: `plan.json`, the same bytes for the same plan.

The text carries the whole trip, so a plan can be audited from it alone. Fields stand in the order in which their classes
declare them, keys of mappings are sorted, numbers are rounded (coordinates and amounts to 7 decimals, the columns of road
pieces to millimetres and milliseconds), times are ISO 8601 to the second with their offset, enumerations stand by value.
Reading back is strict: an unknown or missing key, a wrong type or a value out of range is a `BadInputError` that says where.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import MISSING, Field, fields, is_dataclass
from datetime import date, datetime, timedelta, tzinfo
from enum import Enum
from functools import lru_cache
from types import NoneType, UnionType
from typing import Any, NoReturn, Union, cast, get_args, get_origin, get_type_hints

from tripplan.model.errors import BadInputError
from tripplan.model.place import Spot
from tripplan.model.plan import Event, PieceRun, Plan
from tripplan.model.trip import UNTOLD

__all__ = ["MOST_PLAN_MB", "PLAN_FORMAT", "plan_from_json", "plan_to_json"]

#: Largest plan.json, or paper beside it, that is read [MB].
MOST_PLAN_MB = 64.0
#: What `format` says in a file that this version reads.
PLAN_FORMAT = "tripplan plan 1"

_WIDTH = 118
_MAKE_AGAIN = "make the plan again with `tripplan plan`"

Read = Callable[[Any, str, "_Context"], Any]


# ------------------------------------------------------------------------------------------------- writing


def plan_to_json(plan: Plan) -> str:
    """Return the plan as JSON text, ending in a newline.

    Raises
    ------
    ValueError
        When a number is not finite: such a plan is a fault of the program, not of its input.
    """
    return _render(_plain(plan, "plan"), 0) + "\n"


class _Flat(str):
    """Text that is JSON already and stays on one line."""

    __slots__ = ()


def _plain(value: Any, where: str) -> Any:
    """Return dicts, lists and rendered scalars for a value of the model."""
    if isinstance(value, PieceRun):
        return _plain_run(value, where)
    if is_dataclass(value) and not isinstance(value, type):
        return {
            f.name: _plain(own, f"{where}.{f.name}")
            for f in fields(value)
            if (own := getattr(value, f.name)) != f.default or not f.metadata.get(UNTOLD)
        }
    if isinstance(value, Mapping):
        return {str(key): _plain(value[key], f"{where}.{key}") for key in sorted(value)}
    if isinstance(value, tuple | list):
        return [_plain(item, f"{where}[{i}]") for i, item in enumerate(value)]
    return _scalar(value, where)


def _scalar(value: Any, where: str) -> _Flat:
    if isinstance(value, Enum):
        value = value.value
    if value is None or isinstance(value, bool):
        return _Flat({None: "null", True: "true", False: "false"}[value])
    if isinstance(value, datetime):
        return _Flat(json.dumps(_whole_second(value).isoformat()))
    if isinstance(value, date):
        return _Flat(json.dumps(value.isoformat()))
    if isinstance(value, str):
        return _Flat(json.dumps(_sound(value), ensure_ascii=False))
    if hasattr(value, "item"):  # a number out of an array
        value = value.item()
    if isinstance(value, bool):
        return _Flat("true" if value else "false")
    if isinstance(value, int):
        return _Flat(str(value))
    if isinstance(value, float):
        if not math.isfinite(value):
            raise ValueError(f"{where} is {value}: a plan holds finite numbers only")
        return _Flat(_number(round(value, 7)))
    raise TypeError(f"{where}: {type(value).__name__} has no place in a plan")


def _number(value: float) -> str:
    return str(int(value)) if value == int(value) and abs(value) < 1e15 else repr(value)


def _whole_second(when: datetime) -> datetime:
    return (when + timedelta(microseconds=500_000)).replace(microsecond=0) if when.microsecond else when


def _sound(text: str) -> str:
    """Return text that UTF-8 can hold: lone surrogates become U+FFFD."""
    return text.encode("utf-16", "surrogatepass").decode("utf-16", "replace") if not text.isascii() else text


def _plain_run(run: PieceRun, where: str) -> dict[str, _Flat]:
    out: dict[str, _Flat] = {
        "piece": _column(int(x) for x in run.piece),
        "forward": _column(1 if x else 0 for x in run.forward),
    }
    for name in ("from_m", "to_m", "time_s"):
        column = [round(float(x), 3) + 0.0 for x in getattr(run, name)]  # + 0.0: no minus zero
        if not all(map(math.isfinite, column)):
            raise ValueError(f"{where}.{name} holds a number that is not finite")
        out[name] = _column(int(x) if x.is_integer() else x for x in column)
    return out


def _column(numbers: Iterable[float]) -> _Flat:
    return _Flat(json.dumps(list(numbers), separators=(",", ":")))


def _render(node: Any, indent: int) -> str:
    """Return JSON text: on one line where it fits or is a column, else one entry a line."""
    if isinstance(node, _Flat):
        return node
    if isinstance(node, dict):
        parts = [f"{json.dumps(_sound(key), ensure_ascii=False)}: {_render(item, indent + 1)}" for key, item in node.items()]
        opening, closing = "{", "}"
    else:
        parts = [_render(item, indent + 1) for item in node]
        opening, closing = "[", "]"
    if sum(map(len, parts)) + 2 * len(parts) + indent <= _WIDTH and not any("\n" in part for part in parts):
        return opening + ", ".join(parts) + closing
    pad = "\n" + " " * (indent + 1)
    return opening + pad + ("," + pad).join(parts) + "\n" + " " * indent + closing


# ------------------------------------------------------------------------------------------------- reading


class _Context:
    """What reading one text needs to know: what the text is called and the trip's time zone."""

    def __init__(self, where: str, zone: tzinfo) -> None:
        self.where = where
        self.zone = zone

    def failure(self, path: str, what: str, accepted: str) -> BadInputError:
        path = path if len(path) <= 200 else path[:197] + "..."
        place = f"{self.where}, {path}" if self.where else path
        return BadInputError(what, where=place, accepted=accepted, next_step=_MAKE_AGAIN)


def plan_from_json(text: str | bytes, where: str = "") -> Plan:
    """Return the plan that a text holds, every value checked.

    Parameters
    ----------
    where
        The file's name, for messages.

    Raises
    ------
    BadInputError
        Not JSON, not a plan, another format, or a value that cannot be.
    """
    raw = _load(text, where)
    name = where or "plan"
    if not isinstance(raw, dict) or "format" not in raw:
        raise BadInputError("is not a plan: it has no `format`", where=name, accepted=PLAN_FORMAT, next_step=_MAKE_AGAIN)
    if raw["format"] != PLAN_FORMAT:
        raise BadInputError(f"`format` is {_show(raw['format'])}", where=name, accepted=PLAN_FORMAT, next_step=_MAKE_AGAIN)
    plan = cast("Plan", _reader(Plan)(raw, "plan", _Context(where, _zone(raw, where))))
    if not plan.days:
        raise BadInputError("`days` is empty", where=name, accepted="at least one day", next_step=_MAKE_AGAIN)
    return plan


def _load(text: str | bytes, where: str) -> Any:
    def no_constant(word: str) -> NoReturn:
        raise ValueError(f"{word} is no number")

    def no_twins(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        out = dict(pairs)
        if len(out) < len(pairs):
            twice = next(key for i, (key, _) in enumerate(pairs) if key in dict(pairs[:i]))
            raise ValueError(f"key {twice[:60]!r} stands twice in one table")
        return out

    try:
        if isinstance(text, bytes):
            text = text.decode("utf-8")
        return json.loads(text, parse_constant=no_constant, object_pairs_hook=no_twins)
    except RecursionError:
        reason = "nested too deep"
    except ValueError as error:  # also JSONDecodeError, UnicodeDecodeError
        reason = str(error)
    raise BadInputError(
        f"is not JSON ({reason})", where=where or "plan", accepted="a plan.json as tripplan writes it", next_step=_MAKE_AGAIN
    )


def _zone(raw: dict[str, Any], where: str) -> tzinfo:
    from zoneinfo import ZoneInfo

    trip = raw.get("trip")
    name = trip.get("tz") if isinstance(trip, dict) else None
    try:
        if isinstance(name, str):
            return ZoneInfo(name)
    except (ValueError, OSError, KeyError):  # unknown names, and names that are paths
        pass
    raise BadInputError(
        f"`tz` is {_show(name)}",
        where=f"{where}, plan.trip" if where else "plan.trip",
        accepted="the name of a time zone, such as Etc/UTC",
        next_step=_MAKE_AGAIN,
    )


def _show(value: Any) -> str:
    text = json.dumps(value, ensure_ascii=False, default=str)
    return text if len(text) <= 60 else text[:57] + "..."


@lru_cache(maxsize=256)
def _reader(kind: Any) -> Read:
    """Return the function that reads one type of the model."""
    if kind is PieceRun:
        return _read_run
    if isinstance(kind, type) and is_dataclass(kind):
        return _dataclass_reader(kind)
    if isinstance(kind, type) and issubclass(kind, Enum):
        return _enum_reader(kind)
    origin, inside = get_origin(kind), get_args(kind)
    if origin is tuple:
        return _tuple_reader(inside)
    if origin is dict:
        return _dict_reader(inside[1])
    if origin in (UnionType, Union):
        return _optional_reader(next(arm for arm in inside if arm is not NoneType))
    scalar = _SCALARS.get(kind)
    if scalar is None:
        raise TypeError(f"no way to read {kind!r}")
    return scalar


def _dataclass_reader(kind: type) -> Read:
    hints = get_type_hints(kind)
    columns: tuple[Field[Any], ...] = fields(kind)
    known = {f.name for f in columns}
    readers: dict[str, Read] = {}  # filled on first use: types may hold one another

    def read(raw: Any, path: str, context: _Context) -> Any:
        if not isinstance(raw, dict):
            raise context.failure(path, f"is {_show(raw)}", "a table")
        if not readers:
            readers.update({f.name: _reader(hints[f.name]) for f in columns})
        stranger = next((key for key in raw if key not in known), None)
        if stranger is not None:
            raise context.failure(path, f"key {stranger[:60]!r} is unknown", ", ".join(f.name for f in columns))
        values = {}
        for f in columns:
            if f.name in raw:
                values[f.name] = readers[f.name](raw[f.name], f"{path}.{f.name}", context)
            elif f.default is MISSING and f.default_factory is MISSING:
                raise context.failure(path, f"key {f.name!r} is missing", ", ".join(f.name for f in columns))
        try:
            made = kind(**values)
        except BadInputError as error:
            raise context.failure(path, error.what, error.accepted) from error
        _check(made, path, context)
        return made

    return read


def _check(made: Any, path: str, context: _Context) -> None:
    if isinstance(made, Spot):
        if not (-180 <= made.lon <= 180 and -90 <= made.lat <= 90):
            raise context.failure(path, f"lon, lat are {made.lon:g}, {made.lat:g}", "-180 to 180, -90 to 90 degrees")
        if made.place < -1:
            raise context.failure(path, f"`place` is {made.place}", "a row of the region's places, or -1")
    elif isinstance(made, Event) and made.end < made.start:
        raise context.failure(
            path, f"ends {made.end.isoformat()} before it starts {made.start.isoformat()}", "an end not before the start"
        )


def _enum_reader(kind: type[Enum]) -> Read:
    by_value = {member.value: member for member in kind}

    def read(raw: Any, path: str, context: _Context) -> Any:
        if isinstance(raw, bool) or not isinstance(raw, str | int) or raw not in by_value:
            raise context.failure(path, f"is {_show(raw)}", ", ".join(map(str, by_value)))
        return by_value[raw]

    return read


def _tuple_reader(inside: tuple[Any, ...]) -> Read:
    if len(inside) == 2 and inside[1] is Ellipsis:
        one = _reader(inside[0])

        def read_many(raw: Any, path: str, context: _Context) -> Any:
            if not isinstance(raw, list):
                raise context.failure(path, f"is {_show(raw)}", "a list")
            return tuple(one(item, f"{path}[{i}]", context) for i, item in enumerate(raw))

        return read_many
    each = tuple(map(_reader, inside))

    def read_fixed(raw: Any, path: str, context: _Context) -> Any:
        if not isinstance(raw, list) or len(raw) != len(each):
            raise context.failure(path, f"is {_show(raw)}", f"a list of {len(each)}")
        return tuple(read(item, f"{path}[{i}]", context) for i, (read, item) in enumerate(zip(each, raw, strict=True)))

    return read_fixed


def _dict_reader(value_kind: Any) -> Read:
    one = _reader(value_kind)

    def read(raw: Any, path: str, context: _Context) -> Any:
        if not isinstance(raw, dict):
            raise context.failure(path, f"is {_show(raw)}", "a table")
        return {key: one(item, f"{path}.{key}", context) for key, item in raw.items()}

    return read


def _optional_reader(kind: Any) -> Read:
    one = _reader(kind)
    return lambda raw, path, context: None if raw is None else one(raw, path, context)


def _read_run(raw: Any, path: str, context: _Context) -> PieceRun:
    names = ("piece", "forward", "from_m", "to_m", "time_s")
    if not isinstance(raw, dict) or set(raw) != set(names) or not all(isinstance(raw[n], list) for n in names):
        raise context.failure(path, f"is {_show(raw)}", "a table of the lists " + ", ".join(names))
    if len({len(raw[n]) for n in names}) != 1:
        raise context.failure(
            path, f"columns have lengths {', '.join(str(len(raw[n])) for n in names)}", "columns of equal length"
        )
    whole, number = _SCALARS[int], _SCALARS[float]
    for name in ("piece", "forward"):
        for i, item in enumerate(raw[name]):
            if whole(item, f"{path}.{name}[{i}]", context) < 0 or (name == "forward" and item > 1):
                raise context.failure(f"{path}.{name}[{i}]", f"is {item}", "0 or 1" if name == "forward" else "0 or more")
    reals = {}
    for name in names[2:]:
        reals[name] = tuple(number(item, f"{path}.{name}[{i}]", context) for i, item in enumerate(raw[name]))
        if min(reals[name], default=0.0) < 0:
            raise context.failure(f"{path}.{name}", f"holds {min(reals[name]):g}", "0 or more")
    return PieceRun(
        piece=tuple(raw["piece"]), forward=tuple(item == 1 for item in raw["forward"]),
        from_m=reals["from_m"], to_m=reals["to_m"], time_s=reals["time_s"],
    )  # fmt: skip


def _read_bool(raw: Any, path: str, context: _Context) -> bool:
    if not isinstance(raw, bool):
        raise context.failure(path, f"is {_show(raw)}", "true or false")
    return raw


def _read_int(raw: Any, path: str, context: _Context) -> int:
    if isinstance(raw, bool) or not isinstance(raw, int) or abs(raw) > 2**62:
        raise context.failure(path, f"is {_show(raw)}", "a whole number")
    return raw


def _read_float(raw: Any, path: str, context: _Context) -> float:
    if isinstance(raw, bool) or not isinstance(raw, int | float) or not abs(raw) < 1e300:
        raise context.failure(path, f"is {_show(raw)}", "a number")
    return float(raw)


def _read_str(raw: Any, path: str, context: _Context) -> str:
    if not isinstance(raw, str):
        raise context.failure(path, f"is {_show(raw)}", "text")
    return raw


def _read_datetime(raw: Any, path: str, context: _Context) -> datetime:
    accepted = "a time with its offset, such as 2026-02-03T10:00:00-02:00"
    try:
        when = datetime.fromisoformat(raw) if isinstance(raw, str) else None
        if when is not None and when.tzinfo is not None:
            local = when.astimezone(context.zone)
            return local if local.utcoffset() == when.utcoffset() else when
    except (ValueError, OverflowError):
        pass
    raise context.failure(path, f"is {_show(raw)}", accepted)


def _read_date(raw: Any, path: str, context: _Context) -> date:
    try:
        if isinstance(raw, str) and len(raw) == 10:
            return date.fromisoformat(raw)
    except ValueError:
        pass
    raise context.failure(path, f"is {_show(raw)}", "a date such as 2026-02-03")


_SCALARS: dict[Any, Read] = {
    bool: _read_bool, int: _read_int, float: _read_float, str: _read_str, datetime: _read_datetime, date: _read_date,
}  # fmt: skip
