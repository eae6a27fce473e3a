"""The audit: hold a finished plan against the map, the van and the trip, sharing nothing with the search that made it."""

from __future__ import annotations

from tripplan.audit.calendar import audit_calendar
from tripplan.audit.closures import audit_closures
from tripplan.audit.energy import audit_energy
from tripplan.audit.findings import Findings
from tripplan.audit.levels import audit_levels
from tripplan.audit.nights import audit_nights
from tripplan.audit.roads import audit_roads
from tripplan.audit.spots import audit_offers, audit_spots
from tripplan.model.plan import Finding, Plan
from tripplan.region.region import Region

__all__ = ["audit"]


def audit(plan: Plan, region: Region) -> tuple[Finding, ...]:
    """Re-check a plan.

    Parameters
    ----------
    plan
        As made by the search, or as read from a file that anyone may have changed.
    region
        The map that the plan says it was made on.

    Returns
    -------
    tuple of Finding
        Empty when everything holds; else each finding with its day and amount.
    """
    found = Findings()
    if plan.region_key != region.meta.key:
        found.add("other map", 0, 1, "", f"the plan was made on {plan.region_name!r} of {plan.data_date}, not on this region")
        return tuple(found.rows)
    if not plan.days:
        found.add("dates", 0, len(plan.trip.dates), "days", "the plan has no days")
        return tuple(found.rows)
    audit_calendar(plan, region, found)
    if any(row.what == "dates" for row in found.rows):  # everything after this counts on days in their order
        return tuple(found.rows)
    audit_spots(plan, region, found)
    if any(row.what == "no such place" for row in found.rows):
        return tuple(found.rows)
    audit_offers(plan, region, found)
    audit_nights(plan, region, found)
    audit_roads(plan, region, found)
    audit_closures(plan, region, found)
    audit_levels(plan, region, found)
    audit_energy(plan, region, found)
    return tuple(found.rows)
