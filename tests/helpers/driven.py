"""A Chromium that is driven by keys as a person would, at a width of choice, with axe-core on board."""

from __future__ import annotations

import shutil
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from helpers.browser import chromium

_AXE = Path(__file__).resolve().parents[1] / "third_party" / "axe.min.js"
_FLAGS = (
    "--headless=new", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync", "--hide-scrollbars", "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1",
)  # fmt: skip


class Driven:
    """One browser window."""

    def __init__(self, driver: Any, base: str, width: int) -> None:
        from selenium.webdriver.common.keys import Keys

        self.driver = driver
        self.base = base
        self.width = width
        self.keys = Keys

    def open(self, where: str) -> None:
        """Go to a page."""
        self.driver.get(self.base + where)

    @property
    def heading(self) -> str:
        """The page's heading."""
        return str(self.driver.find_element("tag name", "h1").text)

    @property
    def path(self) -> str:
        """Address of the page on its server."""
        return str(self.driver.current_url).removeprefix(self.base)

    @property
    def text(self) -> str:
        """What the page's main part says."""
        return str(self.driver.find_element("tag name", "main").text)

    def one(self, css: str) -> Any:
        """The first element that a selector finds."""
        return self.driver.find_element("css selector", css)

    def press(self, *keys: str) -> None:
        """Press keys on whatever has the focus."""
        here = self.driver.switch_to.active_element
        if here.get_attribute("type") == "file":  # what is sent to it would be taken for a file's name
            from selenium.webdriver.common.action_chains import ActionChains

            ActionChains(self.driver).send_keys(*keys).perform()
        else:
            here.send_keys(*keys)

    def tab_to(self, css: str, most: int = 150) -> Any:
        """Press Tab until the focus is on what a selector finds, as somebody without a mouse has to."""
        for _ in range(most):
            self.press(self.keys.TAB)
            here = self.driver.switch_to.active_element
            if self.driver.execute_script("return arguments[0].matches(arguments[1])", here, css):
                assert self.seen(here), f"{css} has the focus, but nobody sees where it is"
                return here
        raise AssertionError(f"{css} is not reached by keyboard on {self.path}")

    def seen(self, element: Any) -> bool:
        """Whether an element with the focus lies in the window and shows an outline."""
        return bool(
            self.driver.execute_script(
                "var b=arguments[0].getBoundingClientRect(),s=getComputedStyle(arguments[0]);"
                "return b.bottom>0&&b.top<innerHeight&&b.right>0&&b.left<innerWidth&&s.outlineStyle!=='none'",
                element,
            )
        )

    def until(self, told: str | tuple[str, ...], most_s: float = 120.0) -> None:
        """Wait until the heading begins with some words; what ended otherwise is not waited for."""
        until = time.monotonic() + most_s
        from selenium.common.exceptions import WebDriverException

        said = ""
        while time.monotonic() < until:
            try:
                said = self.heading
                if said.startswith(told):
                    return
                if said.startswith(("No answer", "No plan", "Not ")):
                    break
            except WebDriverException:  # between two pages
                pass
            time.sleep(0.2)
        raise AssertionError(f"no page came that is headed {told!r}, but {said!r}: {self.text[:600]}")

    def fits(self) -> None:
        """Hold the page to its window: nothing is wider, no field or button is without a name."""
        wide = self.driver.execute_script("return document.documentElement.scrollWidth")
        assert wide <= self.width, f"{self.path} is {wide} px wide in a window of {self.width}"
        nameless = self.driver.execute_script(
            "return [...document.querySelectorAll('input:not([type=hidden]),select,button,a')].filter(e => "
            "!(e.textContent.trim() || e.getAttribute('aria-label') || e.title || (e.labels && e.labels.length))).map(e => e.outerHTML)"
        )
        assert not nameless, nameless

    def axe(self) -> list[str]:
        """What axe-core finds wrong on the page as it stands."""
        self.driver.execute_script(_AXE.read_text(encoding="utf-8") + ";window.axe=axe;")
        found = self.driver.execute_async_script(
            "var done=arguments[arguments.length-1];axe.run(document,{resultTypes:['violations']}).then(function(f){done({passes:f.passes.length,"
            "violations:f.violations.map(function(v){return v.id+' ('+v.help+'): '+v.nodes.map(function(n){return n.target+' '+n.html.slice(0,120)+' '"
            "+(n.failureSummary||'').slice(0,200);}).join(' | ').slice(0,900);})});},function(e){done({passes:0,violations:[String(e)]});});"
        )
        assert found["passes"] >= 10, found
        return [f"{self.path} at {self.width}: {one}" for one in found["violations"]]

    def complaints(self) -> list[str]:
        """What the browser's console holds: blocked by the policy, failed, thrown; an answer that a form is to be mended is none."""
        return [line["message"] for line in self.driver.get_log("browser") if "status of 422" not in line["message"]]

    def picture(self, out: Path) -> None:
        """Photograph the whole page."""
        high = self.driver.execute_script("return document.documentElement.scrollHeight")
        shot = self.driver.execute_cdp_cmd(
            "Page.captureScreenshot", {"captureBeyondViewport": True, "clip": {"x": 0, "y": 0, "width": self.width, "height": min(high, 6000), "scale": 1}}
        )  # fmt: skip
        import base64

        out.write_bytes(base64.b64decode(shot["data"]))


@contextmanager
def driven(base: str, folder: Path, *, width: int = 1280, height: int = 900) -> Iterator[Driven]:
    """Open a browser; skips the test where there is none that can be driven."""
    selenium = pytest.importorskip("selenium.webdriver")
    from selenium.common.exceptions import WebDriverException

    named = shutil.which("chromedriver")
    if named is None:  # without one, selenium would look for it on the network
        pytest.skip("no chromedriver found: install it beside Chromium to run these browser tests")
    options = selenium.ChromeOptions()
    options.binary_location = chromium()
    for flag in (*_FLAGS, f"--user-data-dir={folder / f'profile-{width}'}", f"--window-size={max(width, 500)},{height}"):
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    if width < 500:  # a window has a least width of its own
        options.add_experimental_option(
            "mobileEmulation", {"deviceMetrics": {"width": width, "height": height, "pixelRatio": 1.0}}
        )
    try:
        driver = selenium.Chrome(options=options, service=selenium.ChromeService(executable_path=named))
    except WebDriverException as error:
        pytest.skip(f"no driver for Chromium: {type(error).__name__}")
    try:
        driver.set_script_timeout(60)
        yield Driven(driver, base, width)
    finally:
        driver.quit()
