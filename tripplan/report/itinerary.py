"""The itinerary: the sheets of a plan, as one HTML page and as a PDF that say the same."""

from __future__ import annotations

from tripplan.model.plan import Plan
from tripplan.region.region import Region
from tripplan.report.counted import trip_title
from tripplan.report.language import spoken
from tripplan.report.listing import footer
from tripplan.report.safe import plain
from tripplan.report.sheets.blocks import Sheet
from tripplan.report.sheets.common import Folder, noted
from tripplan.report.sheets.pdf import Paper
from tripplan.report.sheets.tell import tell
from tripplan.report.waylines import WayLines, way_lines

__all__ = ["itinerary_page", "itinerary_pdf", "pdf_parts", "sheets_of"]


def sheets_of(plan: Plan, region: Region, lines: WayLines | None = None) -> tuple[Sheet, ...]:
    """Return all sheets: the trip at a glance, the first evening, a sheet a day, the return, the cautions.

    On the way the first evening lies behind: there is no sheet for it.

    Parameters
    ----------
    lines
        The plan's lines, where they are known already.
    """
    from tripplan.report.sheets.day import day_sheet
    from tripplan.report.sheets.ends import cautions_sheet, first_evening, return_sheet
    from tripplan.report.sheets.glance import glance

    lines = way_lines(plan, region) if lines is None else lines
    ways = tuple((one.day.number, one.mode, line) for one in lines.days for line in one.lines)
    folder = Folder(plan, region, ways)
    evening = (first_evening(folder),) if plan.trip.under_way is None else ()
    keys = {day.number: folder.keys_of(day) for day in plan.days}
    sheets = (
        glance(folder), *evening, *(day_sheet(day, folder, keys) for day in plan.days), return_sheet(folder), cautions_sheet(folder),
    )  # fmt: skip
    return tuple(map(noted, sheets))


def itinerary_page(plan: Plan, region: Region, sheets: tuple[Sheet, ...] | None = None) -> str:
    """Return the itinerary as one HTML file without scripts; it prints on A4 and Letter, in black and white too.

    Parameters
    ----------
    sheets
        Of this plan, where they are known already.
    """
    from tripplan.report.sheets.html import page

    title = tell("{name}: itinerary", name=trip_title(plan.trip))
    return page(title, sheets if sheets is not None else sheets_of(plan, region), footer(plan, region), lang=spoken().tag)


def itinerary_pdf(plan: Plan, region: Region, sheets: tuple[Sheet, ...] | None = None) -> bytes:
    """Return the same sheets as a PDF with its fonts inside, on the paper of the region's country; same plan, same bytes."""
    from tripplan.report.sheets.pdf import document

    return document(*pdf_parts(plan, region, sheets if sheets is not None else sheets_of(plan, region)))


def pdf_parts(plan: Plan, region: Region, sheets: tuple[Sheet, ...]) -> tuple[str, tuple[Sheet, ...], str, Paper]:
    """Return what the PDF is made of: its title, the sheets, whose data, and the paper."""
    from tripplan.report.sheets.pdf import paper_of

    data = plain(region.meta.attribution or "© OpenStreetMap contributors")
    credit = tell("{data}. Map data of {date}, region {name}.", data=data, date=plan.data_date, name=plan.region_name)
    return trip_title(plan.trip), sheets, credit, paper_of(region.meta.country)
