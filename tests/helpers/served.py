"""The page as tests meet it: what a visitor fills in, and a page without workers."""

from __future__ import annotations

import re
import time
from pathlib import Path
from typing import Any

START = {
    "van": "1", "adults": "2", "children": "1", "pets": "0", "pick_up": "Long Lee", "pick_up_time": "2027-02-03T10:00", "return_time": "2027-02-06T15:00",
    "full_water": "yes", "height_m": "2.6", "width_m": "2.3", "length_m": "11.5", "car_mass_kg": "1900", "van_mass_kg": "1300",
}  # fmt: skip
PLACE = {"hours": "2", "nights": "0", "near_km": "15", "via": "either", "must": "yes", "value": "20", "do": "add"}
WISHES = {
    "powered": "0",
    "one_night": "-1",
    "presumed": "yes",
    "ferries": "yes",
    "tolls": "yes",
    "max_h": "3",
    "first_day_max_h": "2",
    "do": "plan",
}


def settings_of(region_file: Path, database: str, **more: Any) -> Any:
    """Settings as the command makes them, for a test client."""
    from tripplan.cli.serve import _firm, _vans
    from tripplan.pipeline import sample_folder
    from tripplan.serve.settings import LOOPBACK, Settings

    usual: dict[str, Any] = {"workers": 1, "per_second": 1e6, "burst": 1e6, "hosts": (*LOOPBACK, "testserver"), "ways_out_s": 8.0}
    return Settings(region_file, database, firm=_firm(sample_folder() / "firm.toml"), vans=_vans(None), **{**usual, **more})


class Visitor:
    """A browser of its own: cookies, the seal of its forms, and patience."""

    def __init__(self, client: Any) -> None:
        self.client = client
        self.seal = self.read_seal(self.get("/"))

    @staticmethod
    def read_seal(answer: Any) -> str:
        found = re.search(r'name="seal" value="(\w+)"', answer.text)
        return found[1] if found else ""

    def get(self, where: str, **more: Any) -> Any:
        return self.client.get(where, **more)

    def post(self, where: str, values: dict[str, str] | None = None, **more: Any) -> Any:
        return self.client.post(where, data={"seal": self.seal, **(values or {})}, **more)

    def wait(self, where: str, most_s: float = 120.0) -> Any:
        """Ask as the page's script does until the job is over; return what then stands there."""
        until = time.monotonic() + most_s
        while time.monotonic() < until:
            if not self.get(f"{where}/state").json()["going"]:
                return self.get(where)
            time.sleep(0.1)
        raise AssertionError(f"{where} was not done in {most_s} s")

    def plan(
        self, start: dict[str, str] | None = None, places: tuple[str, ...] = (), wishes: dict[str, str] | None = None
    ) -> str:
        """Fill in the three forms; return the address of the job."""
        assert self.post("/", {**START, **(start or {})}).url.path == "/places"
        for place in places:
            assert self.post("/places", {**PLACE, "place": place}).status_code == 200
        answer = self.post("/wishes", {**WISHES, **(wishes or {})})
        assert answer.url.path.startswith("/t/"), re.findall(r'class="wrong"[^>]*>([^<]*)', answer.text)
        return str(answer.url.path)


class NoPool:
    """Stands for the pool where nothing is to be worked out: jobs are kept and wait for ever."""

    def __init__(self, kept: Any) -> None:
        self.kept = kept
        self.jobs: list[Any] = []

    def start(self) -> None: ...
    def close(self) -> None: ...

    def add(self, job: Any, who: str = "") -> None:
        self.kept.add_job(job, time.time())
        self.jobs.append(job)

    def seen(self, _job: str) -> None:
        return None

    def stop(self, job: str, state: str = "stopped", words: str = "") -> None:
        self.kept.end(job, state, words)

    def again(self, job: Any) -> bool:
        return bool(self.kept.wait_again(job.id, ended=True))

    def sizes(self) -> tuple[int, int]:
        return len(self.jobs), 0

    def processes(self) -> list[int]:
        return []


def quiet_app(region_file: Path, folder: Path, *, database: str = "", **more: Any) -> tuple[Any, Any, NoPool]:
    """The page without workers, over a file in the folder or the database named; returns app, what it keeps, and the pool."""
    from tripplan.region.store import load
    from tripplan.serve.app import make_app
    from tripplan.serve.database import open_database
    from tripplan.serve.kept import Kept

    settings = settings_of(region_file, database or str(folder / "quiet.sqlite"), **more)
    kept = Kept(open_database(settings.database), settings.keep_days)
    kept.prepare()
    pool = NoPool(kept)
    return make_app(settings, load(region_file), pool=pool), kept, pool  # type: ignore[arg-type]


def workers_of(server: int) -> list[int]:
    """Return the worker processes of a server (Linux)."""
    found = []
    for entry in Path("/proc").iterdir():
        if entry.name.isdigit():
            try:
                parent = int((entry / "stat").read_text().rpartition(")")[2].split()[1])
                if parent == server and b"spawn_main" in (entry / "cmdline").read_bytes():
                    found.append(int(entry.name))
            except (OSError, ValueError):
                continue
    return found
