"""`tripplan audit`: hold a plan against the map, the van and the trip once more."""

from __future__ import annotations

from pathlib import Path

import click

__all__ = ["command"]


@click.command("audit")
@click.argument("plan_file", metavar="PLAN.json", type=click.Path(path_type=Path))
@click.option(
    "--region",
    "region_file",
    metavar="REGION",
    required=True,
    type=click.Path(path_type=Path),
    help="The region that the plan was made on.",
)
def command(plan_file: Path, region_file: Path) -> int:
    """Re-check a plan with code that shares nothing with the search.

    Exit code 0: nothing found. 1: findings, each with its amount. 2: bad input.
    """
    from tripplan.audit.run import audit
    from tripplan.cli.files import read_text
    from tripplan.model.serial import plan_from_json
    from tripplan.region.store import load

    plan = plan_from_json(read_text(plan_file), where=str(plan_file))
    findings = audit(plan, load(region_file))
    nights = sum(1 for day in plan.days if day.night is not None)
    km = sum(leg.length_m for day in plan.days for leg in day.legs) / 1000
    if not findings:
        click.echo(
            f"Nothing found: {len(plan.days)} days, {nights} nights and {km:.0f} km of road hold against the map, the van and the trip."
        )
        return 0
    click.echo(f"{len(findings)} finding{'s' if len(findings) > 1 else ''}:")
    for f in findings:
        when = f"day {f.day}" if f.day else "whole trip"
        click.echo(_plain(f"  {when:10}  {f.what:18}  {f.amount:10.1f} {f.unit:7}  {f.text}"))
    return 1


def _plain(text: str) -> str:
    return "".join(c if c.isprintable() else "\ufffd" for c in text)
