"""The day sheets of the sample trips take one page each, on A4 and on Letter, in English and in German; the fullest is a day with a ferry."""

from __future__ import annotations

import io
from pathlib import Path

import pytest
from helpers.browser import pages_printed
from pypdf import PdfReader

from tripplan.model.plan import Plan
from tripplan.region.region import Region
from tripplan.report.itinerary import itinerary_page, pdf_parts, sheets_of
from tripplan.report.language import language_named, speaking
from tripplan.report.sheets.pdf import A4, LETTER, document


@pytest.mark.parametrize("tongue", ["en", "de", "en-US"])
@pytest.mark.parametrize("name", ["family_loop", "isle_weekend", "round_island"])
def test_a_day_takes_a_page_of_the_pdf(plans: dict[str, Plan], region: Region, name: str, tongue: str) -> None:
    """As many pages as days, on either paper."""
    plan = plans[name]
    with speaking(language_named(tongue)):
        title, sheets, credit, _ = pdf_parts(plan, region, sheets_of(plan, region))
    days = [sheet for sheet in sheets if sheet.kind == "day"]
    assert len(days) == len(plan.days)
    for paper in (A4, LETTER):
        assert len(PdfReader(io.BytesIO(document(title, days, credit, paper))).pages) == len(days)


@pytest.mark.parametrize("paper", ["A4", "letter"])
def test_a_day_takes_a_page_in_print(plans: dict[str, Plan], region: Region, tmp_path: Path, paper: str) -> None:
    """So with the page as a browser prints it, for the trip with the fullest day in the longer language."""
    plan = plans["isle_weekend"]
    with speaking(language_named("de")):
        days = tuple(sheet for sheet in sheets_of(plan, region) if sheet.kind == "day")
        page = itinerary_page(plan, region, days)
    # What stands below the last sheet is no part of it.
    style = f"<style>@page {{ size: {paper}; }} footer {{ display: none; }}</style></head>"
    assert pages_printed(page.replace("</head>", style), tmp_path) == len(plan.days)
