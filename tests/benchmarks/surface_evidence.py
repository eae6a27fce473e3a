"""How good presumed surfaces are, on any maps: tables for this program's rule and the simple ones that it replaces.

usage: python tests/benchmarks/surface_evidence.py [--km 5] [--seeds 4] [--choose] [--old OLD NEW]... [MAP.osm.pbf ...]

Without maps: every extract that TRIPPLAN_EXTRACTS names, and the old maps among them judged by the new ones of the same
place. Tables are Markdown. Intervals rest on blocks of 5 km: their number is that of a seed on average, contradictions are those
of the worst seed. With none in n blocks the bound is 3/n.
"""

from __future__ import annotations

import argparse
import os
import sys
from itertools import pairwise, product
from pathlib import Path

import numpy as np

sys.path[:0] = [str(Path(__file__).parents[1]), str(Path(__file__).parents[2])]

from helpers.hiding import (  # noqa: E402
    CLASSES,
    SEALED,
    UNSEALED,
    UNTAGGED,
    Map,
    Score,
    folds,
    hide_and_ask,
    most_bad,
    open_map,
    parts_of,
    thin_and_ask,
    truth_by_id,
    truth_by_place,
    wilson,
)  # fmt: skip
from helpers.surface_rules import RULES, by_evidence  # noqa: E402

from tripplan.rules import evidence  # noqa: E402
from tripplan.rules.presume import surface_evidence  # noqa: E402


def cells(score: Score) -> str:
    """Right, wrong ways, contradicted blocks with their bound, found, and its interval by blocks."""
    (blocks, bad), (found, sealed) = score.blocks, score.found_blocks
    if np.isnan(score.right):
        return "– | 0 | silent | 0 | –"
    low, high = wilson(found, sealed)
    bound = f"{bad} of {blocks}, ≤ {most_bad(blocks, bad):.0f} %" if blocks else f"{bad} of less than one"
    return (
        f"{score.right:.2f} | {len(score.wrong_ways)} | {bound} | {score.found:.0f} | "
        f"{found} of {sealed}, {low:.0f} to {high:.0f} %"
    )


def told(share: float) -> str:
    """A share [%], or a dash where there is none."""
    return "–" if np.isnan(share) else f"{share:.0f}"


def gain(made: Map, rule: str) -> float:
    """Share of the truly untagged km that is presumed [%]."""
    untagged = made.main & (made.tagged == UNTAGGED)
    return float(100 * made.km[untagged & RULES[rule](made.inputs)].sum() / max(made.km[untagged].sum(), 1e-9))


def table_hidden(maps: list[Map], km: float, seeds: int) -> None:
    print(f"\n## Tags hidden in blocks of {km:g} km with whole roads, a fifth at a time, {seeds} seeds\n")
    print(
        "| map | rule | right, % of km | ways contradicted | blocks contradicted, bound of their share | found, % of km | blocks with something found, 95 % | untagged km gained, % |"
    )
    print("|---|---|---|---|---|---|---|---|")
    for made in maps:
        for word, rule in RULES.items():
            print(
                f"| {made.name} | {word} | {cells(hide_and_ask(made, rule, km, range(seeds)))} | {gain(made, word):.0f} |",
                flush=True,
            )


def table_classes(maps: list[Map], seeds: int) -> None:
    print(
        f"\n## Found by class, this program, % of hidden sealed km (blocks of 5 km with tags of that class; unsealed km), {seeds} seeds\n"
    )
    print("| map | " + " | ".join(CLASSES) + " |\n|---" * 1 + "|---" * len(CLASSES) + "|")
    for made in maps:
        score, block = hide_and_ask(made, by_evidence, 5.0, range(seeds)), made.blocks(5.0)
        row = []
        for g in range(len(CLASSES)):
            mine = made.main & (made.group == g) & (made.tagged != UNTAGGED)
            bad = made.km[mine & (made.tagged == UNSEALED)].sum()
            row.append(f"{told(score.found_of(g))} ({len(np.unique(block[mine]))}; {bad:.1f})" if mine.any() else "")
        print(f"| {made.name} | " + " | ".join(row) + " |", flush=True)


def table_cut(maps: list[Map], seeds: int) -> None:
    print(f"\n## Cut maps: halves and quarters as maps of their own, this program, blocks of 5 km, {seeds} seeds\n")
    print(
        "| map | part | km sealed / unsealed | ways contradicted | found, % of km | blocks with something found, 95 % | classes tagged in eleven blocks or more: blocks, found % | 10 and 3 % of blocks left, ten seeds: ways contradicted |"
    )
    print("|---|---|---|---|---|---|---|---|")
    for made in maps:
        for part, piece in parts_of(made):
            score, block = hide_and_ask(piece, by_evidence, 5.0, range(seeds)), piece.blocks(5.0)
            known = piece.main & (piece.tagged != UNTAGGED)
            wide = [
                f"{word} {blocks}, {told(score.found_of(g))}"
                for g, word in enumerate(CLASSES)
                if (blocks := len(np.unique(block[known & (piece.group == g)]))) >= 11
            ]
            sealed, bad = (piece.km[known & (piece.tagged == state)].sum() for state in (SEALED, UNSEALED))
            found, of = score.found_blocks
            low, high = wilson(found, of)
            thin = [len(thin_and_ask(piece, by_evidence, share).wrong_ways) for share in (0.1, 0.03)]
            print(
                f"| {made.name} | {part} | {sealed:.0f} / {bad:.1f} | {len(score.wrong_ways)} | {score.found:.0f} | {found} of {of}, {low:.0f} to {high:.0f} % "
                f"| {'; '.join(wide)} | {thin[0]}, {thin[1]} |",
                flush=True,
            )


def table_thinned(maps: list[Map]) -> None:
    print("\n## Tags left in a share of the blocks of 5 km, ten seeds, all others asked for\n")
    print(
        "| map | left, % of blocks | rule | right, % of km | ways contradicted | blocks contradicted, bound of their share | found, % of km | blocks with something found, 95 % | silent seeds |"
    )
    print("|---|---|---|---|---|---|---|---|---|")
    for made in maps:
        for share in (0.1, 0.03):
            for word in ("rule B", "rule B + blocks (before)", "this program"):
                score = thin_and_ask(made, RULES[word], share)
                print(f"| {made.name} | {100 * share:g} | {word} | {cells(score)} | {score.silent} |", flush=True)


def table_old(pairs: list[tuple[Map, Map]]) -> None:
    print("\n## Old maps judged by new ones: untagged then, tagged now\n")
    print(
        "| old map | judged | rule | right, % of km | presumed and tagged now, km | unsealed of it, km (ways) | blocks contradicted, bound | found, % of sealed km |"
    )
    print("|---|---|---|---|---|---|---|---|")
    for old, new in pairs:
        for how, truth in (("by way id", truth_by_id(old, new)), ("by place", truth_by_place(old, new))):
            asked = old.main & (old.tagged == UNTAGGED) & (truth != UNTAGGED)
            for word, rule in RULES.items():
                score = Score.none()
                score.add(old, asked, rule(old.inputs), truth, old.blocks(5.0))
                score.close()
                if not score.sealed_km.sum():
                    continue
                wrong = score.wrong_km.sum()
                right = "–" if np.isnan(score.right) else f"{score.right:.2f}"
                blocks, bad = score.blocks
                bound = f"{bad} of {blocks}, ≤ {most_bad(blocks, bad):.0f} %" if blocks else "silent"
                print(
                    f"| {old.name} | {how} | {word} | {right} | {score.right_km.sum() + wrong:.1f} | {wrong:.2f} ({len(score.wrong_ways)}) | "
                    f"{bound} | {score.found:.0f} |",
                    flush=True,
                )


def table_probability(maps: list[Map]) -> None:
    print("\n## The stated probability against hidden tags (blocks of 5 km with whole roads, one seed)\n")
    edges = (0, 0.2, 0.5, 0.8, 0.9, 0.95, 0.98, 1.01)
    print(
        "| map | "
        + " | ".join(f"{a:g} to {min(b, 1):g}" for a, b in pairwise(edges))
        + " |\n|---"
        + "|---" * (len(edges) - 1)
        + "|"
    )
    for made in maps:
        stated = np.full(len(made.km), np.nan)
        for asked, hidden in folds(made, 5.0, 0):
            stated[asked] = surface_evidence(**made.showing(np.where(hidden, UNTAGGED, made.tagged))).p[asked]
        row = []
        for a, b in pairwise(edges):
            mine = (stated >= a) & (stated < b)
            km = made.km[mine].sum()
            row.append(f"{100 * made.km[mine & (made.tagged == SEALED)].sum() / km:.0f} % of {km:.0f} km" if km else "")
        print(f"| {made.name} | " + " | ".join(row) + " |", flush=True)


def table_left_out(maps: list[Map]) -> None:
    """Choose the rule's limits by all maps but one, fewest wrong ways first, then most found; then ask the one left out."""
    print("\n## Limits chosen without the map that they are tried on (hidden in blocks of 5 km with whole roads, two seeds)\n")
    limits = [
        {"ROAD_BLOCKS": blocks, "LEAST_BLOCK_BOUND": bound, "CLASS_RADIUS_KM": radius}
        for blocks, bound, radius in product((4, 6, 10), (0.75, 0.8, 0.85), (4.0, 8.0, 12.0))
    ]
    kept = {word: getattr(evidence, word) for word in limits[0]}
    scores: list[list[Score]] = []
    try:
        for chosen in limits:
            for word, value in chosen.items():
                setattr(evidence, word, value)
            scores.append([hide_and_ask(made, by_evidence, seeds=range(2)) for made in maps])
    finally:
        for word, value in kept.items():
            setattr(evidence, word, value)
    mine = scores[limits.index(kept)]
    print(
        "| left out | chosen by the others (blocks a road, bound, radius) | ways contradicted, found % | with the built-in limits |\n|---|---|---|---|"
    )
    for m, made in enumerate(maps):
        others = [n for n in range(len(maps)) if n != m]
        best = max(
            range(len(limits)),
            key=lambda n: (-sum(len(scores[n][o].wrong_ways) for o in others), sum(scores[n][o].found for o in others)),
        )
        came = [f"{len(score.wrong_ways)}, {score.found:.0f}" for score in (scores[best][m], mine[m])]
        print(
            f"| {made.name} | {', '.join(f'{value:g}' for value in limits[best].values())} | {came[0]} | {came[1]} |", flush=True
        )


def pairs_among(maps: list[Map]) -> list[tuple[Map, Map]]:
    """Maps of one place (the first word of the file name), the oldest with the newest."""
    places: dict[str, list[Map]] = {}
    for made in maps:
        places.setdefault(made.name.split("-")[0], []).append(made)
    found = []
    for place, mine in places.items():
        mine.sort(key=lambda made: made.name)
        if len(mine) > 1 and place != "tile":
            found.append((mine[0], mine[-1]))
    return found


def main() -> None:
    """Print all tables."""
    parser = argparse.ArgumentParser()
    parser.add_argument("maps", nargs="*", type=Path)
    parser.add_argument("--km", type=float, default=5.0)
    parser.add_argument("--seeds", type=int, default=4)
    parser.add_argument("--old", nargs=2, action="append", type=Path, default=[], metavar=("OLD", "NEW"))
    parser.add_argument("--choose", action="store_true", help="also choose the limits without each map in turn (minutes)")
    given = parser.parse_args()
    files = given.maps or ([] if given.old else sorted(Path(os.environ.get("TRIPPLAN_EXTRACTS", ".")).glob("*.osm.pbf")))
    maps = [open_map(path) for path in files]
    print("## Maps\n\n| file | data of | km sealed / unsealed / untagged, tertiary and above |\n|---|---|---|")
    for made in maps:
        km = [made.km[made.main & (made.tagged == state)].sum() for state in (SEALED, UNSEALED, UNTAGGED)]
        print(f"| {made.name} | {made.date[:10] or 'not said'} | {km[0]:.1f} / {km[1]:.1f} / {km[2]:.1f} |")
    tagged = [made for made in maps if (made.main & (made.tagged != UNTAGGED)).sum() >= 20]
    table_hidden(tagged, given.km, given.seeds)
    table_classes(tagged, given.seeds)
    table_cut(tagged, given.seeds)
    table_thinned(tagged)
    table_probability(tagged)
    if given.choose:
        table_left_out(tagged)
    pairs = [(open_map(old), open_map(new)) for old, new in given.old] or pairs_among(maps)
    if pairs:
        table_old(pairs)


if __name__ == "__main__":
    main()
