"""The hidden Markov model of a track once more: networkx for every way by road, every step tried, nothing left out."""

from __future__ import annotations

from typing import Any

import networkx as nx
import numpy as np

from tripplan.roads.match_graph import MatchGraph
from tripplan.roads.match_kernel import ODD_FROM, WINDING

Step = tuple[str, int]  # "road" and a candidate, or "off" and 0


class Likeliest:
    """Costs of whole sequences, and the least of them, by plain dynamic programming over plain dictionaries."""

    def __init__(self, graph: MatchGraph, inputs: tuple[Any, ...]) -> None:
        (self.ptr, self.arc, self.at, self.cost, self.step, self.dt, self.fresh, self.off, self.scale) = inputs[:9]
        self.leap, self.leap_scale = inputs[9:11]
        self.slip, self.noise, self.fastest, self.turn, self.jump, self.leave, self.haste = inputs[17:24]
        self.graph, self.hasty = graph, inputs[16]
        roads = nx.MultiDiGraph()
        for e in range(len(graph.head)):
            roads.add_edge(int(graph.tail[e]), int(graph.head[e]), key=e, length=float(graph.length_m[e]))
        self.roads = roads
        self.near: dict[int, tuple[dict[int, float], dict[int, list[int]]]] = {}

    def ways(self, junction: int) -> tuple[dict[int, float], dict[int, list[int]]]:
        """Return lengths and junctions of the shortest ways from a junction."""
        if junction not in self.near:
            self.near[junction] = (
                nx.single_source_dijkstra(self.roads, junction, weight="length") if junction in self.roads else ({}, {})
            )
        return self.near[junction]

    def between(self, i: int, j: int, straight: float, seconds: float, scale: float) -> float:
        """Return what a step from candidate to candidate costs, infinite where there is no way."""
        g = self.graph
        a, b, x, y = int(self.arc[i]), int(self.arc[j]), float(self.at[i]), float(self.at[j])
        turned = False
        if a == b and y >= x - self.slip:
            road = max(y - x, 0.0)
            hasty = self.hasty[a] * road / g.length_m[a]
        elif b == g.reverse[a]:
            road, turned = abs(float(g.length_m[b]) - y - x), True
            hasty = self.hasty[a] * road / g.length_m[a]
        else:
            length, way = self.ways(int(g.head[a]))
            v = int(g.tail[b])
            if v not in length:
                return np.inf
            road = float(g.length_m[a]) - x + length[v] + y
            arcs = [
                min(self.roads[p][q], key=lambda e, p=p, q=q: self.roads[p][q][e]["length"])
                for p, q in zip(way[v][:-1], way[v][1:], strict=True)
            ]  # type: ignore[misc]
            turned = bool(arcs) and (arcs[0] == g.reverse[a] or arcs[-1] == g.reverse[b])
            hasty = (
                self.hasty[a] * (g.length_m[a] - x) / g.length_m[a]
                + sum(self.hasty[e] for e in arcs)
                + self.hasty[b] * y / g.length_m[b]
            )
        if seconds == seconds and road > self.fastest * max(seconds, 0) + self.noise:
            return np.inf
        out = abs(road - straight) / scale + (self.turn if turned else 0)
        if seconds > 0 and hasty > seconds:
            out += self.haste * min(hasty / seconds - 1, 2.0)
        return out

    def wide(self, i: int, j: int, t: int) -> float:
        """Return what a step along a road that winds a lot costs."""
        return WINDING + self.between(i, j, self.step[t], self.dt[t], 4 * self.scale[t])

    def least(self) -> float:
        """Return the cost of the likeliest sequence."""
        best: list[dict[Step, float]] = []
        odd: list[bool] = []
        for t in range(len(self.ptr) - 1):
            now: dict[Step, float] = {}
            here = range(int(self.ptr[t]), int(self.ptr[t + 1]))
            if t == 0:
                now = {("road", j): float(self.cost[j]) for j in here} | {("off", 0): float(self.off[0])}
                odd.append(False)
                best.append(now)
                continue
            before = best[-1]
            on = min((c for (kind, _), c in before.items() if kind == "road"), default=np.inf)
            away = before[("off", 0)]
            free = bool(self.fresh[t])
            anew = min(on + (0 if free else self.jump), away + (0 if free else self.leave))
            here_on = {}
            for j in here:
                ways = [anew]
                if not free:
                    ways += [
                        c + self.between(i, j, self.step[t], self.dt[t], self.scale[t])
                        for (kind, i), c in before.items()
                        if kind == "road"
                    ]
                here_on[("road", j)] = min(ways) + float(self.cost[j])
            here_off = float(self.off[t]) + min(away, on + self.leave)
            floor = min(on, away)
            if not free and t > 1 and not self.fresh[t - 1]:
                poor = min([here_off, *here_on.values()]) - floor >= min(self.off[t], ODD_FROM)
                if odd[t - 1] or poor:
                    two = (self.leap[t], self.dt[t] + self.dt[t - 1], self.leap_scale[t])
                    for j in here:
                        ways = [
                            c + self.off[t - 1] + self.between(i, j, *two)
                            for (kind, i), c in best[t - 2].items()
                            if kind == "road"
                        ]
                        here_on[("road", j)] = min([here_on[("road", j)], *(w + float(self.cost[j]) for w in ways)])
            if not free and min([here_off, *here_on.values()]) - floor >= WINDING + 2:
                for j in here:
                    ways = [c + self.wide(i, j, t) for (kind, i), c in before.items() if kind == "road"]
                    here_on[("road", j)] = min([here_on[("road", j)], *(w + float(self.cost[j]) for w in ways)])
            now = {**here_on, ("off", 0): here_off}
            odd.append(not free and min(now.values()) - min(on, away) >= min(self.off[t], ODD_FROM))
            best.append(now)
        return min(best[-1].values())

    def price(self, chosen: Any, how: Any, before: Any) -> float:
        """Return the cost of a sequence as the kernel tells it."""
        total = 0.0
        for t in range(len(chosen)):
            j = int(chosen[t])
            if j < 0:
                total += float(self.off[t])
                skipped = t + 1 < len(chosen) and chosen[t + 1] >= 0 and how[t + 1] == 1 and before[t + 1] == t - 1
                if t > 0 and chosen[t - 1] >= 0 and not skipped:
                    total += self.leave
                continue
            total += float(self.cost[j])
            if t == 0:
                continue
            if how[t] == 1:
                u = int(before[t])
                dt = float(np.sum(self.dt[u + 1 : t + 1]))
                straight, scale = (self.step, self.scale) if u == t - 1 else (self.leap, self.leap_scale)
                plain = self.between(int(chosen[u]), j, float(straight[t]), dt, float(scale[t]))
                total += min(plain, self.wide(int(chosen[u]), j, t)) if u == t - 1 else plain
            elif not self.fresh[t]:
                total += self.leave if chosen[t - 1] < 0 else self.jump
        return total
