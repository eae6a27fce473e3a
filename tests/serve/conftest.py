"""The page on the sample island, with and without worker processes."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

pytest.importorskip("starlette")
pytest.importorskip("httpx2")

from helpers.served import Visitor, quiet_app, settings_of


@pytest.fixture(scope="session")
def region_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The sample island, prepared."""
    from tripplan.pipeline import sample_region
    from tripplan.region.store import save

    path = tmp_path_factory.mktemp("serve") / "island.region"
    save(sample_region(), path)
    return path


@pytest.fixture
def quiet(region_file: Path, tmp_path: Path) -> Iterator[tuple[Any, Any, Any]]:
    """A visitor of a page without workers, what it keeps, and its pool."""
    from starlette.testclient import TestClient

    app, kept, pool = quiet_app(region_file, tmp_path)
    with TestClient(app) as client:
        yield Visitor(client), kept, pool


@pytest.fixture(scope="session")
def site(region_file: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    """The whole page with one worker process, shared by all tests that plan."""
    from starlette.testclient import TestClient

    from tripplan.region.store import load
    from tripplan.serve.app import make_app

    settings = settings_of(region_file, str(tmp_path_factory.mktemp("kept") / "pages.sqlite"), most_jobs=8)
    with TestClient(make_app(settings, load(region_file))) as client:
        yield client


@pytest.fixture
def visitor(site: Any) -> Visitor:
    """A new visitor of the whole page."""
    site.cookies.clear()
    return Visitor(site)


@pytest.fixture
def pool_of(region_file: Path, tmp_path: Path) -> Iterator[Any]:
    """Makes pools over one database; all are closed at the end."""
    from tripplan.serve.database import open_database
    from tripplan.serve.kept import Kept
    from tripplan.serve.pool import Pool

    made: list[Any] = []

    def make(**more: Any) -> tuple[Any, Any, Counter[str]]:
        settings = settings_of(region_file, str(tmp_path / "pool.sqlite"), **more)
        kept = Kept(open_database(settings.database), settings.keep_days)
        kept.prepare()
        counts: Counter[str] = Counter()
        pool = Pool(settings, kept, log=lambda *_a, **_k: None, counts=counts)
        made.append(pool)
        return pool, kept, counts

    yield make
    for pool in made:
        pool.close()
