"""A page that is hosted, and people who mean it ill: slow bodies and readers, packed ones, many sessions, forged addresses and links."""

from __future__ import annotations

import asyncio
import gzip
import math
import socket
import time
from collections import Counter

import pytest
from helpers.served import START, quiet_app, settings_of

from tripplan.serve import guard
from tripplan.serve.guard import Guard
from tripplan.serve.kept import Job, new_token


def asked(app, path="/", method="POST", headers=(), receive=None, client=("192.0.2.1", 1)):
    """Ask an ASGI application as a server does; return status, headers and body."""
    sent = []

    async def send(message):
        sent.append(message)

    async def nothing():
        return {"type": "http.request", "body": b"", "more_body": False}

    scope = {
        "type": "http", "http_version": "1.1", "method": method, "path": path, "raw_path": path.encode(), "query_string": b"", "scheme": "http",
        "root_path": "", "server": ("127.0.0.1", 80), "client": client, "headers": [(b"host", b"localhost"), *headers],
    }  # fmt: skip
    asyncio.run(app(scope, receive or nothing, send))
    body = b"".join(message.get("body", b"") for message in sent)
    return (sent[0]["status"], dict(sent[0]["headers"]), body) if sent else (0, {}, b"")


def reading(seen):
    """An application that reads the body and answers how large it was."""

    async def app(scope, receive, send):
        size = 0
        while True:
            message = await receive()
            size += len(message.get("body", b""))
            if not message.get("more_body"):
                break
        seen.append((size, scope))
        await send({"type": "http.response.start", "status": 200, "headers": []})
        await send({"type": "http.response.body", "body": b"read"})

    return app


def test_a_body_that_trickles_is_cut_off_and_one_that_comes_on_is_not(region_file, monkeypatch):
    """Byte by byte it ends with 408 in bounded time; a large one at a fair pace is read to its end."""
    monkeypatch.setattr(guard, "_BODY_S", 0.3)
    seen = []
    own = Guard(reading(seen), settings_of(region_file, "unused"), Counter())

    async def trickle():
        await asyncio.sleep(0.05)
        return {"type": "http.request", "body": b"x", "more_body": True}

    began = time.monotonic()
    status, headers, _ = asked(own, receive=trickle)
    assert status == 408
    assert headers[b"connection"] == b"close"
    assert time.monotonic() - began < 10
    assert not seen
    parts = [b"x" * 10_000] * 5

    async def steady():
        await asyncio.sleep(0.15)  # five times: longer than 0.3 s in all, at more than 10 kB a second
        return {"type": "http.request", "body": parts.pop(), "more_body": bool(parts)}

    assert asked(own, receive=steady)[0] == 200
    assert seen[0][0] == 50_000


def test_who_leaves_while_sending_is_no_fault(region_file, tmp_path):
    """A browser that goes away in the middle of a form is counted among no faults."""
    app, _, _ = quiet_app(region_file, tmp_path)

    async def gone():
        return {"type": "http.disconnect"}

    told = ((b"content-type", b"application/x-www-form-urlencoded"),)
    asked(app, headers=told, receive=gone)
    assert app._counts["faults"] == 0


@pytest.mark.parametrize(
    ("header", "value", "status"),
    [
        ("content-length", "9" * 5000, 413), ("content-length", "1e3", 413), ("content-length", "٣", 413), ("host", "localhost:80x", 421), ("host", "localhost:", 421),
        ("host", "localhost:999999", 421), ("host", "localhost:80\r\nx: y", 421), ("host", "localhost/../x", 421), ("host", "user@localhost", 421),
    ],
)  # fmt: skip
def test_headers_that_are_none_are_refused(region_file, tmp_path, header, value, status):
    """Sizes of thousands of digits and hosts with more than a port get a refusal, not a fault."""
    app, _, _ = quiet_app(region_file, tmp_path)
    got, _, body = asked(app, headers=((header.encode(), value.encode()),))
    assert got == status
    assert value.encode() not in body


def test_a_packed_body_is_not_unpacked(quiet):
    """A form packed a thousandfold is no form; a packed file is refused as one."""
    visitor, _, pool = quiet
    packed = gzip.compress(b"seal=" + visitor.seal.encode() + b"&name=" + b"x" * 40_000_000)
    told = {"content-type": "application/x-www-form-urlencoded", "content-encoding": "gzip"}
    assert len(packed) < 60_000
    assert visitor.client.post("/", content=packed, headers=told).status_code in (400, 403)
    assert not pool.jobs


def test_each_network_has_its_own_bucket(region_file):
    """Behind a proxy, what the proxy added last tells who asks; of IPv6 the first 64 bits, whatever comes after them."""
    seen = []
    own = Guard(reading(seen), settings_of(region_file, "unused", trust_proxy=True, per_second=0.001, burst=25.0), Counter())

    def ask(*forwarded):
        return asked(own, headers=tuple((b"x-forwarded-for", f.encode()) for f in forwarded))[0]

    assert [ask(f"2001:db8:1:2::{n:x}") for n in range(1, 4)] == [200, 200, 429]
    assert ask("2001:db8:1:3::1") == 200
    assert [ask("198.51.100.7"), ask("::ffff:198.51.100.7"), ask("198.51.100.7")] == [200, 200, 429]
    assert ask(f"{new_token()}, 198.51.100.7") == 429, "what the visitor wrote before it does not count"
    assert ask("203.0.113.9", "198.51.100.7") == 429, "nor does another line of it"
    direct = Guard(reading(seen), settings_of(region_file, "unused", per_second=0.001, burst=25.0), Counter())
    statuses = [asked(direct, headers=((b"x-forwarded-for", f"192.0.2.{n}".encode()),))[0] for n in range(3)]
    assert statuses == [200, 200, 429], "without a proxy nobody is believed"


def test_behind_https_links_and_cookies_are_of_https(region_file, tmp_path):
    """The cookie is the host's own, for https alone and out of scripts' reach; whoever reads the page's address reads https."""
    seen = []
    asked(Guard(reading(seen), settings_of(region_file, "unused", secure=True), Counter()))
    assert seen[0][1]["scheme"] == "https"
    app, _, _ = quiet_app(region_file, tmp_path, secure=True)
    _, headers, _ = asked(app, method="GET")
    parts = [part.strip().casefold() for part in headers[b"set-cookie"].decode().split(";")]
    assert parts[0].startswith("__host-visitor=")
    assert {"httponly", "secure", "samesite=lax", "path=/"} <= set(parts)
    assert not any(part.startswith("domain") for part in parts)
    assert headers[b"strict-transport-security"]


def test_head_tells_no_more_than_get_and_405_names_what_is_done(quiet):
    """HEAD has the headers and no body; methods that are not done are answered with those that are."""
    visitor, _, _ = quiet
    for where in ("/", "/check", "/t/nothing", "/static/page.css", "/health"):
        head, got = visitor.client.head(where), visitor.client.get(where)
        assert (head.status_code, head.headers["content-security-policy"]) == (
            got.status_code,
            got.headers["content-security-policy"],
        )
    answer = visitor.client.options("/")
    assert answer.status_code == 405
    assert answer.headers["allow"] == "GET, HEAD, POST"
    assert "noindex" in answer.headers["x-robots-tag"]


def test_papers_can_send_nothing_anywhere(quiet):
    """A paper runs its own scripts apart from the page: it can fetch, send, frame and load nothing."""
    from tripplan.serve.guard import PAPER_POLICY

    parts = dict(part.strip().partition(" ")[::2] for part in PAPER_POLICY.split(";"))
    assert parts["default-src"] == "'none'"
    assert "allow-same-origin" not in parts["sandbox"]
    assert "allow-top-navigation" not in parts["sandbox"]
    assert not {"connect-src", "frame-src", "object-src"} & set(parts), "they stay as default-src has them"
    assert parts["img-src"] == "data:"


def test_links_are_far_too_many_to_guess():
    """192 bits each, all letters used, none twice; at the rate of one address a hit would take longer than the world is old."""
    links = [new_token() for _ in range(20_000)]
    assert len(set(links)) == len(links)
    assert {len(link) for link in links} == {32}
    letters = Counter("".join(links))
    total = sum(letters.values())
    entropy = -sum(n / total * math.log2(n / total) for n in letters.values())
    assert entropy > 5.99, "of 6 bits a letter"
    assert 2.0**191 / (1e6 * 20.0) > 4.4e17  # half of all, a million plans kept, 20 requests a second: seconds


def test_many_sessions_from_one_address_cannot_fill_the_line(pool_of):
    """A new session for each job does not help: the address has its share; another one still gets in, and an ended job counts no more."""
    from tripplan.serve.pool import FullError

    pool, kept, _ = pool_of(workers=0, most_jobs_address=3, most_uploads_mb=1)

    def job(upload=None):
        return Job(new_token(), new_token(), "check", {}, "waiting", 0, "", upload)

    jobs = [job() for _ in range(3)]
    for one in jobs:
        pool.add(one, "192.0.2.1")
    with pytest.raises(FullError, match="your address"):
        pool.add(job(), "192.0.2.1")
    pool.add(job(), "192.0.2.2")
    pool.stop(jobs[0].id)
    pool.add(job(), "192.0.2.1")
    pool.add(job(b"x" * 900_000), "192.0.2.3")
    with pytest.raises(FullError, match="Too many"):
        pool.add(job(b"x" * 200_000), "192.0.2.4")
    assert kept.uploads_bytes() == 900_000


@pytest.mark.enable_socket
def test_a_connection_on_which_nothing_comes_about_is_closed(region_file, tmp_path):
    """Nothing sent, half a request line, headers one by one: closed in a few seconds, while others are answered."""
    import threading

    import uvicorn

    from tripplan.serve.prompt import PromptProtocol

    class Hasty(PromptProtocol):
        patience_s, every_s = 0.6, 0.1

    app, _, _ = quiet_app(region_file, tmp_path)
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        server = uvicorn.Server(uvicorn.Config(app, http=Hasty, ws="none", log_config=None, access_log=False))
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]}, daemon=True)
        thread.start()
        end = time.monotonic() + 30
        while not server.started and time.monotonic() < end:
            time.sleep(0.05)
        where = listener.getsockname()
        slow = [socket.create_connection(where, 20) for _ in range(3)]
        slow[1].sendall(b"GET / HT")
        began = time.monotonic()
        ended = {}
        while len(ended) < 3 and time.monotonic() - began < 20:
            for n, one in enumerate(slow):
                if n in ended:
                    continue
                try:
                    if n == 2:
                        one.sendall(b"GET / HTTP/1.1\r\n" if time.monotonic() - began < 0.1 else b"x-a: b\r\n")
                    one.settimeout(0.05)
                    if one.recv(1) == b"":
                        ended[n] = time.monotonic() - began
                except TimeoutError:
                    continue
                except OSError:
                    ended[n] = time.monotonic() - began
        assert sorted(ended) == [0, 1, 2]
        assert min(ended.values()) > 0.3
        with socket.create_connection(where, 20) as good:
            good.sendall(b"GET /health HTTP/1.1\r\nhost: localhost\r\nconnection: close\r\n\r\n")
            assert good.recv(20).startswith(b"HTTP/1.1 200")
        server.should_exit = True
        thread.join(20)


def test_figures_tell_nothing_of_anybody(quiet):
    """Health and figures know no link, session, name or address, whatever was asked before."""
    visitor, _, _ = quiet
    visitor.post("/", {**START, "name": "Aunt Ada"})
    text = visitor.get("/metrics").text + visitor.get("/health").text
    cookie = visitor.client.cookies.get("visitor")
    for word in ("Ada", cookie, visitor.seal, "testclient", "Long Lee", "sqlite", "postgres", "/"):
        assert word not in text
