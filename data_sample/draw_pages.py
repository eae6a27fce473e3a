"""Plan a trip on the page of `tripplan serve` and picture it for the guide: `maps/page_places.png` and `maps/page_plan.png`.

Run `python data_sample/draw_pages.py` in a checkout after any change of the page. It needs what `pip install -e '.[serve]'` brings, and a
Chromium as `draw_maps.py` does; without a browser the pictures stay as they are. Nothing but loopback is asked.
"""

from __future__ import annotations

import re
import socket
import sys
import tempfile
import threading
import time
import urllib.parse
import urllib.request
from http.cookiejar import CookieJar
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import uvicorn
from draw_maps import HERE, picture

from tripplan.cli.serve import _firm, _vans
from tripplan.pipeline import sample_region
from tripplan.region.store import save
from tripplan.serve.app import make_app
from tripplan.serve.settings import Settings

#: Size of the pictures [px].
PLACES_SIZE, PLAN_SIZE = (900, 850), (900, 1190)
START = {
    "van": "1", "adults": "2", "children": "1", "pets": "0", "pick_up": "Long Lee", "pick_up_time": "2027-02-03T10:00", "return_time": "2027-02-06T15:00",
    "full_water": "yes", "height_m": "2.6", "width_m": "2.3", "length_m": "11.5", "car_mass_kg": "1900", "van_mass_kg": "1300",
}  # fmt: skip
SEEN = ("Pell Sands", "Lothmere Glass House")
WISHES = {"powered": "2", "presumed": "yes", "ferries": "yes", "tolls": "yes", "max_h": "3", "first_day_max_h": "2", "do": "plan"}


class Visitor:
    """Somebody with a cookie who fills in forms."""

    def __init__(self, base: str) -> None:
        self.base = base
        self.opener = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(CookieJar()))
        self.seal = re.search(r'name="seal" value="(\w+)"', self.get("/"))[1]  # type: ignore[index]
        self.at = ""

    def get(self, where: str) -> str:
        """Return what stands at an address of the page."""
        with self.opener.open(self.base + where, timeout=60) as answer:
            self.at = answer.url.removeprefix(self.base)
            return str(answer.read().decode())

    def post(self, where: str, values: dict[str, str]) -> str:
        """Send a form; return the page that follows."""
        body = urllib.parse.urlencode({"seal": self.seal, **values}).encode()
        with self.opener.open(self.base + where, body, timeout=60) as answer:
            self.at = answer.url.removeprefix(self.base)
            return str(answer.read().decode())

    def alone(self, page: str) -> str:
        """Return a page with its styles and scripts inside it, so that it opens from disk."""

        def style(found: re.Match[str]) -> str:
            return f"<style>{self.get(found[1])}</style>"

        scripts = re.findall(r'<script src="([^"]*)" defer></script>', page)
        page = re.sub(r'<link rel="stylesheet" href="([^"]*)">', style, page)
        page = re.sub(r'<script src="[^"]*" defer></script>|<link rel="icon"[^>]*>', "", page)
        inside = "".join(f"<script>{self.get(where)}</script>" for where in scripts)
        return page.replace("</body>", f"{inside}</body>")


def main() -> None:
    """Write both pictures."""
    if not (HERE.parent / "pyproject.toml").is_file():
        sys.exit("draw_pages.py writes into a checkout, and this is none")
    region = sample_region()
    with tempfile.TemporaryDirectory() as folder, socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
        probe.close()
        file = Path(folder) / "island.region"
        save(region, file)
        settings = Settings(
            file, str(Path(folder) / "pages.sqlite"), firm=_firm(HERE / "firm.toml"), vans=_vans(HERE / "vans"), workers=1
        )
        server = uvicorn.Server(
            uvicorn.Config(make_app(settings, region), host="127.0.0.1", port=port, log_config=None, access_log=False)
        )
        thread = threading.Thread(target=server.run, daemon=True)
        thread.start()
        while not server.started:
            time.sleep(0.05)
        visitor = Visitor(f"http://127.0.0.1:{port}")
        visitor.post("/", START)
        page = visitor.get("/places")
        for ref, name in re.findall(r'name="pick-\d+" value="([^"]*)"[^>]*><label[^>]*><bdi>([^<]*)', page):
            if name in SEEN:
                page = visitor.post("/places", {"pick-1": ref, "do": "add"})
        places = visitor.alone(page)
        visitor.post("/wishes", WISHES)
        link = visitor.at
        while '"going":true' in visitor.get(f"{link}/state"):
            time.sleep(0.3)
        plan = visitor.alone(visitor.get(link))
        server.should_exit = True
        thread.join(20)
    out = HERE.parent / "maps"
    both = picture(places, out / "page_places.png", PLACES_SIZE) and picture(plan, out / "page_plan.png", PLAN_SIZE)
    print("page_places.png, page_plan.png" if both else "no Chromium found: the pictures of the page stay as they are")


if __name__ == "__main__":  # worker processes import this file again
    main()
