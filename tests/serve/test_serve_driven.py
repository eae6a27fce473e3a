"""Every flow of the page in a driven browser: by keyboard alone on a telephone, and every page held against axe-core at two widths."""

from __future__ import annotations

import json
import re
import socket
import threading
import time
from pathlib import Path

import pytest
from helpers.driven import Driven, driven
from helpers.served import settings_of

pytestmark = [pytest.mark.long, pytest.mark.enable_socket]

TELEPHONE, DESK = 390, 1280
GALE = {
    "type": "FeatureCollection", "features": [{
        "type": "Feature", "properties": {"name": "Gale over the north", "kind": "wind", "from": "2027-02-04", "to": "2027-02-04", "source": "the weather desk"},
        "geometry": {"type": "Polygon", "coordinates": [[[-27.8, -42.75], [-24.2, -42.75], [-24.2, -42.4], [-27.8, -42.4], [-27.8, -42.75]]]},
    }],
}  # fmt: skip


@pytest.fixture(scope="module")
def place(region_file, tmp_path_factory):
    """The page on a real port with a worker, the firm's closures and one loop to start from."""
    import uvicorn
    from click.testing import CliRunner

    from tripplan.cli.suggest import command
    from tripplan.region.store import load
    from tripplan.serve.app import make_app

    folder = tmp_path_factory.mktemp("driven")
    closures = folder / "closed.geojson"
    closures.write_text(json.dumps({"type": "FeatureCollection", "features": []}), encoding="utf-8")
    loops = [
        "--region",
        str(region_file),
        "--depot",
        "Long Lee",
        "--nights",
        "3",
        "--date",
        "2027-02-03",
        "--theme",
        "best",
        "--most-sights",
        "3",
    ]
    assert CliRunner().invoke(command, [*loops, "--out", str(folder / "loops")], standalone_mode=False).return_value == 0
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    settings = settings_of(
        region_file, str(folder / "pages.sqlite"), closures=(str(closures),), suggestions=folder / "loops", most_jobs=20
    )
    config = uvicorn.Config(make_app(settings, load(region_file)), host="127.0.0.1", port=port, log_config=None, access_log=False)
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    until = time.monotonic() + 60
    while not server.started and time.monotonic() < until:
        time.sleep(0.05)
    yield f"http://127.0.0.1:{port}", closures
    server.should_exit = True
    thread.join(20)


@pytest.fixture
def telephone(place, tmp_path):
    """A browser as narrow as a telephone, at the first form."""
    with driven(place[0], tmp_path, width=TELEPHONE, height=800) as own:
        own.open("/")
        yield own
        own.fits()
        assert own.complaints() == []


# ------------------------------------------------------------------------------------------------- by keyboard alone


def fill(page: Driven, css: str, text: str) -> None:
    """Go to a field by Tab, and type over what stands there."""
    page.tab_to(css)
    page.press(page.keys.CONTROL, "a")
    page.press(text)


def moment(page: Driven, css: str, month: str, day: str, year: str, hour: str) -> None:
    """Type a date and a time into the parts of their field."""
    page.tab_to(css)
    page.press(month, day, year, page.keys.TAB, hour, "00")


def start(page: Driven, *, until_day: str = "06") -> None:
    """Van and dates, by keys."""
    fill(page, "#pick_up", "Long Lee")
    moment(page, "#pick_up_time", "02", "03", "2027", "10")
    moment(page, "#return_time", "02", until_day, "2027", "03")
    page.press(page.keys.ENTER)
    page.until("Places to see")


def press_button(page: Driven, css: str, heading: str, most_s: float = 180.0) -> None:
    """Go to a button or link by Tab, press Enter, and wait for what it leads to."""
    page.tab_to(css)
    page.press(page.keys.ENTER)
    page.until(heading, most_s)
    page.fits()


def planned(page: Driven, *, until_day: str = "06") -> None:
    """A plan without places to see, by keys."""
    start(page, until_day=until_day)
    press_button(page, "button.main", "Wishes")
    press_button(page, "button[value=plan]", "Our trip")


def test_sights_are_chosen_on_the_map_by_keys(telephone):
    """A star has the focus, says its name, ticks its box by Space and unticks it again; the plan then sees it."""
    page = telephone
    start(page)
    star = page.tab_to("#region-map .sign-box")
    name = star.get_attribute("aria-label")
    assert name
    assert star.get_attribute("role") == "checkbox"
    page.press(page.keys.SPACE)
    assert star.get_attribute("aria-checked") == "true"
    assert name in page.one("#pick-said").text
    ticked = page.driver.execute_script(
        "return [...document.querySelectorAll('#listed input:checked')].map(e => e.labels[0].textContent)"
    )
    assert [name in text for text in ticked] == [True]
    page.press(page.keys.SPACE)
    assert page.driver.execute_script("return document.querySelectorAll('#listed input:checked').length") == 0
    page.press(page.keys.ENTER)
    press_button(page, "#choose fieldset button[value=add]", "Places to see")
    assert name in page.one("tbody").text
    press_button(page, "button.main", "Wishes")
    assert "1 place to see" in page.text


def test_pick_up_and_return_are_chosen_on_the_map_by_keys(telephone):
    """The fold opens by Enter, a town has the focus and is made the pick-up by its button, another the return."""
    page = telephone
    page.tab_to("details.fold > summary")
    page.press(page.keys.ENTER)
    first = page.tab_to("#region-map .sign-box").get_attribute("aria-label")
    page.press(page.keys.ENTER)
    assert first in page.one("#pick-said").text
    page.tab_to("button[data-end=pick_up]")
    page.press(page.keys.ENTER)
    assert page.one("#pick_up").get_attribute("value") == first
    assert page.driver.switch_to.active_element.get_attribute("id") == "pick_up"
    page.tab_to("button[data-end=return]")
    page.press(page.keys.ENTER)
    assert page.one("#return").get_attribute("value") == first


def test_a_night_is_moved_by_keys_and_what_moved_is_told(telephone):
    """From a plan to the night's page, to another site, to the new plan with every level that moved."""
    page = telephone
    planned(page, until_day="08")
    press_button(page, "a[href$='/night/2']", "Day 2")
    page.tab_to("input[name=near]")
    page.press(page.keys.ARROW_DOWN)
    assert page.driver.switch_to.active_element.is_selected(), "the arrow keys choose among the sites near it"
    now = re.search(r"Now: ([^.,]*)", page.text)[1]
    fill(page, "#site", next(name for name in ("Gannoway Strand", "Ashgarrow Showground") if name != now))
    press_button(page, "button[value=move]", "Our trip")
    assert "What moved" in page.text
    assert "booked" in page.text


def test_where_nothing_works_a_change_is_pressed(telephone):
    """Too little driving for a place that must be seen: what breaks is told, and the first change, a button, gives a plan."""
    page = telephone
    start(page, until_day="05")
    fill(page, "#place", "Pell Sands")
    press_button(page, "#by-name button[value=add]", "Places to see")
    press_button(page, "button.main", "Wishes")
    fill(page, "#max_h", "0.5")
    fill(page, "#first_day_max_h", "0.5")
    press_button(page, "button[value=plan]", "No plan keeps all limits")
    assert "would break" in page.text
    assert len(page.driver.find_elements("css selector", "ol.ways button")) >= 1
    press_button(page, "ol.ways button", "Our trip")


def test_costs_choices_and_today_by_keys(telephone, place):
    """From a plan: what its wishes cost, other plans beside it, and whether it holds today; each leads back."""
    page = telephone
    start(page)
    page.tab_to("#listed input")
    page.press(page.keys.SPACE)
    press_button(page, "button.main", "Wishes")
    press_button(page, "button[value=plan]", "Our trip")
    link = page.path
    press_button(page, "form[action$='/costs'] button", "What each wish costs")
    assert "To see" in page.text
    press_button(page, "a.button", "Our trip")
    assert page.path == link
    press_button(page, "form[action$='/choices'] button", "The choices")
    page.open(link)
    press_button(page, "form[action$='/recheck'] button", "The plan holds")


def test_the_firms_gale_is_told_and_kept_off(telephone, place):
    """While the firm's list warns of a gale, the wishes and the plan say so; the plan made before is held against it."""
    page, (_, closures) = telephone, place
    was = closures.read_text(encoding="utf-8")
    try:
        closures.write_text(json.dumps(GALE), encoding="utf-8")
        start(page)
        press_button(page, "button.main", "Wishes")
        assert "Gale over the north" in page.text
        assert "wind warning, no towing there" in page.text
        press_button(page, "button[value=plan]", "Our trip")
        assert "Gale over the north" in page.text
        press_button(page, "form[action$='/recheck'] button", "The plan holds")
        assert "Gale over the north" in page.text
    finally:
        closures.write_text(was, encoding="utf-8")


def test_a_loop_is_started_from_by_keys(telephone):
    """From the first page to the firm's loops, and from one of them into the forms and to its plan."""
    page = telephone
    press_button(page, "nav a[href='/loops']", "Suggested loops")
    press_button(page, "button[name=loop]", "Plan a van trip")
    assert page.one("#pick_up").get_attribute("value") == "Long Lee"
    press_button(page, "main button.main", "Places to see")
    assert "Chosen so far" in page.text
    press_button(page, "button.main", "Wishes")
    press_button(page, "button[value=plan]", "The best of all")


def test_a_plan_is_kept_reopened_and_deleted_by_keys(telephone):
    """It stands among one's own plans, opens from there, and is gone when it was deleted."""
    page = telephone
    planned(page)
    press_button(page, "nav a[href='/plans']", "Your plans")
    press_button(page, "table a", "Our trip")
    link = page.path
    press_button(page, "button.away", "Your plans")
    page.open(link)
    assert page.heading == "Not found"
    page.complaints()  # the answer 404 stands there


def test_staff_hand_in_way_points_by_keys(telephone, tmp_path):
    """A file chosen for its field gives a verdict, its map and, where it is forbidden, the way to advise."""
    page = telephone
    press_button(page, "nav a[href='/check']", "Check a way")
    path = tmp_path / "way.csv"
    path.write_text("name,lat,lon\nfirst,-43.366181,-26.590765\nsecond,-43.052139,-25.558488\n", encoding="utf-8")
    page.one("#file").send_keys(str(path))  # the browser's own window for files is not the page's
    page.tab_to("button.main")
    page.press(page.keys.ENTER)
    page.until("This way is not for the van")
    assert "The way as brought" in page.text
    press_button(page, "a.button.main", "The way as brought")


def test_what_is_wrong_is_told_and_led_to_by_keys(telephone):
    """The list of what has to be mended leads to each field, which says so itself."""
    page = telephone
    fill(page, "#pick_up", "Nowhere at all")
    page.press(page.keys.ENTER)
    time.sleep(0.5)
    page.tab_to(".mend a")
    page.press(page.keys.ENTER)
    page.tab_to("#pick_up")
    field = page.one("#pick_up")
    assert field.get_attribute("aria-invalid") == "true"
    assert "not on the map" in page.one(f"#{field.get_attribute('aria-describedby')}").text
    assert page.axe() == []


# ------------------------------------------------------------------------------------------------- axe-core


@pytest.mark.parametrize("width", [TELEPHONE, DESK])
def test_no_page_breaks_a_rule_of_axe(place, tmp_path: Path, width: int):
    """Every page in every state that a visitor meets: empty, filled, wrong, working, planned, without a plan, changed, kept."""
    base, _ = place
    found: list[str] = []
    with driven(base, tmp_path, width=width) as page:

        def held(where: str = "", before: str = "") -> None:
            if where:
                page.open(where)
            page.driver.execute_script("document.querySelectorAll('details').forEach(d => { d.open = true; });" + before)
            time.sleep(0.5)
            found.extend(page.axe())
            page.fits()

        def send(css: str, heading: str, most_s: float = 240.0, **values: str) -> None:
            for name, value in values.items():
                page.driver.execute_script("document.getElementById(arguments[0]).value = arguments[1]", name, value)
            page.one(css).click()
            page.until(heading, most_s)

        for where in ("/", "/plans", "/check", "/about", "/loops", "/nowhere"):
            held(where)
        page.open("/check")
        send("button.main", "Check a way", length_m="3")
        held()
        page.open("/")
        send("button.main", "Plan a van trip", pick_up="Lothmer", pick_up_time="2027-02-03T10:00", return_time="2027-02-06T15:00")
        held()
        send("button.main", "Places to see", pick_up="Long Lee")
        held()
        send("#by-name button[value=add]", "Places to see", place="Lothmer")
        held()
        page.open("/places")
        page.one("#listed input").click()
        held()
        send("#choose fieldset button[value=add]", "Places to see")
        held()
        held("/places?edit=0")
        page.open("/wishes")
        send("button[value=book]", "Wishes", night="2028-01-01", site="Gannoway Strand")
        held()
        page.open("/wishes")
        page.one("button[value=plan]").click()
        page.until(("Planning", "Our trip"))
        held()
        page.until("Our trip")
        held()
        link = page.path
        held(f"{link}/night/2")
        for action, heading in (("costs", "What each wish costs"), ("choices", "The choices"), ("recheck", "The plan holds")):
            page.open(link)
            send(f"form[action$='/{action}'] button", heading)
            held()
        page.open(f"{link}/night/2")
        page.driver.find_elements("css selector", "input[name=near]")[1].click()
        page.one("button[value=move]").click()
        page.until(("Our trip", "No plan"))
        held()
        page.open("/places")
        send("#by-name button[value=add]", "Places to see", place="Pell Sands")
        page.open("/wishes")
        send("button[value=plan]", "No plan keeps all limits", max_h="0.5", first_day_max_h="0.5")
        held()
        held("/plans")
        page.open("/wishes")
        send("button[value=suggest]", "Looking for loops", max_h="4", first_day_max_h="2")
        send("form[action$='/stop'] button", "No answer")
        held()
        track = tmp_path / "way.csv"
        track.write_text("name,lat,lon\nfirst,-43.366181,-26.590765\nsecond,-43.052139,-25.558488\n", encoding="utf-8")
        page.open("/check")
        page.one("#file").send_keys(str(track))
        send("button.main", "This way is not for the van")
        held()
        assert re.search(r"\d", page.text)
    assert found == []
