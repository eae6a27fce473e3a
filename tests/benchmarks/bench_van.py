"""How long the forecast takes, as ratios against a general sun library: run with `python tests/benchmarks/bench_van.py`."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from datetime import date
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from helpers.living import COLD, SUN, plain_party, plain_van

from tripplan.almanac.sun import sun_day
from tripplan.van.blocks import day_block, night_block
from tripplan.van.use import StayKind


def _best(work: Callable[[], object], times: int) -> float:
    """Best of five rounds [s a call]."""
    rounds = []
    for _ in range(5):
        start = time.perf_counter()
        for _ in range(times):
            work()
        rounds.append((time.perf_counter() - start) / times)
    return min(rounds)


def main() -> None:
    """Print seconds and ratios."""
    import pandas as pd
    from pvlib import solarposition

    van, party, day = plain_van(solar_w=120, fridge_towing="battery"), plain_party(), date(2025, 12, 21)
    night = _best(lambda: night_block(van, party, COLD, SUN, StayKind()), 200)
    tow = _best(lambda: day_block(van, party, COLD, SUN, drive_h=3), 200)
    mine = _best(lambda: sun_day(day, 174.76, -36.85, "Pacific/Auckland"), 200)
    when = pd.DatetimeIndex([pd.Timestamp(day, tz="Pacific/Auckland")])
    theirs = _best(lambda: solarposition.sun_rise_set_transit_spa(when, -36.85, 174.76), 20)
    print(f"night block {night * 1e6:.0f} µs, towing day's block {tow * 1e6:.0f} µs")
    print(f"28 days x 16 kinds of night + 8 of day: {28 * (16 * night + 8 * tow) * 1e3:.0f} ms")
    print(
        f"sun of a day with its hourly shares {mine * 1e6:.0f} µs, rise and set alone by pvlib's SPA {theirs * 1e6:.0f} µs: ratio {mine / theirs:.3f}"
    )


if __name__ == "__main__":
    main()
