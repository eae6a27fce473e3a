"""What each wish costs: the trip planned once more without it, wish by wish. Pure functions but for the planner handed in."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from tripplan.model.choice import Sums
from tripplan.report import say

__all__ = ["Lifted", "cost_row", "lifted"]

#: Longest day and longest first day when the limits on driving are lifted [h]: what a day of daylight can hold at all.
_NO_LIMIT_H = 12.0
_NOTHING = "\N{EN DASH}"


@dataclass(frozen=True, slots=True)
class Lifted:
    """A draft without one of its wishes; ``wish`` says which in words."""

    wish: str
    draft: dict[str, Any]


def lifted(draft: dict[str, Any]) -> list[Lifted]:
    """Return the draft without each of its wishes in turn; what was not wished for is no wish."""
    wishes, driving = draft.get("wishes", {}), draft.get("driving", {})
    out = [
        Lifted(
            f"To see {sight.get('label') or sight['place']}",
            {**draft, "sights": [s for k, s in enumerate(draft["sights"]) if k != n]},
        )
        for n, sight in enumerate(draft.get("sights", ()))
    ]
    out += [
        Lifted(
            f"The night of {booking['night']} at {booking.get('label') or booking['place']}",
            {**draft, "bookings": [b for b in draft["bookings"] if b is not booking]},
        )
        for booking in draft.get("bookings", ())
    ]

    def without(wish: str, table: str, **change: Any) -> None:
        out.append(Lifted(wish, {**draft, table: {**draft.get(table, {}), **change}}))

    if (powered := wishes.get("powered_nights_at_least", 0)) > 0:
        without(f"{powered} night{'s' if powered != 1 else ''} with mains at least", "wishes", powered_nights_at_least=0)
    if (single := wishes.get("max_one_night_stays", -1)) >= 0:
        without(f"At most {single} stay{'s' if single != 1 else ''} of a single night", "wishes", max_one_night_stays=-1)
    if wishes.get("budget_cents", -1) >= 0:
        without("The most money", "wishes", budget_cents=-1)
    if not wishes.get("presumed_offers", True):
        without("Only services that the map tells for sure", "wishes", presumed_offers=True)
    if not driving.get("ferries", True):
        without("No ferries", "driving", ferries=True)
    if not driving.get("tolls", True):
        without("No toll roads", "driving", tolls=True)
    usual, first = driving.get("max_h", 4.0), driving.get("first_day_max_h", 2.0)
    if min(usual, first) < _NO_LIMIT_H:
        words = f"At most {usual:g} h of driving a day, {first:g} h on the first"
        without(words, "driving", max_h=_NO_LIMIT_H, first_day_max_h=_NO_LIMIT_H)
    return out


def cost_row(wish: Lifted, own: Sums, currency: str, plan_without: Callable[[dict[str, Any]], Sums | str]) -> dict[str, Any]:
    """Return what a wish costs, as the page shows it: the plan as it is less the plan without the wish.

    Parameters
    ----------
    plan_without
        Gives the sums of the best plan for a draft, or says why there is none.
    """
    found = plan_without(wish.draft)
    if isinstance(found, str):
        return {"wish": wish.wish, "why": found, "figures": []}
    minutes = round((own.wheel_s - found.wheel_s) / 60)
    km = round(own.towing_km - found.towing_km)
    car = round(own.car_km - found.car_km)
    cents = own.money_cents - found.money_cents
    figures = [
        _signed(km, f"{abs(km)} km"),
        _signed(car, f"{abs(car)} km"),
        _signed(minutes, f"{abs(minutes)} min"),
        _signed(cents, say.money(abs(cents), currency)),
    ]
    return {"wish": wish.wish, "why": "", "figures": figures, "nothing": _is_nothing(figures)}


def _signed(value: int, words: str) -> str:
    return ("+" if value > 0 else "\N{MINUS SIGN}") + words if value else _NOTHING


def _is_nothing(figures: Sequence[str]) -> bool:
    return all(figure == _NOTHING for figure in figures)
