"""The page's addresses and forms as an OpenAPI document, made from its routes and from the forms on its own pages."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from typing import Any

URLENCODED, MULTIPART = "application/x-www-form-urlencoded", "multipart/form-data"
#: What any address may answer; a fault of the server's own is not among them.
STATUSES = ("200", "303", "400", "403", "404", "405", "413", "414", "421", "422", "429", "503")
STATE = {
    "type": "object", "required": ["going", "ahead", "what", "share"],
    "properties": {
        "going": {"type": "boolean"}, "ahead": {"type": "integer", "minimum": -1}, "what": {"type": "string"}, "share": {"type": "integer", "minimum": -1, "maximum": 100},
    },
}  # fmt: skip


class _Forms(HTMLParser):
    """Forms of a page: by address, how they are sent and what each field takes."""

    def __init__(self) -> None:
        super().__init__()
        self.found: dict[str, tuple[str, dict[str, Any]]] = {}
        self._now: dict[str, Any] = {}
        self._select = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = {name: value or "" for name, value in attrs}
        name = given.get("name", "")
        if tag == "form" and given.get("method") == "post":
            _, self._now = self.found.setdefault(given["action"], (given.get("enctype", URLENCODED), {}))
        elif tag == "select":
            self._select = name
            self._now[name] = {"type": "string", "enum": []}
        elif tag == "option" and self._select:
            self._now[self._select]["enum"].append(given.get("value", ""))
        elif tag in ("input", "textarea", "button") and name:
            self._now[name] = self._field(given, self._now.get(name, {}))

    def handle_endtag(self, tag: str) -> None:
        if tag == "select":
            self._select = ""

    @staticmethod
    def _field(given: dict[str, str], before: dict[str, Any]) -> dict[str, Any]:
        match given.get("type", ""):
            case "file":
                return {"type": "string", "format": "binary"}
            case "number":
                bounds = {"minimum": given.get("min"), "maximum": given.get("max")}
                return {"type": "number", **{key: float(value) for key, value in bounds.items() if value}}
            case "radio" | "checkbox" | "hidden" | "submit":
                return {"type": "string", "enum": sorted({*before.get("enum", ()), given.get("value", "")})}
            case _:
                return {"type": "string", "maxLength": int(given.get("maxlength", 200))}


def described(routes: Any, pages: list[str]) -> dict[str, Any]:
    """Return the document.

    Parameters
    ----------
    routes
        The application's routes. pages: as they were served, with their forms.
    """
    reader = _Forms()
    for page in pages:
        reader.feed(page)
    seal = next(fields["seal"] for _, fields in reader.found.values() if "seal" in fields)
    paths: dict[str, Any] = {}
    for route in routes:
        if route.path == "/{rest:path}":
            continue
        path = re.sub(r":\w+}", "}", route.path)
        entry = paths.setdefault(
            path, {"parameters": [_parameter(*found) for found in re.findall(r"{(\w+)(:int)?}", route.path)]}
        )
        json = path.endswith("/state")
        for method in route.methods - {"HEAD"}:
            answers = {status: {"description": "an answer"} for status in STATUSES}
            if json:
                answers |= {
                    s: {"description": "how a job stands", "content": {"application/json": {"schema": STATE}}}
                    for s in ("200", "404")
                }
            entry[method.lower()] = {"responses": answers}
            if method == "POST":
                kind, fields = reader.found.get(path, (URLENCODED, {}))
                properties = {"seal": seal, **fields}
                content = {
                    "schema": {"type": "object", "properties": properties, "required": ["seal"], "additionalProperties": True}
                }
                entry["post"]["requestBody"] = {"required": True, "content": {kind: content}}
    return {"openapi": "3.0.3", "info": {"title": "The page", "version": "1"}, "paths": paths}


def _parameter(name: str, number: str) -> dict[str, Any]:
    schema: dict[str, Any] = {"type": "integer"} if number else {"type": "string", "minLength": 1, "maxLength": 80}
    return {"name": name, "in": "path", "required": True, "schema": schema}
