"""What several sheets need: the plan with its ways as points, places of a plan's spots, sources in few words."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from tripplan.almanac.emergency import emergency_number
from tripplan.model.cautions import CAUTIONS
from tripplan.model.place import Place, Spot
from tripplan.model.plan import Day, Plan
from tripplan.model.trip import Firm
from tripplan.region.region import Region
from tripplan.report import say
from tripplan.report.retell import retell
from tripplan.report.safe import plain
from tripplan.report.sheets.blocks import Beside, Block, Box, Item, Items, Para, Phone, Sheet, Text, texts
from tripplan.report.sheets.letters import needs_latin
from tripplan.report.sheets.near import Hospital, border_near, nearest_hospital
from tripplan.report.sheets.tell import tell, word

__all__ = ["PRACTICE", "Folder", "careful", "emergency_of", "noted", "source_words", "sourced", "step"]

F64 = NDArray[np.float64]

PRACTICE, NO_SOURCE = word("common practice"), word("Common practice, no source")


@dataclass(frozen=True)
class Folder:
    """A plan with its region, and what is looked up in it more than once. ``ways``: day, mode and points of each leg."""

    plan: Plan
    region: Region
    ways: tuple[tuple[int, str, F64], ...]

    def place_of(self, spot: Spot | None) -> Place | None:
        """Return the region's place that a spot is."""
        if spot is None or not 0 <= spot.place < len(self.region.places):
            return None
        return self.region.places[spot.place]

    @cached_property
    def emergency(self) -> tuple[str, str]:
        """The number to call, and how it is known."""
        number, how = emergency_of(self.plan.trip.firm, self.region.meta.country)
        return number, retell(how)

    @cached_property
    def border(self) -> bool:
        """Whether another country's border lies by the way."""
        return border_near(self.region, [points for _, _, points in self.ways])

    def hospital(self, spot: Spot) -> Hospital | None:
        """Return the hospital nearest to a spot."""
        return nearest_hospital(self.region, spot)

    def foot(self, spot: Spot) -> Text:
        """Return the numbers for the foot of a sheet: emergency, the firm, the hospital nearest to where the day ends."""
        firm = self.plan.trip.firm
        number, how = self.emergency
        parts: list[str | Phone] = [
            tell("Emergency: "), Phone(number), tell(" ({how}). Firm: ", how=how), Phone(firm.phone), tell(" ({firm}). ", firm=firm.name)
        ]  # fmt: skip
        found = self.hospital(spot)
        if found is None:
            parts.append(tell("Nearest hospital: not on the map, ask at the site."))
        elif found.phone:
            parts += [
                tell("Nearest hospital: {name}, {km} in a straight line, ", name=found.name or tell("without a name on the map"), km=say.km(1000 * found.km)),
                Phone(found.phone), ".",
            ]  # fmt: skip
        else:
            parts.append(
                tell(
                    "Nearest hospital: {name}, {km} in a straight line.",
                    name=found.name or tell("without a name on the map"),
                    km=say.km(1000 * found.km),
                )
            )
        return tuple(parts)

    def from_whom(self, place: Place | None) -> str:
        """Return who says what a place's facts are: "the map", or the local note."""
        return plain(place.source) if place is not None and place.source not in ("", "map") else tell("the map")

    def keys_of(self, day: Day) -> frozenset[str]:
        """Return the cautions that concern a day."""
        return frozenset(c.key for c in self.plan.cautions if not c.days or day.number in c.days)


def emergency_of(firm: Firm, country: str) -> tuple[str, str]:
    """Return the emergency number and how it is known: the firm's own word first, then the country's number."""
    own = firm.emergency_number.strip()
    number, how = emergency_number(country)
    if own and own not in ("112", number):
        return own, word("as the firm says")
    return number, how


def step(sentence: str, caution: str = "", source: str = "", **values: object) -> Item:
    """Return a thing to do, told with its values, and the source of the caution behind it, else "common practice"."""
    return Item(tell(sentence, **values), source_words(source or (CAUTIONS[caution][1] if caution else PRACTICE)))


def careful(key: str, sentence: str = "", **values: object) -> Item:
    """Return a caution, or a sentence that is said because of it, with the caution's source."""
    text, source = CAUTIONS[key]
    return Item(tell(sentence or text, **values), source_words(source))


def source_words(source: str) -> str:
    """Return who says so; "common practice" and "memory" are told, titles of works stand as they are."""
    return tell(source)


def noted(sheet: Sheet) -> Sheet:
    """Return a sheet, with a note where names on it are in scripts that the PDF writes in Latin letters."""
    if not any(map(needs_latin, texts(sheet))):
        return sheet
    words = tell(
        "Names in [square brackets] stand in the PDF in Latin letters, because its font lacks their own: transliterated letter by "
        "letter, Chinese characters by their Chinese reading, in Japanese names too. itinerary.html shows them as they are written."
    )
    return replace(sheet, blocks=(*sheet.blocks, Para(words, "source")))


def sourced(blocks: Iterable[Block]) -> list[Block]:
    """Return blocks with a number in place of each source, and the sources once at the end: a sheet says each one once."""
    numbers: dict[str, int] = {}
    practice = {source_words(PRACTICE), source_words(NO_SOURCE)}

    def marked(item: Item) -> Item:
        if not item.source or item.source in practice:
            return replace(item, source="")
        return replace(item, source=f"[{numbers.setdefault(item.source, len(numbers) + 1)}]")

    def of(block: Block) -> Block:
        match block:
            case Items():
                return replace(block, items=tuple(map(marked, block.items)))
            case Box():
                return Box(tuple(map(of, block.blocks)))
            case Beside():
                return Beside(tuple(map(of, block.left)), tuple(map(of, block.right)))
            case _:
                return block

    out = [of(block) for block in blocks]
    if numbers:
        listed = "; ".join(f"[{number}] {source}" for source, number in numbers.items())
        out.append(Para(tell("Who says so: {sources}. What has no number is common practice.", sources=listed), "source"))
    return out
