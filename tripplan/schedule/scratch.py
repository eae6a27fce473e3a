"""Arrays used again from day to day: asking for fresh memory each day takes as long as filling it."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = ["Scratch"]


class Scratch:
    """Arrays by name; asking for one again gives up what was in it."""

    def __init__(self) -> None:
        self._kept: dict[object, NDArray[Any]] = {}

    def array(self, name: object, shape: tuple[int, ...], dtype: Any, value: int | None = None) -> NDArray[Any]:
        """Return an array, filled with a value if one is given."""
        size = math.prod(shape)
        kept = self._kept.get(name)
        if kept is None or kept.size < size or kept.dtype != dtype:
            self._kept.pop(name, None)
            # room to grow: what is never touched takes no memory
            kept = self._kept[name] = np.empty(2 * size, dtype)
        out = kept[:size].reshape(shape)
        if value is not None:
            out.fill(value)
        return out
