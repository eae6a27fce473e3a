"""What comes out of the forms, checked field by field: pure functions from texts to a draft and words about what will not do."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import date, datetime, timedelta
from typing import Any

from tripplan.model.errors import BadInputError
from tripplan.model.van import DayWeather
from tripplan.region.region import Region
from tripplan.report.safe import plain
from tripplan.request.writing import key_of, parsed
from tripplan.schedule.suggest_values import Valued
from tripplan.serve.places import Match, look_up

__all__ = [
    "Answers",
    "booking_of",
    "check_spec",
    "closures_in",
    "fresh_draft",
    "instead_of",
    "picks_of",
    "sight_of",
    "start_of",
    "weather_in",
    "weather_of",
    "wishes_of",
    "words_of",
]

MOST_SIGHTS = 20
#: Largest file of closures that a visitor may bring [kB].
MOST_CLOSURES_KB = 300
#: Largest file of weather that a visitor may bring [kB]: a year of days, or sixty stations.
MOST_WEATHER_KB = 60
DEPOT = ("depot", "service")
SEEN = ("sight", "town", "site")
#: A mid-size car with a four-berth van (common practice, no source).
USUAL_OUTFIT = {"car_mass_kg": 1900.0, "van_mass_kg": 1300.0, "height_m": 2.6, "width_m": 2.3, "length_m": 11.5}
OUTFIT_KEYS = tuple(USUAL_OUTFIT)


class Answers:
    """The texts of one form: read one by one, with what is wrong kept by field."""

    def __init__(self, form: Mapping[str, Any]) -> None:
        self._form = form
        self.wrong: dict[str, str] = {}
        self.several: dict[str, list[Match]] = {}

    def text(self, name: str, most: int = 200) -> str:
        """Return one text without what does not print."""
        value = self._form.get(name, "")
        return "".join(c for c in value if c.isprintable()).strip()[:most] if isinstance(value, str) else ""

    def picked(self) -> list[str]:
        """Return the identities of the places that were ticked, on the list or on the map, in the order of the form."""
        return [self.text(name, 60) for name in self._form if isinstance(name, str) and name.startswith("pick-")]

    def key(self, name: str, table: str, key: str, default: Any = None) -> Any:
        """Return a value as a trip file's key takes it; ``default`` for an empty text, or for one that will not do."""
        text = self.text(name)
        if not text and default is not None:
            return default
        return self.read(name, lambda: parsed(key_of(table, key), text, ""), default)

    def read(self, name: str, reader: Callable[[], Any], default: Any = None) -> Any:
        """Return what a reader makes of a field; what it refuses is kept."""
        try:
            return reader()
        except BadInputError as error:
            self.wrong[name] = words_of(error)
            return default

    def place(self, name: str, region: Region, roles: tuple[str, ...], *, only: bool = False) -> dict[str, str] | None:
        """Return a place; one of several must be chosen first. What was chosen stands under ``name_is``."""
        chosen, typed = self.text(f"{name}_is"), self.text(name)
        if chosen and self.text(f"{name}_typed") == typed:
            typed = chosen
        if not typed:
            self.wrong[name] = "Name a place."
            return None
        found: list[Match] = self.read(name, lambda: look_up(region, typed, roles, only=only), [])
        if len(found) > 1:
            self.several[name] = found
            self.wrong[name] = "Several places fit. Choose one."
        if len(found) != 1:
            return None
        # A point that was chosen on the map is called what was typed.
        bare = found[0].label[:1] in "-0123456789" and typed != self.text(name)
        return {"place": found[0].place, "label": plain(self.text(name))[:120] if bare else found[0].label}


def words_of(error: BadInputError) -> str:
    """Return a refusal as sentences for somebody who sees a form, not a file."""
    what = f"{error.where}: {error.what}" if error.where.startswith(("The file", "Your file")) else error.what
    parts = [what, f"Accepted: {error.accepted}" if error.accepted else "", error.next_step]
    sentences = [part[:1].upper() + part[1:].rstrip(".") + "." for part in parts if part]
    return plain(" ".join(sentences))[:600]


def fresh_draft(vans: Sequence[dict[str, Any]], now: datetime) -> dict[str, Any]:
    """Return the draft that a new visitor begins with: nothing decided but the usual."""
    pick_up = (now + timedelta(days=14)).replace(hour=10, minute=0, second=0, microsecond=0, tzinfo=None)
    return {
        "name": "",
        "van": dict(vans[0]),
        "party": {"name": "party", "adults": 2, "children": 0, "pets": 0},
        "outfit": {"name": "car and van", **USUAL_OUTFIT},
        "pick_up": {"place": "", "label": "", "time": pick_up.isoformat(timespec="minutes")},
        "return": {"place": "", "label": "", "time": (pick_up + timedelta(days=7, hours=5)).isoformat(timespec="minutes")},
        "full_water": True,
        "sights": [],
        "bookings": [],
        "wishes": {},
        "driving": {},
    }


def start_of(answers: Answers, draft: dict[str, Any], vans: Sequence[dict[str, Any]], region: Region) -> dict[str, Any]:
    """Return the draft with van, party, times and places of the first form."""
    number = answers.text("van")
    van = (
        dict(vans[int(number)])
        if number.isascii() and number.isdigit() and len(number) < 4 and int(number) < len(vans)
        else draft["van"]
    )
    party = {
        "name": "party",
        "adults": answers.key("adults", "party", "adults", 2),
        "children": answers.key("children", "party", "children", 0),
        "pets": answers.key("pets", "party", "pets", 0),
    }
    if party["adults"] + party["children"] > van["berths"]:
        answers.wrong["van"] = f"{party['adults'] + party['children']} people do not fit: this van has {van['berths']} berths."
    outfit = {"name": "car and van", **{k: answers.key(k, "outfit", k, USUAL_OUTFIT[k]) for k in OUTFIT_KEYS}}
    start = answers.place("pick_up", region, DEPOT)
    same = not answers.text("return")
    end = start if same else answers.place("return", region, DEPOT)
    times = {}
    for name in ("pick_up", "return"):
        when = answers.key(f"{name}_time", "pick_up", "time")
        if when is not None and not 1990 <= when.year <= 2100:
            answers.wrong[f"{name}_time"] = "Accepted: years 1990 to 2100."
        times[name] = when.isoformat(timespec="minutes") if when is not None else answers.text(f"{name}_time", 30)
    if not answers.wrong.keys() & {"pick_up_time", "return_time"}:
        first, last = (datetime.fromisoformat(times[name]) for name in ("pick_up", "return"))
        nights = (last.date() - first.date()).days
        if last <= first or not 1 <= nights <= 35:
            answers.wrong["return_time"] = "The return must lie 1 to 35 nights after the pick-up."
    typed = {name: {"place": answers.text(name), "label": answers.text(name)} for name in ("pick_up", "return")}
    return {
        **draft, "name": answers.text("name", 80), "van": van, "party": party, "outfit": outfit, "full_water": answers.text("full_water") == "yes",
        "pick_up": {**(start or typed["pick_up"]), "time": times["pick_up"]},
        "return": {**(end or typed["return"]), "time": times["return"]},
        "bookings": [b for b in draft.get("bookings", []) if times["pick_up"][:10] <= b["night"] < times["return"][:10]],
    }  # fmt: skip


def sight_of(answers: Answers, draft: dict[str, Any], region: Region) -> dict[str, Any] | None:
    """Return one more place to see; ``None`` when something has to be mended."""
    if len(draft["sights"]) - (instead_of(answers, draft) >= 0) >= MOST_SIGHTS:
        answers.wrong["place"] = f"{MOST_SIGHTS} places are the most. Take one out first."
        return None
    found = answers.place("place", region, SEEN)
    nights = answers.key("nights", "sights", "nights", 0)
    hours = answers.key("hours", "sights", "hours", 1.5)
    if nights == 0 and hours == 0:
        answers.wrong["hours"] = "Say how long the visit is."
    sight = {
        "must": answers.text("must") != "no",
        "via": answers.key("via", "sights", "via", "either"),
        "hours": hours,
        "nights": nights,
        "near_km": answers.key("near_km", "sights", "near_km", 15.0),
        "value_cents": round(100 * answers.read("value", lambda: _amount(answers.text("value")), 20.0)),
    }
    return None if found is None or answers.wrong else {**found, **sight}


def instead_of(answers: Answers, draft: dict[str, Any]) -> int:
    """Return the number of the sight that is being changed, -1 none."""
    number = answers.text("instead", 4)
    return int(number) if number.isascii() and number.isdigit() and int(number) < len(draft["sights"]) else -1


def picks_of(answers: Answers, draft: dict[str, Any], valued: Sequence[Valued], region: Region) -> list[dict[str, Any]]:
    """Return the sights that were ticked and are not in the draft yet: each must be seen, for as long as is usual there."""
    by_ref = {region.places[sight.spot.place].ref: sight for sight in valued if sight.spot.place >= 0}
    known = {sight["place"] for sight in draft["sights"]}
    found = [by_ref[ref] for ref in dict.fromkeys(answers.picked()) if ref in by_ref and ref not in known]
    if len(draft["sights"]) + len(found) > MOST_SIGHTS:
        answers.wrong["picks"] = f"{MOST_SIGHTS} places are the most. Tick fewer, or take one out first."
        return []
    return [
        {
            "place": region.places[sight.spot.place].ref,
            "label": plain(sight.spot.name)[:120],
            "must": True,
            "via": "either",
            "hours": sight.hours,
            "nights": 0,
            "near_km": 15.0,
            "value_cents": 0,
        }
        for sight in found
    ]


def weather_in(answers: Answers, upload: Any, draft: dict[str, Any], region: Region) -> str:
    """Return a file of weather as text, once it has been read as a file is; what is wrong with it stands under ``weather_file``."""
    text = _text_in(
        answers, "weather_file", upload, MOST_WEATHER_KB, "a .csv with the weather by day, or a climate table by month"
    )
    if not text:
        return ""
    first, last = (date.fromisoformat(draft[end]["time"][:10]) for end in ("pick_up", "return"))
    dates = [first + timedelta(days=d) for d in range((last - first).days + 1)]
    west, south, east, north = region.meta.bbox
    middle = (west + ((east - west) % 360) / 2 + 180) % 360 - 180, (south + north) / 2
    found = answers.read("weather_file", lambda: weather_of(text, dates, [middle]))
    if found is not None and not found:
        answers.wrong["weather_file"] = (
            "The file tells no weather for your dates. Accepted: rows with dates of the trip, or a station near it."
        )
    return "" if answers.wrong else text


def weather_of(text: str, dates: Sequence[date], places: Sequence[tuple[float, float]]) -> dict[date, DayWeather]:
    """Return the weather of dates from a text: a forecast by day, or else a climate table by station and month.

    Parameters
    ----------
    places
        Longitude and latitude of the places that the trip names, the pick-up first [degrees].

    Raises
    ------
    BadInputError
        As `tripplan.request.climate_file` does.
    """
    from tripplan.almanac.normals import weather_by_date
    from tripplan.request.climate_file import climate_of, days_of

    header = next((line for line in text.splitlines() if line.strip()), "").casefold()
    if "station" in header:
        return dict(weather_by_date(climate_of(text, "Your file", "your file"), dates, places))
    wanted = set(dates)
    return {day: weather for day, weather in days_of(text, "Your file", "your own file", *places[0]) if day in wanted}


def closures_in(answers: Answers, upload: Any, region: Region) -> str:
    """Return a file of closures as text, once it has been read as a file is; what is wrong with it stands under ``file``."""
    from zoneinfo import ZoneInfo

    from tripplan.request.closures import ClosureFile, check_order, closures_of

    text = _text_in(answers, "file", upload, MOST_CLOSURES_KB, "GeoJSON with closures, or a WZDx work zone feed")
    if not text:
        return ""

    def read() -> ClosureFile:
        file = closures_of(text, "Your file", ZoneInfo(region.meta.tz))
        check_order(file, region)
        return file

    found = answers.read("file", read)
    if found is not None and not found.closures:
        answers.wrong["file"] = "The file closes no road. " + " ".join(f"{one}." for one in found.left_out[:3])
    return "" if answers.wrong else text


def _text_in(answers: Answers, name: str, upload: Any, most_kb: int, accepted: str) -> str:
    """Return a file as text; what is wrong with it stands under a name."""
    if not isinstance(upload, bytes) or not upload:
        answers.wrong[name] = "Choose a file."
        return ""
    if len(upload) > most_kb * 1000:
        answers.wrong[name] = f"The file is too large. Accepted: at most {most_kb} kB."
        return ""
    try:
        return upload.decode("utf-8-sig")
    except UnicodeDecodeError:
        answers.wrong[name] = f"The file is not UTF-8 text. Accepted: {accepted}."
        return ""


def wishes_of(answers: Answers, draft: dict[str, Any]) -> dict[str, Any]:
    """Return the draft with the wishes and the limits of a day."""
    wishes: dict[str, Any] = {
        "powered_nights_at_least": answers.key("powered", "wishes", "powered_nights_at_least", 0),
        "max_one_night_stays": answers.key("one_night", "wishes", "max_one_night_stays", -1),
        "presumed_offers": answers.text("presumed") == "yes",
    }
    money = answers.text("budget")
    wishes["budget_cents"] = round(100 * answers.read("budget", lambda: _amount(money), 0)) if money else -1
    driving: dict[str, Any] = {
        "max_h": answers.key("max_h", "driving", "max_h", 4.0),
        "first_day_max_h": answers.key("first_day_max_h", "driving", "first_day_max_h", 2.0),
        "ferries": answers.text("ferries") == "yes",
        "tolls": answers.text("tolls") == "yes",
    }
    return {**draft, "wishes": wishes, "driving": driving}


def booking_of(answers: Answers, draft: dict[str, Any], region: Region) -> dict[str, str] | None:
    """Return a night that is booked; ``None`` when something has to be mended."""
    night: date | None = answers.key("night", "bookings", "night")
    if night is not None and not draft["pick_up"]["time"][:10] <= night.isoformat() < draft["return"]["time"][:10]:
        answers.wrong["night"] = "That night lies outside the trip."
    found = answers.place("site", region, ("site",), only=True)
    if night is None or found is None or answers.wrong:
        return None
    return {"night": night.isoformat(), **found}


def check_spec(answers: Answers, file_name: str) -> dict[str, Any]:
    """Return how somebody's way is to be checked. Of the file's name only a known ending is taken."""
    outfit = {"name": "the outfit given", **{k: answers.key(k, "outfit", k, USUAL_OUTFIT[k]) for k in OUTFIT_KEYS}}
    day = answers.text("day")
    when = answers.key("day", "bookings", "night") if day else None
    if when is not None and not 1990 <= when.year <= 2100:
        answers.wrong["day"] = "Accepted: years 1990 to 2100."
    kind = answers.text("as") if answers.text("as") in ("track", "way-points") else "auto"
    ending = next(
        (e for e in (".gpx", ".kml", ".geojson", ".json", ".csv", ".tsv", ".txt") if file_name.casefold().endswith(e)), ""
    )
    return {"outfit": outfit, "day": when.isoformat() if when else "", "as": kind, "ending": ending}


def _amount(text: str) -> float:
    try:
        value = float(text.replace(",", ".")) if text else 20.0
    except ValueError:
        value = -1.0
    if not 0 <= value <= 100_000:
        raise BadInputError(f'"{text[:30]}" will not do', accepted="an amount of money such as 450")
    return value
