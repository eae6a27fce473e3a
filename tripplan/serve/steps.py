"""The three forms of a trip: van and times, places to see, wishes. Each page is a form that works without scripts."""

from __future__ import annotations

import time
from typing import Any

from starlette.requests import Request
from starlette.responses import Response

from tripplan.model.errors import BadInputError
from tripplan.report.safe import plain
from tripplan.serve.draft import trip_in
from tripplan.serve.forms import MOST_SIGHTS, Answers, booking_of, fresh_draft, sight_of, start_of, wishes_of, words_of
from tripplan.serve.site import Form, Site

__all__ = ["places_form", "places_page", "start_form", "start_page", "wishes_form", "wishes_page"]

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
    return _places(site, request, draft, Answers({})) if _ready(draft) else site.go(request, "/")


def _places(site: Site, request: Request, draft: dict[str, Any], answers: Answers, status: int = 200) -> Response:
    try:
        reach = site.reach.words(draft)
    except BadInputError as error:
        reach = [words_of(error)] * len(draft["sights"])
    return site.page(
        request, "places.html", status, draft=draft, reach=reach, wrong=answers.wrong, several=answers.several,
        typed=answers.text("place"), was={name: answers.text(name, 20) for name in _AS_TYPED}, full=len(draft["sights"]) >= MOST_SIGHTS, currency=site.settings.firm.get("currency", ""), step=2,
    )  # fmt: skip


def places_form(site: Site, request: Request, form: Form) -> Response:
    """Add a place, take one out, or go on."""
    draft, answers = _draft(site, request), Answers(form)
    if not _ready(draft):
        return site.go(request, "/")
    out = answers.text("out")
    if out.isascii() and out.isdigit() and len(out) < 4:
        draft["sights"] = [sight for n, sight in enumerate(draft["sights"]) if n != int(out)]
        _keep(site, request, draft)
        return site.go(request, "/places")
    if answers.text("do") == "on" and not answers.text("place"):
        return site.go(request, "/wishes")
    sight = sight_of(answers, draft, site.region)
    if sight is None:
        return _places(site, request, draft, answers, 422)
    draft["sights"] = [*draft["sights"], sight]
    _keep(site, request, draft)
    return site.go(request, "/wishes" if answers.text("do") == "on" else "/places")


# ------------------------------------------------------------------------------------------------- wishes


def wishes_page(site: Site, request: Request) -> Response:
    """Show the wishes and what was chosen."""
    draft = _draft(site, request)
    return _wishes(site, request, draft, Answers({})) if _ready(draft) else site.go(request, "/")


def _wishes(site: Site, request: Request, draft: dict[str, Any], answers: Answers, status: int = 200) -> Response:
    return site.page(
        request, "wishes.html", status, draft=draft, wrong=answers.wrong, several=answers.several, night=answers.text("night", 20),
        typed=answers.text("site"), currency=site.settings.firm.get("currency", ""), step=3,
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
    if out or answers.text("do") != "plan":
        return site.go(request, "/wishes#nights")
    try:
        trip_in(draft, site.settings.firm, site.region)
    except BadInputError as error:
        answers.wrong["plan"] = words_of(error)
        return _wishes(site, request, draft, answers, 422)
    return site.ask_for(request, "plan", {"draft": draft, "steps": []})
