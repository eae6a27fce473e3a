"""A problem laid out for the engines: sights as one mixed-radix number, like arcs side by side, what can be left out."""

from __future__ import annotations

import functools
from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from .problem import Problem
from .ranks import ranked

__all__ = ["Tables", "make_tables"]

I32 = NDArray[np.int32]
I64 = NDArray[np.int64]
U64 = NDArray[np.uint64]
BoolA = NDArray[np.bool_]

NARROW, WIDE = 1 << 29, 1 << 58  # forbidden, in 32 and 64 bits: sums of a few stay in range


@dataclass(frozen=True)
class Tables:
    """What both engines read. G progress numbers, H night states (one night / more), N like-night classes.

    Parameters
    ----------
    problem
        The trip.
    wide
        True: costs may pass 2**28, bounds count in 64 bits.
    one_night
        True: leaving after one night costs or counts something, so the night state matters.
    states
        G.
    end_value
        (G) what the progress is worth at the goal [cents], ``inf`` where a must sight is missing.
    cover_class
        (P) class of the place among places that cover the same sights. cover_map: (classes, G) progress after a night.
    sight_class
        (A) class of the arc's sights. sight_map: (classes, G) progress after the arc.
    digits
        (G, S) how often each sight is counted in a progress number.
    columns
        For each day, the progress numbers that can still lead from pick-up to the goal. arrivals: the same on arrival,
        before the night.
    like_night
        (P) class of the place by night class and resets. night_keys: (N, 3) night class, arrive and leave resets.
    arc_kinds
        Use class, resets and allowed days of each kind of arc there is.
    stay_limit
        (P) most nights in a row, 0 where D nights are allowed.
    nights_kept
        (P) nights in a row are told apart up to this number.
    harmless
        (D + 1, R) a level up to this at the start of the day can never reach a limit again; -1 none.
    harmless_counts
        (D + 1, C) the same of counters.
    """

    problem: Problem
    wide: bool
    one_night: bool
    states: int
    end_value: I64
    cover_class: I32
    cover_map: I32
    sight_class: I32
    sight_map: I32
    digits: I32
    columns: tuple[I32, ...]
    arrivals: tuple[I32, ...]
    like_night: I32
    night_keys: I32
    arc_kinds: tuple[I64, I64, NDArray[np.uint64]]
    stay_limit: I32
    nights_kept: I32
    harmless: I64
    harmless_counts: I64

    @property
    def inf(self) -> int:
        """Cost of what is forbidden [cents]."""
        return WIDE if self.wide else NARROW

    @functools.cached_property
    def open_columns(self) -> tuple[I32, ...]:
        """For each day (G) 0 where a progress number matters at its start, else -1."""
        out = []
        for columns in self.columns:
            row = np.full(self.states, -1, np.int32)
            row[columns] = 0
            out.append(row)
        return tuple(out)

    @functools.cached_property
    def spots(self) -> tuple[I64, ...]:
        """For each day, and after the last, the places where it may begin: pick-up, where a night is open, the goal."""
        p = self.problem
        return (
            np.array([p.start], np.int64),
            *(np.flatnonzero(p.night_cost[d] >= 0).astype(np.int64) for d in range(p.days - 1)),
            np.array([p.goal], np.int64),
        )

    @functools.cached_property
    def rows(self) -> tuple[I32, ...]:
        """For each day, and after the last, (P) number of the place among ``spots``, -1 none."""
        out = []
        for spots in self.spots:
            row = np.full(self.problem.places, -1, np.int32)
            row[spots] = np.arange(len(spots), dtype=np.int32)
            out.append(row)
        return tuple(out)

    @property
    def halves(self) -> int:
        """H."""
        return 2 if self.one_night else 1


def _check(p: Problem) -> None:
    """Refuse arrays that break what the engines rely on."""
    if p.days < 1 or p.days > 64:
        raise ValueError(f"a problem has 1 to 64 days, not {p.days}")
    if len(p.need) and (len(p.need) > 32 or int(p.need.min()) < 1):
        raise ValueError("up to 32 sights, each counted at least once")
    if (p.arc_count < 0).any() or (p.night_count < 0).any() or (p.one_night_count < 0).any() or p.one_night_cost < 0:
        raise ValueError("counts and the one-night cost must not be negative")
    if (p.day_block[:, :, 2] < 0).any() or (p.night_block[:, :, 2] < 0).any():
        raise ValueError("the tail of a block must not be negative")
    if (p.start_level < 0).any() or (p.excess_weight < 0).any() or (p.arc_cost < 0).any():
        raise ValueError("levels, weights and arc costs must not be negative")
    if any(n < 0 or d <= 0 for _, _, n, d in p.couple):
        raise ValueError("a couple row needs a numerator of 0 or more and a positive denominator")


def _tidy(p: Problem) -> Problem:
    """Return the problem with arrays as the contract says, contiguous and writable, so that kernels are compiled once."""
    kinds: dict[str, type[np.generic]] = {
        "I64": np.int64,
        "I32": np.int32,
        "U32": np.uint32,
        "U64": np.uint64,
        "NDArray[np.uint8]": np.uint8,
    }
    changed = {f.name: np.require(getattr(p, f.name), kinds[str(f.type)], ["C", "W"]) for f in fields(p) if str(f.type) in kinds}
    return replace(p, **changed)  # type: ignore[arg-type]


def _progress(p: Problem) -> tuple[int, I64, I32]:
    """Return G, the (G) value at the goal and the (G, S) digits of each progress number."""
    radix = np.asarray(p.need, np.int64) + 1
    states = int(np.prod(radix)) if len(radix) else 1
    if states > 2_000_000:
        raise ValueError(f"{states} combinations of sights are more than the search can hold")
    digits = np.zeros((states, len(radix)), np.int32)
    left = np.arange(states)
    for s, base in enumerate(radix):
        digits[:, s] = left % base
        left = left // base
    done = digits >= p.need
    value = np.where(done & (p.must == 0), -np.asarray(p.value, np.int64), 0).sum(1)
    missing = (~done & (p.must != 0)).any(1)
    return states, np.where(missing, WIDE, value).astype(np.int64), digits


def _maps(p: Problem, digits: I32) -> tuple[I32, I32, I32, I32]:
    radix = np.asarray(p.need, np.int64) + 1
    stride = np.concatenate([[1], np.cumprod(radix)[:-1]]).astype(np.int64) if len(radix) else np.zeros(0, np.int64)
    rows, cover_class = np.unique(np.asarray(p.cover).reshape(p.places, len(p.need)), axis=0, return_inverse=True)
    cover_map = np.stack([(np.minimum(digits + row, p.need) @ stride) for row in rows]).astype(np.int32)
    masks = np.unique(np.append(p.arc_sights, np.uint32(0)))
    sight_class = np.searchsorted(masks, p.arc_sights)
    sight_map = []
    for mask in masks:
        hit = np.array([bool(int(mask) >> s & 1) for s in range(len(p.need))], bool)
        sight_map.append(np.where(hit, p.need, digits) @ stride if len(radix) else np.zeros(1))
    return (
        cover_class.reshape(-1).astype(np.int32),
        cover_map,
        sight_class.astype(np.int32),
        np.stack(sight_map).astype(np.int32),
    )


def _used_maps(p: Problem, cover_class: I32, kinds: tuple[I64, U64], day: int) -> tuple[I64, I64]:
    """Return the sight classes and cover classes that some arc and some night of the day can use.

    Parameters
    ----------
    kinds
        Sight classes and allowed days that some arc has, both together.
    """
    sights, days = kinds
    allowed = (days >> np.uint64(day)) & np.uint64(1) != 0
    return np.unique(sights[allowed]), np.unique(cover_class[p.night_cost[day] >= 0]).astype(np.int64)


def _columns(
    p: Problem, end_value: I64, cover_class: I32, cover_map: I32, sight_kinds: tuple[I64, U64], sight_map: I32
) -> tuple[tuple[I32, ...], tuple[I32, ...]]:
    """Return the progress numbers that matter at the start of each day and on each arrival."""
    states, last = len(end_value), p.days - 1
    used = [_used_maps(p, cover_class, sight_kinds, d) for d in range(p.days)]
    ahead = np.zeros(states, bool)
    ahead[0] = True
    start_from, arrive_from = [ahead], []
    for d in range(p.days):
        arrive = np.zeros(states, bool)
        for m in used[d][0]:
            arrive[sight_map[m][start_from[d]]] = True
        arrive_from.append(arrive)
        after = np.zeros(states, bool)
        for c in used[d][1]:
            after[cover_map[c][arrive]] = True
        start_from.append(after)
    alive = arrive_from[last] & (end_value < WIDE)
    columns: list[I32] = []
    arrivals: list[I32] = [np.flatnonzero(alive).astype(np.int32)]
    for d in range(last, -1, -1):
        back = np.zeros(states, bool)
        for m in used[d][0]:
            back |= alive[sight_map[m]]
        back &= start_from[d]
        columns.append(np.flatnonzero(back).astype(np.int32))
        if d:
            alive = np.zeros(states, bool)
            for c in used[d - 1][1]:
                alive |= back[cover_map[c]]
            alive &= arrive_from[d - 1]
            arrivals.append(np.flatnonzero(alive).astype(np.int32))
    return tuple(columns[::-1]), tuple(arrivals[::-1])


def _harmless(p: Problem) -> I64:
    """Return the levels from which no block can reach a limit whatever is chosen, served or not."""
    out = np.full((p.days + 1, len(p.cap)), -1, np.int64)
    if p.couple:
        return out
    ok = np.asarray(p.goal_cap, np.int64)
    out[p.days] = ok
    cap = np.asarray(p.cap, np.int64)
    for d in range(p.days - 1, -1, -1):
        for rows in (p.night_block[d], p.day_block[d]) if d < p.days - 1 else (p.day_block[d],):
            total, prefix, tail = (np.asarray(rows[:, i], np.int64) for i in range(3))
            if not len(total):
                continue
            fits = (tail <= np.minimum(ok, cap)).all(0)
            room = np.minimum(cap - np.maximum(prefix, total).max(0), ok - total.max(0))
            ok = np.where(fits & (room >= 0), np.minimum(room, cap), -1)
        out[d] = ok
    return out


def _harmless_counts(p: Problem) -> I64:
    """Return the counts that no choice of the days left can bring over their limit."""
    out = np.zeros((p.days + 1, len(p.count_cap)), np.int64)
    out[p.days] = p.count_cap
    arc = p.arc_count.max(0, initial=0).astype(np.int64) + p.one_night_count
    for d in range(p.days - 1, -1, -1):
        night = p.night_count[d].max(0, initial=0) if d < p.days - 1 else 0
        out[d] = np.maximum(out[d + 1] - arc - night, -1)
    return out


def make_tables(problem: Problem) -> Tables:
    """Lay a problem out.

    Raises
    ------
    ValueError
        The arrays break the contract.
    """
    p = problem = _tidy(problem)
    _check(p)
    states, end_value, digits = _progress(p)
    cover_class, cover_map, sight_class, sight_map = _maps(p, digits)
    days_kinds, day_kind = ranked(p.arc_days)
    many = max(len(days_kinds), 1)
    seen = np.unique(sight_class.astype(np.int64) * many + day_kind)
    columns, arrivals = _columns(p, end_value, cover_class, cover_map, (seen // many, days_kinds[seen % many]), sight_map)
    keys = np.stack([p.night_class, p.arrive_reset, p.leave_reset], 1).astype(np.int64)
    night_keys, like_night = np.unique(keys, axis=0, return_inverse=True)
    use, kind = ranked(p.arc_use.astype(np.int64) << 32 | p.arc_reset)
    pairs = np.unique(kind * many + day_kind)
    kinds = use[pairs // many]
    arc_kinds = (kinds >> 32, kinds & 0xFFFFFFFF, days_kinds[pairs % many])
    dearest = int(p.arc_cost.max(initial=0)) + int(p.night_cost.max(initial=0)) + int(p.one_night_cost)
    if (p.excess_weight > 0).any():
        spread = max(int(np.abs(p.day_block).max(initial=0)), int(np.abs(p.night_block).max(initial=0)))
        worst = np.asarray(p.excess_weight, np.int64) * (np.asarray(p.cap, np.int64) + spread)
        dearest += 4 * int(worst.sum())
    total = dearest * p.days + int(np.abs(p.value).sum())
    one_night = bool(p.one_night_cost or p.one_night_count.any())
    stay_limit = np.where(np.asarray(p.max_stay) >= p.days, 0, p.max_stay).astype(np.int32)
    kept = np.where(stay_limit > 0, stay_limit, 2 if one_night else 1).astype(np.int32)
    return Tables(
        problem=p,
        wide=total >= NARROW // 2,
        one_night=one_night,
        states=states,
        end_value=end_value if total >= NARROW // 2 else np.minimum(end_value, NARROW),
        cover_class=cover_class,
        cover_map=cover_map,
        sight_class=sight_class,
        sight_map=sight_map,
        digits=digits,
        columns=columns,
        arrivals=arrivals,
        like_night=like_night.reshape(-1).astype(np.int32),
        night_keys=night_keys.astype(np.int32),
        arc_kinds=arc_kinds,
        stay_limit=stay_limit,
        nights_kept=kept,
        harmless=_harmless(p),
        harmless_counts=_harmless_counts(p),
    )
