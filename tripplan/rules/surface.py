"""The surface of a road from its tags: sealed, unsealed or unknown, never guessed from a part of a word.

The table holds every value that the open map's page Key:surface documents, with its group there (checked against the
lists of its widely used editor, wiki revision 2910310). Which of them a van may use is this project's own judgement
and stands beside the group. What no tag decides is left to `tripplan.rules.presume`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from tripplan.model.words import Source, Surface
from tripplan.rules.conditions import conditionals

__all__ = [
    "BAD_SMOOTHNESS",
    "CLOSED_SMOOTHNESS",
    "NO_SURFACE_TAG",
    "SURFACES",
    "SurfaceFact",
    "SurfaceRow",
    "four_wheels",
    "judge_surface",
    "surface_values",
    "worst_smoothness",
]


@dataclass(frozen=True, slots=True)
class SurfaceFact:
    """The answer for one road: what it is, where that came from, why in words, and whether it is sealed but rough."""

    surface: Surface
    source: Source
    why: str
    rough: bool = False


@dataclass(frozen=True, slots=True)
class SurfaceRow:
    """One value of the table: its group on the map's page and the judgement for a van."""

    group: str
    surface: Surface
    rough: bool = False
    why: str = ""


def _rows() -> dict[str, SurfaceRow]:
    sealed, unsealed, unknown = Surface.SEALED, Surface.UNSEALED, Surface.UNKNOWN
    rows: dict[str, SurfaceRow] = {}
    for value in (
        "paved",
        "asphalt",
        "chipseal",
        "concrete",
        "concrete:plates",
        "paving_stones",
        "bricks",
        "metal",
        "tiles",
        "resin_bound",
    ):
        rows[value] = SurfaceRow("paved", sealed)
    for value in ("concrete:lanes", "sett", "unhewn_cobblestone", "cobblestone", "metal_grid", "wood"):
        rows[value] = SurfaceRow("paved", sealed, rough=True)
    rows["paving_stones:lanes"] = SurfaceRow("paved", unsealed, why="only two strips are paved")
    rows["grass_paver"] = SurfaceRow("paved", unsealed, why="grass between open pavers")
    rows["stepping_stones"] = SurfaceRow("paved", unsealed, why="for feet")
    rows["fibre_reinforced_polymer_grate"] = SurfaceRow("paved", unknown, why="a footbridge grate, not known to bear vehicles")
    for value in ("unpaved", "compacted", "fine_gravel", "gravel", "shells", "rock", "pebblestone", "ground", "dirt",
                  "earth", "mud", "laterite", "grass", "sand", "woodchips", "snow", "ice", "salt"):  # fmt: skip
        rows[value] = SurfaceRow("unpaved", unsealed)
    for value in ("clay", "tartan", "artificial_turf", "acrylic", "carpet", "plastic", "rubber"):
        rows[value] = SurfaceRow("sports", unsealed, why="a sports surface, not a road")
    # Not documented, but met often and plain in meaning.
    for value in ("brick", "cement", "bitmac"):
        rows[value] = SurfaceRow("alias", sealed)
    rows["cobblestone:flattened"] = SurfaceRow("alias", sealed, rough=True)
    for value in ("stone", "rocky", "soil", "dirt/sand"):
        rows[value] = SurfaceRow("alias", unsealed)
    return rows


#: Every value with its group (``paved``, ``unpaved``, ``sports``; ``alias``: undocumented but plain) and the judgement.
SURFACES: dict[str, SurfaceRow] = _rows()

#: What is said of a road none of whose tags speak of its surface.
NO_SURFACE_TAG = "no surface tag"

#: Sealed but slow. The page names who can still use it: `bad` a robust car, `very_bad` and worse a high-clearance
#: vehicle, an off-road one, a tractor, nobody. Closing these to a van is this project's judgement.
BAD_SMOOTHNESS = frozenset({"bad"})
CLOSED_SMOOTHNESS = frozenset({"very_bad", "horrible", "very_horrible", "impassable"})


#: What may follow ``surface:`` or ``smoothness:`` and speak of the carriageway: a lane, a direction, a side, the strip between the
#: wheels (OSM wiki, Key:*:lanes: the suffix may follow any key, a lane left blank has the plain value, and cycle lanes count
#: as lanes; Tag:surface=paving_stones:lanes for ``surface:middle``).
_PARTS = frozenset(
    ("lanes", "lane", "forward", "backward", "both_ways", "left", "right", "middle", "center", "centre", "carriageway", "roadway",
     "conditional", "vehicle", "motor_vehicle", "motorcar", "trailer", "caravan")
)  # fmt: skip
#: And what speaks of something else: what runs beside the road, where the value is from, how it was.
_ELSEWHERE = frozenset(
    ("note", "source", "description", "date", "check_date", "lastcheck", "old", "was", "proposed", "planned", "cycleway", "bicycle",
     "footway", "foot", "sidewalk", "path", "shoulder", "verge", "kerb", "parking", "parking_lane", "bridleway", "horse", "wheelchair", "bus")
)  # fmt: skip


def surface_values(text: str) -> list[str]:
    """Split a ``;`` list into its values, trimmed and in lower case."""
    return [part for part in (piece.strip().lower() for piece in text.split(";")) if part]


def _of_parts(tags: Mapping[str, str], key: str) -> list[tuple[str, str, bool]]:
    """Return (key, value, whether it surely speaks of the carriageway) for each value of each sub-key, in order of the keys."""
    found = []
    for name in sorted(name for name in tags if name.startswith(f"{key}:")):
        endings = name.split(":")[1:]
        if _ELSEWHERE.isdisjoint(endings):
            sure = all(ending in _PARTS for ending in endings)
            texts = (value for value, _ in conditionals(tags[name])) if endings[-1] == "conditional" else (tags[name],)
            found += [(name, value, sure) for text in texts for part in text.split("|") for value in surface_values(part)]
    return found


def worst_smoothness(tags: Mapping[str, str]) -> str:
    """Return what ``smoothness``, or a sub-key of it that speaks of the carriageway, says at worst; "" when nothing is said."""
    values = [*surface_values(tags.get("smoothness", "")), *(value for _, value, sure in _of_parts(tags, "smoothness") if sure)]
    return max(values, key=lambda value: (value in CLOSED_SMOOTHNESS, value in BAD_SMOOTHNESS), default="")


def judge_surface(tags: Mapping[str, str]) -> SurfaceFact:
    """Judge a road's surface by its own tags.

    The worst value of a ``;`` list counts. So does the worst of ``surface:lanes``, ``surface:forward``, ``surface:middle`` and
    other sub-keys that speak of the carriageway: the promise is a sealed road, so one unsealed part makes a road without a plain
    value unsealed, and leaves one with a plain sealed value unknown. A sub-key that nobody knows counts when it names an unsealed
    value. Sealed parts seal a road without a plain value only where all lanes, or both directions, are named.

    ``tracktype=grade1`` proves nothing (heavily compacted hardcore counts too), the other
    grades are unsealed, and against a sealed value they leave the surface unknown. A track without any of these tags
    counts as unsealed, and a road signed for four-wheel drive is not presumed sealed. A bridge without a value is unknown
    like any road; a ferry has no road surface.

    Parameters
    ----------
    tags
        Tags of the way.

    Returns
    -------
    SurfaceFact
        Never `Surface.PRESUMED`: that takes the region's evidence.
    """
    if tags.get("route") == "ferry" and "highway" not in tags:
        return SurfaceFact(Surface.SEALED, Source.CLASS_DEFAULT, "ferry deck")
    smoothness = worst_smoothness(tags)
    grade = next((part for part in sorted(surface_values(tags.get("tracktype", "")), reverse=True)), "")
    values = surface_values(tags.get("surface", ""))
    part = _worst_part(tags)
    if values:
        fact = _by_values([("surface", value) for value in values], smoothness, grade)
        if part is not None and fact.surface == Surface.SEALED and part.surface != Surface.SEALED:
            return SurfaceFact(Surface.UNKNOWN, Source.NONE, f"{fact.why} against {part.why}")
        return replace(fact, rough=fact.rough or part.rough) if part is not None and fact.surface == Surface.SEALED else fact
    if part is not None and part.surface == Surface.UNSEALED:
        return part
    if smoothness in CLOSED_SMOOTHNESS:
        return SurfaceFact(Surface.UNSEALED, Source.TAGGED, f"smoothness={smoothness}")
    if grade in _SOFT_GRADES:
        return SurfaceFact(Surface.UNSEALED, Source.TAGGED, f"tracktype={grade}")
    if part is not None and (part.surface == Surface.UNKNOWN or _all_named(tags)):
        return part
    if grade == "grade1":
        return SurfaceFact(Surface.UNKNOWN, Source.NONE, "tracktype=grade1 is solid, not always sealed")
    if tags.get("highway") == "track":
        return SurfaceFact(Surface.UNSEALED, Source.CLASS_DEFAULT, "a track without a surface tag")
    if four_wheels(tags):
        return SurfaceFact(Surface.UNKNOWN, Source.NONE, f"{NO_SURFACE_TAG}, and {four_wheels(tags)}")
    return SurfaceFact(Surface.UNKNOWN, Source.NONE, NO_SURFACE_TAG, rough=smoothness in BAD_SMOOTHNESS)


def four_wheels(tags: Mapping[str, str]) -> str:
    """Return the tag by which a road is signed for four-wheel drive (OSM wiki, Key:4wd_only), "" when there is none."""
    value = tags.get("4wd_only", "").strip().lower()
    return f"4wd_only={value}" if value not in ("", "no", "unknown") else ""


_SOFT_GRADES = frozenset({"grade2", "grade3", "grade4", "grade5"})


def _worst_part(tags: Mapping[str, str]) -> SurfaceFact | None:
    """Judge what the sub-keys say of parts of the carriageway; ``None`` when they say nothing of it."""
    parts = [
        (name, value) for name, value, sure in _of_parts(tags, "surface")
        if sure or SURFACES.get(value, _NOT_KNOWN).surface == Surface.UNSEALED
    ]  # fmt: skip
    return _by_values(parts, "", "") if parts else None


def _all_named(tags: Mapping[str, str]) -> bool:
    """Whether the sub-keys name every lane, or both directions."""
    lanes = [tags.get(f"surface:lanes{ending}", "") for ending in ("", ":forward", ":backward")]
    full = [bool(text) and all(part.strip() for part in text.split("|")) for text in lanes]
    both = all(tags.get(f"surface:{way}", "").strip() for way in ("forward", "backward"))
    return full[0] or (full[1] and full[2]) or both or bool(tags.get("surface:both_ways", "").strip())


def _by_values(values: list[tuple[str, str]], smoothness: str, tracktype: str) -> SurfaceFact:
    worst, (worst_key, worst_value), rough, note = Surface.SEALED, values[0], False, ""
    for key, value in values:
        row = SURFACES.get(value, _NOT_KNOWN)
        rough = rough or row.rough
        if row.surface > worst:
            worst, worst_key, worst_value, note = row.surface, key, value, row.why
    why = f"{worst_key}={worst_value}" + (f" ({note})" if note else "")
    if worst == Surface.SEALED and tracktype in _SOFT_GRADES:
        return SurfaceFact(Surface.UNKNOWN, Source.NONE, f"{why} against tracktype={tracktype}")
    source = Source.NONE if worst == Surface.UNKNOWN else Source.TAGGED
    rough = worst == Surface.SEALED and (rough or smoothness in BAD_SMOOTHNESS or smoothness in CLOSED_SMOOTHNESS)
    return SurfaceFact(worst, source, why, rough=rough)


_NOT_KNOWN = SurfaceRow("none", Surface.UNKNOWN, why="not a known value")
