"""Several plans side by side: what each is best for, what it gives up, and where its papers are."""

from __future__ import annotations

from collections.abc import Mapping
from importlib.resources import files

from tripplan.model.choice import Choice, Choices
from tripplan.model.trip import Trip
from tripplan.report import say
from tripplan.report.listing import proof_words
from tripplan.report.safe import plain, safe

__all__ = ["choice_words", "choices_page"]

_ROWS = ("Money", "Towing", "By car alone", "At the wheel", "Longest towing day", "Nights with mains", "Nights with showers",
         "Stays of one night", "Stops for a service")  # fmt: skip


def _figures(choice: Choice, trip: Trip) -> tuple[str, ...]:
    """Return a plan's figures in the order of the rows."""
    sums, nights = choice.sums, trip.nights
    return (
        say.money(sums.money_cents, trip.firm.currency), f"{sums.towing_km:.0f} km", f"{sums.car_km:.0f} km", say.hours_minutes(sums.wheel_s),
        say.hours_minutes(sums.longest_s), f"{sums.powered} of {nights}", f"{sums.showers} of {nights}", str(sums.one_night), str(sums.stops),
    )  # fmt: skip


def _against(choice: Choice) -> list[str]:
    found = [f"gives up: {', '.join(choice.gives_up)}"] if choice.gives_up else []
    return found + ([f"gains: {', '.join(choice.gains)}"] if choice.gains else [])


def choice_words(choices: Choices, trip: Trip, folders: Mapping[str, str]) -> list[str]:
    """Return lines for a terminal: each plan with its figures and what it gives up, then what was left out and why."""
    lines = [f"{len(choices.shown)} plans that really differ:" if len(choices.shown) > 1 else "No other plan really differs:"]
    for number, choice in enumerate(choices.shown, 1):
        money, towing, _, _, longest, powered, showers, single, stops = _figures(choice, trip)
        lines.append(
            f"  {number}. {choice.title}: {money}, {towing} towing (longest day {longest}), mains {powered} nights, showers {showers}, "
            f"{single} {'stay' if single == '1' else 'stays'} of one night, {stops} {'stop' if stops == '1' else 'stops'} for a service"
        )
        lines += [f"     {text}" for text in _against(choice)]
        if choice.key in folders:
            lines.append(f"     papers: {folders[choice.key]}")
    for left in choices.left_out:
        lines.append(f"  {left.title}: not shown, {left.why}")
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
    head = "".join(f'<th scope="col">{safe(c.title)}</th>' for c in shown)
    columns = [_figures(c, trip) for c in shown]
    rows = "".join(
        f'<tr><th scope="row">{safe(name)}</th>' + "".join(f"<td>{safe(column[row])}</td>" for column in columns) + "</tr>"
        for row, name in enumerate(_ROWS)
    )
    rows += '<tr><th scope="row">How sure</th>' + "".join(f"<td>{safe(proof_words(c.plan))}</td>" for c in shown) + "</tr>"
    parts = []
    for choice in shown:
        nights = "".join(
            f"<tr><td>{day.number}</td><td>{safe(say.day_of(day.date))}</td><td>{safe(say.spot_name(day.night.spot))}"
            f"{', mains' if day.night.powered else ''}</td></tr>"
            for day in choice.plan.days
            if day.night is not None
        )
        against = "".join(f"<p>{safe(text[:1].upper() + text[1:])}.</p>" for text in _against(choice))
        folder = folders.get(choice.key, "")
        link = (
            f'<p><a href="{safe(folder)}map.html">Map</a> · <a href="{safe(folder)}itinerary.html">Day sheets</a></p>'
            if choice.key in folders
            else ""
        )
        parts.append(
            f'<section><h2>{safe(choice.title)}</h2>{against}{link}<table><thead><tr><th scope="col">Day</th><th scope="col">Date</th>'
            f'<th scope="col">Night</th></tr></thead><tbody>{nights}</tbody></table></section>'
        )
    left = "".join(f"<li>{safe(item.title)}: not shown, {safe(item.why)}.</li>" for item in choices.left_out)
    left = f"<section><h2>Not shown</h2><ul>{left}</ul></section>" if left else ""
    title = f"{safe(trip.name)}: the choices"
    data = safe(shown[0].plan.data_date)
    return (
        f'<!doctype html><html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{title}</title><style>{css}</style></head><body><main><h1>{title}</h1>"
        f'<p>Each plan keeps every limit and was re-checked; each is best for its own measure.</p><div class="wide"><table><thead><tr><td></td>{head}'
        f"</tr></thead><tbody>{rows}</tbody></table></div>{''.join(parts)}{left}</main>"
        f"<footer><p>Map data © OpenStreetMap contributors, {data}.</p></footer></body></html>\n"
    )
