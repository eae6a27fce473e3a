"""A track being read: each point checked as it comes."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from math import isfinite, nan

import numpy as np

from tripplan.model.errors import BadInputError
from tripplan.model.track import Track

__all__ = ["MOST_TRACK_POINTS", "Draft", "shortened", "told"]

#: Points that are taken.
MOST_TRACK_POINTS = 250_000

_NUMBER = re.compile(r"[-+]?(\d+(\.\d*)?|\.\d+)([eE][-+]?\d{1,3})?")
_SECONDS_BELOW = 1e11  # of a number that is a time: from here on it counts milliseconds


class Draft:
    """Columns that grow.

    Parameters
    ----------
    where
        The file, for messages.
    """

    def __init__(self, where: str) -> None:
        self.name = ""
        self.routes = self.points = False
        self._where = where
        self._lon: list[float] = []
        self._lat: list[float] = []
        self._time: list[float] = []
        self._part: list[int] = []
        self._parts = -1

    def __len__(self) -> int:
        return len(self._lon)

    def new_part(self) -> None:
        """Begin a part."""
        self._parts += 1

    def add(self, lon: object, lat: object, time: object = "") -> None:
        """Add a point from what the file says, texts or numbers.

        Raises
        ------
        BadInputError
            No position on earth, no time, or one point too many.
        """
        number = len(self._lon) + 1
        if number > MOST_TRACK_POINTS:
            raise BadInputError(
                f"holds more than {MOST_TRACK_POINTS:,} points", where=self._where, accepted=f"2 to {MOST_TRACK_POINTS:,} points",
                next_step="cut it into days",
            )  # fmt: skip
        x, y = self._degrees(lon, "longitude", number), self._degrees(lat, "latitude", number)
        if not (-90 <= y <= 90 and -180 <= x <= 180):
            swapped = -90 <= x <= 90 and -180 <= y <= 180
            raise BadInputError(
                f"latitude {y:g}, longitude {x:g}", where=f"{self._where}, point {number}",
                accepted="latitude -90 to 90, longitude -180 to 180",
                next_step="are the two swapped?" if swapped else "mend the point",
            )  # fmt: skip
        self._lon.append(x)
        self._lat.append(y)
        self._time.append(self._seconds(time, number))
        self._part.append(max(self._parts, 0))

    def _degrees(self, value: object, word: str, number: int) -> float:
        degrees = nan
        if isinstance(value, str) and _NUMBER.fullmatch(text := value.strip()):
            degrees = float(text)
        elif isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < 1e9:
            degrees = float(value)
        if not isfinite(degrees):
            raise BadInputError(
                f"{word} is {told(value)}", where=f"{self._where}, point {number}", accepted="degrees as a decimal number",
                next_step="mend the point",
            )  # fmt: skip
        return degrees

    def _seconds(self, value: object, number: int) -> float:
        if value is None or (isinstance(value, str) and not value.strip()):
            return nan
        if isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < 1e14:
            return float(value) / (1000.0 if abs(value) >= _SECONDS_BELOW else 1.0)
        if isinstance(value, str):
            try:
                when = datetime.fromisoformat(value.strip())
                return (when if when.tzinfo else when.replace(tzinfo=UTC)).timestamp()
            except (ValueError, OverflowError):
                pass
        raise BadInputError(
            f"time is {told(value)}", where=f"{self._where}, point {number}", accepted="ISO 8601, such as 2027-02-06T10:15:00Z",
            next_step="mend the time or leave times out",
        )  # fmt: skip

    def track(self) -> Track:
        """Return what was read, with remarks on parts, and on times that are missing or run backwards."""
        time = np.array(self._time, np.float64)
        known = time[np.isfinite(time)]
        remarks = []
        if len(known) and (back := int((np.diff(known) < 0).sum())):
            remarks.append(f"times run backwards at {back:,} point{'s' if back > 1 else ''}: no speed is judged there")
        if 0 < len(known) < len(time):
            remarks.append(f"{len(time) - len(known):,} of {len(time):,} points have no time")
        part = np.unique(np.array(self._part, np.int32), return_inverse=True)[1].reshape(-1)
        if len(part) and part[-1]:
            remarks.append(
                f"{int(part[-1]) + 1:,} parts, checked one after the other: the recorder was off in between, or several tracks share the file"
            )
        return Track.of(self._lon, self._lat, time, part, name=self.name, remarks=tuple(remarks))


def told(value: object) -> str:
    """Return a value for a message: texts and numbers cut, of anything else its kind (it may be large or deep)."""
    if value is None or isinstance(value, str | int | float):
        return shortened(repr(value))
    return "a list" if isinstance(value, list) else "an object"


def shortened(text: str) -> str:
    """Return a text cut for a message."""
    return text if len(text) <= 60 else text[:57] + "..."
