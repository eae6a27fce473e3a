"""The page in a real browser: on a telephone's width, by keyboard alone, with its own policy in force."""

from __future__ import annotations

import json
import re
import socket
import subprocess
import threading
import time
from pathlib import Path

import pytest
from helpers.browser import chromium
from helpers.served import START, WISHES, Visitor, settings_of


@pytest.fixture(scope="module")
def served(region_file, tmp_path_factory):
    """The page on a real port, with a worker."""
    import uvicorn

    from tripplan.region.store import load
    from tripplan.serve.app import make_app

    chromium()
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    settings = settings_of(region_file, str(tmp_path_factory.mktemp("browser") / "pages.sqlite"))
    server = uvicorn.Server(
        uvicorn.Config(make_app(settings, load(region_file)), host="127.0.0.1", port=port, log_config=None, access_log=False)
    )
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    until = time.monotonic() + 30
    while not server.started and time.monotonic() < until:
        time.sleep(0.05)
    yield f"http://127.0.0.1:{port}"
    server.should_exit = True
    thread.join(20)


def dom(where: str, folder: Path, *, width: int = 1000, height: int = 900, budget_ms: int = 3000) -> str:
    """Return the page's document after its scripts have had their time, and a picture beside it."""
    command = [
        chromium(), "--headless", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--no-first-run", f"--user-data-dir={folder / 'profile'}",
        f"--window-size={width},{height}", f"--virtual-time-budget={budget_ms}", "--enable-logging=stderr", "--dump-dom", where,
    ]  # fmt: skip
    done = subprocess.run(command, capture_output=True, timeout=90, check=True)
    said = [line for line in done.stderr.decode("utf-8", "replace").splitlines() if "CONSOLE" in line]
    assert not said, said
    return done.stdout.decode("utf-8")


@pytest.mark.enable_socket
@pytest.mark.parametrize("where", ["/", "/check", "/about"])
def test_pages_open_without_a_complaint_of_their_policy(served, where, tmp_path):
    """Each page's own style is let in, and the browser's console stays silent: nothing was blocked, nothing failed."""
    text = dom(served + where, tmp_path, width=500)
    assert "<h1>" in text


@pytest.mark.enable_socket
def test_every_page_fits_a_telephone(served, tmp_path):
    """390 px wide, inside a frame as narrow as a telephone: no page is wider than that, the result's with its tables included."""
    import httpx2

    with httpx2.Client(base_url=served, follow_redirects=True, timeout=60) as client:
        visitor = Visitor(client)
        link = visitor.plan()
        pages = {"plan": visitor.wait(link).text}
        for name, where in (
            ("start", "/"),
            ("places", "/places"),
            ("wishes", "/wishes"),
            ("check", "/check"),
            ("night", f"{link}/night/1"),
        ):
            pages[name] = visitor.get(where).text
        visitor.post("/", START)
        visitor.post("/places", {"place": "Pell Sands", "hours": "2", "do": "add"})
        pages["places with one"] = visitor.get("/places").text
    css = (Path(__file__).resolve().parents[2] / "tripplan/serve/static/page.css").read_text(encoding="utf-8")
    assert WISHES
    for name, text in pages.items():
        page = text.replace('<link rel="stylesheet" href="/static/page.css">', f"<style>{css}</style>")
        probe = "<script>addEventListener('load',function(){parent.postMessage(JSON.stringify({w:document.documentElement.scrollWidth,n:[...document.querySelectorAll('input:not([type=hidden]),select,button,a')].filter(function(e){return !(e.textContent.trim()||(e.labels&&e.labels.length))}).length}),'*')})</script>"
        (tmp_path / "page.html").write_text(page.replace("</body>", probe + "</body>"), encoding="utf-8")
        outer = tmp_path / "outer.html"
        outer.write_text(
            "<body style='margin:0'><iframe src='page.html' style='border:0;width:390px;height:800px'></iframe><script>addEventListener('message',"
            "function(e){var p=document.createElement('pre');p.id='probe';p.textContent=e.data;document.body.appendChild(p)})</script>",
            encoding="utf-8",
        )
        found = re.search(r'<pre id="probe">(.*?)</pre>', dom(outer.as_uri(), tmp_path, width=500))
        assert found, name
        told = json.loads(found[1])
        assert told["w"] <= 390, (name, told)
        assert told["n"] == 0, f"{name}: a field or link without a name"
