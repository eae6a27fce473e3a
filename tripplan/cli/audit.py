"""`tripplan audit`: hold a plan against the map, the van and the trip once more."""

from __future__ import annotations

from pathlib import Path

import click

from tripplan.cli.shared import count, plain, region_option

__all__ = ["command"]


@click.command("audit")
@click.argument("plan_file", metavar="PLAN.json", type=click.Path(path_type=Path))
@region_option("The region that the plan was made on.")
def command(plan_file: Path, region_file: Path) -> int:
    """Re-check a plan with code that shares nothing with the search.

    Exit code 0: nothing found. 1: findings, each with its amount. 2: bad input.
    """
    from tripplan.audit.run import audit
    from tripplan.model.serial import MOST_PLAN_MB, plan_from_json
    from tripplan.region.store import load
    from tripplan.request.text_file import read_text

    plan = plan_from_json(read_text(plan_file, most_mb=MOST_PLAN_MB, accepted="a plan.json"), where=str(plan_file))
    findings = audit(plan, load(region_file))
    nights = sum(1 for day in plan.days if day.night is not None)
    km = sum(leg.length_m for day in plan.days for leg in day.legs) / 1000
    if not findings:
        click.echo(
            f"Nothing found: {count(len(plan.days), 'day')}, {count(nights, 'night')} and {km:.0f} km of road hold against the map, "
            "the van and the trip."
        )
        return 0
    click.echo(f"{count(len(findings), 'finding')}:")
    for f in findings:
        when = f"day {f.day}" if f.day else "whole trip"
        click.echo(plain(f"  {when:10}  {f.what:18}  {f.amount:10.1f} {f.unit:7}  {f.text}"))
    return 1
