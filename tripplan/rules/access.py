"""Who may use a road: the access hierarchy for a car with trailer and for the car alone, barriers, fords, one-way.

The hierarchy runs from the general key to the particular one: access < vehicle < motor_vehicle < motorcar < trailer <
caravan; the most particular one that says something decides. ``motorhome`` is another vehicle and is never read.
Answers are numbers as in the region's columns: 0 open, 1 for the two ends of a day only, 2 closed.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from tripplan.rules.closed import SAILS, closed_on, is_by_date
from tripplan.rules.conditions import TRAILER_WORDS, for_others, split_and, tagged_conditionals, vehicle_property
from tripplan.rules.limits import bound_unread, is_size_limit, limits_by_date, size_limits
from tripplan.rules.surface import CLOSED_SMOOTHNESS, four_wheels, worst_smoothness

__all__ = [
    "ACCESS_VALUES", "BARRIERS", "CLOSED", "ENDS_ONLY", "HIERARCHY", "OPEN", "OUT_OF_SEASON", "RECOMMENDED", "ROAD_CLASSES", "AccessFact", "access_value", "closed_on",
    "closed_when", "judge_access", "judge_barrier", "oneway",
]  # fmt: skip

OPEN, ENDS_ONLY, CLOSED = 0, 1, 2

#: Road classes by number, in the order of the region's columns (`tripplan.region.columns.HIGHWAYS`).
ROAD_CLASSES: tuple[str, ...] = (
    "motorway", "motorway_link", "trunk", "trunk_link", "primary", "primary_link", "secondary", "secondary_link",
    "tertiary", "tertiary_link", "unclassified", "residential", "living_street", "service", "track", "road", "ferry",
)  # fmt: skip

#: Keys from the general to the particular, by mode.
HIERARCHY: dict[str, tuple[str, ...]] = {
    "car": ("access", "vehicle", "motor_vehicle", "motorcar"),
    "tow": ("access", "vehicle", "motor_vehicle", "motorcar", "trailer", "caravan"),
}

#: Documented access values. A value that is not here is not understood and closes the road, to be on the safe side;
#: ``unknown`` says nothing.
ACCESS_VALUES: dict[str, int] = {
    "yes": OPEN, "permissive": OPEN, "designated": OPEN, "official": OPEN, "public": OPEN, "use_sidepath": OPEN,
    "destination": ENDS_ONLY, "delivery": ENDS_ONLY, "customers": ENDS_ONLY, "visitors": ENDS_ONLY,
    "no": CLOSED, "private": CLOSED, "permit": CLOSED, "agricultural": CLOSED, "forestry": CLOSED, "emergency": CLOSED,
    "military": CLOSED, "residents": CLOSED, "employees": CLOSED, "members": CLOSED, "psv": CLOSED, "bus": CLOSED,
    "taxi": CLOSED, "hov": CLOSED, "unsuitable": CLOSED, "dismount": CLOSED,
}  # fmt: skip

#: Values that name others who may go: in a list they don't close what another value opens.
_OTHERS = frozenset(
    {
        "agricultural",
        "forestry",
        "emergency",
        "military",
        "psv",
        "bus",
        "taxi",
        "hov",
        "residents",
        "employees",
        "members",
        "permit",
    }
)
_SILENT = frozenset({"", "unknown", "fixme", "variable", "signals"})


@dataclass(frozen=True, slots=True)
class AccessFact:
    """0 open, 1 ends only, 2 closed; and the tag that decided it ("" when nothing restricts)."""

    access: int
    why: str = ""


def judge_access(tags: Mapping[str, str], mode: str) -> AccessFact:
    """Judge whether a mode may use a way, by its tags alone.

    Parameters
    ----------
    tags
        Tags of the way.
    mode
        ``"tow"``: car with trailer; ``"car"``: the car alone.

    Returns
    -------
    AccessFact
        A closure by date leaves the way open here: `closed_when` carries it. A closure by conditions that no date
        decides (snow, residents' hours without times) does too. A road that is closed but opened by date is as open as
        the opening says.

    Notes
    -----
    Roads that stay closed to the van and open to the car: smoothness very_bad or worse, fords, a road that is
    discouraged for trailers. A road for four-wheel drive only is closed to both: nobody says that the car has it. Living streets and driveways are for the ends of a towing day.
    """
    standing = _standing(tags)
    if standing is not None:
        return standing
    if mode == "tow":
        hard = _closed_to_vans(tags)
        if hard is not None:
            return hard
    fact, said = _by_keys(tags, HIERARCHY[mode], mode)
    soft = _softened(tags, mode, said=said)
    # What holds for some sizes only (`tripplan.rules.sizes.spares`) gives way to what holds for all.
    return soft if soft.access == fact.access and soft.why and ":conditional=" in fact.why else _worse(fact, soft)


def _standing(tags: Mapping[str, str]) -> AccessFact | None:
    """What closes a way to every car whatever its access keys say."""
    highway = tags.get("highway", "")
    if highway and highway not in _CAR_CLASSES:
        return AccessFact(CLOSED, f"highway={highway}")
    for key in ("impassable", "disused", "abandoned", "ice_road", "winter_road", "tidal"):
        if tags.get(key, "no").strip().lower() in ("yes", "only"):
            return AccessFact(CLOSED, f"{key}={tags[key].strip().lower()}")
    signed = four_wheels(tags)
    if signed and signed != RECOMMENDED:
        return AccessFact(CLOSED, signed)
    if tags.get("service") in ("emergency_access", "bus"):
        return AccessFact(CLOSED, f"service={tags['service']}")
    return None


#: Beginning of a closure that nobody dated.
OUT_OF_SEASON = "no @ (not in season: "
#: A sign that advises: `tripplan.rules.unread` hands it on as a caution, and nothing is presumed of such a road.
RECOMMENDED = "4wd_only=recommended"
_CAR_CLASSES = frozenset(ROAD_CLASSES) | {"ford"}


def _closed_to_vans(tags: Mapping[str, str]) -> AccessFact | None:
    ford = tags.get("ford", "no").strip().lower()
    if ford not in ("no", "") or tags.get("highway") == "ford":
        return AccessFact(CLOSED, f"ford={ford}")
    smoothness = worst_smoothness(tags)
    if smoothness in CLOSED_SMOOTHNESS:
        return AccessFact(CLOSED, f"smoothness={smoothness}")
    return None


def _softened(tags: Mapping[str, str], mode: str, *, said: bool) -> AccessFact:
    """What an ordinary reading adds: streets that are no through way for a van."""
    if mode == "tow" and tags.get("highway") == "living_street":
        return AccessFact(ENDS_ONLY, "living street")
    if not said and tags.get("service") in ("driveway", "drive-through"):
        return AccessFact(ENDS_ONLY, f"service={tags['service']}")
    return AccessFact(OPEN)


def _worse(a: AccessFact, b: AccessFact) -> AccessFact:
    return b if b.access > a.access else a


def _by_keys(tags: Mapping[str, str], keys: tuple[str, ...], mode: str) -> tuple[AccessFact, bool]:
    """Read the hierarchy; the second answer says whether any key spoke."""
    fact, said, level = AccessFact(OPEN), False, -1
    for number, key in enumerate(keys):
        value = tags.get(key, "").strip().lower()
        if value in _SILENT:
            continue
        said, level = True, number
        answer, word = _value(value, key)
        fact = AccessFact(answer, f"{key}={word}" if answer != OPEN else "")
    return _conditional(tags, keys, mode, fact, level), said


def _value(text: str, key: str) -> tuple[int, str]:
    """Judge one access value or a list of them."""
    values = [part.strip() for part in text.split(";") if part.strip()]
    others = [value for value in values if value in _OTHERS]
    own = [value for value in values if value not in _OTHERS] or others
    worst, word = OPEN, own[0] if own else ""
    for value in own:
        answer = ACCESS_VALUES.get(value, CLOSED)
        if value == "discouraged":
            # A sign against trailers is heeded; a general advice leaves the road for the ends.
            answer = CLOSED if key in ("trailer", "caravan") else ENDS_ONLY
        if answer > worst:
            worst, word = answer, value if value in ACCESS_VALUES or value == "discouraged" else f"{value} (not understood)"
    return worst, word


def access_value(text: str, key: str) -> int:
    """Return what one access value, or a list of them, comes to; what is not understood closes."""
    return _value(text, key)[0]


def _conditional(tags: Mapping[str, str], keys: tuple[str, ...], mode: str, fact: AccessFact, level: int) -> AccessFact:
    """Add what holds whatever the date: conditions on trailers, and restrictions to destination by hours or by size."""
    sized: list[str] = []
    for key, value, condition in tagged_conditionals(tags, keys):
        answer, word = _value(value, key)
        clauses = split_and(condition)
        about_us = [clause for clause in clauses if clause.lower() in TRAILER_WORDS]
        rest = [clause for clause in clauses if clause.lower() not in TRAILER_WORDS]
        if for_others(clauses) or (about_us and mode != "tow"):
            continue
        why = f"{key}:conditional={word} @ ({condition})"
        if about_us and not rest:
            fact = AccessFact(answer, why if answer != OPEN else "")
            sized.clear()
        elif answer == ENDS_ONLY and any(vehicle_property(clause) for clause in rest):
            sized.append(why)
        elif answer == ENDS_ONLY and fact.access == OPEN:
            fact = AccessFact(ENDS_ONLY, why)
        elif answer < CLOSED and fact.access == CLOSED and keys.index(key) >= level and _opens_by_date(clauses):
            fact = AccessFact(answer, why if answer != OPEN else "")
    # All of them, so that each outfit can be held against each.
    return AccessFact(ENDS_ONLY, "; ".join(sized)) if sized and fact.access == OPEN else fact


def _opens_by_date(clauses: list[str]) -> bool:
    return bool(clauses) and all(is_by_date(clause) for clause in clauses)


def closed_when(tags: Mapping[str, str]) -> str:
    """Return the closure by date that holds for a car (and so for a car with trailer), as raw text for `closed_on`.

    The text has the form ``BASE; VALUE @ (CONDITION); ...``: what holds otherwise (left out when that is ``yes``), then
    the conditional values in rising strength. It is "" when nothing depends on the date. Conditions on a trailer or one bound
    of size alone are not in it (`judge_access` and the size limits carry them), nor is what is for other vehicles; a bound that
    goes with a date is, and so are limits that hold at some times only (``no @ (height>3.5 m AND Nov-Mar)``).
    ``seasonal=*`` and ``opening_hours`` of a road come in the same form; those of a ferry as days on which it sails.
    """
    own = _closed_by_access(tags)
    sizes = [f"no @ ({condition})" for condition in limits_by_date(tags)]
    return "; ".join([own, *sizes] if own else sizes)


def _closed_by_access(tags: Mapping[str, str]) -> str:
    keys = HIERARCHY["tow"]
    base = "yes"
    level = -1
    for number, key in enumerate(keys):
        value = tags.get(key, "").strip().lower()
        if value not in _SILENT:
            base, level = ("no" if _value(value, key)[0] == CLOSED else "yes"), number
    parts: list[str] = []
    for key, value, condition in tagged_conditionals(tags, keys):
        if keys.index(key) < level and base == "no":
            continue
        clauses = split_and(condition)
        dated = [c for c in clauses if c.lower() not in TRAILER_WORDS]
        if not dated or for_others(clauses) or any(bound_unread(clause) for clause in clauses):
            continue
        closes = _value(value, key)[0] == CLOSED
        if closes and is_size_limit(condition):
            continue
        if base == "no" and not closes and not _opens_by_date(dated):
            continue
        if closes or base == "no" or parts:
            parts.append(f"{'no' if closes else 'yes'} @ ({' AND '.join(clauses)})")
    hours = tags.get("opening_hours", "").strip()
    if hours and hours != "24/7" and not parts and base == "yes":
        if tags.get("highway"):
            return f"no; yes @ ({hours})"
        if tags.get("route") == "ferry":
            return f"no; {SAILS} @ ({hours})"
    seasonal = tags.get("seasonal", "no").strip().lower()
    if not parts and seasonal not in ("", "no"):
        return f"{OUT_OF_SEASON}{seasonal})"
    if not parts:
        return ""
    return "; ".join(parts if base == "yes" else ["no", *parts])


#: Barriers by their answer when no access key of the node speaks. Gates and the like are passed, as routers commonly
#: do (common practice, no source); what is built to stop cars stops ours.
BARRIERS: dict[str, int] = {
    "gate": OPEN, "lift_gate": OPEN, "swing_gate": OPEN, "sliding_gate": OPEN, "toll_booth": OPEN, "border_control": OPEN,
    "cattle_grid": OPEN, "entrance": OPEN, "sally_port": OPEN, "kerb": OPEN, "no": OPEN, "arch": OPEN, "checkpoint": OPEN,
    "coupure": OPEN, "rumble_strip": OPEN, "bump_gate": OPEN,
    "hampshire_gate": ENDS_ONLY, "sliding_beam": ENDS_ONLY, "rope": CLOSED, "chain": CLOSED,
    "bollard": CLOSED, "block": CLOSED, "cycle_barrier": CLOSED, "jersey_barrier": CLOSED, "motorcycle_barrier": CLOSED,
    "bus_trap": CLOSED, "sump_buster": CLOSED, "kissing_gate": CLOSED, "stile": CLOSED, "turnstile": CLOSED,
    "full-height_turnstile": CLOSED, "horse_stile": CLOSED, "wicket_gate": CLOSED, "log": CLOSED, "debris": CLOSED,
    "boulder": CLOSED, "planter": CLOSED, "spikes": CLOSED, "wedge": CLOSED, "barrier_board": CLOSED, "fence": CLOSED,
    "wall": CLOSED, "hedge": CLOSED, "ditch": CLOSED, "guard_rail": CLOSED, "yes": CLOSED, "cable_barrier": CLOSED,
}  # fmt: skip

#: Gates in the widest sense: a plain ``access=yes`` is believed there, while a bollard takes a key that speaks of vehicles.
_GATES = frozenset({"gate", "lift_gate", "swing_gate", "sliding_gate", "hampshire_gate", "sliding_beam", "chain", "rope", "bump_gate",
                    "toll_booth", "border_control", "entrance", "sally_port", "checkpoint"})  # fmt: skip


def judge_barrier(tags: Mapping[str, str], mode: str) -> AccessFact:
    """Judge whether a mode passes a point of the road with a barrier or a ford.

    A gate without access tags is open ("not said whether it is locked"); ``locked=yes`` closes it unless a key says
    ``yes`` or ``designated`` for vehicles. A height or width restrictor with a figure is open here: each outfit is held
    against the figure (`size_limits`). Without one it closes to the van, since such bars are built against it.
    """
    barrier = tags.get("barrier", "").strip().lower()
    if tags.get("ford", "no").strip().lower() not in ("no", "") or tags.get("highway") == "ford":
        return AccessFact(CLOSED, "ford") if mode == "tow" else AccessFact(OPEN, "ford, depth not known")
    fact, said = _by_keys(tags, HIERARCHY[mode], mode)
    if not barrier:
        return fact if said else AccessFact(OPEN)
    if barrier in ("height_restrictor", "width_restrictor"):
        return max(_restrictor(tags, barrier, mode), fact, key=lambda one: one.access)
    default = BARRIERS.get(barrier, CLOSED)
    if said:
        vehicles = any(tags.get(key, "").strip().lower() not in _SILENT for key in HIERARCHY[mode][1:])
        if fact.access != OPEN:
            return AccessFact(fact.access, f"{barrier}, {fact.why}")
        if barrier in _GATES or vehicles:
            return AccessFact(OPEN)
    if default == OPEN and tags.get("locked", "no").strip().lower() == "yes":
        return AccessFact(CLOSED, f"{barrier}, locked=yes")
    if default == OPEN:
        return AccessFact(OPEN, f"{barrier}, not said whether it is locked" if barrier.endswith("gate") and not said else "")
    known = "" if barrier in BARRIERS else " (not a known barrier)"
    return AccessFact(default, f"{barrier}{known}")


def _restrictor(tags: Mapping[str, str], barrier: str, mode: str) -> AccessFact:
    limits = size_limits(tags)
    bound = limits.height_m if barrier == "height_restrictor" else limits.width_m
    if bound != bound and mode == "tow":
        return AccessFact(CLOSED, f"{barrier} without a figure")
    return AccessFact(OPEN, f"{barrier} of {bound:g} m" if bound == bound else "")


def oneway(tags: Mapping[str, str]) -> int | None:
    """Return the direction that cars may drive: 0 both, 1 as drawn, -1 against, ``None`` neither (closed, or changing).

    Motorways and roundabouts are one-way unless they say no. ``reversible`` is ``None``: it changes with the hour;
    ``alternating`` (traffic lights) is both. ``motor_vehicle:backward=no`` and its like are directions too.
    A conditional one-way counts at all hours.
    """
    text = ""
    for key in ("oneway", "oneway:vehicle", "oneway:motor_vehicle", "oneway:motorcar"):
        text = tags.get(key, "").strip().lower() or text
    if text == "reversible":
        return None
    if text in _FORWARD:
        way = 1
    elif text in _BACKWARD:
        way = -1
    elif not text and (tags.get("highway") == "motorway" or tags.get("junction") in ("roundabout", "circular")):
        way = 1
    else:
        way = 0
    forward, backward = way >= 0, way <= 0
    for _, value, _ in tagged_conditionals(tags, ("oneway", "oneway:motor_vehicle", "oneway:motorcar")):
        backward = backward and value not in _FORWARD
        forward = forward and value not in _BACKWARD
        if value == "reversible":
            return None
    forward = forward and _direction_open(tags, "forward")
    backward = backward and _direction_open(tags, "backward")
    return {(True, True): 0, (True, False): 1, (False, True): -1, (False, False): None}[forward, backward]


_FORWARD = frozenset({"yes", "true", "1"})
_BACKWARD = frozenset({"-1", "reverse"})


def _direction_open(tags: Mapping[str, str], direction: str) -> bool:
    answer = OPEN
    for key in HIERARCHY["car"]:
        value = tags.get(f"{key}:{direction}", "").strip().lower()
        if value not in _SILENT:
            answer = _value(value, key)[0]
    return answer != CLOSED
