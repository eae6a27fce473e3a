"""The directed network of one outfit on its terms, under one set of closures."""

from __future__ import annotations

from dataclasses import dataclass, fields
from functools import cached_property
from math import nan
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from tripplan.model.errors import BadInputError
from tripplan.model.progress import Progress
from tripplan.region.columns import HOLDS_CAR, HOLDS_TOW, Access
from tripplan.region.region import Region
from tripplan.roads.boarding import Layout, lay_out_decks
from tripplan.roads.closures import NO_CLOSURES, ClosureSet
from tripplan.roads.speeds import piece_times
from tripplan.roads.store import code_key, digest, load_arrays, save_arrays
from tripplan.roads.terms import Terms
from tripplan.roads.tolls import toll_booths
from tripplan.roads.turns import TurnStates, expand_turns
from tripplan.roads.verdict import Verdict, judge
from tripplan.rules.limits import point_fit_codes

if TYPE_CHECKING:
    from tripplan.roads.hierarchy import Hierarchy

__all__ = ["KEY_SHIFT", "Arcs", "Network", "Say", "derive", "open_network"]

Say = Progress | None
I32 = NDArray[np.int32]
I64 = NDArray[np.int64]
U8 = NDArray[np.uint8]
Mask = NDArray[np.bool_]

#: A search key is ``(time [ms] << KEY_SHIFT) + length [dm]``: time first, then length. Up to 74 h and 3,300 km it is also
#: exact as a 64-bit float, which the reference engine needs.
KEY_SHIFT = 25

#: Road that a component needs to count as a network of its own [m].
_LEAST_NETWORK_M = 5000.0


@dataclass(frozen=True, slots=True)
class Arcs:
    """The network as columns; an arc is a piece of road in one direction, sorted by the junction that it leaves.

    Parameters
    ----------
    out_ptr
        (junctions + 1) arcs that leave junction v are ``out_ptr[v]:out_ptr[v + 1]``.
    tail, head, piece, forward
        (arcs) junction left and reached, piece and whether it is driven as drawn.
    ms, ferry_ms
        (arcs) time [ms], waits before boarding included, and the part of it at sea or on the quay.
    key
        (arcs) search key of the whole arc, see `KEY_SHIFT`.
    ruling
        (arcs) position in ``list(Ruling)``.
    transit
        (arcs) whether it may be used anywhere on the way; the others only at the ends.
    reverse
        (arcs) arc of the same piece the other way, -1 none.
    arc_of
        (pieces, 2) arc forward and backward from its junction on the map, -1 none.
    verdict, surface
        (pieces) see `verdict.Judged`.
    barred
        (junctions) `Access` of what stands there.
    component
        (junctions) 0 for the largest strongly connected network, 1, 2 ... for further ones of some size, -1 elsewhere.
    deck
        Quay of each deck (see `boarding`). Decks are junctions of the network that are not on the map, numbered after those
        that are; arcs that leave them come last and repeat those of the quay.
    extra_arc, special, next_ptr, next_state
        See `turns.TurnStates`.
    """

    out_ptr: I64
    tail: I32
    head: I32
    piece: I32
    forward: Mask
    ms: I64
    ferry_ms: I64
    key: I64
    ruling: U8
    transit: Mask
    reverse: I32
    arc_of: I32
    verdict: U8
    surface: U8
    barred: U8
    component: I32
    deck: I32
    extra_arc: I32
    special: I32
    next_ptr: I64
    next_state: I32

    @property
    def states(self) -> int:
        """Number of search states: arcs and extra ones."""
        return len(self.head) + len(self.extra_arc)

    @property
    def on_map(self) -> int:
        """Number of junctions that are on the map; decks are numbered from there."""
        return len(self.out_ptr) - 1 - len(self.deck)

    def place_of(self, junctions: I64 | I32) -> I64:
        """Return the junctions on the map, for decks those of their quays."""
        every = np.concatenate((np.arange(self.on_map), self.deck)).astype(np.int64)
        return np.asarray(every[junctions], np.int64)

    def arcs_along(self, piece: int, side: int) -> list[int]:
        """Return the arcs of a piece in one direction: more than one where it may be entered from a deck."""
        own = int(self.arc_of[piece, side])
        if own < 0:
            return []
        first = int(self.out_ptr[self.on_map])
        more = np.flatnonzero((self.piece[first:] == piece) & (self.forward[first:] == (side == 0)))
        return [own, *(first + more).tolist()]

    def arc_of_state(self, state: int) -> int:
        """Return the arc that a state is on."""
        arcs = len(self.head)
        return state if state < arcs else int(self.extra_arc[state - arcs])

    def next_states(self, state: int, *, u_turns: bool) -> list[int]:
        """Return the states that may follow, over transit arcs and others; barriers are the caller's."""
        at = int(np.searchsorted(self.special, state))
        if at < len(self.special) and self.special[at] == state:
            listed: list[int] = self.next_state[self.next_ptr[at] : self.next_ptr[at + 1]].tolist()
            return listed
        back = -1 if u_turns else int(self.reverse[state])
        v = self.head[state]
        return [arc for arc in range(int(self.out_ptr[v]), int(self.out_ptr[v + 1])) if arc != back]


@dataclass(frozen=True)
class Network:
    """A network that is worked out, or read from its file, when first needed."""

    region: Region
    terms: Terms
    closures: ClosureSet
    key: str
    cache: Path | None
    progress: Say = None

    @cached_property
    def arcs(self) -> Arcs:
        """The columns."""
        path = self.file("network", self.key)
        stored = load_arrays(path, tuple(f.name for f in fields(Arcs)))
        if stored is not None:
            return Arcs(**stored)
        if self.progress:
            self.progress(f"Working out the roads for {self.terms.outfit.name}", nan)
        arcs = derive(self.region, self.terms, self.closures)
        save_arrays(path, {f.name: getattr(arcs, f.name) for f in fields(Arcs)})
        return arcs

    @cached_property
    def hierarchy(self) -> Hierarchy:
        """The network prepared for many searches; needs numba when it is made."""
        from tripplan.roads.hierarchy import open_hierarchy

        return open_hierarchy(self, progress=self.progress)

    @cached_property
    def no_turn(self) -> I32:
        """(arcs) the arc that may not follow each because that would be turning round, -2 none."""
        reverse = self.arcs.reverse
        return np.where((reverse < 0) | self.u_turns, np.int32(-2), reverse).astype(np.int32)

    @property
    def u_turns(self) -> bool:
        """Whether the outfit may turn round on the road: the car alone may, the van only at a stop."""
        return not self.terms.van

    def file(self, kind: str, key: str) -> Path | None:
        """Return where a prepared file of this kind would be; ``None`` without a cache."""
        return self.cache / f"{kind}-{key}.npz" if self.cache else None


def open_network(
    region: Region,
    terms: Terms,
    closures: ClosureSet | None = None,
    *,
    cache: Path | None = None,
    progress: Say = None,
) -> Network:
    """Open the network of one outfit.

    Parameters
    ----------
    closures
        One of `closures.closure_sets`; ``None``: nothing closed by date.
    cache
        Folder for prepared files; ``None``: nothing is kept.

    Raises
    ------
    BadInputError
        When the region has no roads at all.
    """
    if not len(region.pieces.way):
        raise BadInputError("the region has no roads", where=region.meta.name, next_step="build it from a file with roads")
    closures = closures or NO_CLOSURES
    key = digest(
        region.meta.key, code_key(), terms.fingerprint(), closures.closed, closures.turns_off, *closures.brought(van=terms.van)
    )
    return Network(region, terms, closures, key, cache, progress)


def derive(region: Region, terms: Terms, closures: ClosureSet) -> Arcs:
    """Work out the network from the region."""
    pieces, ways, n = region.pieces, region.ways, len(region.junctions.osm_id)
    judged = judge(region, terms, closures)
    times = piece_times(region, terms, judged.ferry)
    usable = judged.verdict <= Verdict.LAST_MILE
    oneway = ways.oneway[pieces.way]

    go = [usable & (oneway >= 0), usable & (oneway <= 0)]
    if not terms.every_road:
        for direction in (0, 1):
            go[direction][np.asarray(closures.against(direction), np.int64)] = False
    rows = [np.flatnonzero(go[0]), np.flatnonzero(go[1])]
    piece = np.concatenate(rows).astype(np.int32)
    side = np.repeat(np.array([0, 1], np.int32), [len(rows[0]), len(rows[1])])
    tail = np.where(side == 0, pieces.a[piece], pieces.b[piece]).astype(np.int32)
    order = np.lexsort((side, piece, tail))
    piece, side, tail = piece[order], side[order], tail[order]
    head = np.where(side == 0, pieces.b[piece], pieces.a[piece]).astype(np.int32)
    arc_of = np.full((len(pieces.way), 2), -1, np.int32)
    arc_of[piece, side] = np.arange(len(piece), dtype=np.int32)

    # Boarding is where a crossing leaves the shore; junctions at sea cost no second wait, nor does a pier on the way.
    shore = np.zeros(n, bool)
    on_land = usable & ~judged.ferry
    shore[pieces.a[on_land]] = shore[pieces.b[on_land]] = True
    arcs = lay_out_decks(pieces, ways, piece, side, tail, head, ferry=judged.ferry[piece], shore=shore)
    piece, side, tail, head, decks = arcs.piece, arcs.side, arcs.tail, arcs.head, len(arcs.deck)
    out_ptr = np.concatenate(([0], np.cumsum(np.bincount(tail, minlength=n + decks)))).astype(np.int64)
    reverse = _reverse(arcs, arc_of, n)
    ferry = judged.ferry[piece]
    ms = times.ms[piece, side] + np.where(arcs.boards, times.wait_ms[piece], 0)
    key = (ms << KEY_SHIFT) + np.rint(pieces.length_m[piece] * 10).astype(np.int64)

    barred = region.junctions.blocks_tow if terms.van and not terms.every_road else region.junctions.blocks_car
    if terms.every_road:
        barred = np.where(barred == Access.CLOSED, barred, np.uint8(Access.OPEN))
    else:
        shut = point_fit_codes(region.junctions, terms.outfit) > 0
        if not terms.tolls:
            shut |= toll_booths(region)
        barred = np.where(shut, np.uint8(Access.CLOSED), barred)
    barred = np.concatenate((barred, barred[arcs.deck]))
    transit = judged.verdict[piece] == Verdict.ROAD
    states: TurnStates = expand_turns(
        region.turns,
        pieces,
        arc_of=arc_of,
        copies=_copies(arcs, n),
        tail=tail,
        head=head,
        out_ptr=out_ptr,
        reverse=reverse,
        u_turns=not terms.van,
        rows=turns_in_force(region, terms, closures),
    )
    through = transit & (barred[tail] == Access.OPEN) & (barred[head] == Access.OPEN)
    # Who arrives at a deck is at the quay.
    deck = n + np.arange(decks, dtype=np.int32)
    component = _components(
        n + decks, np.concatenate((tail[through], deck)), np.concatenate((head[through], arcs.deck)),
        np.concatenate((pieces.length_m[piece[through]] * (tail[through] < n), np.zeros(decks))),
    )  # fmt: skip
    return Arcs(
        out_ptr=out_ptr, tail=tail, head=head, piece=piece, forward=side == 0, ms=ms, ferry_ms=np.where(ferry, ms, 0), key=key,
        ruling=times.ruling[piece, side], transit=transit, reverse=reverse, arc_of=arc_of, verdict=judged.verdict,
        surface=judged.surface, barred=np.ascontiguousarray(barred, np.uint8), component=component, deck=arcs.deck,
        extra_arc=states.extra_arc, special=states.special, next_ptr=states.next_ptr, next_state=states.next_state,
    )  # fmt: skip


def _copies(arcs: Layout, n: int) -> dict[tuple[int, int], list[int]]:
    """Return the arcs that leave decks, by piece and side."""
    copies: dict[tuple[int, int], list[int]] = {}
    for arc in np.flatnonzero(arcs.tail >= n).tolist():
        copies.setdefault((int(arcs.piece[arc]), int(arcs.side[arc])), []).append(arc)
    return copies


def _reverse(arcs: Layout, arc_of: I32, n: int) -> I32:
    """Return the arc of the same piece the other way that leaves where each arrives, -1 none."""
    reverse = arc_of[arcs.piece, 1 - arcs.side]
    copies = _copies(arcs, n)
    for arc in np.flatnonzero(arcs.head >= n).tolist():
        back = copies.get((int(arcs.piece[arc]), 1 - int(arcs.side[arc])), [])
        reverse[arc] = next((one for one in back if arcs.tail[one] == arcs.head[arc]), -1)
    return np.asarray(reverse, np.int32)


def turns_in_force(region: Region, terms: Terms, closures: ClosureSet) -> NDArray[np.intp]:
    """Return the rows of the turn restrictions that hold for this outfit on these days."""
    turns = region.turns
    holds = (turns.holds_for & (HOLDS_TOW if terms.van else HOLDS_CAR)) != 0
    holds[np.asarray(closures.turns_off, np.int64)] = False
    if (turns.when >= 0).any():
        from tripplan.rules.turns import spares

        texts = {int(n): spares(region.string(int(n)), terms.outfit) for n in np.unique(turns.when[turns.when >= 0])}
        holds[[row for row in np.flatnonzero(turns.when >= 0).tolist() if texts[int(turns.when[row])]]] = False
    return np.flatnonzero(holds)


def _components(n: int, tail: I32, head: I32, length_m: NDArray[np.float64]) -> I32:
    """Number the strongly connected components with enough road by their length, largest first; -1 for all others."""
    from scipy.sparse import csr_array
    from scipy.sparse.csgraph import connected_components

    out = np.full(n, -1, np.int32)
    if not len(tail):
        return out
    graph: Any = csr_array((np.ones(len(tail), np.int8), (tail, head)), shape=(n, n))
    count, label = connected_components(graph, directed=True, connection="strong")
    inside = label[tail] == label[head]
    road = np.bincount(label[tail[inside]], weights=length_m[inside], minlength=count)
    order = np.argsort(-road, kind="stable")
    rank = np.full(count, -1, np.int32)
    keep = [
        label_ for i, label_ in enumerate(order.tolist()) if road[label_] > 0 and (i == 0 or road[label_] >= _LEAST_NETWORK_M)
    ]
    rank[keep] = np.arange(len(keep), dtype=np.int32)
    out[:] = rank[label]
    return out
