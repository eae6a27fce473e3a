"""Compiled loops that keep a bound in 16 bits, and the least over four arcs, which both bounds take. Same results as ``bounds``."""

# mypy: disable-error-code="no-untyped-def, no-any-return, no-untyped-call"
from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

from .bounds import FORBIDDEN_SMALL, Bound, scale
from .scratch import Scratch
from .side_by_side import in_parts, middles
from .tables import Tables

__all__ = ["least_of_four", "pack", "unpack"]

Any_ = NDArray[Any]


@njit(cache=True, nogil=True)
def least_of_four(row, w0, w1, w2, w3, c0, c1, c2, c3):
    """Lower ``row`` to the least of four rows with what is added to each, in the arrays' own integers, so that it vectorises."""
    number = row.dtype.type
    for k in range(len(row)):
        v0 = min(number(w0[k] + c0), number(w1[k] + c1))
        v1 = min(number(w2[k] + c2), number(w3[k] + c3))
        row[k] = min(row[k], min(v0, v1))


@njit(cache=True, nogil=True)
def _span(values, begin, end, inf, out):
    number = values.dtype.type
    low, high = number(inf), number(-inf)
    for i in range(begin, end):
        v = values[i]
        low = min(low, v)
        high = max(high, v if v < inf else number(-inf))
    out[0], out[1] = low, high


@njit(cache=True, nogil=True)
def _pack(values, begin, end, base, shift, inf, top, out):
    for i in range(begin, end):
        v = values[i]
        out[i] = np.uint16(np.uint64(v - base) >> shift) if v < inf else top


@njit(cache=True, nogil=True)
def _unpack(values, begin, end, base, shift, top, inf, out):
    number = out.dtype.type
    for i in range(begin, end):
        v = values[i]
        out[i] = number((number(v) << shift) + base) if v != top else inf


def pack(tables: Tables, values: Any_) -> tuple[Any_, int, int, int]:
    """Return values in 16 bits with their base, shift and top (see ``bounds``)."""
    number = values.dtype.type
    flat, cuts = values.reshape(-1), middles(values.size)
    spans = np.empty((len(cuts), 2), np.int64)
    spans[:] = tables.inf, -tables.inf
    in_parts(values.size, cuts, lambda lo, hi, _lane: _span(flat, lo, hi, number(tables.inf), spans[cuts.index(lo)]))
    base, most = int(spans[:, 0].min()), int(spans[:, 1].max())
    if most == -tables.inf:
        return values.copy(), 0, 0, tables.inf
    shift = scale(most - base)
    out, top = np.empty(values.size, np.uint16), np.uint16(FORBIDDEN_SMALL)
    in_parts(
        values.size, cuts, lambda lo, hi, _lane: _pack(flat, lo, hi, number(base), np.uint64(shift), number(tables.inf), top, out)
    )
    return out.reshape(values.shape), base, shift, FORBIDDEN_SMALL


def unpack(bound: Bound, day: int, dtype: Any, scratch: Scratch) -> Any_:
    """Return the values of a day as costs (see ``bounds``), in an array of the scratch where they were packed."""
    kept = bound.values[day]
    if bound.top[day] == bound.inf:
        return kept.astype(dtype, copy=False)
    flat, out = kept.reshape(-1), scratch.array("unpacked", (kept.size,), dtype)
    frame = dtype(bound.base[day]), dtype(bound.shift[day]), kept.dtype.type(bound.top[day]), dtype(bound.inf), out
    in_parts(kept.size, middles(kept.size), lambda lo, hi, _lane: _unpack(flat, lo, hi, *frame))
    return out.reshape(kept.shape)
