"""Run the command line as `python -m tripplan`."""

from tripplan.cli.main import main

main()
