"""Every address and every form of the page, driven by what its own description says they take and by what it says they do not."""

from __future__ import annotations

import json
import time

import pytest
from helpers.described import described
from helpers.served import PLACE, START, Visitor, quiet_app
from hypothesis import HealthCheck, Phase, given, settings

schemathesis = pytest.importorskip("schemathesis")
rules = pytest.importorskip("schemathesis.specs.openapi.checks")


class _Shown:
    """The page and, beside it, its description; begun and ended by nobody, since it stays up between requests."""

    def __init__(self, app, document):
        self.app, self.document = app, json.dumps(document).encode()

    async def __call__(self, scope, receive, send):
        if scope["type"] == "lifespan":
            while (await receive())["type"] != "lifespan.shutdown":
                await send({"type": "lifespan.startup.complete"})
            await send({"type": "lifespan.shutdown.complete"})
        elif scope["path"] == "/openapi.json":
            await send({"type": "http.response.start", "status": 200, "headers": [(b"content-type", b"application/json")]})
            await send({"type": "http.response.body", "body": self.document})
        else:
            await self.app(scope, receive, send)


@pytest.fixture(scope="module")
def shown(region_file, tmp_path_factory):
    """The page's description, a visitor's cookie, and a link under which a plan's page stands."""
    from starlette.testclient import TestClient

    from tripplan.serve.kept import Job, Made, digest, new_token

    app, kept, _ = quiet_app(region_file, tmp_path_factory.mktemp("described"), hosts=("localhost", "127.0.0.1", "testserver"))
    with TestClient(app) as client:
        visitor = Visitor(client)
        visitor.post("/", START)
        visitor.post("/places", {**PLACE, "place": "Pell Sands"})
        pages = [visitor.get(where).text for where in ("/", "/places", "/wishes", "/check", "/plans")]
        cookie = client.cookies["visitor"]
        job = Job(
            new_token(), digest(cookie), "plan", {"draft": kept.draft(digest(cookie), time.time()), "steps": []}, "waiting", 0, ""
        )
        kept.add_job(job, time.time())
        view = {"facts": [], "days": [], "stores": [], "levels": {}, "phone": [], "cautions": [], "data": "", "ways": []}
        kept.deliver(
            job, kept.begin(job.id), [Made(job.id, job.session, "check", "A way", view, {}, {"check.json": b"{}"})], time.time()
        )
        document = described(app._app.routes, pages)
        yield schemathesis.openapi.from_asgi("/openapi.json", _Shown(app, document)), cookie, app, document


def _drive(shown, examples):
    schema, cookie, app, _ = shown
    tried = 0
    for found in schema.get_all_operations():
        operation = found.ok()
        takes = operation.method.upper() == "POST" or "{" in operation.path  # of what takes nothing, nothing is unlawful
        modes = (schemathesis.GenerationMode.POSITIVE, schemathesis.GenerationMode.NEGATIVE)
        for mode in modes if takes else modes[:1]:

            @settings(
                max_examples=examples, deadline=None, database=None, derandomize=True, suppress_health_check=list(HealthCheck),
                phases=(Phase.generate,),
            )  # fmt: skip
            @given(case=operation.as_strategy(generation_mode=mode))
            def one(case):
                nonlocal tried
                tried += 1
                answer = case.call(headers={"cookie": f"visitor={cookie}"}, allow_redirects=False)
                where = f"{case.method} {case.formatted_path} {case.body!r:.300} gave {answer.status_code}"
                assert answer.status_code < 500 or answer.status_code == 503, where
                case.validate_response(answer, checks=_CHECKS)

            one()
    assert app._counts["faults"] == 0
    return tried


_CHECKS = [
    schemathesis.checks.not_a_server_error,
    rules.status_code_conformance,
    rules.response_schema_conformance,
]


def test_the_description_knows_every_form(shown):
    """Each form that a page shows stands in it with its fields; numbers with their bounds, choices with their values."""
    paths = shown[3]["paths"]
    start = paths["/"]["post"]["requestBody"]["content"]["application/x-www-form-urlencoded"]["schema"]["properties"]
    assert {"van", "adults", "pick_up", "pick_up_time", "return_time", "height_m", "seal"} <= set(start)
    assert start["adults"]["minimum"] == 1
    assert len(start["seal"]["enum"]) == 1
    assert "file" in paths["/check"]["post"]["requestBody"]["content"]["multipart/form-data"]["schema"]["properties"]
    assert {"/t/{token}/state", "/t/{token}/{name}", "/t/{token}/night/{day}", "/metrics"} <= set(paths)


def test_no_address_and_no_form_meets_a_fault(shown):
    """A few of each kind, lawful and unlawful: always an answer that the description knows."""
    assert _drive(shown, 6) > 200


@pytest.mark.long
def test_no_address_and_no_form_meets_a_fault_for_long(shown):
    """Many of each."""
    assert _drive(shown, 250) > 8000
