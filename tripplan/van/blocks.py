"""A stretch of a day or a night as three numbers a store: exact although a full battery takes no more.

Levels count what is used up and never fall below 0. After the hours x1 .. xn the level is ``max(L + total, tail)`` and the
worst on the way is ``max(L + prefix, inner)``, for every ``L >= 0`` (see `tripplan.schedule.problem`).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import reduce
from math import ceil

import numpy as np
from numpy.typing import NDArray

from tripplan.almanac.sun import SunDay
from tripplan.model.van import DayWeather, Party, Van
from tripplan.van.limits import UNITS_PER, room_units
from tripplan.van.use import MEAN, StayKind, Tilt, hourly, slots

__all__ = ["EMPTY", "Block", "block_of", "day_block", "join", "night_block", "to_units", "worst"]

Six = tuple[float, ...]
_ZERO: Six = (0.0,) * 6
_NOISE = 1e-6


@dataclass(frozen=True, slots=True)
class Block:
    """What a stretch of time does to each store, in the order of `STORES` [L, L, L, L, kg, Ah used up].

    Parameters
    ----------
    total
        Sum of the hours. prefix: greatest sum from the start, at least 0 and at least ``total``.
    tail
        Greatest sum up to the end, where it exceeds ``total``; else 0.
    inner
        Greatest sum of hours on the way, where it exceeds ``prefix``; else 0. It bounds what the block asks of a store that
        is full somewhere within it.
    """

    total: Six = _ZERO
    prefix: Six = _ZERO
    tail: Six = _ZERO
    inner: Six = _ZERO


EMPTY = Block()


def block_of(use: NDArray[np.float64]) -> Block:
    """Return the block of hours one after another, (n, 6) used up in each."""
    if len(use) == 0:
        return EMPTY
    sums = np.vstack((np.zeros((1, use.shape[1])), np.cumsum(use, axis=0)))
    total = sums[-1]
    prefix = sums.max(axis=0)
    tail = (total - sums).max(axis=0)
    inner = (sums - np.minimum.accumulate(sums, axis=0)).max(axis=0)
    return _plain(total, prefix, tail, inner)


def _plain(
    total: NDArray[np.float64], prefix: NDArray[np.float64], tail: NDArray[np.float64], inner: NDArray[np.float64]
) -> Block:
    """Drop what can never rule, as levels are at least 0: one block, one writing."""
    tail = np.where(tail > total + 1e-9, tail, 0.0)
    inner = np.where(inner > prefix + 1e-9, inner, 0.0)
    return Block(*(tuple(part.tolist()) for part in (total, prefix, tail, inner)))


def join(first: Block, then: Block) -> Block:
    """Return the block of two stretches, one after the other."""
    a = [np.array(part) for part in (first.total, first.prefix, first.tail, first.inner)]
    b = [np.array(part) for part in (then.total, then.prefix, then.tail, then.inner)]
    total = a[0] + b[0]
    prefix = np.maximum(a[1], a[0] + b[1])
    tail = np.maximum(b[2], a[2] + b[0])
    inner = np.maximum(np.maximum(a[3], b[3]), a[2] + b[1])
    return _plain(total, prefix, tail, inner)


def worst(one: Block, other: Block) -> Block:
    """Return a block that is at least as bad as both, whatever the level before."""
    parts = [
        np.maximum(np.array(p), np.array(q))
        for p, q in (
            (one.total, other.total),
            (one.prefix, other.prefix),
            (one.tail, other.tail),
            (one.inner, other.inner),
        )
    ]
    return _plain(*parts)


def to_units(block: Block, room: NDArray[np.int32] | None = None) -> NDArray[np.int32]:
    """Return total, prefix and tail in search units, (3, 6), rounded up.

    Parameters
    ----------
    room
        (6) units that may be used up, as from `tripplan.van.limits.room_units`. Where a block asks more than that within
        itself, whatever the level before, its prefix says so, and the block is refused as it must be.
    """
    total, prefix, tail, inner = (
        np.array([ceil(x * per - _NOISE) for x, per in zip(part, UNITS_PER, strict=True)], dtype=np.int64)
        for part in (block.total, block.prefix, block.tail, block.inner)
    )
    if room is not None:
        prefix = np.where(inner > room, np.maximum(prefix, inner), prefix)
    return np.stack((total, prefix, tail)).astype(np.int32)


def _refusable(block: Block, van: Van) -> Block:
    """Raise the prefix where the block asks more within itself than the van holds at its default battery temperature."""
    if not any(block.inner):
        return block
    room = room_units(van)
    if not any(i * per > r for i, per, r in zip(block.inner, UNITS_PER, room, strict=True)):
        return block
    prefix = tuple(
        max(p, i) if i * per > r else p for p, i, per, r in zip(block.prefix, block.inner, UNITS_PER, room, strict=True)
    )
    return Block(block.total, prefix, block.tail, block.inner)


def night_block(
    van: Van,
    party: Party,
    weather: DayWeather,
    sun: SunDay,
    kind: StayKind,
    *,
    arrive_h: float = 16.0,
    leave_h: float = 9.0,
    tilt: Tilt = MEAN,
) -> Block:
    """Return what a night at a place uses, from arriving to leaving the next morning.

    Parameters
    ----------
    weather, sun
        Of the date of arrival; the next morning counts as like it.
    arrive_h, leave_h
        Local hours since midnight of arriving, and of leaving on the next date.
    tilt
        Factors that keep limits of gas and battery at a confidence (`tripplan.van.spread`); the mean when not given.
    """
    use = hourly(van, party, weather, sun.share, kind, slots(arrive_h, 24 + leave_h), tilt=tilt)
    return _refusable(block_of(use), van)


def day_block(
    van: Van,
    party: Party,
    weather: DayWeather,
    sun: SunDay,
    *,
    drive_h: float,
    afloat_h: float = 0.0,
    kind: StayKind | None = None,
    leave_h: float = 9.0,
    arrive_h: float = 16.0,
    tilt: Tilt = MEAN,
) -> Block:
    """Return what the hours between two nights use.

    Parameters
    ----------
    drive_h
        Hours under way with the van on; 0 on a standing day. afloat_h: those of them aboard ferries, where the car charges nothing.
    kind
        What the place gives on a standing day. On a towing day it is not asked: the hours not at the wheel count as spent in
        the van with nothing given (gas on, no block), which an early arrival only betters.
    leave_h, arrive_h
        Local hours between which the block lies; empty when ``arrive_h <= leave_h``. They must contain the real day: not
        later than the earliest leaving, not earlier than the latest arrival.

    Notes
    -----
    The worse of driving first and driving last is taken, store by store, so the order of the day's stops is free; so is that of
    driving and crossing.
    """
    if drive_h <= 0:
        use = hourly(van, party, weather, sun.share, kind, slots(leave_h, arrive_h), tilt=tilt)
        return _refusable(block_of(use), van)
    given = (van, party, weather, sun.share, None)
    rest_h, afloat_h = max(0.0, arrive_h - leave_h - drive_h), min(afloat_h, drive_h)
    every = []
    for first_rest in (0.0, rest_h):
        start, stop = leave_h + first_rest, min(arrive_h, leave_h + first_rest + drive_h)
        # (from, to, aboard) of what is under way, in either order.
        ways = {
            ((start, stop - afloat_h, False), (stop - afloat_h, stop, True)),
            ((start, start + afloat_h, True), (start + afloat_h, stop, False)),
        }
        for way in sorted(ways):
            parts = [hourly(*given, slots(leave_h, start), tilt=tilt), hourly(*given, slots(stop, arrive_h), tilt=tilt)]
            parts[1:1] = [hourly(*given, slots(a, b), towing=1.0, tilt=tilt, ferry=aboard) for a, b, aboard in way]
            every.append(block_of(np.concatenate(parts)))
    return _refusable(reduce(worst, every), van)
