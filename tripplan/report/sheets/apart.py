"""The PDF written by a process of its own, while this one draws the map: two kernels do two things at once.

The sheets go over a pipe and the file comes back over another. Where there is no second process to be had, or it fails, the
same PDF is written here.
"""

from __future__ import annotations

import os
import pickle
import subprocess
import sys
import threading
from collections.abc import Sequence
from pathlib import Path

from tripplan.report.sheets.blocks import Sheet
from tripplan.report.sheets.pdf import Paper, document

__all__ = ["ApartPdf", "main"]


class ApartPdf:
    """A PDF on its way: begun when made, waited for by `result`."""

    def __init__(self, title: str, sheets: Sequence[Sheet], credit: str, paper: Paper) -> None:
        self._asked = (title, tuple(sheets), credit, paper)
        self._out = b""
        # Nothing of the folder that somebody stands in is imported (-P).
        command = [sys.executable, "-P", "-m", __name__]
        package = str(Path(__file__).resolve().parents[3])
        path = os.pathsep.join(filter(None, (package, os.environ.get("PYTHONPATH", ""))))
        try:
            self._process: subprocess.Popen[bytes] | None = subprocess.Popen(  # noqa: S603 - our own interpreter, our own module
                command,
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
                env={**os.environ, "PYTHONPATH": path},
            )
        except (OSError, ValueError):
            self._process = None
            return
        self._waits = threading.Thread(target=self._talk, daemon=True)
        self._waits.start()

    def _talk(self) -> None:
        assert self._process is not None
        out, _ = self._process.communicate(pickle.dumps(self._asked))
        if self._process.returncode == 0:
            self._out = out

    def result(self) -> bytes:
        """Return the file, when it is there."""
        if self._process is not None:
            self._waits.join()
        whole = self._out.startswith(b"%PDF-") and self._out.rstrip().endswith(b"%%EOF")
        return self._out if whole else document(*self._asked)


def main() -> None:
    """Read what is asked for from standard input and write the file to standard output."""
    asked = pickle.load(sys.stdin.buffer)  # noqa: S301 - what `ApartPdf` wrote, over its own pipe
    sys.stdout.buffer.write(document(*asked))


if __name__ == "__main__":
    main()
