"""Why a piece of road asks for attention, every reason in words: for staff who have to tell a hirer."""

from __future__ import annotations

from dataclasses import dataclass

from tripplan.model.words import Surface
from tripplan.region.columns import HIGHWAYS, Access, Flag
from tripplan.region.region import Region
from tripplan.roads.asks import asks_of
from tripplan.roads.diagnose import barrier_words
from tripplan.roads.network import Network
from tripplan.roads.verdict import Verdict
from tripplan.rules.limits import FIT_REASONS, fit_codes
from tripplan.rules.sizes import spares

__all__ = ["Grounds", "barrier_ground", "piece_grounds"]

_LIMITS = (
    ("max_height_m", "height", 1.0, "m"), ("max_width_m", "width", 1.0, "m"), ("max_length_m", "length", 1.0, "m"),
    ("max_weight_kg", "weight", 1000.0, "t"), ("max_axle_kg", "axle load", 1000.0, "t"),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Grounds:
    """Reasons about one piece, the gravest kind first; see `check.Stretch`."""

    kind: str
    why: tuple[str, ...]
    forbidden: bool
    phone_first: bool = False


def piece_grounds(region: Region, tow: Network, piece: int, at_end: str) -> Grounds | None:
    """Return what there is to say about a piece, ``None`` when it is plain sealed road that the outfit may use.

    Parameters
    ----------
    at_end
        "" in transit, ``within`` or ``beyond`` the allowance of unknown road at an end of the way.
    """
    ways, row = region.ways, int(region.pieces.way[piece])
    closed = _closed(region, tow, piece, row, at_end)
    asks = asks_of(region, row, doubtful=row in tow.closures.doubtful)
    ferry = bool(ways.flags[row] & Flag.FERRY)
    surface = Surface(int(ways.surface[row]))
    why = region.string(int(ways.surface_why[row]))
    said = "" if ferry or surface == Surface.SEALED else _SURFACE[surface] + (f": {why}" if why else "")
    reasons = (*closed, said) if said else tuple(closed)
    if closed:
        return Grounds("closed", (*reasons, *asks), forbidden=True)
    if ferry or surface == Surface.SEALED:
        return Grounds("ask first", asks, forbidden=False) if asks else None
    if surface == Surface.UNSEALED:
        return Grounds("unsealed", (*reasons, *asks), forbidden=True)
    if surface == Surface.PRESUMED:
        return Grounds("ask first" if asks else "presumed", (*asks, *reasons), forbidden=False)
    last_mile = tow.arcs.verdict[piece] == Verdict.LAST_MILE and at_end == "within"
    if not last_mile:
        name = HIGHWAYS[int(ways.highway[row])]
        reasons = (
            *reasons,
            "beyond the allowance at the end" if at_end == "beyond" else f"{name} road, not at an end of the way",
        )
    return Grounds("unknown", (*reasons, *asks), forbidden=not last_mile, phone_first=bool(last_mile))


_SURFACE = {
    Surface.SEALED: "",
    Surface.PRESUMED: "presumed sealed",
    Surface.UNKNOWN: "surface unknown",
    Surface.UNSEALED: "unsealed",
}


def _closed(region: Region, tow: Network, piece: int, row: int, at_end: str) -> list[str]:
    """List everything that closes a piece to the outfit, surface apart."""
    ways, terms = region.ways, tow.terms
    out = []
    access = int((ways.tow_access if terms.van else ways.car_access)[row])
    why = region.string(int(ways.access_why[row]))
    if access == Access.CLOSED:
        out.append("closed to the outfit" + (f": {why}" if why else ""))
    elif access == Access.ENDS_ONLY and not at_end and not (terms.van and spares(why, terms.outfit)):
        out.append("only for those who stop there" + (f": {why}" if why else ""))
    if row in tow.closures.closed:
        out.append("closed on these dates: " + region.string(int(ways.closed_when[row])))
    elif piece in tow.closures.whole(van=terms.van):
        out.append("in a wind warning on these dates" if piece in tow.closures.no_tow else "closed on these dates")
    if fit_codes(_OneWay(region, row), terms.outfit)[0]:
        out += _sizes(region, tow, row)
    if tow.arcs.verdict[piece] == Verdict.OFF_LIMITS:
        out.append("in an area off limits")
    if ways.flags[row] & Flag.FERRY and not terms.ferries:
        out.append("ferry, not allowed")
    if ways.flags[row] & Flag.TOLL and not terms.tolls:
        out.append("toll road, not allowed")
    return out


def _sizes(region: Region, tow: Network, row: int) -> list[str]:
    outfit = tow.terms.outfit
    needs = (
        outfit.height_m + outfit.height_clearance_m, outfit.width_m + outfit.width_clearance_m, outfit.length_m,
        outfit.mass_kg, outfit.axle_load_kg,
    )  # fmt: skip
    out = []
    for (column, word, scale, unit), need in zip(_LIMITS, needs, strict=True):
        limit = float(getattr(region.ways, column)[row])
        if limit < need * (1 - 1e-6):
            source = region.local.limit_source(row, column) if region.local else ""
            said = f"{word} limit {round(limit / scale, 2):g} {unit}, the outfit needs {round(need / scale, 2):g} {unit}"
            out.append(f"{said} ({source})" if source else said)
    return out or [FIT_REASONS[int(fit_codes(_OneWay(region, row), outfit)[0])]]


class _OneWay:
    """The limits of a single way, as columns of length 1."""

    def __init__(self, region: Region, row: int) -> None:
        self.max_height_m, self.max_width_m, self.max_length_m, self.max_weight_kg, self.max_axle_kg = (
            getattr(region.ways, column)[row : row + 1] for column, *_ in _LIMITS
        )


def barrier_ground(region: Region, tow: Network, junction: int) -> Grounds | None:
    """Return what there is to say about a junction that is passed, ``None`` when nothing bars it."""
    if tow.arcs.barred[junction] != Access.CLOSED:
        return None
    kind = region.string(int(region.junctions.barrier[junction]))
    words = barrier_words(tow, junction)
    if words.startswith("a barrier"):
        words = f"barrier: {kind}" if kind else "barrier"
    return Grounds("closed", (words,), forbidden=True)
