"""Fifty people planning at once: how quickly pages answer while plans wait their turn, and that everybody gets a plan.

    python tests/benchmarks/bench_serve.py [--people 50] [--workers 2] [--kill]

Starts `tripplan serve` on loopback with the sample island, lets each person fill in the three forms and wait for the plan as
the page's script does (once a second), and prints the answers' times and how evenly the plans came. With ``--kill`` a worker
is killed every few seconds and the server itself once, in the middle; afterwards every plan must be whole.
"""

from __future__ import annotations

import argparse
import os
import random
import re
import signal
import socket
import statistics
import subprocess
import sys
import tempfile
import threading
import time
import urllib.error
import urllib.parse
import urllib.request
from contextlib import suppress
from http.cookiejar import CookieJar
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]
TOWNS = ("Long Lee", "Quill Lee")


class Person(threading.Thread):
    """Somebody with a browser: every answer's time and every error is noted."""

    def __init__(self, number: int, base: str, patience_s: float) -> None:
        super().__init__(daemon=True)
        self.number, self.base, self.patience_s = number, base, patience_s
        self.opener = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(CookieJar()))
        self.opener.addheaders.append(("X-Forwarded-For", f"192.0.2.{number % 250 + 1}"))  # as a proxy tells the page
        self.times: list[float] = []
        self.errors: list[str] = []
        self.link, self.asked, self.done, self.heading = "", 0.0, 0.0, ""

    def ask(self, where: str, values: dict[str, str] | None = None, *, again: bool = False) -> tuple[str, str]:
        data = urllib.parse.urlencode(values).encode() if values is not None else None
        until = time.monotonic() + self.patience_s
        while True:
            began = time.perf_counter()
            try:
                with self.opener.open(self.base + where, data, timeout=60) as answer:
                    text = answer.read().decode()
                    self.times.append(time.perf_counter() - began)
                    return text, answer.url
            except urllib.error.HTTPError as error:
                self.errors.append(f"{where} {error.code}")
                raise
            except OSError:
                if not again or time.monotonic() > until:
                    self.errors.append(f"{where} no answer")
                    raise
                time.sleep(1.0)

    def run(self) -> None:
        with suppress(OSError):
            self._run()

    def _run(self) -> None:
        from helpers.served import START, WISHES

        text, _ = self.ask("/", again=True)
        seal = re.search(r'name="seal" value="(\w+)"', text)
        assert seal
        nights = (2, 3, 5, 6)[self.number % 4]  # none ends on a Sunday, when the depot is closed
        start = {
            **START,
            "pick_up": TOWNS[self.number % 2],
            "return_time": f"2027-02-{3 + nights:02}T15:00",
            "adults": str(1 + self.number % 3),
        }
        self.ask("/", {"seal": seal[1], **start}, again=True)
        _, link = self.ask("/wishes", {"seal": seal[1], **WISHES, "max_h": f"{3 + self.number % 4 / 2:g}"}, again=True)
        self.link = urllib.parse.urlsplit(link).path
        self.asked = time.monotonic()
        until = self.asked + self.patience_s
        while time.monotonic() < until:
            state, _ = self.ask(f"{self.link}/state", again=True)
            if '"going":false' in state:
                break
            time.sleep(1.0)
        self.done = time.monotonic()
        text, _ = self.ask(self.link, again=True)
        found = re.search(r"<h1>(.*?)</h1>", text, re.DOTALL)
        self.heading = re.sub("<[^>]*>", "", found[1]) if found else ""


def serve(region: Path, database: Path, port: int, workers: int) -> subprocess.Popen[bytes]:
    """Start the page."""
    firm = ROOT / "data_sample" / "firm.toml"
    command = [
        sys.executable,
        "-m",
        "tripplan",
        "serve",
        "--region",
        str(region),
        "--firm",
        str(firm),
        "--database",
        str(database),
    ]
    command += ["--port", str(port), "--workers", str(workers), "--behind-proxy"]
    log = database.with_suffix(".log").open("ab")
    return subprocess.Popen(
        command, stdout=subprocess.DEVNULL, stderr=log, env={**os.environ, "PYTHONPATH": str(ROOT)}, start_new_session=True
    )


def main() -> None:
    """Run it and print what came out."""
    asked = argparse.ArgumentParser()
    asked.add_argument("--people", type=int, default=50)
    asked.add_argument("--workers", type=int, default=2)
    asked.add_argument("--kill", action="store_true")
    options = asked.parse_args()
    from helpers.served import workers_of

    from tripplan.pipeline import sample_region
    from tripplan.region.store import save

    with tempfile.TemporaryDirectory() as folder:
        region, database = Path(folder) / "island.region", Path(folder) / "pages.sqlite"
        save(sample_region(), region)
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            port = probe.getsockname()[1]
        server = serve(region, database, port, options.workers)
        people = [Person(n, f"http://127.0.0.1:{port}", 900.0) for n in range(options.people)]
        began = time.monotonic()
        for person in people:
            person.start()
            time.sleep(2.0 / options.people)
        kills = 0
        chance = random.Random(6)
        restarted = not options.kill
        while any(person.is_alive() for person in people):
            time.sleep(12.0 if options.kill else 2.0)
            if options.kill and (pids := workers_of(server.pid)):
                os.kill(chance.choice(pids), signal.SIGKILL)
                kills += 1
            if not restarted and sum(bool(p.done) for p in people) >= options.people // 3:
                os.kill(server.pid, signal.SIGKILL)
                server.wait()
                server, restarted = serve(region, database, port, options.workers), True
        took = time.monotonic() - began
        _report(people, took, kills, database)
        server.send_signal(signal.SIGINT)
        server.wait(20)


def _report(people: list[Person], took: float, kills: int, database: Path) -> None:
    import sqlite3
    import zlib

    from tripplan.model.serial import plan_from_json

    times = sorted(t for p in people for t in p.times)
    waits = sorted(p.done - p.asked for p in people if p.done)
    errors = [error for p in people for error in p.errors]
    print(
        f"{len(people)} people, {len(times)} answers in {took:.0f} s; errors: {len(errors)} {errors[:5]}; workers killed: {kills}"
    )
    print(
        f"answer: median {statistics.median(times) * 1000:.1f} ms, 95 % {times[int(0.95 * len(times))] * 1000:.1f} ms, slowest {times[-1] * 1000:.0f} ms"
    )
    if waits:
        print(f"wait for the plan: first {waits[0]:.1f} s, median {statistics.median(waits):.1f} s, last {waits[-1]:.1f} s")
    late = 0
    order = sorted((p for p in people if p.done), key=lambda p: p.asked)
    for k, p in enumerate(order):  # one job each: who asked earlier is done earlier, but for those that run side by side
        late = max(late, sum(q.done < p.done - 1.5 for q in order[k + 1 :]))
    print(f"most people who asked later and had theirs more than 1.5 s earlier: {late}")
    headings = [p.heading for p in people]
    print("what came:", {h: headings.count(h) for h in set(headings)})
    kept = sqlite3.connect(database)
    whole = 0
    for link, kind in kept.execute("SELECT id, kind FROM made"):
        papers = dict(kept.execute("SELECT name, body FROM paper WHERE id = ?", (link,)))
        assert kind != "plan" or len(papers) == 12, link
        if kind == "plan":
            plan_from_json(zlib.decompress(papers["plan.json"]))
            whole += 1
    print(f"kept: {whole} whole plans; jobs: {dict(kept.execute('SELECT state, COUNT(*) FROM job GROUP BY state'))}")


if __name__ == "__main__":
    main()
