"""What a powered pitch carries: which things run together on a fuse of so many ampere, and what trips it.

Amps are watts over volts. A fuse lets a little more through for a while; none of that is planned with. Work on mains is for
licensed electricians, and the site says what its posts carry.
"""

from __future__ import annotations

from collections.abc import Sequence

from tripplan.model.van import Van
from tripplan.van.facts import value

__all__ = ["FUSES_A", "Load", "fits_on", "hook_up_words", "mains_loads"]

#: Usual fuses of a pitch [A] (common practice, no source).
FUSES_A = (6.0, 10.0, 16.0)
#: Name and input [W].
Load = tuple[str, float]


def mains_loads(van: Van, heating_w: float) -> tuple[Load, ...]:
    """Return what runs on mains at a stay, in the order in which it is missed [W].

    Parameters
    ----------
    heating_w
        Heat wanted in the coldest hour; where any is, the element counts with all it has.
    """
    loads = (
        ("fridge", van.fridge_w),
        ("charger", van.charger_a * value("charge_v") / value("charger_efficiency")),
        ("heating", van.heater_mains_w if heating_w > 0 else 0.0),
        ("water heater", van.water_heater_mains_w if van.water_heater_l > 0 else 0.0),
        ("kettle", van.kettle_w),
    )
    return tuple((name, watts) for name, watts in loads if watts > 0)


def fits_on(loads: Sequence[Load], fuse_a: float, volts: float) -> tuple[tuple[Load, ...], tuple[Load, ...]]:
    """Return what runs together on a fuse, taken in order as far as it carries them, and what does not fit beside those."""
    room = fuse_a * volts + 1e-6
    inside: list[Load] = []
    outside: list[Load] = []
    for load in loads:
        if sum(watts for _, watts in inside) + load[1] <= room:
            inside.append(load)
        else:
            outside.append(load)
    return tuple(inside), tuple(outside)


def _off_for(load: Load, inside: Sequence[Load], fuse_a: float, volts: float) -> tuple[Load, ...] | None:
    """Return what must be off for a load to run; the fewest things, those least missed; ``None``: it trips the fuse alone."""
    room = fuse_a * volts + 1e-6
    if load[1] > room:
        return None
    over = sum(watts for _, watts in inside) + load[1] - room
    for one in reversed(inside):
        if one[1] >= over:
            return (one,)
    off: list[Load] = []
    for one in sorted(inside, key=lambda x: -x[1]):
        if sum(watts for _, watts in off) >= over:
            break
        off.append(one)
    return tuple(off)


def hook_up_words(van: Van, heating_w: float, fuses_a: Sequence[float] = FUSES_A) -> tuple[str, ...]:
    """Return what runs together on each fuse and what trips it, a sentence each; the van's own fuse is among them."""
    loads, volts = mains_loads(van, heating_w), van.mains_v
    out = []
    for fuse in sorted({*fuses_a, van.hook_up_a}):
        inside, outside = fits_on(loads, fuse, volts)
        amps = sum(watts for _, watts in inside) / volts
        text = f"{fuse:g} A ({fuse * volts:,.0f} W): {_listed([n for n, _ in inside])} together take {amps:.1f} A"
        for name, watts in outside:
            off = _off_for((name, watts), inside, fuse, volts)
            if off is None:
                text += f"; the {name} alone takes {watts / volts:.1f} A and trips it"
            else:
                text += f"; the {name} ({watts / volts:.1f} A) trips it unless {_listed([n for n, _ in off])} {'is' if len(off) == 1 else 'are'} off"
        out.append(text)
    return tuple(out)


def _listed(names: Sequence[str]) -> str:
    if not names:
        return "nothing"
    return names[0] if len(names) == 1 else ", ".join(names[:-1]) + " and " + names[-1]
