"""From a trip and a region to a plan that has passed its audit: the one place where the rooms are joined."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path

from tripplan.model.choice import Choices
from tripplan.model.errors import NoPlanError, TripplanError
from tripplan.model.plan import Finding, Plan
from tripplan.model.progress import Progress, silent
from tripplan.model.remedy import Remedies
from tripplan.model.trip import Trip
from tripplan.region.region import Region

__all__ = ["FailedAuditError", "audited_plan", "other_plans", "sample_folder", "sample_region", "ways_out"]


@dataclass
class FailedAuditError(TripplanError):
    """The search's plan did not pass the independent re-check: a fault of ours, and the plan is not shown."""

    findings: tuple[Finding, ...]

    def __str__(self) -> str:
        first = self.findings[0]
        return f"the plan found failed its own audit ({len(self.findings)} findings; first: day {first.day}, {first.text})"


def audited_plan(trip: Trip, region: Region, *, progress: Progress = silent, max_seconds: float | None = None) -> Plan:
    """Plan a trip and re-check the plan with code that shares nothing with the search.

    Parameters
    ----------
    max_seconds
        Where the search stops with the best plan so far and its gap; ``None``: it goes on to the proof.

    Raises
    ------
    NoPlanError
        When no plan exists within the limits.
    FailedAuditError
        When the re-check finds anything.
    """
    from tripplan.audit.run import audit
    from tripplan.schedule.plan import make_plan

    plan = make_plan(trip, region, progress=progress, max_seconds=max_seconds)
    progress("Checking the plan again, independently", 0.0)
    findings = audit(plan, region)
    if findings:
        raise FailedAuditError(findings)
    return plan


def other_plans(trip: Trip, region: Region, first: Plan, *, progress: Progress = silent) -> Choices:
    """Plan a trip by other measures too, and keep what really differs; each plan has passed its audit."""
    from tripplan.schedule.choices import choices

    def solver(other: Trip) -> Plan:
        try:
            return audited_plan(other, region)
        except FailedAuditError:
            raise NoPlanError("its plan did not pass the re-check, a fault of tripplan's own") from None

    return choices(trip, first, solver, progress=progress)


def ways_out(trip: Trip, region: Region, error: NoPlanError, *, seconds: float = 30.0, progress: Progress = silent) -> Remedies:
    """Find the smallest sets of changes that give a plan where none exists; each plan has passed its audit.

    Parameters
    ----------
    error
        What `audited_plan` raised. seconds: when to stop looking.
    """
    from tripplan.audit.run import audit
    from tripplan.schedule.plan import make_plan
    from tripplan.schedule.remedies import remedies

    def solver(changed: Trip, on: Region) -> Plan:
        return make_plan(changed, on, reasons=False)

    def checked(plan: Plan, on: Region) -> bool:
        return not audit(plan, on)

    return remedies(trip, region, error, solver, checked, seconds=seconds, progress=progress)


def sample_folder() -> Path:
    """Return the folder of the embedded sample: inside the installed package, or beside it in a checkout."""
    package = Path(__file__).resolve().parent
    inside = package / "data_sample"
    return inside if inside.is_dir() else package.parent / "data_sample"


def sample_region(*, progress: Progress = silent) -> Region:
    """Return the prepared region of the sample island, built on first use and kept in the user's cache."""
    from tripplan.model.leftovers import sweep
    from tripplan.region.build import build
    from tripplan.region.store import load, save
    from tripplan.roads.cache import cache_folder
    from tripplan.roads.store import code_key, digest

    source, climate = sample_folder() / "island.osm.pbf", sample_folder() / "sample_climate.csv"
    made_by = code_key(("almanac", "osm", "region", "rules"))
    kept = cache_folder() / f"sample-{digest(source.read_bytes(), climate.read_bytes(), made_by)[:16]}.region"
    if kept.is_file():
        try:
            return load(kept)
        except TripplanError:
            with suppress(OSError):
                kept.unlink(missing_ok=True)
    from tripplan.request.climate_file import load_climate

    region = replace(build(source, name="Sample island", progress=progress), climate=load_climate(climate))
    try:
        kept.parent.mkdir(parents=True, exist_ok=True)
        sweep(kept)
        save(region, kept)
    except (OSError, TripplanError):  # a cache folder that cannot be written only costs the next run its time
        return region
    return load(kept)
