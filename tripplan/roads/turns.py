"""Turn restrictions as states of the search: only restricted junctions are expanded.

A state is "on this arc, and this far into these restrictions". Every arc is a state of its own (its number); an arc that
is entered in the middle of a restriction with via ways gets a second state beyond the arcs. A state that may not
simply go on to every road at its end (a *special* one) lists where it may go.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tripplan.region.columns import Pieces, Turns

__all__ = ["TurnStates", "expand_turns"]

I32 = NDArray[np.int32]
I64 = NDArray[np.int64]
_Mark = frozenset[tuple[int, int]]


@dataclass(frozen=True, slots=True)
class TurnStates:
    """States beyond the plain one an arc.

    Parameters
    ----------
    extra_arc
        (extras) arc of each state beyond the arcs; state ``arcs + i`` is ``extra_arc[i]``.
    special
        States with a list of their own, ascending. next_ptr, next_state: where each may go on to.
    used
        Number of restrictions that bite in this network.
    """

    extra_arc: I32
    special: I32
    next_ptr: I64
    next_state: I32
    used: int


def expand_turns(
    turns: Turns,
    pieces: Pieces,
    *,
    arc_of: I32,
    tail: I32,
    head: I32,
    out_ptr: I64,
    reverse: I32,
    u_turns: bool,
    copies: Mapping[tuple[int, int], Sequence[int]] | None = None,
    rows: NDArray[np.intp] | None = None,
) -> TurnStates:
    """Turn restrictions into states.

    Parameters
    ----------
    arc_of
        (pieces, 2) arc of each piece forward and backward, -1 where there is none.
    tail, head, reverse
        (arcs) junction left and reached; arc of the same piece the other way, -1 where there is none.
    out_ptr
        Arcs that leave junction v are ``out_ptr[v]:out_ptr[v + 1]``.
    u_turns
        Whether a vehicle may turn round at a junction or dead end.
    copies
        Further arcs of (piece, side), which leave other junctions of the network (see `boarding`).
    rows
        The restrictions in force; ``None``: all.
    """
    copies = copies or {}
    rules: list[tuple[tuple[int, ...], bool]] = []
    for row in range(len(turns.osm_id)) if rows is None else rows.tolist():
        members = turns.pieces[turns.ptr[row] : turns.ptr[row + 1]].tolist()
        only = bool(turns.only[row])
        rules += [(path, only) for path in _paths(members, int(turns.via[row]), pieces, arc_of, copies, tail, head, only)]
    begins: dict[int, set[tuple[int, int]]] = {}
    for number, (path, _) in enumerate(rules):
        begins.setdefault(path[0], set()).add((number, 0))
    plain: dict[int, _Mark] = {arc: frozenset(marks) for arc, marks in begins.items()}
    none: _Mark = frozenset()

    arcs = len(head)
    extra: dict[tuple[int, _Mark], int] = {}
    extra_arc: list[int] = []
    lists: dict[int, list[int]] = {}
    todo = [(arc, arc, plain[arc]) for arc in sorted(plain)]
    while todo:
        state, arc, marks = todo.pop()
        banned: set[int] = set()
        forced: set[int] = set()
        for number, at in marks:
            path, only = rules[number]
            if at == len(path) - 2:
                (forced if only else banned).add(path[-1])
        onward = []
        for follower in range(int(out_ptr[head[arc]]), int(out_ptr[head[arc] + 1])):
            if follower in banned or any(follower != f for f in forced) or (not u_turns and follower == reverse[arc]):
                continue
            own = plain.get(follower, none)
            gained = {(r, at + 1) for r, at in marks if at < len(rules[r][0]) - 2 and rules[r][0][at + 1] == follower}
            if gained <= own:
                onward.append(follower)
                continue
            key = (follower, own | gained)
            if key not in extra:
                extra[key] = arcs + len(extra_arc)
                extra_arc.append(follower)
                todo.append((extra[key], *key))
            onward.append(extra[key])
        lists[state] = onward
    special = np.array(sorted(lists), np.int32)
    counts = [len(lists[state]) for state in special.tolist()]
    return TurnStates(
        np.array(extra_arc, np.int32), special, np.concatenate(([0], np.cumsum(counts))).astype(np.int64),
        np.array([n for state in special.tolist() for n in lists[state]], np.int32), len(rules),
    )  # fmt: skip


def _paths(
    members: list[int], via: int, pieces: Pieces, arc_of: I32, copies: Mapping[tuple[int, int], Sequence[int]], tail: I32, head: I32,
    only: bool,
) -> Iterator[tuple[int, ...]]:  # fmt: skip
    """Yield the arcs of a restriction in order of travel: one way as a rule, more where a piece is a loop or leaves a deck.

    Nothing where this network lacks an arc of it; but an ``only_*`` whose target is missing leaves nowhere to go (-1).
    """

    def arcs(piece: int, backward: int) -> list[int]:
        own = int(arc_of[piece, backward])
        return [own, *copies.get((piece, backward), ())] if own >= 0 else []

    ends = [(int(pieces.a[p]), int(pieces.b[p])) for p in members]
    stack: list[tuple[int, ...]] = [
        (arc,) for backward in (0, 1) if ends[0][1 - backward] == via for arc in arcs(members[0], backward)
    ]
    while stack:
        path = stack.pop()
        if len(path) == len(members):
            yield path
            continue
        onward = [arc for backward in (0, 1) for arc in arcs(members[len(path)], backward) if tail[arc] == head[path[-1]]]
        stack += [(*path, arc) for arc in onward]
        if not onward and only and len(path) == len(members) - 1:
            yield (*path, -1)
