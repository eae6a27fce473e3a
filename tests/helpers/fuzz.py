"""Spoilt inputs by the million: ways to spoil them, and a runner that survives whatever they do.

Every input is made from one seed word, ``run:target:number``, so that any of them can be made again alone. Inputs run in
worker processes of bounded memory; before each one the worker writes down its number, so that an input which ends the
process itself (or never ends) is named too.
"""

from __future__ import annotations

import json
import mmap
import os
import random
import signal
import subprocess
import sys
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
#: An input may take so much of the processor [s], twice running, before it is a hang: a busy machine makes none of it. One that waits
#: instead is ended by `SILENCE_S`.
LIMIT_S = 5.0
#: Address space of a worker, and what it may really use [bytes]; the first counts libraries and the stacks of their threads.
ADDRESS_SPACE, RESIDENT = 4 << 30, 900 << 20
#: A worker that says nothing for so long is ended [s].
SILENCE_S = 60.0

# ------------------------------------------------------------------------------------------------- spoiling

ODD_NUMBERS = (
    "0", "-0", "-1", "1", "2147483648", "-2147483649", "9223372036854775808", "1e308", "1e309", "-1e999", "1e-320", "nan", "NaN", "inf", "-Infinity",
    "0x10", "1_000", "1,5", "1.5.2", "٣", "½", "²", "૧૨", "+", "-", ".", "e5", "00", "1" * 400, "9" * 5000, "0." + "3" * 3000, "90.0000001", "-180.1",
)  # fmt: skip
ODD_TEXTS = (
    "", " ", "\t", "\x00", "\x07", "\r\n", "\u2028", "\u202e", "\ufeff", "\ufffd", "\U0001f600", "e\u0301" * 40, "ß", "İ", "ŉ", "Ⅷ", "x" * 300,
    "y" * 20_000, "((((" * 60, "[" * 300, "{{7*7}}", "{% raw", "</script>", "<!--", "]]>", "&#x0;", "&amp;", "%s%n", "%d800%", "%110000%", '"', "'", "\\", "`",
    ";" * 500, "," * 500, "@" * 90, "no @ (" * 90, "Mo-Su " * 200, "12:00-" * 200, "Jan " * 300, "../../etc/passwd", "CON", "a\nb", "None", "null", "true",
)  # fmt: skip


def odd_text(rng: random.Random) -> str:
    """Return a text that people rarely write."""
    kind = rng.random()
    if kind < 0.35:
        return rng.choice(ODD_TEXTS)
    if kind < 0.65:
        return rng.choice(ODD_NUMBERS)
    if kind < 0.9:
        return "".join(chr(rng.choice((rng.randrange(32, 127), rng.randrange(0x2500), rng.randrange(0x10000, 0x11000))))
                       for _ in range(rng.randrange(1, 12))).encode("utf-16", "surrogatepass").decode("utf-16", "replace")  # fmt: skip
    return odd_text(rng) + odd_text(rng)


def spoilt(rng: random.Random, data: bytes, words: Sequence[bytes] = ()) -> bytes:
    """Return bytes with a few faults: bits flipped, cut, doubled, moved, words put in, ends lost."""
    out = bytearray(data)
    for _ in range(1 if rng.random() < 0.5 else rng.randrange(1, 9)):
        at = rng.randrange(len(out) + 1)
        span = min(int(rng.paretovariate(0.7)), 4000)
        what = rng.randrange(9)
        if what == 0 and at < len(out):
            out[at] ^= 1 << rng.randrange(8)
        elif what == 1 and at < len(out):
            out[at] = rng.choice((0, 1, 9, 10, 32, 34, 44, 60, 62, 127, 128, 255, rng.randrange(256)))
        elif what == 2:
            del out[at : at + span]
        elif what == 3:
            out[at:at] = out[at : at + span]
        elif what == 4:
            other = rng.randrange(len(out) + 1)
            out[at : at + span] = out[other : other + span]
        elif what == 5:
            out[at:at] = rng.randbytes(min(span, 40))
        elif what == 6 and words:
            out[at : at + (span if rng.random() < 0.5 else 0)] = rng.choice(words)
        elif what == 7 and rng.random() < 0.3:
            del out[at:]
        elif what == 8:
            out[at:at] = odd_text(rng).encode()
    return bytes(out)


def odd_value(rng: random.Random) -> Any:
    """Return a JSON value that does not belong where it stands."""
    return rng.choice((
        lambda: None, lambda: True, lambda: False, lambda: 0, lambda: -1, lambda: 2**31, lambda: -(2**63) - 1, lambda: 10**400, lambda: 1e308, lambda: 1e-9,
        lambda: float("nan"), lambda: float("inf"), lambda: -0.0, lambda: rng.uniform(-1e4, 1e4), lambda: rng.randrange(-1000, 100_000), list, dict,
        lambda: [[[]]], lambda: {"": {}}, lambda: [1, 2, 3], lambda: odd_text(rng), lambda: odd_text(rng), lambda: "2026-02-30",
        lambda: "0001-01-01T00:00:00+14:00", lambda: "9999-12-31T23:59:59-12:00", lambda: "2026-02-01T00:00:00+00:00:30", lambda: [0] * 500,
    ))()  # fmt: skip


def places_in(value: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """Return the path of everything inside a JSON value."""
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    found = []
    for key, item in items:
        found.append((*path, key))
        found += places_in(item, (*path, key))
    return found


def spoil_json(rng: random.Random, value: Any, paths: Sequence[tuple[Any, ...]]) -> Any:
    """Change one to three things in a JSON value, in place: replace, nudge, take out, double, rename."""
    for _ in range(rng.randrange(1, 4)):
        path = rng.choice(paths)
        holder = value
        try:
            for key in path[:-1]:
                holder = holder[key]
            old = holder[path[-1]]
        except (KeyError, IndexError, TypeError):
            continue
        if not isinstance(holder, list | dict):
            continue
        what = rng.random()
        key = path[-1]
        if what < 0.4:
            holder[key] = odd_value(rng)
        elif what < 0.6 and isinstance(old, int | float) and not isinstance(old, bool) and abs(old) < 2**900:
            holder[key] = rng.choice((old + 1, old - 1, -old, old * 1000, old / 7, old + 1e-7))
        elif what < 0.7:
            del holder[key]
        elif what < 0.8 and isinstance(holder, list):
            holder.insert(key, old)
        elif what < 0.85 and isinstance(holder, dict):
            holder[odd_text(rng)[:80]] = holder.pop(key)
        elif isinstance(old, list) and len(old) > 1:
            holder[key] = rng.choice((old[:-1], old[1:], old[::-1], old + old))
        elif isinstance(old, str):
            holder[key] = spoilt(rng, old.encode()).decode("utf-8", "replace")
        else:
            holder[key] = rng.choice((old, None, str(old)[:1000]))
    return value


# ------------------------------------------------------------------------------------------------- running

#: Runs one input: given a random generator of its own and a scratch folder; returns how it ended, in a word.
Shot = Callable[[random.Random, Path], str]


class HangError(BaseException):
    """An input took too long."""


def too_long(*_: object) -> None:
    """Answer the alarm clock."""
    raise HangError


@dataclass
class Tally:
    """What a run of inputs came to."""

    count: Counter[str] = field(default_factory=Counter)
    ends: Counter[str] = field(default_factory=Counter)
    seconds: Counter[str] = field(default_factory=Counter)
    faults: list[dict[str, str]] = field(default_factory=list)
    resident_mb: float = 0.0
    slowest_s: float = 0.0

    def add(self, other: dict[str, Any]) -> None:
        """Take in what a worker tells."""
        self.count.update(other["count"])
        self.ends.update(other["ends"])
        self.seconds.update(other["seconds"])
        self.faults += other["faults"]
        self.resident_mb = max(self.resident_mb, other["resident_mb"])
        self.slowest_s = max(self.slowest_s, other["slowest_s"])

    def lines(self) -> list[str]:
        """Return a table of it."""
        out = [f"{'target':14}{'inputs':>10}{'taken':>10}{'refused':>10}{'per s':>9}"]
        for name, n in sorted(self.count.items()):
            spent = self.seconds[name]
            out.append(
                f"{name:14}{n:10,}{self.ends[name + ' taken']:10,}{self.ends[name + ' refused']:10,}{n / spent if spent else 0:9,.0f}"
            )
        out.append(
            f"{sum(self.count.values()):,} inputs, {len(self.faults)} faults; slowest {self.slowest_s:.2f} s of the processor, most memory {self.resident_mb:.0f} MB"
        )
        return out + [f"  {fault['seed']}: {fault['what']}" for fault in self.faults[:40]]


def fire(targets: dict[str, Shot], plan: Sequence[tuple[str, str, int, int]], scratch: Path, told: Path, now: Path) -> None:
    """Run inputs in this process (a worker): ``plan`` holds (run, target, first, stop); the tally goes to ``told`` as JSON."""
    import resource

    resource.setrlimit(resource.RLIMIT_AS, (ADDRESS_SPACE, ADDRESS_SPACE))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    signal.signal(signal.SIGPROF, too_long)
    tally = Tally()
    with now.open("r+b") as file, mmap.mmap(file.fileno(), 128) as note:
        for run, name, first, stop in plan:
            began = time.perf_counter()
            for number in range(first, stop):
                seed = f"{run}:{name}:{number}"
                note[:] = seed.encode().ljust(128)
                since = time.process_time()
                end = _one(targets[name], seed, scratch)
                if end == "hang":
                    end = _one(targets[name], seed, scratch)
                tally.slowest_s = max(tally.slowest_s, time.process_time() - since)
                tally.count[name] += 1
                tally.ends[f"{name} {end if end in ('taken', 'refused') else 'fault'}"] += 1
                if end not in ("taken", "refused"):
                    tally.faults.append({"seed": seed, "what": end})
            tally.seconds[name] += time.perf_counter() - began  # type: ignore[assignment]
    tally.resident_mb = _most_memory_mb()
    told.write_text(json.dumps({**vars(tally)}))


def _most_memory_mb() -> float:
    """Return the most memory that this program took [MB].

    What the system counts for the process (``ru_maxrss``) includes, on Linux, the parent that it was forked from.
    """
    status = Path("/proc/self/status")
    if status.is_file():
        return int(status.read_text().split("VmHWM:")[1].split()[0]) / 1024
    import resource

    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def _one(shot: Shot, seed: str, scratch: Path) -> str:
    from tripplan.model.errors import BadInputError

    signal.setitimer(signal.ITIMER_PROF, LIMIT_S)
    try:
        end = shot(random.Random(seed), scratch)
    except BadInputError as error:
        line = error.one_line()
        sound = line.isprintable() and len(line) < 4000
        end = "refused" if sound else f"a message that is no line: {line[:200]!r}"
    except HangError:
        end = "hang"
    except BaseException as error:  # noqa: BLE001 - this is what is looked for
        frames = traceback.extract_tb(error.__traceback__)
        ours = [f"{Path(f.filename).name}:{f.lineno}" for f in frames if "tripplan" in f.filename][-3:]
        end = f"{type(error).__name__}: {str(error)[:160]!r} at {' < '.join(reversed(ours))}"
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
    return end


def run(plan: Sequence[tuple[str, str, int, int]], seeds: Path, tally: Tally) -> None:
    """Run a part of the inputs in a worker process; one that dies is begun again after the input that ended it."""
    todo = list(plan)
    while todo:
        with tempfile.TemporaryDirectory(prefix="spoilt-", dir="/dev/shm" if Path("/dev/shm").is_dir() else None) as folder:
            scratch = Path(folder)
            now, told = scratch / "now", scratch / "told.json"
            now.write_bytes(b" " * 128)
            code = "import json, sys; from helpers.fuzz_targets import work; work(json.loads(sys.argv[1]))"
            words = {"plan": todo, "scratch": folder, "told": str(told), "now": str(now), "seeds": str(seeds)}
            env = {
                **os.environ,
                "PYTHONPATH": f"{ROOT}{os.pathsep}{ROOT / 'tests'}",
                "TMPDIR": folder,
                "TRIPPLAN_CACHE": str(seeds / "cache"),
            }
            with (scratch / "errors").open("wb") as errors:
                child = subprocess.Popen([sys.executable, "-c", code, json.dumps(words)], env=env, stdout=errors, stderr=errors)
                died = _wait(child, now)
            if not died and told.is_file():
                tally.add(json.loads(told.read_text()))
                return
            seed = now.read_bytes().decode().strip()
            last = (scratch / "errors").read_text(errors="replace").strip().splitlines()[-1:]
            tally.faults.append({"seed": seed, "what": f"the process ended ({died or child.returncode}) {' '.join(last)[:200]}"})
            todo = _after(todo, seed)


def _wait(child: subprocess.Popen[bytes], now: Path) -> str:
    seen, since = b"", time.monotonic()
    while child.poll() is None:
        time.sleep(0.05)
        note = now.read_bytes()
        if note != seen:
            seen, since = note, time.monotonic()
        elif time.monotonic() - since > SILENCE_S:
            child.kill()
            child.wait()
            return f"silent for {SILENCE_S:.0f} s"
    return "" if child.returncode == 0 else f"exit {child.returncode}"


def _after(plan: Sequence[tuple[str, str, int, int]], seed: str) -> list[tuple[str, str, int, int]]:
    """What is left of a plan after an input; the whole of it is given up when the worker died before its first one."""
    if not seed:
        return []
    _, name, number = seed.rsplit(":", 2)
    at = next(i for i, (_, target, first, stop) in enumerate(plan) if target == name and first <= int(number) < stop)
    run_, target, _, stop = plan[at]
    rest = [(run_, target, int(number) + 1, stop)] if int(number) + 1 < stop else []
    return rest + list(plan[at + 1 :])
