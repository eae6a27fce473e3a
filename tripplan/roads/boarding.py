"""Boarding is paid for once: what stays on board at a pier on the way waits no second time.

A boat that calls at a pier is two pieces of ferry with a road at the joint. Waiting and check-in belong to coming on board from
land, or from another line, not to each piece. Where pieces of one line meet at a quay, the network gets a second junction
there, the *deck*: boats of the line arrive at it, go on from it without a wait, and every other road of the quay leaves it
as it leaves the quay. All that the searches know of is junctions and arcs, so they stay exact.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tripplan.region.columns import Pieces, Ways

__all__ = ["Layout", "lay_out_decks", "same_line"]

I32 = NDArray[np.int32]
Mask = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Layout:
    """Arcs with those of the decks, sorted by junction left, piece and side.

    Parameters
    ----------
    piece, side, tail, head
        (arcs) as in `network.Arcs`; side 0 as drawn, 1 against. Decks are numbered after the junctions.
    boards
        (arcs) whether taking it means to come on board: waiting and check-in are due.
    deck
        (decks) junction of the quay.
    """

    piece: I32
    side: I32
    tail: I32
    head: I32
    boards: Mask
    deck: I32


def same_line(ways: Ways, one: int, other: int) -> bool:
    """Whether two ways with ferries are one line: one way of the map, or of the same ref or name."""
    return bool(
        one == other
        or ways.ref[one] == ways.ref[other] >= 0
        or ways.name[one] == ways.name[other] >= 0
    )  # fmt: skip


def lay_out_decks(pieces: Pieces, ways: Ways, piece: I32, side: I32, tail: I32, head: I32, *, ferry: Mask, shore: Mask) -> Layout:
    """Add decks to arcs that are sorted by junction left.

    Parameters
    ----------
    piece, side, tail, head
        (arcs) the arcs from junction to junction.
    ferry
        (arcs) whether each is a crossing. shore: (junctions) whether a road that may be used touches it.
    """
    boards = ferry & shore[tail]
    at_quay = np.flatnonzero(ferry & (shore[tail] | shore[head]))
    pieces_at: dict[int, set[int]] = {}
    for arc in at_quay.tolist():
        for junction in (int(tail[arc]), int(head[arc])):
            if shore[junction]:
                pieces_at.setdefault(junction, set()).add(int(piece[arc]))
    lines = [
        (junction, mine, line)
        for junction in sorted(pieces_at)
        for line in _lines(ways, pieces.way, sorted(pieces_at[junction]))
        for mine in line
        if len(line) > 1
    ]
    if not lines:
        return Layout(piece, side, tail, head, boards, np.empty(0, np.int32))
    first = len(shore)
    head = head.copy()
    rows: list[tuple[int, int, bool]] = []  # arc that is copied, deck that it leaves, whether one boards
    for number, (junction, mine, line) in enumerate(lines):
        head[(piece == mine) & (head == junction)] = first + number
        stays = np.isin(piece, line) & (piece != mine)  # who turns back comes on board anew
        rows += [(arc, first + number, bool(boards[arc] and not stays[arc])) for arc in np.flatnonzero(tail == junction).tolist()]
    copied = np.array([arc for arc, *_ in rows], np.int64)
    columns = [np.concatenate((c, c[copied])) for c in (piece, side, head)]
    tails = np.concatenate((tail, np.array([deck for _, deck, _ in rows], np.int32)))
    boards = np.concatenate((boards, np.array([due for *_, due in rows], bool)))
    # Copies were added deck by deck in the order of their arcs: sorted already.
    return Layout(columns[0], columns[1], tails, columns[2], boards, np.array([junction for junction, *_ in lines], np.int32))


def _lines(ways: Ways, way: I32, rows: Sequence[int]) -> list[list[int]]:
    """Sort pieces into lines."""
    lines: list[list[int]] = []
    for row in rows:
        mine = [line for line in lines if any(same_line(ways, int(way[row]), int(way[other])) for other in line)]
        lines = [line for line in lines if line not in mine] + [sorted([row, *(other for line in mine for other in line)])]
    return sorted(lines)
