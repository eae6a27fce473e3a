"""Turn restrictions that a recorded track broke, and which of them noise may explain."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tripplan.region.region import Region
from tripplan.roads.apart import broken_turns
from tripplan.roads.match_chains import Chain
from tripplan.roads.network import Network

__all__ = ["BrokenTurn", "turns_broken"]

#: Points so many times the noise, and at least so far, from a junction are on their own road [m]; so many on either side.
_NOISES, _LEAST_M, _POINTS = 4.0, 25.0, 2
#: Who turns round comes back on the same road, which takes more to tell.
_ROUND_NOISES = 8.0


@dataclass(frozen=True, slots=True)
class BrokenTurn:
    """A restriction that a chain breaks.

    Parameters
    ----------
    relation
        Its identity on the map. at_m: where the turn begins, along the chain [m]. row: row of the piece turned from.
    clear
        Whether points on both roads, well away from the junction, show the turn, and it holds at all times.
    why
        In words.
    """

    relation: int
    at_m: float
    row: int
    clear: bool
    why: str


def turns_broken(region: Region, tow: Network, chain: Chain, noise_m: float) -> list[BrokenTurn]:
    """Return the turn restrictions in force that a chain breaks; what lies in a hole of the record breaks none.

    A turn is clear when the track has points on the way before it and on the way after it, further from the junctions than the
    noise explains, on the very roads of the restriction. A restriction that holds at certain times is never
    clear: it is listed to be looked up.
    """
    length = chain.to_m - chain.from_m
    ends = np.concatenate(([0.0], np.cumsum(length)))
    moves = list(zip(chain.piece.tolist(), chain.forward.tolist(), length.tolist(), strict=True))
    out = []
    for row, turn, size in broken_turns(region, tow.terms, tow.closures, moves):
        begin, end = float(ends[row + 1]), float(ends[row + size - 1])
        before, after = float(ends[row]), float(ends[min(row + size, len(length))])
        if any(low < begin and end < high for low, high in chain.hole_m.tolist()):
            continue
        at = chain.point_m
        spare = max((_ROUND_NOISES if region.turns.u_turn[turn] else _NOISES) * noise_m, _LEAST_M)
        came = ((at > before) & (at < begin - spare)).sum() >= _POINTS
        went = ((at > end + spare) & (at < after)).sum() >= _POINTS
        number = int(region.turns.osm_id[turn])
        what = "does not turn as it must" if region.turns.only[turn] else "turns as it must not"
        if region.turns.u_turn[turn] and not region.turns.only[turn]:
            what = "turns round where it must not"
        why = f"{what} (turn restriction, relation {number})"
        when = region.string(int(region.turns.when[turn]))
        if when:
            why += f", which holds at times only: {when}"
        elif not (came and went):
            why += "; the noise of the record may explain it"
        out.append(BrokenTurn(number, begin, row, bool(came and went and not when), why))
    return out
