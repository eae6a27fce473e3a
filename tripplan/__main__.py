"""Run the command line: `python -m tripplan`, and the command `tripplan`."""

import sys

__all__ = ["run"]


def run() -> None:
    """Load the command line and run it; a Ctrl-C while it loads is one line too."""
    try:
        from tripplan.cli.main import main
    except KeyboardInterrupt:
        sys.stderr.write("tripplan: stopped; no file was left half-written\n")
        sys.exit(130)
    main()


if __name__ == "__main__":
    run()
