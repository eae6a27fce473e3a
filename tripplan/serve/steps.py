"""The three forms of a trip: van and times, places to see, wishes. Each page is a form that works without scripts."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

from starlette.requests import Request
from starlette.responses import Response

from tripplan.model.errors import BadInputError
from tripplan.report.safe import plain
from tripplan.serve.closed import closure_rows
from tripplan.serve.draft import trip_in, weather_rows
from tripplan.serve.forms import (
    MOST_CLOSURES_KB,
    MOST_SIGHTS,
    MOST_WEATHER_KB,
    Answers,
    booking_of,
    closures_in,
    fresh_draft,
    instead_of,
    picks_of,
    sight_of,
    start_of,
    weather_in,
    wishes_of,
    words_of,
)
from tripplan.serve.places import Reached
from tripplan.serve.site import Form, Site

__all__ = [
    "closures_form",
    "places_form",
    "places_page",
    "start_form",
    "start_page",
    "weather_form",
    "wishes_form",
    "wishes_page",
]

#: Fields of a place that stand again as they were typed while something has to be mended.
_AS_TYPED = ("hours", "nights", "near_km", "via", "must", "value")


def _draft(site: Site, request: Request) -> dict[str, Any]:
    found = site.kept.draft(site.session(request), time.time())
    return found or fresh_draft(site.settings.vans, site.now_here())


def _keep(site: Site, request: Request, draft: dict[str, Any]) -> None:
    site.kept.keep_draft(site.session(request), draft, time.time())


def _ready(draft: dict[str, Any]) -> bool:
    return bool(draft["pick_up"]["place"])


# ------------------------------------------------------------------------------------------------- van, party, times


def start_page(site: Site, request: Request) -> Response:
    """Show the first form."""
    return _start(site, request, _draft(site, request), Answers({}))


def _start(site: Site, request: Request, draft: dict[str, Any], answers: Answers, status: int = 200) -> Response:
    depots = [p for p in site.region.places if p.role == "depot" and p.name][:30]
    vans = [
        {"name": plain(van["name"]), "told": f"{van['berths']} berths, {van['fresh_l']:g} L fresh water, {van['grey_l']:g} L grey, {van['cassette_l']:g} L cassette, "
         f"{van['gas_bottles']} × {van['gas_bottle_kg']:g} kg gas", "chosen": van == draft["van"]}
        for van in site.settings.vans
    ]  # fmt: skip
    return site.page(
        request, "start.html", status, draft=draft, vans=vans, wrong=answers.wrong, several=answers.several,
        depots=[plain(p.name) for p in depots], step=1,
    )  # fmt: skip


def start_form(site: Site, request: Request, form: Form) -> Response:
    """Take the first form."""
    answers = Answers(form)
    draft = start_of(answers, _draft(site, request), site.settings.vans, site.region)
    if not answers.wrong:
        answers.read("pick_up_time", lambda: _checked(site, draft))
    if answers.wrong:
        return _start(site, request, draft, answers, 422)
    _keep(site, request, draft)
    return site.go(request, "/places")


def _checked(site: Site, draft: dict[str, Any]) -> None:
    """Refuse now what planning would refuse: an outfit that cannot be, and a depot that is closed."""
    from tripplan.schedule.hours import depot_hours_of

    depot_hours_of(trip_in({**draft, "sights": [], "bookings": []}, site.settings.firm, site.region), site.region)


# ------------------------------------------------------------------------------------------------- places to see


def places_page(site: Site, request: Request) -> Response:
    """Show the places to see and how far they are."""
    draft = _draft(site, request)
    if not _ready(draft):
        return site.go(request, "/")
    edited = request.query_params.get("edit", "")[:4]
    values: dict[str, str] = {}
    if edited.isascii() and edited.isdigit() and int(edited) < len(draft["sights"]):
        sight = draft["sights"][int(edited)]
        name = sight.get("label") or sight["place"]
        values = {
            "instead": edited, "place": name, "place_typed": name, "place_is": sight["place"], "hours": f"{sight['hours']:g}", "nights": str(sight["nights"]),
            "near_km": f"{sight['near_km']:g}", "via": sight["via"], "must": "yes" if sight["must"] else "no", "value": f"{sight['value_cents'] / 100 or 20:g}",
        }  # fmt: skip
    return _places(site, request, draft, Answers(values))


def _places(site: Site, request: Request, draft: dict[str, Any], answers: Answers, status: int = 200) -> Response:
    fault = ""
    try:
        reach = site.reach.chosen(draft)
        near = list(zip(site.listed, site.reach.listed(draft, site.listed), strict=True))
    except BadInputError as error:
        fault = words_of(error)
        reach, near = [Reached(fault, "", reached=False)] * len(draft["sights"]), []
    ticked = set(answers.picked())
    there = {sight["place"] for sight in draft["sights"]}
    listed: list[dict[str, Any]] = [
        {
            "number": sight.spot.place,
            "ref": ref,
            "name": plain(sight.spot.name),
            "hours": sight.hours,
            "reach": far,
            "on": ref in ticked,
        }
        for sight, far in near
        if (ref := site.region.places[sight.spot.place].ref) not in there
    ]
    listed.sort(key=lambda entry: not entry["reach"].reached)
    return site.page(
        request, "places.html", status, draft=draft, reach=reach, listed=listed, more=max(0, len(site.sights) - len(site.listed)), fault=fault,
        wrong=answers.wrong, several=answers.several, typed=answers.text("place"), was={name: answers.text(name, 20) for name in _AS_TYPED},
        instead=instead_of(answers, draft), chosen_is=answers.text("place_is"), full=len(draft["sights"]) >= MOST_SIGHTS, currency=site.settings.firm.get("currency", ""), step=2,
    )  # fmt: skip


def places_form(site: Site, request: Request, form: Form) -> Response:
    """Add places, change one, take one out, or go on."""
    draft, answers = _draft(site, request), Answers(form)
    if not _ready(draft):
        return site.go(request, "/")
    out = answers.text("out")
    if out.isascii() and out.isdigit() and len(out) < 4:
        draft["sights"] = [sight for n, sight in enumerate(draft["sights"]) if n != int(out)]
        _keep(site, request, draft)
        return site.go(request, "/places")
    instead = instead_of(answers, draft)
    picks = picks_of(answers, draft, site.sights, site.region)
    if picks:
        draft["sights"] = [*draft["sights"], *picks]
        _keep(site, request, draft)
    named = answers.text("place")
    if named and not answers.wrong:
        sight = sight_of(answers, draft, site.region)
        if sight is not None:
            same = [n for n, one in enumerate(draft["sights"]) if one["place"] == sight["place"]]
            at = instead if instead >= 0 else same[0] if same else len(draft["sights"])
            draft["sights"] = [*draft["sights"][:at], sight, *draft["sights"][at + 1 :]]
            _keep(site, request, draft)
    elif answers.text("do") == "add" and not picks and not answers.wrong:
        answers.wrong["picks"] = "Tick a place, or name one."
    if answers.wrong:
        return _places(site, request, draft, answers, 422)
    return site.go(request, "/wishes" if answers.text("do") == "on" else "/places")


# ------------------------------------------------------------------------------------------------- wishes


def wishes_page(site: Site, request: Request) -> Response:
    """Show the wishes and what was chosen."""
    draft = _draft(site, request)
    return _wishes(site, request, draft, Answers({})) if _ready(draft) else site.go(request, "/")


def _wishes(site: Site, request: Request, draft: dict[str, Any], answers: Answers, status: int = 200) -> Response:
    closures: list[dict[str, str]] = []
    weather: list[dict[str, str]] = []
    try:
        trip = site.closed.on(trip_in({**draft, "sights": [], "bookings": []}, site.settings.firm, site.region))
        closures, weather = closure_rows(trip.closures), weather_rows(trip)
    except BadInputError as error:
        answers.wrong.setdefault("plan", words_of(error))
    return site.page(
        request, "wishes.html", status, draft=draft, wrong=answers.wrong, several=answers.several, night=answers.text("night", 20), closures=closures,
        faults=site.closed.faults(), own_closures=bool(draft.get("closures")), most_kb=MOST_CLOSURES_KB, weather=weather, own_weather=bool(draft.get("weather")), weather_kb=MOST_WEATHER_KB, typed=answers.text("site"), currency=site.settings.firm.get("currency", ""), step=3,
    )  # fmt: skip


def wishes_form(site: Site, request: Request, form: Form) -> Response:
    """Take the wishes; add or drop a booked night; or plan."""
    draft, answers = _draft(site, request), Answers(form)
    if not _ready(draft):
        return site.go(request, "/")
    draft = wishes_of(answers, draft)
    out = answers.text("out")
    if out:
        draft["bookings"] = [b for b in draft["bookings"] if b["night"] != out]
    elif not answers.wrong and (answers.text("site") or answers.text("do") == "book"):
        booking = booking_of(answers, draft, site.region)
        if booking is not None:
            others = [b for b in draft["bookings"] if b["night"] != booking["night"]]
            draft["bookings"] = sorted([*others, booking], key=lambda b: str(b["night"]))
    if answers.wrong:
        return _wishes(site, request, draft, answers, 422)
    _keep(site, request, draft)
    do = answers.text("do")
    if out or do not in ("plan", "suggest"):
        return site.go(request, "/wishes#nights")
    try:
        trip_in(draft, site.settings.firm, site.region)
    except BadInputError as error:
        answers.wrong["plan"] = words_of(error)
        return _wishes(site, request, draft, answers, 422)
    return site.ask_for(request, do, {"draft": draft, "steps": []})


def closures_form(site: Site, request: Request, form: Form) -> Response:
    """Take a file of closures with the wishes typed beside it, or drop it again."""
    return _file_form(site, request, form, "closures", lambda answers, _: closures_in(answers, form.get("file"), site.region))


def weather_form(site: Site, request: Request, form: Form) -> Response:
    """Take a file of weather with the wishes typed beside it, or drop it again."""
    return _file_form(
        site, request, form, "weather", lambda answers, draft: weather_in(answers, form.get("weather_file"), draft, site.region)
    )


def _file_form(site: Site, request: Request, form: Form, name: str, read: Callable[[Answers, dict[str, Any]], str]) -> Response:
    """Take the text of a file into the draft under a name, or drop it again; ``read`` gives "" where it says what is wrong."""
    draft, answers = _draft(site, request), Answers(form)
    if not _ready(draft):
        return site.go(request, "/")
    draft = wishes_of(answers, draft)
    if answers.text(name) == "drop":
        draft.pop(name, None)
    elif not answers.wrong:
        text = read(answers, draft)
        if text:
            draft[name] = text
    if answers.wrong:
        return _wishes(site, request, draft, answers, 422)
    _keep(site, request, draft)
    return site.go(request, f"/wishes#{name}")
