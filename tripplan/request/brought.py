"""A way that somebody brings to be checked: way-points or a recorded track, and the date that it tells of itself."""

from __future__ import annotations

from contextlib import suppress
from datetime import UTC, date, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from tripplan.model.track import Track
from tripplan.request.tracks import is_track, load_track
from tripplan.request.waypoints import WayPoint, load_waypoints

__all__ = ["load_brought", "own_date"]

#: A track that says another year has a clock that was never set (satellite navigation is older than its receivers' civil use).
_OWN_YEARS = range(1990, 2100)


def load_brought(path: Path, kind: str) -> tuple[WayPoint, ...] | Track:
    """Read a file as what it is, or as what it is said to be.

    Parameters
    ----------
    kind
        ``auto``, ``track`` or ``way-points``.

    Raises
    ------
    BadInputError
        As `load_track` and `load_waypoints`.
    """
    if kind == "track" or (kind == "auto" and is_track(path)):
        return load_track(path)
    return load_waypoints(path)


def own_date(brought: tuple[WayPoint, ...] | Track, zone: str) -> date | None:
    """Return the local date on which a track begins, ``None`` where it does not say."""
    if isinstance(brought, tuple):
        return None
    known = [t for t in brought.time_s.tolist() if t == t]
    if not known:
        return None
    with suppress(ValueError, OverflowError, OSError, LookupError):
        begin = datetime.fromtimestamp(min(known), UTC)
        own = (begin.astimezone(ZoneInfo(zone)) if zone else begin).date()
        return own if own.year in _OWN_YEARS else None
    return None
