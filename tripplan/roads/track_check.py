"""Whether a recorded track keeps to roads that the outfit may use, and to its limits.

The track is matched to every road of the map; then each piece is judged as `check` judges the way between way-points, and
speeds where the track has times. What cannot be told is listed as such: it is no proof of anything.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from tripplan.model.plan import PieceRun
from tripplan.model.track import Track
from tripplan.region.geometry import piece_ends_m, piece_line, segment_lengths_m
from tripplan.region.region import Region
from tripplan.roads.check import Places, Stretch, Toll, stretches_along, tolls_along
from tripplan.roads.closures import ClosureSet
from tripplan.roads.match import Chain, Match, Model, match
from tripplan.roads.match_against import Against, add_against, parts_against
from tripplan.roads.match_graph import open_graph
from tripplan.roads.match_twins import Beside, beside_twins
from tripplan.roads.network import Network, Say, open_network
from tripplan.roads.over_limit import TooFast, too_fast
from tripplan.roads.terms import Terms
from tripplan.roads.track_turns import BrokenTurn, turns_broken

__all__ = ["OverLimit", "TrackCheck", "check_track"]

#: Less than this off the roads is a lay-by, a forecourt, a drive [m].
_LEAST_OFF_M = 60.0


@dataclass(frozen=True, slots=True)
class OverLimit:
    """How much of a track was faster than the outfit may be, beyond what noise explains.

    Parameters
    ----------
    stretches
        How many. length_m, seconds: their sums [m, s].
    most_kmh
        The most over the limit for a quarter of a minute or more [km/h]; 0 where nothing was. at_m: where that stretch begins,
        along the whole track [m].
    """

    stretches: int = 0
    length_m: float = 0.0
    seconds: float = 0.0
    most_kmh: float = 0.0
    at_m: float = 0.0


@dataclass(frozen=True, slots=True)
class TrackCheck:
    """What came out.

    Parameters
    ----------
    track
        What was checked. match: the roads found.
    start_m
        Where each chain of `match` begins, along the whole track [m].
    stretches
        What asks for attention, in order of travel; ``leg`` is the number of the chain. Besides the kinds of `Stretch`:
        ``too fast`` (forbidden), ``which carriageway`` (points nearer to the one that leads the other way, which noise may
        explain), ``against the one-way`` and ``turn`` (forbidden where noise cannot explain them), ``not seen`` (what
        a road in a hole of the record would be: nobody knows that it was taken), and ``off the map`` (no road of the map there,
        or none that joins).
    length_m
        Length of the whole, what is off the roads in straight steps [m]. told_m: of that, on roads.
    timed
        Whether speeds could be judged: there are times, and they go on.
    over_limit
        What was driven over the limit, summed.
    tolls
        Tolls of the roads found.
    twins_untold_m
        Length along two one-way carriageways so near each other that the points do not tell which was driven [m]: the one in the
        direction of travel is taken.
    """

    track: Track
    match: Match
    start_m: tuple[float, ...]
    stretches: tuple[Stretch, ...]
    length_m: float
    told_m: float
    timed: bool
    over_limit: OverLimit = OverLimit()
    tolls: tuple[Toll, ...] = ()
    twins_untold_m: float = 0.0

    @property
    def forbidden(self) -> bool:
        """Whether something was found that the outfit must not do."""
        return any(s.forbidden for s in self.stretches)

    @property
    def runs(self) -> tuple[PieceRun, ...]:
        """Roads of each chain."""
        return tuple(chain.runs() for chain in self.match.chains)


def check_track(
    region: Region,
    track: Track,
    terms_tow: Terms,
    closures: ClosureSet | None = None,
    *,
    model: Model | None = None,
    cache: Path | None = None,
    progress: Say = None,
    engine: str = "auto",
) -> TrackCheck:
    """Check a recorded track.

    Parameters
    ----------
    terms_tow
        What the outfit may use.
    closures
        Closures by date in force; ``None``: none.
    model, engine
        See `match.match`.

    Raises
    ------
    BadInputError
        When the track has one point, does not move, or keeps away from every road of the region.
    """
    if progress:
        progress(f"Matching {len(track.lon):,} points to the roads", 0.0)
    graph = open_graph(region, cache=cache)
    found = match(region, track, model, graph=graph, engine=engine)
    found = add_against(region, found, graph, model, cache=cache, engine=engine)
    if progress:
        progress("Judging the roads", 0.8)
    tow = open_network(region, terms_tow, closures, cache=cache, progress=None)
    starts, off, whole = _along(found)
    places = Places(region)
    runs = [chain.runs() for chain in found.chains]
    stretches = _on_roads(region, tow, found.chains, runs, starts)
    fast: list[tuple[float, TooFast]] = []
    tolls: list[Toll] = []
    untold = 0.0
    for number, chain in enumerate(found.chains):
        tolls += _tolls(region, chain, runs[number], starts[number])
        for part in too_fast(region, terms_tow, chain, found):
            fast.append((starts[number] + part.from_m, part))
            stretches.append(_fast(region, chain, number, starts[number], part, places))
        for wrong in parts_against(region, chain, found.noise_m):
            stretches.append(_against(region, chain, number, starts[number], wrong, places))
        twins = beside_twins(region, found, chain, graph)
        untold += twins.untold_m
        stretches += [_beside(region, chain, number, starts[number], part, places) for part in twins.beside]
        for turn in turns_broken(region, tow, chain, found.noise_m):
            stretches.append(_turn(region, chain, number, starts[number], turn, places))
    stretches += [_off(found, places, *part) for part in off]
    stretches.sort(key=lambda s: (s.from_m, s.kind))
    timed = bool((np.diff(found.time_s[np.isfinite(found.time_s)]) > 0).any())
    told = sum(chain.length_m for chain in found.chains)
    return TrackCheck(track, found, tuple(starts), tuple(stretches), whole, told, timed, _over_limit(fast), tuple(tolls), untold)


def _over_limit(fast: Sequence[tuple[float, TooFast]]) -> OverLimit:
    """Sum what was driven too fast."""
    if not fast:
        return OverLimit()
    at, worst = max(fast, key=lambda one: (one[1].over_kmh, -one[0]))
    metres, seconds = sum(part.to_m - part.from_m for _, part in fast), sum(part.seconds for _, part in fast)
    return OverLimit(len(fast), metres, seconds, worst.over_kmh, at)


def _tolls(region: Region, chain: Chain, runs: PieceRun, start_m: float) -> list[Toll]:
    """Return the tolls of a chain without those that lie in a hole of the record: nobody knows that they were paid."""
    out = []
    for toll in tolls_along(region, runs, start_m):
        begin = toll.from_m - start_m
        if not any(low <= begin and begin + toll.length_m <= high for low, high in chain.hole_m.tolist()):
            out.append(toll)
    return out


def _along(found: Match) -> tuple[list[float], list[tuple[float, float, int, str]], float]:
    """Return where each chain begins along the track, the parts between them (from, length, point, why), and the whole length [m]."""
    step = segment_lengths_m(found.lon, found.lat)
    starts: list[float] = []
    off: list[tuple[float, float, int, str]] = []
    gone, last = 0.0, 0
    for chain in found.chains:
        first = int(chain.point[0])
        between = float(step[last:first].sum())
        if between > 0:
            off.append((gone, between, (last + first) // 2, _why_off(found, last, first, bool(starts))))
        gone += between
        starts.append(gone)
        gone += chain.length_m
        last = int(chain.point[-1])
    rest = float(step[last:].sum())
    if rest > 0:
        off.append((gone, rest, (last + len(step)) // 2, _why_off(found, last, len(step), False)))
    return starts, [part for part in off if part[1] >= _LEAST_OFF_M], gone + rest


def _why_off(found: Match, first: int, last: int, between: bool) -> str:
    if found.fresh[first + 1 : last + 1].any():
        return "the record stops here and goes on further on"
    inner = ~found.on_road[first + 1 : last]
    if not between or inner.any():
        return "no road of the map runs here"
    return "no road of the map joins the roads before and after"


def _on_roads(
    region: Region, tow: Network, chains: Sequence[Chain], runs: Sequence[PieceRun], starts: Sequence[float]
) -> list[Stretch]:
    """Judge the pieces, and take back what lies in a hole of the record."""
    out = []
    own = np.concatenate(([0.0], np.cumsum([chain.length_m for chain in chains])))
    for stretch in stretches_along(region, tow, runs):
        chain = chains[stretch.leg]
        begin = stretch.from_m - float(own[stretch.leg])
        middle = begin + stretch.length_m / 2
        hole = next((h for h in chain.hole_m.tolist() if h[0] < middle < h[1]), None)
        moved = replace(stretch, from_m=starts[stretch.leg] + begin)
        if hole and stretch.forbidden:
            why = f"nothing is recorded over {(hole[1] - hole[0]) / 1000:.1f} km, and the shortest road there would be"
            moved = replace(moved, kind="not seen", forbidden=False, why=(why, *stretch.why))
        out.append(moved)
    return out


def _against(region: Region, chain: Chain, number: int, start_m: float, part: Against, places: Places) -> Stretch:
    why = "driven against the one-way direction"
    if not part.clear:
        why += "; so short that the noise of the record may explain it"
    middle = part.from_m + part.length_m / 2
    return _named(
        region, chain, number, start_m, part.from_m, part.length_m, middle, places, "against the one-way", why, part.clear
    )


def _beside(region: Region, chain: Chain, number: int, start_m: float, part: Beside, places: Places) -> Stretch:
    """Return a part on the twin carriageway, named after the twin."""
    seen = f"{part.points} points lie on the carriageway that leads the other way, {part.apart_m:.0f} m from the one in this direction"
    why = (
        f"driven against the one-way direction: {seen}"
        if part.clear
        else f"{seen}; noise, receiver or map may explain it: which of the two was driven is not told"
    )
    kind = "against the one-way" if part.clear else "which carriageway"
    middle = part.from_m + part.length_m / 2
    named = _named(region, chain, number, start_m, part.from_m, part.length_m, middle, places, kind, why, part.clear)
    way = int(region.pieces.way[part.piece])
    return replace(
        named, osm_way=int(region.ways.osm_id[way]), name=region.string(int(region.ways.name[way])),
        ref=region.string(int(region.ways.ref[way])),
    )  # fmt: skip


def _turn(region: Region, chain: Chain, number: int, start_m: float, turn: BrokenTurn, places: Places) -> Stretch:
    return _named(region, chain, number, start_m, turn.at_m, 0.0, turn.at_m, places, "turn", turn.why, turn.clear)


def _fast(region: Region, chain: Chain, number: int, start_m: float, part: TooFast, places: Places) -> Stretch:
    why = f"{part.kmh:.0f} km/h on average"
    if part.worst_kmh >= part.kmh + 1:
        why += f", {part.worst_kmh:.0f} km/h or more at the fastest"
    why = f"{why}; {part.limit_kmh:.0f} km/h allowed ({part.ruling})"
    middle = (part.from_m + part.to_m) / 2
    return _named(region, chain, number, start_m, part.from_m, part.to_m - part.from_m, middle, places, "too fast", why, True)


def _named(
    region: Region, chain: Chain, number: int, start_m: float, from_m: float, length_m: float, at_m: float, places: Places, kind: str,
    why: str, forbidden: bool,
) -> Stretch:  # fmt: skip
    """Return a stretch of a chain, named after the road and place at a point of it."""
    ends = piece_ends_m(chain.from_m, chain.to_m)
    row = int(np.clip(np.searchsorted(ends, at_m, side="right") - 1, 0, len(chain.piece) - 1))
    piece = int(chain.piece[row])
    at = chain.from_m[row] + at_m - ends[row]
    line = piece_line(region, piece, bool(chain.forward[row]), float(at), float(at) + 0.5)
    way = int(region.pieces.way[piece])
    lon, lat = float(line[0, 0]), float(line[0, 1])
    town, town_km = places.near(lon, lat)
    return Stretch(
        kind, (why,), forbidden, False, number, start_m + from_m, length_m, int(region.ways.osm_id[way]),
        region.string(int(region.ways.name[way])), region.string(int(region.ways.ref[way])), lon, lat, town, town_km,
    )  # fmt: skip


def _off(found: Match, places: Places, from_m: float, length_m: float, point: int, why: str) -> Stretch:
    lon, lat = float(found.lon[point]), float(found.lat[point])
    town, town_km = places.near(lon, lat)
    return Stretch("off the map", (why,), False, False, -1, from_m, length_m, 0, "", "", lon, lat, town, town_km)
