"""Gates that are closed by date, and what nobody could read at a point of the road: told of the roads that meet there.

Closures by date are kept for ways. A gate's own closure therefore closes every way that it stands on, over the whole way: who is
turned back at a gate in winter has no use for the road up to it.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from tripplan.osm.raw import RawNode
from tripplan.region.columns import Access, Junctions, Pieces, Ways
from tripplan.region.judge import name_faults
from tripplan.region.strings import StringTable
from tripplan.rules.access import closed_when
from tripplan.rules.unread import cautions, unread_conditions, unread_limits

__all__ = ["with_gates"]


def with_gates(
    nodes: Sequence[RawNode], ways: Ways, pieces: Pieces, junctions: Junctions, strings: StringTable, faults: Counter[str]
) -> tuple[Ways, Junctions]:
    """Return the ways with the closures by date and the cautions of points on them.

    A way that is closed by date already keeps its own dates beside the point's. Where the two cannot be said in one text (a gate
    that is shut but for some dates on a road with dates of its own) the point is closed to the van at all times.
    """
    when, caution, blocks = ways.closed_when.copy(), ways.caution.copy(), junctions.blocks_tow.copy()
    unread: Counter[str] = Counter()
    for node in nodes:
        closure, asked = closed_when(node.tags), cautions(node.tags)
        at = int(np.searchsorted(junctions.osm_id, node.osm_id))
        if not (closure or asked) or at == len(junctions.osm_id) or junctions.osm_id[at] != node.osm_id:
            continue
        unread.update((*unread_conditions(node.tags), *unread_limits(node.tags)))
        for way in np.unique(pieces.way[(pieces.a == at) | (pieces.b == at)]).tolist():
            if asked:
                before = strings.text(int(caution[way]))
                caution[way] = strings.number("\n".join([*([before] if before else []), *asked]))
            own = strings.text(int(when[way]))
            if closure and own and not closure.startswith("no @"):
                blocks[at] = Access.CLOSED
            elif closure:
                when[way] = strings.number("; ".join([own, closure] if own else [closure]))
    name_faults(faults, unread)
    return replace(ways, closed_when=when, caution=caution), replace(junctions, blocks_tow=blocks)
