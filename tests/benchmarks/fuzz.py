"""Spoilt inputs in any number: `python tests/benchmarks/fuzz.py 1000000 --workers 2`, or one again: `--again 1:tags:77`.

Prints what each kind of input came to, how many a second, and every fault with the seed that makes it again.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import threading
import time
from pathlib import Path

sys.path[:0] = [str(Path(__file__).resolve().parents[1]), str(Path(__file__).resolve().parents[2])]

from helpers.fuzz import Tally, run  # noqa: E402
from helpers.fuzz_seeds import prepare  # noqa: E402
from helpers.fuzz_targets import SHARES  # noqa: E402

#: Inputs to a worker process: few enough that the writers which a failed reading of a map leaves to the end of its process (their
#: destructors would end it) stay within its address space.
_PART = {"map_text": 300, "map_pbf": 300, "map_xml": 300, "region": 3000, "plan": 5000, "merge": 2000}


def parts(count: int, word: str, only: str = "") -> list[tuple[str, str, int, int]]:
    """Cut so many inputs into parts for workers, the targets by their shares."""
    out = []
    for name, share in SHARES.items():
        if only and name != only:
            continue
        n = count if only else max(1, round(count * share / sum(SHARES.values())))
        size = _PART.get(name, 25_000)
        out += [(word, name, first, min(first + size, n)) for first in range(0, n, size)]
    # Spread the slow ones over the run, so that a run that is stopped has seen something of everything.
    return sorted(out, key=lambda part: part[2] / max(1, count * SHARES[part[1]]))


def main() -> int:
    """Run; 1 when a fault was found."""
    ask = argparse.ArgumentParser(description=__doc__)
    ask.add_argument("count", type=int, nargs="?", default=10_000)
    ask.add_argument("--run", default="1", help="word that seeds begin with: another word, other inputs")
    ask.add_argument("--only", default="", choices=("", *SHARES), help="one target alone")
    ask.add_argument("--workers", type=int, default=1)
    ask.add_argument("--minutes", type=float, default=1e9, help="begin nothing new after so long")
    ask.add_argument("--again", default="", help="make one input again by its seed")
    told = ask.parse_args()
    tally, lock, began = Tally(), threading.Lock(), time.monotonic()
    with tempfile.TemporaryDirectory() as folder:
        seeds = prepare(Path(folder))
        if told.again:
            word, name, number = told.again.rsplit(":", 2)
            todo = [(word, name, int(number), int(number) + 1)]
        else:
            todo = parts(told.count, told.run, told.only)

        def worker() -> None:
            while True:
                with lock:
                    if not todo or time.monotonic() - began > 60 * told.minutes:
                        return
                    part = todo.pop(0)
                own = Tally()
                run([part], seeds, own)
                with lock:
                    tally.add(vars(own))
                    for fault in own.faults:
                        print(f"{fault['seed']}: {fault['what']}", flush=True)

        threads = [threading.Thread(target=worker) for _ in range(told.workers)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
    print("\n".join(tally.lines()))
    print(f"{time.monotonic() - began:.0f} s in all, {told.workers} workers")
    return 1 if tally.faults else 0


if __name__ == "__main__":
    sys.exit(main())
