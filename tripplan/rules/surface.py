"""The surface of a road from its tags: sealed, unsealed or unknown, never guessed from a part of a word.

The table holds every value that the open map's page Key:surface documents, with its group there (checked against the
lists of its widely used editor, wiki revision 2910310). Which of them a van may use is this project's own judgement
and stands beside the group. What no tag decides is left to `tripplan.rules.presume`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from tripplan.model.words import Source, Surface

__all__ = [
    "BAD_SMOOTHNESS",
    "CLOSED_SMOOTHNESS",
    "NO_SURFACE_TAG",
    "SURFACES",
    "SurfaceFact",
    "SurfaceRow",
    "judge_surface",
    "surface_values",
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


def surface_values(text: str) -> list[str]:
    """Split a ``;`` list into its values, trimmed and in lower case."""
    return [part for part in (piece.strip().lower() for piece in text.split(";")) if part]


def judge_surface(tags: Mapping[str, str]) -> SurfaceFact:
    """Judge a road's surface by its own tags.

    The worst value of a ``;`` list counts. ``surface:lanes``, ``surface:middle`` and other sub-keys are not read: they
    speak of parts of the road. ``tracktype=grade1`` proves nothing (heavily compacted hardcore counts too), the other
    grades are unsealed, and against a sealed value they leave the surface unknown. A track without any of these tags
    counts as unsealed. A bridge without a value is unknown like any road; a ferry has no road surface.

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
    smoothness = tags.get("smoothness", "").strip().lower()
    tracktype = tags.get("tracktype", "").strip().lower()
    values = surface_values(tags.get("surface", ""))
    if values:
        return _by_values(values, smoothness, tracktype)
    if smoothness in CLOSED_SMOOTHNESS:
        return SurfaceFact(Surface.UNSEALED, Source.TAGGED, f"smoothness={smoothness}")
    if tracktype in _SOFT_GRADES:
        return SurfaceFact(Surface.UNSEALED, Source.TAGGED, f"tracktype={tracktype}")
    if tracktype == "grade1":
        return SurfaceFact(Surface.UNKNOWN, Source.NONE, "tracktype=grade1 is solid, not always sealed")
    if tags.get("highway") == "track":
        return SurfaceFact(Surface.UNSEALED, Source.CLASS_DEFAULT, "a track without a surface tag")
    return SurfaceFact(Surface.UNKNOWN, Source.NONE, NO_SURFACE_TAG, rough=smoothness in BAD_SMOOTHNESS)


_SOFT_GRADES = frozenset({"grade2", "grade3", "grade4", "grade5"})


def _by_values(values: list[str], smoothness: str, tracktype: str) -> SurfaceFact:
    worst, worst_value, rough, note = Surface.SEALED, values[0], False, ""
    for value in values:
        row = SURFACES.get(value, _NOT_KNOWN)
        rough = rough or row.rough
        if row.surface > worst:
            worst, worst_value, note = row.surface, value, row.why
    why = f"surface={worst_value}" + (f" ({note})" if note else "")
    if worst == Surface.SEALED and tracktype in _SOFT_GRADES:
        return SurfaceFact(Surface.UNKNOWN, Source.NONE, f"{why} against tracktype={tracktype}")
    source = Source.NONE if worst == Surface.UNKNOWN else Source.TAGGED
    rough = worst == Surface.SEALED and (rough or smoothness in BAD_SMOOTHNESS or smoothness in CLOSED_SMOOTHNESS)
    return SurfaceFact(worst, source, why, rough=rough)


_NOT_KNOWN = SurfaceRow("none", Surface.UNKNOWN, why="not a known value")
