"""Sorting many rows by small numbers: packed into one integer each, which sorts much quicker than several keys."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = ["order_of", "ranked"]

I64 = NDArray[np.int64]


def order_of(*keys: NDArray[Any]) -> I64:
    """Return the rows in order of keys, the first counting most; equal rows stay as they stand."""
    count = len(keys[0])
    if not count:
        return np.zeros(0, np.int64)
    widths = [int(key.max()).bit_length() for key in keys]
    row = (count - 1).bit_length()
    if sum(widths) + row > 63 or any(int(key.min()) < 0 for key in keys):
        order: I64 = np.lexsort(keys[::-1])
        return order
    packed = np.zeros(count, np.int64)
    for key, width in zip(keys, widths, strict=True):
        packed <<= width
        packed |= key
    packed <<= row
    packed |= np.arange(count)
    packed.sort()
    packed &= (1 << row) - 1
    return packed


def ranked(values: NDArray[Any]) -> tuple[NDArray[Any], I64]:
    """Return the different values in order, and the number of each row's own: quick where few differ."""
    found = np.sort(values)
    found = found[np.append(True, found[1:] != found[:-1])[: len(found)]]
    return found, np.searchsorted(found, values).astype(np.int64)
