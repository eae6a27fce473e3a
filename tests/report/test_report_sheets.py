"""The day sheets: one model, two writers that say the same; what stands on each sheet; paper, fonts, letters."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from helpers import plans
from helpers.pages import Page
from helpers.pdftext import links, reader, said, squeezed

from tripplan.almanac.emergency import emergency_number
from tripplan.model.cautions import CAUTIONS, caution
from tripplan.model.plan import Caution, DayEnergy, EnergyLine, Holds, NextChance
from tripplan.region.columns import BASE_LAYERS, Aids
from tripplan.region.region import Region
from tripplan.report.itinerary import itinerary_page, itinerary_pdf, pdf_parts, sheets_of
from tripplan.report.safe import plain
from tripplan.report.sheets.apart import ApartPdf
from tripplan.report.sheets.blocks import Drawing, Heading, Item, Items, Label, Para, Phone, Picture, Sheet, Table, texts
from tripplan.report.sheets.leaves import leaves
from tripplan.report.sheets.letters import latin, visual
from tripplan.report.sheets.near import fuel_gap, nearest_hospital
from tripplan.report.sheets.pdf import A4, LETTER, document, paper_of
from tripplan.report.sheets.slabs import Rule, Slab
from tripplan.report.waylines import way_lines

from hostile import CORPUS  # isort: skip
from test_report_map import assert_harmless, hostile_plan  # isort: skip


def _with_aids(region: Region) -> Region:
    """The island with two hospitals and two fuel stations on its coast road."""
    strings = list(region.strings)
    names = ["Skerry Hospital", "Far Ward", "North Pumps", "South Pumps", "+64 3 555 0911"]
    first = len(strings)
    at = [(region.places[i].lon, region.places[i].lat) for i in (1, 7, 3, 9)]
    e7 = np.rint(np.array(at) * 1e7).astype(np.int32)
    aids = Aids(
        np.array([1, 1, 0, 0], np.uint8), np.array([first, first + 1, first + 2, first + 3], np.int32), np.array([first + 4, -1, -1, -1], np.int32),
        e7[:, 0], e7[:, 1],
    )  # fmt: skip
    return replace(region, strings=(*strings, *names), aids=aids)


REGION = _with_aids(plans.island())
PLAN = plans.plan(7, region=REGION)
SHEETS = sheets_of(PLAN, REGION)
PDF = itinerary_pdf(PLAN, REGION, SHEETS)


def _text(sheet: Sheet) -> str:
    return "\n".join(texts(sheet))


def _sheet(key: str, sheets: tuple[Sheet, ...] = SHEETS) -> Sheet:
    return next(sheet for sheet in sheets if sheet.key == key)


# ------------------------------------------------------------------------------------------------ both say the same


@pytest.mark.parametrize("sheets", [SHEETS, sheets_of(plans.plan(14), plans.island())], ids=["week", "fortnight"])
def test_page_and_pdf_say_the_same(sheets: tuple[Sheet, ...]) -> None:
    """Every text of the model is on the page and in the PDF, and neither has a text of its own beyond margins and footer."""
    plan = PLAN
    html = squeezed(Page(itinerary_page(plan, REGION, sheets)).text)
    pages = "".join(said(itinerary_pdf(plan, REGION, sheets)))
    margins = said(itinerary_pdf(plan, REGION, sheets), margins=True)
    rest = {"html": html, "pdf": pages}
    for sheet in sheets:
        for text in texts(replace(sheet, foot="")):
            for name, whole in (("html", html), ("pdf", pages)):
                assert squeezed(plain(text)) in whole, (name, text)
        foot = squeezed("".join(part if isinstance(part, str) else part.number for part in sheet.foot))
        assert foot in html
        assert any(foot in page for page in margins)
    for text in sorted({squeezed(plain(t)) for sheet in sheets for t in texts(sheet)}, key=len, reverse=True):
        for name in rest:
            rest[name] = rest[name].replace(text, "|")
    assert set(rest["pdf"]) == {"|"}
    # The page has a title, titles and descriptions of drawings, and the footer beside.
    assert len(rest["html"].replace("|", "")) < 1400


def test_one_sheet_a_day_in_order() -> None:
    """The trip at a glance comes first, the first evening before day 1, the return and the cautions last; the PDF has a page for each and a mark to jump to."""
    keys = [sheet.key for sheet in SHEETS]
    assert keys == ["glance", "first-evening", *(f"day-{day.number}" for day in PLAN.days), "return", "cautions"]
    file = reader(PDF)
    assert len(keys) <= len(file.pages) <= len(keys) + 2
    assert [str(mark["/Title"]) for mark in file.outline] == [sheet.title for sheet in SHEETS]


def test_numbers_on_every_sheet() -> None:
    """Emergency number, firm's telephone and nearest hospital stand at the end of each sheet, at the foot of every PDF page, and can be dialled."""
    for sheet in SHEETS:
        foot = "".join(part if isinstance(part, str) else part.number for part in sheet.foot)
        assert "Emergency: 111" in foot  # New Zealand's number (short-number data of libphonenumber 9.0.43)
        assert "+64 3 555 0199" in foot
        assert "Skerry Hospital" in foot or "Far Ward" in foot
    for page in said(PDF, margins=True):
        assert "Emergency:111" in page
        assert "Nearesthospital:" in page
    assert {"tel:111", "tel:+6435550199", "tel:+6435550911"} <= set(links(PDF))
    assert all(link.startswith("tel:") for link in links(PDF))


# ------------------------------------------------------------------------------------------------ what a sheet tells


def test_glance_tells_what_to_book_fuel_and_costs() -> None:
    """The first sheet has map, days, levels, bookings by date with the outfit's length, the longest way without fuel, and the money."""
    text = _text(_sheet("glance"))
    first = PLAN.days[0].night
    assert first is not None
    # The eve of the second stay.
    next_stay = next(day.date for day in PLAN.days if day.night is not None and day.night.spot != first.spot) - timedelta(days=1)
    for words in (
        "car and van together 12.0 m",
        "2 adults",
        "Days",
        "Levels",
        "To book",
        "before you set out",
        f"by {next_stay:%a} {next_stay.day} {next_stay:%b}",
        "Money in all",
        "longest way without a fuel station",
    ):
        assert words in text, words
    assert sum(type(block).__name__ == "Picture" for block in _sheet("glance").blocks) == 2


def test_fuel_gap_by_hand() -> None:
    """Three legs along the equator with stations at known kilometres: the longest stretch between two, or to an end, is found (lengths by arc)."""
    km = np.degrees(1000.0 / 6_371_009.0)
    e7 = np.rint(np.array([10.0, 40.0, 45.0]) * km * 1e7).astype(np.int32)
    aids = Aids(
        np.zeros(3, np.uint8),
        np.array([0, 1, 2], np.int32),
        np.full(3, -1, np.int32),
        e7,
        np.array([0, 20_000, 200_000], np.int32),
    )
    region = replace(REGION, strings=("Ten", "Forty", "Off the way"), aids=aids)

    def line(a: float, b: float) -> np.ndarray:
        return np.column_stack([np.linspace(a, b, 50) * km, np.zeros(50)])

    gap = fuel_gap(region, [(1, line(0, 20)), (2, line(20, 50)), (3, line(50, 62))])
    assert gap is not None
    assert (gap.after, gap.before, gap.day, gap.stations) == ("Ten", "Forty", 2, 2)
    assert gap.metres == pytest.approx(30_000, rel=1e-3)
    to_end = fuel_gap(region, [(1, line(0, 50)), (2, line(50, 90))])
    assert to_end is not None
    assert (to_end.after, to_end.before) == ("Forty", None)
    assert to_end.metres == pytest.approx(50_000, rel=1e-3)
    none = fuel_gap(replace(region, aids=replace(aids, lat_e7=aids.lat_e7 + 5_000_000)), [(1, line(0, 50))])
    assert none is not None
    assert (none.stations, none.after, none.before) == (0, None, None)
    assert fuel_gap(replace(region, aids=None), [(1, line(0, 50))]) is None


def test_nearest_hospital() -> None:
    """The nearest in a straight line, with its telephone; none where the region knows of none or was built before they were kept."""
    found = nearest_hospital(REGION, PLAN.trip.depot)
    assert found is not None
    assert (found.name, found.phone) == ("Skerry Hospital", "+64 3 555 0911")
    assert nearest_hospital(plans.island(), PLAN.trip.depot) is None
    assert REGION.aids is not None
    nameless = replace(REGION, aids=replace(REGION.aids, name=np.where(np.arange(4) == 0, -1, REGION.aids.name).astype(np.int32)))
    found = nearest_hospital(nameless, PLAN.trip.depot)
    assert found is not None
    assert (found.name, found.phone) == ("", "+64 3 555 0911")  # the one with a name is far away
    old = _text(_sheet("day-1", sheets_of(PLAN, plans.island())))
    assert "Nearest hospital: not on the map, ask at the site." in old
    assert "fuel stations are not known" in _text(_sheet("glance", sheets_of(PLAN, plans.island())))


def test_emergency_numbers_say_how_they_are_known() -> None:
    """The Union's directive, a national plan, or what mobile telephones connect anywhere; the firm's own number goes first."""
    assert emergency_number("DE") == ("112", "everywhere in the European Union")  # Directive (EU) 2018/1972, article 109
    assert emergency_number("AU")[0] == "000"
    assert emergency_number("")[0] == "112"
    assert emergency_number("QQ") == emergency_number("NA") == ("112", "from any mobile phone")
    own = replace(PLAN, trip=replace(PLAN.trip, firm=replace(PLAN.trip.firm, emergency_number="555")))
    assert "Emergency: \n555\n (as the firm says)" in _text(_sheet("day-1", sheets_of(own, REGION)))


def _ticks(sheet: Sheet) -> dict[str, list[Item]]:
    """Lists to tick of a sheet, by the heading above each."""
    found: dict[str, list[Item]] = {}

    def walk(blocks: tuple[object, ...]) -> None:
        heading = ""
        for block in blocks:
            if isinstance(block, Heading):
                heading = str(block.text)
            elif isinstance(block, Items) and block.kind == "tick":
                found[heading] = list(block.items)
            elif hasattr(block, "left"):
                walk(block.left)
                walk(block.right)

    walk(sheet.blocks)
    return found


def test_lists_are_made_for_the_day() -> None:
    """Leaving and arriving go by the day: mains or none, gas or not, hose or barrel, ferry, frost; each step with a source."""
    first, second = _sheet("day-1"), _sheet("day-2")
    arriving, leaving = "On arriving, once round the van", "On leaving, once round the van"
    assert any("No mains here" in str(item.text) for item in _ticks(first)[arriving])
    assert any("into the van first, then the post" in str(item.text) for item in _ticks(second)[arriving])
    assert not any("Mains cable" in str(item.text) for item in _ticks(second)[leaving])  # night 1 had none
    day4 = next(day for day in PLAN.days if day.kind == "towing" and day.number > 2 and PLAN.days[day.number - 2].night.powered)  # type: ignore[union-attr]
    assert any("out of the post first" in str(item.text) for item in _ticks(_sheet(f"day-{day4.number}"))[leaving])
    for sheet in SHEETS:
        last = sheet.blocks[-1]
        sources = last.text if isinstance(last, Para) and last.kind == "source" else ""
        for items in _ticks(sheet).values():
            if sheet.kind != "day":
                assert all(item.source for item in items)
                continue
            # A number, and what it stands for at the sheet's end, once.
            numbers = [item.source for item in items if item.source]
            assert numbers
            assert all(str(sources).count(f"{number} ") == 1 for number in numbers)
            assert "What has no number is common practice." in str(sources)
    afloat = replace(PLAN.days[0], legs=tuple(replace(leg, ferry_s=1200.0) for leg in PLAN.days[0].legs))
    frosty = replace(PLAN, days=(afloat, *PLAN.days[1:]), cautions=(*PLAN.cautions, caution("frost", (1,))))
    changed = _sheet("day-1", sheets_of(frosty, REGION))
    assert any("Before boarding: gas off" in str(item.text) for item in _ticks(changed)[leaving])
    assert any("Frost tonight" in str(item.text) for item in _ticks(changed)[arriving])
    assert any("After frost" in str(item.text) for item in _ticks(_sheet("day-2", sheets_of(frosty, REGION)))[leaving])


def test_order_of_leaving_is_one_walk() -> None:
    """Inside first, then the door, the sides, the front with the gas, and the hitch before the last look round."""
    steps = [str(item.text) for item in _ticks(_sheet("day-2"))["On leaving, once round the van"]]

    def at(words: str) -> int:
        return next(i for i, text in enumerate(steps) if words in text)

    order = [
        at("Inside"),
        at("Out of the door"),
        at("Along the sides"),
        at("gas off at the bottle"),
        at("Hitch closed"),
        at("once round the whole outfit"),
    ]
    assert order == sorted(order)


def test_standing_days_have_no_hitching() -> None:
    """On a standing day the lists speak of the car that leaves and the van that stays."""
    day = next(day for day in PLAN.days if day.kind == "standing")
    ticks = _ticks(_sheet(f"day-{day.number}"))
    assert set(ticks) == {"Before the car leaves", "The van stays"}
    assert not any("Hitch" in str(item.text) for items in ticks.values() for item in items if "lock" not in str(item.text))


def test_next_chance_is_told() -> None:
    """Where a service's place may be closed, the sheet tells the nearest other one and the next of the plan, and whether the stores last."""
    day = next(day for day in PLAN.days if any(event.kind == "service" and event.spot for event in day.events))
    event = next(event for event in day.events if event.kind == "service")
    other = PLAN.days[0].end
    chance = NextChance(other, day.number + 1, True, other, 12.0, 15, True)
    events = tuple(replace(e, next_chance=chance, spare_min=40) if e is event else e for e in day.events)
    changed = replace(PLAN, days=tuple(replace(d, events=events) if d is day else d for d in PLAN.days))
    text = _text(_sheet(f"day-{day.number}", sheets_of(changed, REGION)))
    assert f"is closed: nearest other place {other.name}, 12 km, 15 min (known to offer it)." in text
    assert f"is closed: next planned {other.name} on day {day.number + 1}; the stores last until then." in text
    assert "Up to 40 min later still keeps the day" in text
    events = tuple(
        replace(e, next_chance=replace(chance, planned=None, planned_day=0, lasts=False)) if e is event else e for e in day.events
    )
    changed = replace(PLAN, days=tuple(replace(d, events=events) if d is day else d for d in PLAN.days))
    text = _text(_sheet(f"day-{day.number}", sheets_of(changed, REGION)))
    assert "No other stop of this plan does it; the stores do not last without it." in text


def test_local_notes_are_named_where_they_decide() -> None:
    """A site whose price and hours come from a local note says so with its file and row; one of the map says that of its hours."""
    first = PLAN.days[0].night
    assert first is not None
    note = "local note: places.csv, row 7, A. Warden, 2026-05-01"
    places = tuple(replace(p, source=note, check_in="14:00") if p.index == first.spot.place else p for p in REGION.places)
    region = replace(REGION, places=places)
    text = _text(_sheet("day-1", sheets_of(PLAN, region)))
    assert f"Hours by {note}: Mo-Su 08:00-20:00. " in text
    assert f"Price, hours and offers: {note}. " in text
    assert "Arrive 14:00" in text
    assert "Hours by the map: Mo-Su 08:00-20:00. " in _text(_sheet("day-1"))


@pytest.mark.parametrize(
    ("together", "words"),
    [(0.9634, "On 96 of 100 trips"), (0.9999, "On more than 99 of 100 trips"), (0.999999, "more than 99 of 100")],
)
def test_how_sure_the_levels_are(together: float, words: str) -> None:
    """What is promised is rounded down, and never to every trip."""
    sure = replace(PLAN, holds=Holds(0.95, 0.99, together, {}))
    assert words in _text(_sheet("glance", sheets_of(sure, REGION)))


def test_energy_of_a_day_is_told() -> None:
    """What runs on what while towing and at the site, whether mains is needed, hook-up on the first night of a stay, frost, what is carried."""
    lines = (
        EnergyLine("towing", "gas", "off at the bottle"),
        EnergyLine("ferry", "fridge", "off"),
        EnergyLine("stay", "fridge", "mains"),
    )
    energy = DayEnergy(
        lines, "needed", ("the battery would run down",), 10.0, ("10 A: the kettle alone trips it",), 20.0, 40.0, 18.0, frost=("The hose freezes.",), carried_kg=210.0, payload_kg=300.0,
    )  # fmt: skip
    days = (replace(PLAN.days[0], energy=energy), *PLAN.days[1:])
    text = _text(_sheet("day-1", sheets_of(replace(PLAN, days=days), REGION)))
    for words in (
        "Towing: gas: off at the bottle.", "Aboard the ferry: fridge: off.", "At the site: fridge: mains.", "Mains is needed: the battery would run down.",
        "10 A: the kettle alone trips it", "The hose freezes.", "Frost tonight", "Carried: 210 kg of at most 300 kg.", "about 40 min, enough for 18 L",
    ):  # fmt: skip
        assert words in text, words


def test_return_sheet_says_by_when() -> None:
    """The last sheet before the cautions has the latest time to be there, what to empty, fill and photograph, as the firm wants it."""
    text = _text(_sheet("return"))
    latest = PLAN.trip.return_by - timedelta(minutes=PLAN.trip.firm.return_min)
    assert f"{latest:%H:%M}\nbe there at the latest" in text
    for words in ("Empty", "Clean", "Fill", "Photograph", "Cassette: empty and rinsed", "Gas: at least 1.0 kg left"):
        assert words in text, words
    lenient = replace(PLAN, trip=replace(PLAN.trip, firm=replace(PLAN.trip.firm, return_cassette_empty=False, return_gas_kg=0.0)))
    text = _text(_sheet("return", sheets_of(lenient, REGION)))
    assert "Cassette: empty and rinsed" not in text
    assert "kg left" not in text


def test_cautions_have_public_sources_and_defer() -> None:
    """Every caution on the last sheet names its source, insurance and borders among them, and local rules and licensed people decide."""
    full = replace(PLAN, cautions=tuple(Caution(key, *CAUTIONS[key]) for key in CAUTIONS))
    sheet = _sheet("cautions", sheets_of(full, REGION))
    items = next(block for block in sheet.blocks if isinstance(block, Items)).items
    assert len(items) == len(CAUTIONS)
    assert all(item.source.startswith("Source: ") for item in items)
    assert "Local rules and licensed people decide" in _text(sheet)
    assert "insured" in _text(_sheet("cautions"))


def test_borders_are_told_where_one_is_near() -> None:
    """The papers for a border are asked for where the map has one by the way, not on an island whose own border lies at sea."""
    assert "border" not in _text(_sheet("cautions")) + _text(_sheet("first-evening"))
    # Across the island; at sea; and the same line on land where the map has no coast, near and far.
    for km, coast, told in ((-3.0, True, True), (12.0, True, False), (12.0, False, True), (20.0, False, False)):
        sheets = sheets_of(PLAN, _with_border(km, coast=coast))
        assert all(("border" in _text(_sheet(key, sheets)).lower()) == told for key in ("cautions", "first-evening"))


def _with_border(km: float, *, coast: bool) -> Region:
    """Return the island with a border that runs north and south, so far east of the plan's ways."""
    points = np.concatenate([line for one in way_lines(PLAN, REGION).days for line in one.lines])
    east, lat = points[points[:, 0].argmax()]
    at = east + km / (111.195 * np.cos(np.radians(lat)))
    base = REGION.base
    line = np.rint(np.array([[at, lat - 1], [at, lat + 1]]) * 1e7).astype(np.int32)
    return replace(
        REGION,
        base=replace(
            base,
            layer=np.append(
                base.layer if coast else np.full_like(base.layer, BASE_LAYERS.index("wood")),
                np.uint8(BASE_LAYERS.index("border")),
            ),
            closed=np.append(base.closed, np.uint8(0)),
            ptr=np.append(base.ptr, base.ptr[-1] + 2),
            lon_e7=np.append(base.lon_e7, line[:, 0]),
            lat_e7=np.append(base.lat_e7, line[:, 1]),
        ),
    )


# ------------------------------------------------------------------------------------------------ hostile texts


@pytest.mark.parametrize("first", range(0, len(CORPUS), 24))
def test_hostile_texts_in_the_pdf(first: int) -> None:
    """Every foreign text of a plan is in the PDF, whole, does nothing there, and the page says the same."""
    plan, region, _ = hostile_plan(first, 7)
    sheets = sheets_of(plan, region)
    pdf = itinerary_pdf(plan, region, sheets)
    pages = "".join(said(pdf)) + "".join(said(pdf, margins=True))
    assert_harmless(Page(itinerary_page(plan, region, sheets)))
    for sheet in sheets:
        for text in texts(sheet):
            words = squeezed(plain(text))
            # A text longer than a page goes on beside and below others: then nearly all of its parts are found whole.
            parts = [words] if len(words) < 1200 else [words[i : i + 60] for i in range(0, len(words), 60)]
            missing = sum(part not in pages for part in parts)
            assert missing <= (0 if len(parts) == 1 else 0.15 * len(parts)), text
    assert all(link.startswith("tel:") for link in links(pdf))
    for name in (
        b"/JavaScript",
        b"/JS",
        b"/Launch",
        b"/EmbeddedFile",
        b"/OpenAction /",
        b"/SubmitForm",
        b"/GoToR",
        b"/RichMedia",
    ):
        assert name not in pdf, name


def test_no_text_leaves_its_page() -> None:
    """With texts of thousands of letters, nothing is drawn beyond the paper (by the positions an independent reader finds)."""
    plan, region, _ = hostile_plan(40, 5)
    for page in reader(itinerary_pdf(plan, region)).pages:
        width, height = float(page.mediabox.width), float(page.mediabox.height)
        places: list[tuple[float, float]] = []
        page.extract_text(
            visitor_text=lambda text, cm, tm, font, size, places=places: places.append((tm[4], tm[5])) if text.strip() else None
        )
        assert all(0 <= x <= width and 0 <= y <= height for x, y in places)


@pytest.mark.parametrize(
    ("said_as", "seen_as"),
    [
        ("plain 12", "plain 12"), ("שלום עולם", "םלוע םולש"), ("Camp שלום 12 end", "Camp 12 םולש end"), ("(אב)", "(בא)"),
        ("\u0645\u062e\u064a\u0645", "\ufee2\ufef4\ufea8\ufee3"), ("\u0644\u0627", "\ufefb"), ("a \u2068שלום\u2069 b", "a םולש b"),
    ],
)  # fmt: skip
def test_right_to_left_is_seen_as_it_is_read(said_as: str, seen_as: str) -> None:
    """Hebrew is put in the order of sight, numbers kept; Arabic joins (forms by the Unicode character names: meem initial, khah medial, yeh medial, meem final)."""
    assert visual(said_as) == seen_as


def test_letters_the_font_lacks_are_seen_in_latin_ones_and_still_said() -> None:
    """What the font has no shape for stands there in Latin letters, no box (glyph 0) among them, and can be copied as what it is."""
    text = "営業 🏕 ok, กรุงเทพ, 서울, दिल्ली, Ελλάδα, Москва"
    sheet = Sheet(
        "one",
        "day",
        "One",
        (Para(text), Picture(Drawing(100.0, 20.0, (Label(5.0, 10.0, "서울", 8.0),), "t", "w"), "map")),
        "foot",
    )
    pdf = document("Title", [sheet], "credit")
    assert squeezed(text) in said(pdf)[0]
    content = reader(pdf).pages[0].get_contents()
    assert content is not None
    assert b"<0000" not in content.get_data()


@pytest.mark.parametrize(
    ("written", "seen"),
    [("กรุงเทพ", "[krungethph]"), ("Camp 서울 2", "Camp [seoUl] 2"), ("Москва Ελλάδα", "Москва Ελλάδα"), ("plain", "plain")],
)
def test_names_in_latin_letters(written: str, seen: str) -> None:
    """By the tables of AnyAscii, an outside source: Thai by the Royal Thai General System, Korean by the Revised Romanization (letter by letter)."""
    from importlib.resources import files

    from reportlab.pdfbase.ttfonts import TTFontFace

    glyphs = TTFontFace(str(files("tripplan.report") / "fonts" / "DejaVuSans.ttf")).charToGlyph
    assert latin(written, lambda letter: ord(letter) not in glyphs).casefold() == seen.casefold()


def test_a_sheet_with_such_names_says_so() -> None:
    """The note stands on that sheet in the PDF and on the page, and on no other."""
    region = plans.island(lambda text: text.replace("Ferrin", "กรุงเทพ"))
    plan = plans.plan(4, lambda text: text.replace("Ferrin", "กรุงเทพ"), region)
    sheets = sheets_of(plan, region)
    with_note = [sheet.key for sheet in sheets if "[square brackets]" in " ".join(texts(sheet))]
    assert with_note == [sheet.key for sheet in sheets if "กรุงเทพ" in " ".join(texts(sheet))]
    assert 0 < len(with_note) < len(sheets)
    assert not any("[square brackets]" in " ".join(texts(sheet)) for sheet in SHEETS)


# ------------------------------------------------------------------------------------------------ the file


def test_same_plan_same_pdf() -> None:
    """Twice the same bytes, in this process and in one of its own; no date of today in it."""
    assert itinerary_pdf(PLAN, REGION) == PDF
    assert ApartPdf(*pdf_parts(PLAN, REGION, SHEETS)).result() == PDF
    code = "import sys; sys.path.insert(0, sys.argv[1]); import test_report_sheets as t; sys.stdout.buffer.write(t.PDF)"
    import pathlib

    here = pathlib.Path(__file__).parent
    paths = [str(here), str(here.parent), str(here.parents[1])]
    done = subprocess.run(
        [sys.executable, "-c", code.replace("sys.path.insert(0, sys.argv[1])", f"sys.path[:0] = {paths!r}")],
        capture_output=True,
        check=True,
    )
    assert done.stdout == PDF


def test_a_failing_second_process_is_made_good(monkeypatch: pytest.MonkeyPatch) -> None:
    """Without a second process, or with one that dies, the same PDF comes from this one."""
    monkeypatch.setattr(sys, "executable", "/nowhere/python")
    assert ApartPdf(*pdf_parts(PLAN, REGION, SHEETS)).result() == PDF
    monkeypatch.setattr(sys, "executable", "false")
    assert ApartPdf(*pdf_parts(PLAN, REGION, SHEETS)).result() == PDF


def test_fonts_are_inside_and_open() -> None:
    """Every font that text uses is in the file as a subset, and its licence stands beside it in the package."""
    from importlib.resources import files

    used = set()
    for page in reader(PDF).pages:
        for font in page["/Resources"]["/Font"].values():
            one = font.get_object()
            if one["/Subtype"] == "/TrueType":
                assert "/FontFile2" in one["/FontDescriptor"].get_object()
                used.add(str(one["/BaseFont"]))
    assert len(used) >= 2
    assert all("+DejaVu" in name for name in used)
    licence = (files("tripplan.report") / "fonts" / "DejaVu-LICENSE.txt").read_text(encoding="utf-8")
    assert "Permission is hereby granted, free of charge" in licence
    assert len(PDF) < 400_000


@pytest.mark.parametrize("paper", [A4, LETTER], ids=["A4", "Letter"])
def test_a_day_fits_its_page(paper: object) -> None:
    """On both papers, two weeks take a page a sheet, the trip at a glance two or three; all days of the made plan fit one."""
    plan = plans.plan(14, region=REGION)
    title, sheets, credit, _ = pdf_parts(plan, REGION, sheets_of(plan, REGION))
    count = len(reader(document(title, sheets, credit, paper)).pages)  # type: ignore[arg-type]
    assert len(sheets) + 1 <= count <= len(sheets) + 2
    box = reader(document(title, sheets[:1], credit, paper)).pages[0].mediabox  # type: ignore[arg-type]
    assert float(box.width) == pytest.approx({"A4": 595.28, "Letter": 612}[paper.name], abs=0.01)  # type: ignore[attr-defined]


def test_paper_goes_by_the_country() -> None:
    """Letter where its printers hold it, A4 elsewhere (Unicode CLDR; from memory)."""
    assert paper_of("US") is LETTER
    assert paper_of("CA") is LETTER
    assert paper_of("NZ") is A4
    assert paper_of("") is A4


# ------------------------------------------------------------------------------------------------ breaking pages


def _slab(height: float, keep: bool = False, head: tuple[Slab, ...] = ()) -> Slab:
    return Slab(height, (Rule(0, 0, height, 0),), keep=keep, head=head)


def test_no_heading_alone_and_heads_again() -> None:
    """A heading goes to the next page with what it heads; a table that breaks has its head drawn again; nothing is lost or over the edge."""
    head = _slab(10.0)
    slabs = [_slab(80.0), _slab(11.0, keep=True), _slab(30.0, head=(head,)), _slab(60.0, head=(head,)), _slab(35.0, head=(head,))]
    pages = leaves(slabs, 100.0)
    assert [[marks[0].x1 for _, marks in page] for page in pages] == [[80.0], [11.0, 30.0], [10.0, 60.0], [10.0, 35.0]]  # type: ignore[union-attr]
    assert all(down + marks[0].x1 <= 100.01 for page in pages for down, marks in page)  # type: ignore[union-attr]


def test_a_small_table_is_not_cut() -> None:
    """A table of six rows that would cross a page's end goes to the next one whole, with what captions it."""
    rows = tuple((f"row{i}", "cell") for i in range(6))
    table = Table("store", ("a", "b"), rows, "caption", heading=0)
    for lines in range(36, 60, 3):
        sheet = Sheet(
            "one", "day", "One", (*(Para(f"text {i}") for i in range(lines)), table, *(Para("more") for _ in range(60))), "foot"
        )
        pages = said(document("T", [sheet], "c"))
        holds = [[words in page for words in ("caption", "row0", "row5")] for page in pages]
        assert [True, True, True] in holds, lines
        assert all(any(one) == all(one) for one in holds), lines


def test_a_chain_that_no_page_holds_is_broken() -> None:
    """What should stay together and is higher than a page is broken like anything else."""
    pages = leaves([_slab(40.0, keep=True) for _ in range(6)], 100.0)
    assert sum(len(page) for page in pages) == 6
    assert all(len(page) <= 2 for page in pages)


def test_rows_higher_than_a_page_are_told_whole() -> None:
    """A cell of ten thousand words goes over pages without losing one."""
    words = " ".join(f"w{i}" for i in range(10_000))
    sheet = Sheet("one", "day", "One", (Table("leg", ("a", "b"), (("x", words), ("y", "end"))),), ("call ", Phone("1")))
    whole = "".join(said(document("T", [sheet], "c")))
    assert all(f"w{i}" in whole for i in range(0, 10_000, 97))
    assert whole.count("w9999") == 1


def test_reading_back_can_fail() -> None:
    """The reader used above sees when a text is not there: a PDF of other sheets lacks this one's."""
    other = document("T", [Sheet("one", "day", "One", (Para("nothing of it"),), "foot")], "c")
    assert squeezed("Skerry Hospital") not in "".join(said(other))
