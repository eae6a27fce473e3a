"""The command `tripplan`: finds the command asked for, runs it, and turns every error into one line and an exit code."""

from __future__ import annotations

import errno
import importlib
import os
import signal
import sys
from contextlib import suppress
from pathlib import Path
from typing import Any

import click

from tripplan import __version__
from tripplan.cli.shared import plain
from tripplan.model.errors import BadInputError, NoPlanError

__all__ = ["cli", "main"]

EXIT_FINDINGS = 1
EXIT_BAD_INPUT = 2
EXIT_OWN_FAULT = 3
EXIT_STOPPED = 130
#: The reader of standard output went away (128 + SIGPIPE, as a shell reports it).
EXIT_NO_READER = 141
_STOPPED = "stopped; no file was left half-written"

#: Command words and where each lives; imported only when called or listed.
_COMMANDS = {
    "demo": "tripplan.cli.demo",
    "new": "tripplan.cli.new",
    "region": "tripplan.cli.region",
    "plan": "tripplan.cli.plan",
    "audit": "tripplan.cli.audit",
    "recheck": "tripplan.cli.recheck",
    "batch": "tripplan.cli.batch",
    "check": "tripplan.cli.check",
    "suggest": "tripplan.cli.suggest",
    "van": "tripplan.cli.van",
    "serve": "tripplan.cli.serve",
    "guide": "tripplan.cli.guide",
}


class _Commands(click.Group):
    """A group whose commands are imported when they are needed."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(_COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in _COMMANDS:
            return None
        command: click.Command = importlib.import_module(_COMMANDS[cmd_name]).command
        return command


@click.group(cls=_Commands, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(__version__, prog_name="tripplan")
def cli() -> None:
    """Plan a touring caravan hire on sealed roads, with every store served before its limit.

    Start with `tripplan demo`. Then: `tripplan region build` prepares a map once, `tripplan plan` plans a trip on it,
    `tripplan check` tells whether somebody's route keeps to sealed roads, `tripplan audit` re-checks a plan.
    """


def _say(text: str) -> None:
    click.echo("tripplan: " + plain(" ".join(text.split())), err=True)


def _usage_words(error: click.ClickException) -> str:
    text = error.format_message().replace("\n", " ")
    ctx = getattr(error, "ctx", None)
    return f"{text} (see `{ctx.command_path} --help`)" if ctx is not None else text


def _give_streams() -> None:
    """See that there is somewhere to write to, and that no character stops us: a script may close both streams."""
    for name in ("stdout", "stderr"):
        stream = getattr(sys, name)
        if stream is None:
            setattr(sys, name, Path(os.devnull).open("w", encoding="utf-8"))  # noqa: SIM115 - lives as long as we do
        elif hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")


def _drop_output() -> None:
    """Let what standard output still holds go nowhere, so that leaving does not stumble over it."""
    with suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def main(args: list[str] | None = None) -> Any:
    """Run the command line and leave with its exit code: 0 well, 1 findings or no plan, 2 bad input, 3 a fault of ours."""
    _give_streams()
    try:
        try:
            code = cli.main(args=args, standalone_mode=False)
        except SystemExit:
            if type(sys.stdout).__name__.endswith("PacifyFlushWrapper"):  # so click leaves when the reader has gone
                sys.exit(EXIT_NO_READER)
            raise
        sys.stdout.flush()
        if args is None:  # all is written: a Ctrl-C while the process winds up would only show its insides
            with suppress(ValueError):
                signal.signal(signal.SIGINT, signal.SIG_IGN)
        sys.exit(code if isinstance(code, int) else 0)
    except BadInputError as error:
        _say(error.one_line())
        sys.exit(EXIT_BAD_INPUT)
    except NoPlanError as error:
        _say(str(error))
        sys.exit(EXIT_FINDINGS)
    except click.exceptions.Abort:
        _say(_STOPPED)
        sys.exit(EXIT_STOPPED)
    except click.exceptions.NoArgsIsHelpError as error:
        click.echo(error.format_message())
        sys.exit(0)
    except click.ClickException as error:
        _say(_usage_words(error))
        sys.exit(EXIT_BAD_INPUT)
    except KeyboardInterrupt:
        _say(_STOPPED)
        sys.exit(EXIT_STOPPED)
    except BrokenPipeError:
        _drop_output()
        sys.exit(EXIT_NO_READER)
    except OSError as error:
        _say(_os_words(error))
        _drop_output()
        sys.exit(EXIT_BAD_INPUT)
    except Exception as error:
        if os.environ.get("TRIPPLAN_DEBUG"):
            raise
        _say(
            f"a fault of tripplan's own ({type(error).__name__}: {error}); no file was left half-written; "
            "run it again with TRIPPLAN_DEBUG=1 set and report what it prints"
        )
        sys.exit(EXIT_OWN_FAULT)


def _os_words(error: OSError) -> str:
    where = f"{error.filename}: " if error.filename else ""
    if error.errno == errno.ENOSPC:
        return f"{where}no room left on the disk; no file was left half-written; make room or write elsewhere"
    return f"{where}{error.strerror or error}; check that the path exists and may be read or written"


if __name__ == "__main__":
    main()
