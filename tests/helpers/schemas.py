"""The schemas of the XML formats, loaded once: GPX 1.1 as written down beside the tests, KML 2.2 as the independent reader carries it."""

from __future__ import annotations

from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import xmlschema


@cache
def _gpx() -> Any:
    return xmlschema.XMLSchema(str(Path(__file__).parents[1] / "report" / "schemas" / "gpx-1.1.xsd"), allow="local")


@cache
def _kml() -> Any:
    """OGC KML 2.2 (OGC 07-147r2, ogckml22.xsd), a copy of which comes with fastkml."""
    return xmlschema.XMLSchema(str(files("fastkml") / "schema" / "ogckml22.xsd"), allow="local")


def assert_gpx(text: str) -> ElementTree.Element:
    """Assert that a text keeps to GPX 1.1; return its root."""
    root = ElementTree.fromstring(text)
    _gpx().validate(root)
    return root


def assert_kml(text: str) -> ElementTree.Element:
    """Assert that a text keeps to KML 2.2; return its root."""
    root = ElementTree.fromstring(text)
    _kml().validate(root)
    return root
