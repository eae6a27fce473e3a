"""`tripplan guide`: the guides, and the reference pages that are made from the code itself."""

from __future__ import annotations

from importlib.resources import files

import click

__all__ = ["GENERATED", "command", "commands_text", "page_text"]

_WRITTEN = {
    "hirer": "from nothing to your own plan in ten minutes",
    "operator": "routes to offer, bookings to plan",
    "staff": "does this route keep to sealed roads?",
    "python": "what the commands do, from Python and in notebooks",
}
#: Pages made from the code; `tripplan/guides` holds them as files, and a test compares.
GENERATED = {
    "reference": "every key of the trip, van, party, firm and outfit files",
    "commands": "every command with its options",
}


@click.command("guide")
@click.argument("name", metavar="[NAME]", required=False, type=click.Choice([*_WRITTEN, *GENERATED]))
def command(name: str | None) -> int:
    """Print a guide: hirer, operator, staff, python, reference or commands; without a name, say what each is about."""
    if name is None:
        for known, about in {**_WRITTEN, **GENERATED}.items():
            click.echo(f"{known:12} {about}")
        return 0
    click.echo(page_text(name), nl=False)
    return 0


def page_text(name: str) -> str:
    """Return a guide as Markdown."""
    if name == "reference":
        from tripplan.request.reference import reference_text

        head = "# Every key of the files\n\nMade from the table that checks them: `tripplan guide reference`.\n\n"
        return head + reference_text()
    if name == "commands":
        return commands_text()
    return (files("tripplan") / "guides" / f"{name}.md").read_text(encoding="utf-8")


def commands_text() -> str:
    """Return every command's help as Markdown, in the order of `tripplan --help`."""
    from tripplan.cli.main import cli

    parts = ["# Every command\n\nMade from the commands themselves: `tripplan guide commands`.\n"]
    root = click.Context(cli, info_name="tripplan", max_content_width=100, terminal_width=100, help_option_names=["-h", "--help"])
    for words, found in _below(cli, root):
        context = click.Context(found, parent=root, info_name=" ".join(words[1:]), max_content_width=100, terminal_width=100)
        parts.append(f"## {' '.join(words)}\n\n```\n{found.get_help(context)}\n```\n")
    return "\n".join(parts)


def _below(
    group: click.Group, context: click.Context, words: tuple[str, ...] = ("tripplan",)
) -> list[tuple[tuple[str, ...], click.Command]]:
    found: list[tuple[tuple[str, ...], click.Command]] = []
    for name in group.list_commands(context):
        below = group.get_command(context, name)
        if isinstance(below, click.Group):
            found += _below(below, context, (*words, name))
        elif below is not None:
            found.append(((*words, name), below))
    return found
