"""Several plans side by side: what each is best for, what it gives up, and where its papers are."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from importlib.resources import files
from itertools import groupby

from tripplan.model.choice import Choice, Choices, LeftOut
from tripplan.model.plan import Night, Plan
from tripplan.model.trip import Trip
from tripplan.report import say
from tripplan.report.counted import counted, price_words, trip_title
from tripplan.report.language import spoken, tell, tell_n, word
from tripplan.report.retell import retell
from tripplan.report.safe import plain, safe
from tripplan.report.stale import GENERATOR

__all__ = ["choice_words", "choices_page"]

_ROWS = (word("Money"), word("Towing"), word("By car alone"), word("Driven in all"), word("At the wheel"), word("Longest towing day"), word("Nights with mains"),
         word("Nights with showers"), word("Stays of one night"), word("Stops for a service"))  # fmt: skip


def _figures(choice: Choice, trip: Trip) -> tuple[str, ...]:
    """Return a plan's figures in the order of the rows."""
    sums, nights = choice.sums, trip.nights
    return (
        say.money(sums.money_cents, trip.firm.currency), spoken().road(1000 * sums.towing_km), spoken().road(1000 * sums.car_km), spoken().road(1000 * (sums.towing_km + sums.car_km)), say.hours_minutes(sums.wheel_s),
        say.hours_minutes(sums.longest_s), tell("{n} of {all}", n=sums.powered, all=nights), tell("{n} of {all}", n=sums.showers, all=nights), str(sums.one_night), str(sums.stops),
    )  # fmt: skip


def _night_words(night: Night) -> str:
    place = say.spot_name(night.spot)
    return tell("{place}, mains", place=place) if night.powered else place


def _sure(plan: Plan) -> str:
    """Return how sure a plan is to be the best by the measure at its head."""
    if plan.proof.proven:
        return tell("proven best by its own measure")
    return tell(
        "not proven best: by its own measure it may come to {percent} % more than it must",
        percent=spoken().number(100 * plan.proof.gap, 1),
    )


def _stays(plan: Plan) -> Iterator[tuple[str, str, str]]:
    """Yield each stay: numbers of its nights, its first date and for how long, where."""
    nights = [(day, day.night) for day in counted(plan).days if day.night is not None]
    for _, group in groupby(nights, key=lambda pair: (pair[1].ref, pair[1].spot, pair[1].powered)):
        stay = list(group)
        (first, night), count = stay[0], len(stay)
        when = tell_n("{day}, {n} night", "{day}, {n} nights", count, day=say.day_of(first.date))
        yield say.ranges(day.number for day, _ in stay), when, _night_words(night)


def _left_words(left: LeftOut) -> str:
    return tell("{title}: not shown, {why}", title=tell(left.title), why=retell(left.why))


def _against(choice: Choice, first: Choice) -> list[str]:
    """Return what is worse and what is better about a plan than about the first."""
    sides = (
        (word('worse than "{title}": {what}'), choice.gives_up),
        (word('better than "{title}": {what}'), choice.gains),
    )
    return [tell(sentence, title=tell(first.title), what=", ".join(map(retell, what))) for sentence, what in sides if what]


def choice_words(choices: Choices, trip: Trip, folders: Mapping[str, str]) -> list[str]:
    """Return lines for a terminal: each plan with its figures and what it gives up, then what was left out and why."""
    lines = [
        tell("{n} plans that really differ:", n=len(choices.shown))
        if len(choices.shown) > 1
        else tell("Only one plan, no other really differs:")
    ]
    for number, choice in enumerate(choices.shown, 1):
        _, towing, car, _, _, longest, powered, showers, single, stops = _figures(choice, trip)
        lines.append(
            f"  {number}. "
            + tell(
                "{title}: {money}, {towing} towing (longest day {longest}), {car} by car alone, mains {powered} nights, showers {showers}, {stays}, {stops}",
                title=tell(choice.title),
                money=price_words(choice.sums.money_cents, trip.firm.currency),
                towing=towing,
                car=car,
                longest=longest,
                powered=powered,
                showers=showers,
                stays=tell_n("{n} stay of one night", "{n} stays of one night", int(single)),
                stops=tell_n("{n} stop for a service", "{n} stops for a service", int(stops)),
            )
        )
        lines += [f"     {text}" for text in _against(choice, choices.shown[0])]
        if choice.key in folders:
            lines.append("     " + tell("papers: {folder}", folder=folders[choice.key]))
    for left in choices.left_out:
        lines.append(f"  {_left_words(left)}")
    return [plain(line) for line in lines]


def choices_page(choices: Choices, trip: Trip, folders: Mapping[str, str]) -> str:
    """Return a page that sets the plans beside each other.

    Parameters
    ----------
    folders
        Where each plan's papers lie, by its key, as a relative address.
    """
    css = files("tripplan.report").joinpath("assets/sheet.css").read_text(encoding="utf-8")
    shown = choices.shown
    head = "".join(f'<th scope="col">{safe(tell(c.title))}</th>' for c in shown)
    columns = [_figures(c, trip) for c in shown]
    rows = "".join(
        f'<tr><th scope="row">{safe(tell(name))}</th>' + "".join(f"<td>{safe(column[row])}</td>" for column in columns) + "</tr>"
        for row, name in enumerate(_ROWS)
    )
    rows += (
        '<tr><th scope="row">'
        + safe(tell("How sure"))
        + "</th>"
        + "".join(f"<td>{safe(_sure(c.plan))}</td>" for c in shown)
        + "</tr>"
    )
    map_word, sheets_word = safe(tell("Map")), safe(tell("Day sheets"))
    day_word, date_word, night_word = safe(tell("Night")), safe(tell("When")), safe(tell("Place"))
    lead = safe(
        tell("Each plan keeps every limit and was re-checked; each is best for its own measure.")
        if len(shown) > 1
        else tell("The plan keeps every limit and was re-checked; none of the others tried really differs from it.")
    )
    parts = []
    for choice in shown:
        nights = "".join(
            f"<tr><td>{safe(numbers)}</td><td>{safe(when)}</td><td>{safe(where)}</td></tr>"
            for numbers, when, where in _stays(choice.plan)
        )
        against = "".join(f"<p>{safe(say.upper_first(text))}.</p>" for text in _against(choice, shown[0]))
        folder = folders.get(choice.key, "")
        link = (
            f'<p><a href="{safe(folder)}map.html">{map_word}</a> · <a href="{safe(folder)}itinerary.html">{sheets_word}</a></p>'
            if choice.key in folders
            else ""
        )
        parts.append(
            f'<section><h2>{safe(tell(choice.title))}</h2>{against}{link}<table><thead><tr><th scope="col">{day_word}</th><th scope="col">{date_word}</th>'
            f'<th scope="col">{night_word}</th></tr></thead><tbody>{nights}</tbody></table></section>'
        )
    hidden = tell("Not shown")
    reason = word("{title}: {why}")
    left = "".join(f"<li>{safe(tell(reason, title=tell(item.title), why=retell(item.why)))}.</li>" for item in choices.left_out)
    left = f"<section><h2>{safe(hidden)}</h2><ul>{left}</ul></section>" if left else ""
    title = safe(tell("{name}: the choices", name=trip_title(trip)))
    data = safe(tell("Map data © OpenStreetMap contributors, {date}.", date=shown[0].plan.data_date))
    return (
        f'<!doctype html><html lang="{spoken().tag}"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">'
        f"{GENERATOR}<title>{title}</title><style>{css}</style></head><body><main><h1>{title}</h1>"
        f'<p>{lead}</p><table class="compare" style="--plans: {len(shown)}"><thead><tr><td></td>{head}'
        f"</tr></thead><tbody>{rows}</tbody></table>{''.join(parts)}{left}</main>"
        f"<footer><p>{data}</p></footer></body></html>\n"
    )
