"""Why there is no way from one spot to another though both are on the network: the turns that stand between them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from tripplan.region.region import Region
from tripplan.roads.closures import ClosureSet
from tripplan.roads.diagnose import metres
from tripplan.roads.engines import Setting, pick_engine
from tripplan.roads.join import Joined
from tripplan.roads.joints import Ends
from tripplan.roads.network import Arcs, Network, turns_in_force
from tripplan.roads.route import parts_of_row
from tripplan.roads.terms import Terms

__all__ = ["broken_turns", "why_apart"]

Move = tuple[int, bool, float]  # piece, driven as drawn, metres driven


def why_apart(joined: Joined, i: int, j: int) -> str:
    """Say why there is no way from spot i to spot j, in numbers; "" where there is one.

    A spot that is not joined at all has its own reason in ``joined.why_not``. Else the way is searched without turn
    restrictions, and then with turning round on the road as well: what the way found breaks is what stands between.
    """
    for spot in (i, j):
        if joined.why_not[spot]:
            return joined.why_not[spot]
    try:
        joined.route(i, j)
    except LookupError:
        pass
    else:
        return ""
    network = joined.network
    moves = _search(joined, i, j, turning_round=False)
    if moves is not None:
        broken = _broken(network.region, network.terms, network.closures, moves)
        if broken:
            said = ", ".join(f"relation {number} after {metres(after)}" for number, after in broken[:3])
            more = f" and {len(broken) - 3} more" if len(broken) > 3 else ""
            return (
                f"every way breaks a turn restriction; the shortest, of {metres(sum(m[2] for m in moves))}, breaks {said}{more}"
            )
    moves = _search(joined, i, j, turning_round=True)
    if moves is None:
        return "no way along the one-way roads"
    travelled = np.cumsum([move[2] for move in moves])
    back = [
        float(travelled[k]) for k in range(len(moves) - 1) if moves[k][0] == moves[k + 1][0] and moves[k][1] != moves[k + 1][1]
    ]
    total = metres(float(travelled[-1]))
    if back:
        return f"only by turning round on the road: the shortest way, of {total}, does so after {metres(back[0])}"
    return f"no way that keeps every turn restriction and turns round nowhere; without them it is {total}"


def _search(joined: Joined, i: int, j: int, *, turning_round: bool) -> list[Move] | None:
    """Return the fastest way without turn restrictions; ``None`` where there is none."""
    network = _free(joined.network, turning_round=turning_round)
    arcs = joined.network.arcs
    joints = replace(joined.joints, sources=_plain(joined.joints.sources, arcs))
    wanted = np.zeros(len(joined.spots), bool)
    wanted[j] = True
    row = pick_engine(Setting(network, joints)).row(i, wanted)
    try:
        parts = parts_of_row(network, joints, row, i, j)
    except LookupError:
        return None
    return [(piece, forward, end - start) for piece, forward, start, end, _ in parts]


def _free(network: Network, *, turning_round: bool) -> Network:
    """Return a copy of a network without turn restrictions."""
    none = np.empty(0, np.int32)
    arcs = replace(network.arcs, extra_arc=none, special=none, next_ptr=np.zeros(1, np.int64), next_state=none)
    if turning_round:
        arcs = replace(arcs, reverse=np.full(len(arcs.reverse), -1, np.int32))
    free = Network(network.region, network.terms, network.closures, f"{network.key}-free", None)
    free.__dict__["arcs"] = arcs
    return free


def _plain(sources: Ends, arcs: Arcs) -> Ends:
    """Return the ways out of the spots with plain states, sorted by spot and state."""
    state = np.array([arcs.arc_of_state(s) for s in sources.state.tolist()], np.int32)
    if (state == sources.state).all():
        return sources
    order = np.lexsort((sources.ms, state, sources.spot)).tolist()
    kept = [
        n
        for k, n in enumerate(order)
        if k == 0 or (sources.spot[n], state[n]) != (sources.spot[order[k - 1]], state[order[k - 1]])
    ]
    rows = [np.arange(sources.ptr[n], sources.ptr[n + 1]) for n in kept]
    take = np.concatenate(rows)
    return Ends(
        sources.spot[kept], state[kept], sources.ms[kept], sources.dm[kept], sources.unknown_m[kept],
        np.concatenate(([0], np.cumsum([len(row) for row in rows]))).astype(np.int64), sources.part_piece[take],
        sources.part_forward[take], sources.part_from_m[take], sources.part_to_m[take], sources.part_ms[take],
    )  # fmt: skip


def broken_turns(region: Region, terms: Terms, closures: ClosureSet, moves: list[Move]) -> list[tuple[int, int, int]]:
    """Return what turn restrictions a way breaks: (move that the turn begins with, row of the restriction, its members)."""
    turns, pieces = region.turns, region.pieces
    by_first: dict[int, list[int]] = {}
    for row in turns_in_force(region, terms, closures).tolist():
        by_first.setdefault(int(turns.pieces[turns.ptr[row]]), []).append(row)
    path = [move[0] for move in moves]
    found: list[tuple[int, int, int]] = []
    for k, (piece, forward, _) in enumerate(moves):
        end = int(pieces.b[piece] if forward else pieces.a[piece])
        for row in by_first.get(piece, ()):
            members = turns.pieces[turns.ptr[row] : turns.ptr[row + 1]].tolist()
            ahead = path[k : k + len(members)]
            if int(turns.via[row]) != end or len(ahead) < len(members) or ahead[:-1] != members[:-1]:
                continue
            if (ahead[-1] != members[-1]) == bool(turns.only[row]):
                found.append((k, row, len(members)))
    return found


def _broken(region: Region, terms: Terms, closures: ClosureSet, moves: list[Move]) -> list[tuple[int, float]]:
    """Return the relations of the turn restrictions that a way breaks, and after how many metres."""
    travelled = np.cumsum([move[2] for move in moves])
    found: dict[int, float] = {}
    for k, row, _ in broken_turns(region, terms, closures, moves):
        found.setdefault(int(region.turns.osm_id[row]), float(travelled[k]))
    return list(found.items())
