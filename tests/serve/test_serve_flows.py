"""Every flow of the page, as somebody without scripts goes through it."""

from __future__ import annotations

import json
import re

from helpers.served import PLACE, START, WISHES


def heading(answer):
    found = re.search(r"<h1>(.*?)</h1>", answer.text, re.DOTALL)
    return re.sub(r"<[^>]*>", "", found[1]) if found else ""


def test_a_trip_is_planned_and_all_its_papers_open(visitor):
    """Van, places, wishes, plan: the result tells days and levels, and each paper comes from its fixed name."""
    from tripplan.model.serial import plan_from_json

    link = visitor.plan(places=("Pell Sands",))
    answer = visitor.wait(link)
    assert answer.status_code == 200
    assert heading(answer) == "Our trip"
    assert "Pell Sands" in answer.text
    names = re.findall(rf'href="{link}/([\w.]+)"', answer.text)
    assert {"map.html", "itinerary.html", "itinerary.pdf", "route.gpx", "trip.ics", "plan.json"} <= set(names)
    for name in set(names) - {"edit", "delete"}:
        paper = visitor.get(f"{link}/{name}")
        assert paper.status_code == 200, name
        assert len(paper.content) > 500, name
        assert paper.headers["x-content-type-options"] == "nosniff"
        assert name in paper.headers["content-disposition"]
    assert "sandbox" in visitor.get(f"{link}/map.html").headers["content-security-policy"]
    plan = plan_from_json(visitor.get(f"{link}/plan.json").text)
    assert plan.trip.nights == 3
    assert [s.spot.name for s in plan.trip.sights] == ["Pell Sands"]
    for day in plan.days:
        if day.night is not None:
            assert day.night.spot.name in answer.text


def test_what_the_page_plans_is_what_the_command_plans(visitor, region_file):
    """The same trip through a trip file gives the same plan byte for byte."""
    from tripplan.model.serial import plan_to_json
    from tripplan.pipeline import audited_plan
    from tripplan.region.store import load
    from tripplan.serve.draft import trip_in

    link = visitor.plan()
    visitor.wait(link)
    from helpers.served import settings_of

    settings = settings_of(region_file, "unused")
    region = load(region_file)
    draft = {
        "name": "", "van": settings.vans[1], "party": {"name": "party", "adults": 2, "children": 1, "pets": 0},
        "outfit": {"name": "car and van", "car_mass_kg": 1900.0, "van_mass_kg": 1300.0, "height_m": 2.6, "width_m": 2.3, "length_m": 11.5},
        "pick_up": {"place": "Long Lee", "time": START["pick_up_time"]}, "return": {"place": "Long Lee", "time": START["return_time"]},
        "full_water": True, "driving": {"max_h": 3.0, "first_day_max_h": 2.0},
    }  # fmt: skip
    own = json.loads(plan_to_json(audited_plan(trip_in(draft, settings.firm, region), region)))
    served = json.loads(visitor.get(f"{link}/plan.json").text)
    for plan in (own, served):  # the page writes the depot's identity, the file its name
        plan["trip"].pop("depot")
        plan["trip"].pop("return_depot")
    assert served["days"][1:-1] == own["days"][1:-1]
    assert served["cost"] == own["cost"]


def test_one_of_several_places_is_chosen(quiet):
    """A name that fits several places becomes a choice; the choice is taken, and its way from the depot told."""
    visitor, _, _ = quiet
    visitor.post("/", START)
    asked = visitor.post("/places", {**PLACE, "place": "Lothmer"})
    assert asked.status_code == 422
    matches = dict(re.findall(r'name="place_is" value="([^"]*)"><label[^>]*>([^<]*)', asked.text))
    assert len(matches) > 1
    sight = next(value for value, told in matches.items() if "Glass House" in told)
    answer = visitor.post("/places", {**PLACE, "place": "Lothmer", "place_typed": "Lothmer", "place_is": sight})
    assert answer.url.path == "/places"
    assert answer.status_code == 200
    assert "Lothmere Glass House" in answer.text
    assert re.search(r"with the van: \d+\skm, ", answer.text)
    stale = visitor.post("/places", {**PLACE, "place": "Pell Sands", "place_typed": "Lothmer", "place_is": sight})
    assert stale.text.count("<bdi>Pell Sands</bdi>") == 1


def test_what_is_mended_is_told_beside_its_field(quiet):
    """Wrong values come back with words beside the field, and nothing is kept of them."""
    visitor, _, pool = quiet
    for change, field, words in (
        ({"adults": "0"}, "adults", "1 to 10"),
        ({"adults": "x"}, "adults", "will not do"),
        ({"children": "9"}, "van", "berths"),
        ({"pick_up": "Nowhere at all"}, "pick_up", "not on the map"),
        ({"pick_up": "0, 0"}, "pick_up", "off the map"),
        ({"return_time": "2027-02-03T09:00"}, "return_time", "1 to 35 nights"),
        ({"return_time": "2027-12-03T09:00"}, "return_time", "1 to 35 nights"),
        ({"pick_up_time": "soon"}, "pick_up_time", "date and time"),
        ({"pick_up_time": "9999-12-31T23:59"}, "pick_up_time", "1990 to 2100"),
        ({"height_m": "nan"}, "height_m", "will not do"),
        ({"return_time": "2027-02-07T15:00"}, "pick_up_time", "closed on the day of return"),
        ({"length_m": "4.1"}, "pick_up_time", "length_m"),
    ):
        answer = visitor.post("/", {**START, **change})
        assert answer.status_code == 422, change
        told = re.search(rf'id="{field}-wrong"[^>]*>([^<]*)', answer.text)
        assert told, (change, re.findall(r'class="wrong"[^>]*>([^<]*)', answer.text))
        assert words in told[1], (change, told[1])
    assert visitor.get("/places").url.path == "/"
    assert not pool.jobs


def test_booked_nights_and_places_come_and_go(quiet):
    """A booked night and a place are added and taken out again."""
    visitor, _, _ = quiet
    visitor.post("/", START)
    visitor.post("/places", {**PLACE, "place": "Pell Sands"})
    assert "Chosen so far" not in visitor.post("/places", {"out": "0"}).text
    wishes = {"powered": "0", "one_night": "-1", "max_h": "3", "first_day_max_h": "2"}
    outside = visitor.post("/wishes", {**wishes, "do": "book", "night": "2027-03-04", "site": "Gannoway Strand"})
    assert "outside the trip" in outside.text
    booked = visitor.post("/wishes", {**wishes, "do": "book", "night": "2027-02-04", "site": "Gannoway Strand"})
    assert "Thu 4 February 2027: <bdi>Gannoway Strand</bdi>" in booked.text
    assert "Thu 4 February 2027:" not in visitor.post("/wishes", {**wishes, "out": "2027-02-04"}).text


def test_choices_stand_beside_each_other_and_open(visitor):
    """Other plans that really differ become columns, each with a link that opens a whole plan."""
    link = visitor.plan(start={"return_time": "2027-02-10T15:00"}, places=("Pell Sands", "Lothmere Glass House"))
    visitor.wait(link)
    asked = visitor.post(f"{link}/choices")
    answer = visitor.wait(asked.url.path)
    assert heading(answer) == "The choices"
    links = re.findall(r'class="button" href="(/t/[^"]+)"', answer.text)
    assert links[0] == link
    assert len(links) > 1, "the sample has plans that differ"
    for other in links[1:]:
        opened = visitor.get(other)
        assert opened.status_code == 200
        assert visitor.get(f"{other}/map.html").status_code == 200
    assert len({visitor.get(f"{other}/plan.json").text for other in links}) == len(links)


def test_a_night_is_changed_by_hand(visitor):
    """A night moved by hand is booked there, planned again, and set beside the plan before; it can be freed again."""
    link = visitor.plan(start={"return_time": "2027-02-08T15:00"})
    visitor.wait(link)
    page = visitor.get(f"{link}/night/2")
    now = re.search(r"Now: <bdi>([^<]*)</bdi>", page.text)[1]
    assert len(re.findall(r'name="near" value="([^"]*)"', page.text)) > 3
    name = next(name for name in ("Gannoway Strand", "Ashgarrow Showground") if name != now)
    moved = visitor.post(f"{link}/night/2", {"site": name, "do": "move"})
    answer = visitor.wait(moved.url.path)
    assert "What moved" in answer.text, heading(answer)
    assert name in answer.text
    assert "booked" in answer.text
    assert f'href="{link}"' in answer.text
    plan = json.loads(visitor.get(f"{moved.url.path}/plan.json").text)
    assert [b["night"] for b in plan["trip"]["bookings"]] == ["2027-02-04"]
    freed = visitor.post(f"{moved.url.path}/night/2", {"do": "free"})
    visitor.wait(freed.url.path)
    assert json.loads(visitor.get(f"{freed.url.path}/plan.json").text)["trip"]["bookings"] == []


def test_where_nothing_works_the_changes_are_buttons(visitor):
    """The excesses are told, and pressing the first of the ranked changes gives a plan."""
    visitor.post("/", {**START, "return_time": "2027-02-05T15:00"})
    visitor.post("/places", {**PLACE, "place": "Pell Sands"})
    asked = visitor.post("/wishes", {**WISHES, "max_h": "0.5", "first_day_max_h": "0.5"})
    answer = visitor.wait(asked.url.path)
    assert heading(answer) == "No plan keeps all limits"
    assert "would break" in answer.text, answer.text
    ways = re.findall(r'name="way" value="(\d+)">([^<]*)', answer.text)
    assert ways
    again = visitor.post(f"{asked.url.path}/change", {"way": "0"})
    planned = visitor.wait(again.url.path)
    assert heading(planned) == "Our trip", planned.text[:2000]
    assert visitor.post(f"{asked.url.path}/change", {"way": "99"}).status_code == 404


def test_a_plan_is_kept_shared_edited_and_deleted(visitor, site):
    """A link opens for anybody who has it; only who made it can delete it; its trip can be taken up again by anybody."""
    from helpers.served import Visitor

    link = visitor.plan(start={"name": "Round the west"})
    visitor.wait(link)
    assert link in visitor.get("/plans").text
    token = link.rpartition("/")[2]
    assert len(token) >= 32, "at least 128 bits"
    cookies = dict(site.cookies)
    site.cookies.clear()
    other = Visitor(site)
    assert heading(other.get(link)) == "Round the west"
    assert "Delete this plan" not in other.get(link).text
    assert other.post(f"{link}/delete").status_code == 404
    assert link not in other.get("/plans").text
    assert 'value="Round the west"' in other.post(f"{link}/edit").text
    site.cookies.clear()
    site.cookies.update(cookies)
    assert visitor.post(f"{link}/delete").url.path == "/plans"
    assert visitor.get(link).status_code == 404
    assert visitor.get(f"{link}/map.html").status_code == 404


def test_staff_check_way_points(visitor, region_file):
    """Way-points give a verdict, a map and figures for programs; the file's own name leads nowhere."""
    from tripplan.region.find import find
    from tripplan.region.store import load

    region = load(region_file)
    depot = find(region, "Long Lee")[0]
    site_ = next(p for p in region.places if p.name == "Gannoway Strand")
    points = f"name,lat,lon\na,{depot.lat},{depot.lon}\nb,{site_.lat},{site_.lon}\n"
    values = {
        "height_m": "2.6",
        "width_m": "2.3",
        "length_m": "11.5",
        "car_mass_kg": "1900",
        "van_mass_kg": "1300",
        "as": "auto",
        "day": "2027-02-03",
    }
    asked = visitor.post("/check", values, files={"file": ("../../etc/passwd.csv", points.encode(), "text/csv")})
    answer = visitor.wait(asked.url.path)
    assert heading(answer) in ("This way is not for the van", "Nothing forbidden was found")
    assert "The way as brought:" in answer.text
    assert "passwd" not in answer.text
    page = visitor.get(f"{asked.url.path}/check.html")
    assert page.status_code == 200
    assert "check-map" in page.text
    found = json.loads(visitor.get(f"{asked.url.path}/check.json").text)
    assert found["forbidden"] == (heading(answer) == "This way is not for the van")


def test_a_file_that_is_none_is_refused_in_words(visitor):
    """What is no track is told as the command tells it, without a path of this machine."""
    for body, words in (
        (b"\x89PNG\r\n", "UTF-8"),
        (b"PK\x03\x04rest", "packed"),
        (b"<!DOCTYPE x [<!ENTITY a 'b'>]><gpx/>", "document type"),
    ):
        asked = visitor.post("/check", {"height_m": "2.6"}, files={"file": ("way.gpx", body, "application/gpx+xml")})
        answer = visitor.wait(asked.url.path)
        assert heading(answer) == "No answer"
        assert words in answer.text, answer.text
        assert "/tmp" not in answer.text
        assert "tripplan-check-" not in answer.text
    assert visitor.post("/check", {}).status_code == 422


def test_a_job_is_stopped_and_begun_again(visitor):
    """The stop button ends the work at once; beginning again gives the plan under the same link."""
    link = visitor.plan(start={"return_time": "2027-02-17T15:00"}, places=("Pell Sands",))
    stopped = visitor.post(f"{link}/stop")
    assert heading(stopped) in ("No answer", "Our trip")
    if heading(stopped) == "No answer":
        assert "You stopped it." in stopped.text
        visitor.post(f"{link}/again")
        assert heading(visitor.wait(link)) == "Our trip"
