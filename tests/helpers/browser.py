"""A real Chromium, where there is one: opens a page from disk without a network and says what it finds there."""

from __future__ import annotations

import html
import json
import os
import re
import shutil
import subprocess
from pathlib import Path
from typing import Any

import pytest

_NAMES = ("chromium", "chromium-browser", "google-chrome", "chrome", "headless_shell")
#: The accessibility checker axe-core, unchanged, under its own licence beside it (MPL-2.0).
_AXE = Path(__file__).resolve().parents[1] / "third_party" / "axe.min.js"
_POLICY = re.compile(r'<meta http-equiv="Content-Security-Policy"[^>]*>')


def chromium() -> str:
    """Path of a Chromium (the one that TRIPPLAN_CHROMIUM names, else one on the path); skips the test where there is none."""
    named = os.environ.get("TRIPPLAN_CHROMIUM", "")
    found = named or next((path for name in _NAMES if (path := shutil.which(name))), "")
    if not found:
        pytest.skip("no Chromium found: set TRIPPLAN_CHROMIUM or install one to run the browser tests")
    return found


def _command(folder: Path, width: int, height: int, budget_ms: int) -> list[str]:
    return [
        chromium(), "--headless", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--no-first-run", "--disable-background-networking",
        "--disable-component-update", "--disable-sync", "--hide-scrollbars", "--host-resolver-rules=MAP * ~NOTFOUND", f"--user-data-dir={folder / 'profile'}",
        f"--virtual-time-budget={budget_ms}", f"--window-size={width},{height}",
    ]  # fmt: skip


def look(
    page: str, probe: str, folder: Path, *, width: int = 1280, height: int = 900, policy: bool = False, budget_ms: int = 4000
) -> dict[str, Any]:
    """Open a page and run ``probe``, the body of a function that returns what is to be known, or a promise of it, some time after loading.

    Without ``policy`` the page's content security policy is taken out first, so that only escaping stands between a text and
    the browser; with it, the policy's own hashes must let the page's scripts run (and the probe is let in by its own hash).
    """
    script = (
        "window.addEventListener('load',function(){setTimeout(function(){var out;try{out=(function(){"
        + probe
        + "})();}catch(e){out={error:String(e)};}Promise.resolve(out).catch(function(e){return {error:String(e)};})"
        + ".then(function(found){parent.postMessage(JSON.stringify(found),'*');});},1500);});"
    )
    if policy:
        import base64
        import hashlib

        own = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
        page = page.replace("script-src ", f"script-src &#x27;sha256-{own}&#x27; ", 1)
    else:
        page = _POLICY.sub("", page)
    path = folder / "page.html"
    path.write_text(page.replace("</body>", f"<script>{script}</script></body>"), encoding="utf-8")
    # A window has a least width of its own; a frame is as narrow as a telephone.
    outer = folder / "outer.html"
    outer.write_text(
        f"<!DOCTYPE html><body style='margin:0'><iframe src='page.html' style='border:0;width:{width}px;height:{height}px'></iframe>"
        "<script>addEventListener('message',function(e){var s=document.createElement('pre');s.id='probe';s.textContent=e.data;"
        "document.body.appendChild(s);});</script></body>",
        encoding="utf-8",
    )
    log = folder / "net.json"
    command = [*_command(folder, width + 40, height + 40, budget_ms), f"--log-net-log={log}", "--dump-dom", outer.as_uri()]
    done = subprocess.run(command, capture_output=True, timeout=60, check=True)
    text = done.stdout.decode("utf-8")
    found = re.search(r'<pre id="probe">(.*?)</pre>', text, re.DOTALL)
    assert found, text[-2000:]
    result: dict[str, Any] = json.loads(html.unescape(found[1]))
    result["asked_for"] = _asked_for(log)
    return result


def violations(page: str, folder: Path, *, width: int = 1280, height: int = 900, before: str = "") -> list[str]:
    """What axe-core finds wrong on a page: each rule broken, with the elements that break it; ``before`` is run first.

    All its rules for WCAG 2.0 to 2.2, levels A and AA, and those of good practice; what it cannot decide is not among them.
    """
    page = page.replace("</body>", f"<script>{_AXE.read_text(encoding='utf-8')}</script></body>")
    probe = (
        before
        + """;
        return axe.run(document, {resultTypes: ['violations']}).then(function (found) {
            return {passes: found.passes.length, violations: found.violations.map(function (v) {
                return v.id + ' (' + v.help + '): ' + v.nodes.map(function (n) { return n.target + ' ' + n.html.slice(0, 120) + ' ' + (n.failureSummary || '').slice(0, 240); }).join(' | ').slice(0, 900);
            })};
        });
    """
    )
    seen = look(page, probe, folder, width=width, height=height, budget_ms=20_000)
    assert "error" not in seen, seen
    assert seen["passes"] >= 10, "the checker did not run"
    found: list[str] = seen["violations"]
    return found


def _asked_for(log: Path) -> list[str]:
    """Addresses that the page asked for; the browser's own housekeeping has no origin."""
    found = set()
    for line in log.read_text(encoding="utf-8", errors="replace").splitlines():
        asked = re.search(r'"initiator":"([^"]*)".*"url":"((?:https?|ftp|wss?)://[^"]*)"', line)
        if asked and asked[1] != "not an origin":
            found.add(asked[2])
    return sorted(found)


def pages_printed(page: str, folder: Path) -> int:
    """Number of pages that the browser prints a page on, on its own paper size."""
    path, out = folder / "print.html", folder / "print.pdf"
    path.write_text(page, encoding="utf-8")
    command = [*_command(folder, 1280, 900, 2000), "--no-pdf-header-footer", f"--print-to-pdf={out}", path.as_uri()]
    subprocess.run(command, capture_output=True, timeout=60, check=True)
    return len(re.findall(rb"/Type\s*/Page\b(?!s)", out.read_bytes()))
