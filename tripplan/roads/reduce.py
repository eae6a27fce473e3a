"""A smaller graph with the same fastest ways: junctions again, except where a turn restriction is near.

A search state is an arc, because a van may not turn round and some turns are not allowed. Here all arcs that end at a
junction are merged into one node, *as if* turning round were allowed, except:

- states at a restricted turn and inside a restriction with via ways;
- states so near to a restricted turn that turning round there and coming back would beat the allowed way round it.

Between two nodes a fastest way in a graph of positive weights visits no node twice. Turning round at a merged junction
returns to the junction before it; if that is merged too, it has been visited twice. So the ban can bind at a merged
junction only on the way back to a restricted turn, which the second exception rules out by its cost, or at the very ends
of a way. Merging only adds ways, so its times are lower bounds; each way found is then tested for a forbidden turn, and
one that has none is the fastest. The few that have one are searched again on the states themselves (`hierarchy`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tripplan.region.columns import Access
from tripplan.roads.network import Arcs

__all__ = ["Merged", "merge_states"]

I32 = NDArray[np.int32]
I64 = NDArray[np.int64]
Mask = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Merged:
    """Nodes and edges.

    Parameters
    ----------
    node_of_state
        (states) node that each state is in, -1 where nothing goes on from it.
    own
        States that are nodes of their own, ascending.
    tail, head, state
        (edges) nodes left and reached, and the state that the edge stands for; parallel edges and loops left out.
    nodes
        Number of nodes: junctions first, by number among those that count, then those of ``own``.
    junction_node
        (junctions) node of each, -1 none.
    """

    node_of_state: I32
    own: I32
    tail: I32
    head: I32
    state: I32
    nodes: int
    junction_node: I32


def merge_states(arcs: Arcs, marked: Mask, *, u_turns: bool) -> Merged:
    """Merge states at junctions, except special ones and those marked."""
    closed = np.asarray(arcs.barred != Access.OPEN, np.bool_)
    arc_of = np.concatenate((np.arange(len(arcs.head), dtype=np.int32), arcs.extra_arc)).astype(np.int32)
    live_arc = arcs.transit & ~closed[arcs.head]
    own_mask = marked.copy()
    own_mask[arcs.special] = True
    own_mask[len(arcs.head) :] = True
    own_mask &= ~closed[arcs.head[arc_of]]
    own = np.flatnonzero(own_mask).astype(np.int32)

    counts = np.zeros(len(closed), bool)
    counts[arcs.tail[live_arc]] = counts[arcs.head[live_arc]] = True
    counts &= ~closed
    junction_node = np.full(len(closed), -1, np.int32)
    junction_node[counts] = np.arange(int(counts.sum()), dtype=np.int32)
    plain_nodes = int(counts.sum())
    node_of_state = junction_node[arcs.head[arc_of]]
    node_of_state[own] = plain_nodes + np.arange(len(own), dtype=np.int32)

    # Junctions: every live arc that leaves them. Own states: their list, or every road but back.
    plain = np.flatnonzero(live_arc & (junction_node[arcs.tail] >= 0)).astype(np.int64)
    tails, states = [junction_node[arcs.tail[plain]].astype(np.int64)], [plain]
    special_row = np.full(arcs.states, -1, np.int64)
    special_row[arcs.special] = np.arange(len(arcs.special))
    for listed in (True, False):
        some = own[(special_row[own] >= 0) == listed].astype(np.int64)
        if listed:
            low, high = arcs.next_ptr[special_row[some]], arcs.next_ptr[special_row[some] + 1]
        else:
            low, high = (arcs.out_ptr[arcs.head[arc_of[some]].astype(np.int64) + side] for side in (0, 1))
        number = high - low
        after = np.repeat(low - np.concatenate(([0], np.cumsum(number)))[:-1], number) + np.arange(int(number.sum()))
        before = np.repeat(some, number)
        if listed:
            after = arcs.next_state[after].astype(np.int64)
            keep = live_arc[arc_of[after]]
        else:
            keep = live_arc[after] & (u_turns | (after != arcs.reverse[arc_of[before]]))
        tails.append(node_of_state[before[keep]].astype(np.int64))
        states.append(after[keep])
    tail, state = np.concatenate(tails), np.concatenate(states)
    head = node_of_state[state].astype(np.int64)
    nodes = plain_nodes + len(own)
    keep = tail != head
    tail, state, head = tail[keep], state[keep], head[keep]
    order = np.lexsort((state, arcs.key[arc_of[state]], tail * nodes + head))
    tail, state, head = tail[order], state[order], head[order]
    first = np.ones(len(tail), bool)
    first[1:] = (np.diff(tail) != 0) | (np.diff(head) != 0)
    return Merged(
        node_of_state, own, tail[first].astype(np.int32), head[first].astype(np.int32), state[first].astype(np.int32), nodes,
        junction_node,
    )  # fmt: skip
