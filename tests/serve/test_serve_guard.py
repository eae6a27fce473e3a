"""What the page refuses, and that nothing handed to it becomes anything but text."""

from __future__ import annotations

import re
import time

import pytest
from helpers.served import PLACE, START, Visitor, quiet_app
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from report.hostile import CORPUS  # isort: skip

TAG = re.compile(r"<(script|img|svg|iframe|object|embed|base|style|form|math|video|audio|details)\b[^>]*", re.IGNORECASE)


def own_tags(text: str) -> list[str]:
    return [found.lower() for found in TAG.findall(text)]


@pytest.mark.parametrize(
    "where",
    [
        "/",
        "/places",
        "/wishes",
        "/check",
        "/t/x/stop",
        "/t/x/delete",
        "/t/x/choices",
        "/t/x/night/1",
        "/closures",
        "/loops",
        "/t/x/costs",
        "/t/x/without",
        "/t/x/recheck",
    ],
)
def test_a_form_without_the_visitors_seal_is_refused(quiet, where):
    """No post counts without the seal of this very visitor: none, a wrong one, somebody else's, or no cookie at all."""
    visitor, _, pool = quiet
    for seal in ("", "0" * 64, "é" * 64, visitor.seal.upper()):
        assert visitor.client.post(where, data={**START, "seal": seal}).status_code == 403
    assert visitor.client.post(where, data=START).status_code == 403
    mine = dict(visitor.client.cookies)
    visitor.client.cookies.clear()
    assert visitor.client.post(where, data={**START, "seal": visitor.seal}).status_code == 403
    visitor.client.cookies.clear()
    visitor.client.cookies.update(mine)
    assert (
        visitor.client.post(
            where, data={**START, "seal": visitor.seal}, headers={"origin": "https://attacker.invalid"}
        ).status_code
        == 403
    )
    assert not pool.jobs


def test_only_names_that_were_told_are_answered(quiet):
    """A Host header that is none of this page's names gets nothing."""
    visitor, _, _ = quiet
    for host in (
        "attacker.invalid",
        "attacker.invalid:80",
        "127.0.0.1.attacker.invalid",
        "",
        "localhost@attacker.invalid",
        "[::2]:80",
    ):
        assert visitor.get("/", headers={"host": host}).status_code == 421, host
    for host in ("localhost", "LOCALHOST:9", "127.0.0.1:8765", "[::1]", "[::1]:8765"):
        assert visitor.get("/", headers={"host": host}).status_code == 200, host


def test_every_answer_carries_safe_headers(quiet):
    """Pages, refusals and what is not found: a strict policy, no sniffing, no referrer, no frames, nothing stored on the way."""
    visitor, _, _ = quiet
    for where in (
        "/",
        "/check",
        "/plans",
        "/about",
        "/nothing",
        "/t/nothing",
        "/health",
        "/static/page.css",
        "/static/../app.py",
    ):
        headers = visitor.get(where).headers
        assert headers["content-security-policy"].startswith("default-src 'none'"), where
        assert "unsafe" not in headers["content-security-policy"]
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["referrer-policy"] == "same-origin"
        assert headers["x-frame-options"] == "DENY"
    assert visitor.get("/").headers["cache-control"] == "no-store"


def test_pages_hold_no_script_or_style_of_their_own_and_ask_for_nothing_from_outside(quiet):
    """The policy lets only own files in, so pages must do without scripts and styles inside them."""
    visitor, _, _ = quiet
    visitor.post("/", START)
    for where in ("/", "/places", "/wishes", "/check", "/plans", "/about"):
        text = visitor.get(where).text
        assert not re.search(r"\son\w+=|\sstyle=|<style|javascript:", text, re.IGNORECASE), where
        assert re.findall(r'(?:src|href|action)="(?!/)([^"#]+)', text) == [], where


def test_bodies_and_addresses_have_their_sizes(quiet):
    """A form past its size is refused by its header and by its bytes; long addresses and other methods too."""
    visitor, _, _ = quiet
    big = {"seal": visitor.seal, "name": "x" * 200_000}
    assert visitor.client.post("/", data=big).status_code == 413
    chunks = (b"name=" + b"x" * 10_000 for _ in range(20))
    told = {"content-type": "application/x-www-form-urlencoded"}
    assert visitor.client.post("/", content=chunks, headers=told).status_code == 413
    assert visitor.client.post("/", content=b"x", headers={**told, "content-length": "9" * 30}).status_code == 413
    assert visitor.client.post("/", content=b"x", headers={**told, "content-length": "-1"}).status_code == 413
    assert visitor.get("/" + "a" * 400).status_code == 414
    assert visitor.get("/?" + "a" * 3000).status_code == 414
    for method in ("PUT", "DELETE", "PATCH", "OPTIONS", "TRACE"):
        assert visitor.client.request(method, "/").status_code == 405
    many = {"seal": visitor.seal, **{f"f{n}": "x" for n in range(500)}}
    assert visitor.client.post("/", data=many).status_code == 400
    multipart = {f"f{n}": (None, "x") for n in range(500)}
    assert visitor.client.post("/check", files=multipart).status_code == 400


def test_an_address_that_asks_too_often_waits(region_file, tmp_path):
    """The bucket empties, is refused with a time to wait, and fills again; health is always told."""
    from starlette.testclient import TestClient

    app, _, _ = quiet_app(region_file, tmp_path, per_second=5.0, burst=12.0)
    with TestClient(app) as client:
        statuses = [client.get("/").status_code for _ in range(30)]
        assert statuses[:12] == [200] * 12
        assert 429 in statuses
        assert client.get("/health").status_code == 200
        time.sleep(0.5)
        assert client.get("/").status_code == 200
        refused = client.post("/", data=START)
        assert refused.status_code == 429
        assert refused.headers["retry-after"]


def test_rates_are_kept_for_each_address_apart():
    """One address that empties its bucket takes nothing from another; the table of addresses is bounded."""
    from tripplan.serve.guard import Rates

    rates = Rates(1.0, 3.0)
    assert [rates.take("a", 1, 0.0) for _ in range(5)] == [True, True, True, False, False]
    assert rates.take("b", 1, 0.0)
    assert rates.take("a", 1, 1.0)
    assert not rates.take("a", 1, 1.0)
    for n in range(20_000):
        rates.take(str(n), 1, 2.0)
    assert len(rates.left) <= 10_000


def test_hostile_texts_stay_texts(quiet):
    """Every text of the corpus, in every field: it comes back escaped, or not at all, and never as a tag or a template."""
    visitor, _, _ = quiet
    visitor.post("/", START)
    plain = {where: own_tags(visitor.get(where).text) for where in ("/", "/places", "/wishes")}
    for text in (raw.encode("utf-8", "replace").decode() for raw in CORPUS):  # a form cannot send half a character
        start = visitor.post("/", {**START, "name": text, "pick_up": text[:150], "adults": "0"})
        assert start.status_code == 422
        assert set(own_tags(start.text)) == set(plain["/"]), text
        assert own_tags(start.text).count("script") == plain["/"].count("script"), text
        place = visitor.post(
            "/places", {**PLACE, "place": text, "place_is": text, "place_typed": text, "value": text, "via": text, "hours": text}
        )
        assert own_tags(place.text).count("form") <= 2, text
        assert set(own_tags(place.text)) <= set(plain["/places"]), text
        wishes = visitor.post("/wishes", {"site": text, "night": text, "do": text, "budget": text, "out": ""})
        assert set(own_tags(wishes.text)) <= set(plain["/wishes"]), text
        assert own_tags(place.text).count("script") == plain["/places"].count("script"), text
        for answer in (start, place, wishes):
            assert answer.status_code < 500, text
            assert "1337" not in answer.text, text
            assert not re.search(r"<[a-z][^<>]*\son\w+\s*=[^<>]*>", re.sub(r'"[^"]*"', '""', answer.text), re.IGNORECASE), text


def test_a_trip_named_hostile_is_planned_and_shown_as_text(visitor):
    """A name that would run, if it could, is a name on the result's page and in its papers."""
    name = "</title><script>window.pwned=1</script>{{7*7}}"
    link = visitor.plan(start={"name": name, "return_time": "2027-02-04T15:00"})
    answer = visitor.wait(link)
    assert "<script>window.pwned" not in answer.text
    assert "&lt;script&gt;window.pwned=1" in answer.text
    assert "{{7*7}}" in answer.text
    assert "<script>window.pwned" not in visitor.get(f"{link}/map.html").text


@pytest.mark.parametrize(
    "path",
    [
        "/t/{t}/../../app.py", "/t/{t}/..%2f..%2fetc%2fpasswd", "/t/{t}/%2e%2e/plan.json", "/t/{t}/plan.json%00.html", "/static/..%2fapp.py", "/static/%2e%2e/site.py",
        "/static//etc/passwd", "/t/%00", "/t/{t}'--", "/t/' OR 1=1 --", "/t/{t}/PLAN.JSON", "/t/{t}/plan.json/", "/t/{t}/night/99", "/t/{t}/night/-1",
        "/t/{t}/night/999999999999999999999999", "/t//map.html", "/t/%ff%fe", "/t/{t}/itinerary.html;x",
    ],
)  # fmt: skip
def test_no_path_leads_to_the_disk_or_past_a_link(quiet, path):
    """Tricks with paths end at the page that says that there is nothing; no content of a file or a plan comes back."""
    from tripplan.serve.kept import Job, Made, new_token

    visitor, kept, _ = quiet
    token, now = new_token(), time.time()
    kept.add_job(Job(token, "s", "plan", {"draft": {}}, "waiting", 0, ""), now)
    run = kept.begin(token)
    view = {"facts": [], "days": [], "stores": [], "levels": {}, "phone": [], "cautions": [], "data": ""}
    kept.deliver(
        kept.job(token, now),
        run,
        [Made(token, "s", "plan", "A trip", view, {}, {"plan.json": b"SECRET", "itinerary.html": b"SECRET"})],
        now,
    )
    assert visitor.get(f"/t/{token}/plan.json").content == b"SECRET"
    answer = visitor.client.get(path.replace("{t}", token))
    assert answer.status_code in (404, 405), (path, answer.status_code)
    assert b"SECRET" not in answer.content
    assert b"root:" not in answer.content
    assert b"import" not in answer.content


def test_unknown_and_expired_links_lead_nowhere(region_file, tmp_path):
    """What has been kept long enough is not shown, even before it is swept; the sweep then takes all of it."""
    from starlette.testclient import TestClient

    from tripplan.serve.kept import Job, Made, new_token

    app, kept, _ = quiet_app(region_file, tmp_path, keep_days=10.0)
    token, now = new_token(), time.time()
    kept.add_job(Job(token, "s", "plan", {"draft": {}}, "waiting", 0, ""), now - 11 * 86_400)
    run = kept.begin(token)
    made = Made(token, "s", "plan", "Old", {"days": []}, {}, {"map.html": b"x"})
    assert kept.deliver(kept.job(token, now - 11 * 86_400), run, [made], now - 11 * 86_400)
    kept.keep_draft("s", {"a": 1}, now - 11 * 86_400)
    with TestClient(app) as client:  # its start sweeps; ask for what is gone
        for where in (f"/t/{token}", f"/t/{token}/map.html", f"/t/{token}/state", f"/t/{new_token()}"):
            assert client.get(where).status_code == 404, where
    assert kept.made(token, 0) is None
    assert kept._db.one("SELECT COUNT(*) FROM paper") == (0,)
    assert kept._db.one("SELECT COUNT(*) FROM draft") == (0,)
    assert kept._db.one("SELECT COUNT(*) FROM job") == (0,)


def test_the_log_and_the_figures_hold_nothing_personal(quiet, capsys):
    """A line of log is JSON with the kind of page, never its link, a place or an address; the figures are numbers."""
    import json

    visitor, _, _ = quiet
    visitor.post("/", {**START, "name": "Aunt Ada's round trip"})
    visitor.get("/t/secret-link-of-somebody")
    lines = [json.loads(line) for line in capsys.readouterr().err.splitlines() if line.startswith("{")]
    assert lines
    for line in lines:
        text = json.dumps(line)
        for word in ("secret-link", "Ada", "Long Lee", "testclient", "visitor="):
            assert word not in text
    assert {line["route"] for line in lines} >= {"/", "/t/{token}"}
    figures = visitor.get("/metrics").text
    assert re.fullmatch(r"(tripplan_\w+ \d+\n)+", figures)
    assert visitor.get("/health").text == "well\n"


def test_a_fault_shows_no_traceback(region_file, tmp_path, monkeypatch, capsys):
    """Whatever breaks inside, the visitor gets one plain line and the log the kind of fault."""
    from starlette.testclient import TestClient

    from tripplan.serve import steps

    def broken(*_args):
        raise RuntimeError("/secret/path")

    monkeypatch.setattr(steps, "start_page", broken)
    app, _, _ = quiet_app(region_file, tmp_path)
    with TestClient(app) as client:
        answer = client.get("/")
    assert answer.status_code == 500
    assert "secret" not in answer.text
    assert "RuntimeError" in capsys.readouterr().err


_TEXTS = st.one_of(
    st.text(max_size=60), st.sampled_from(CORPUS), st.from_regex(r"-?\d{1,25}([.,]\d{1,10})?(e\d{1,3})?", fullmatch=True)
)
_FIELDS = st.sampled_from(
    [
        *START,
        *PLACE,
        "budget",
        "powered",
        "one_night",
        "max_h",
        "night",
        "site",
        "out",
        "return",
        "name",
        "place",
        "place_is",
        "place_typed",
        "as",
        "day",
        "instead",
        "closures",
        "file",
        "loop",
        "pick-1",
        "pick-",
    ]
)


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.sampled_from(["/", "/places", "/wishes", "/check", "/closures", "/loops"]), st.dictionaries(_FIELDS, _TEXTS, max_size=6)
)
def test_any_form_is_answered_without_a_fault(quiet, where, values):
    """Whatever stands in whatever field: an answer, and never one of the server's own faults."""
    visitor, _, _ = quiet
    visitor.post("/", START)
    values = {k: v.encode("utf-8", "replace").decode() for k, v in values.items()}
    base = {"/": START, "/places": PLACE}.get(where, {})
    answer = visitor.post(where, {**base, **values})
    assert answer.status_code < 500, (where, values, answer.text[:300])
    if "instead" in values:
        assert visitor.get("/places", params={"edit": values["instead"]}).status_code in (200, 414), values


def test_one_visitor_never_sees_anothers_draft(quiet):
    """Drafts belong to the cookie: another browser begins anew, and a made-up cookie does too."""
    visitor, _, _ = quiet
    visitor.post("/", {**START, "name": "Mine alone"})
    assert "Mine alone" in visitor.get("/").text
    visitor.client.cookies.clear()
    other = Visitor(visitor.client)
    assert "Mine alone" not in other.get("/").text
    for cookie in ("x", "' OR 1=1 --" + "a" * 20, "a" * 5000, "../" * 12):
        visitor.client.cookies.clear()
        answer = visitor.client.get("/", headers={"cookie": f"visitor={cookie}"})
        assert answer.status_code == 200
        assert "Mine alone" not in answer.text
        assert "set-cookie" in answer.headers
