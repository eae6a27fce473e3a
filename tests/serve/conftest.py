"""The page on the sample island, with and without worker processes."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator
from itertools import count
from pathlib import Path
from typing import Any

import pytest

pytest.importorskip("starlette")
pytest.importorskip("httpx2")

from helpers import postgres
from helpers.served import Visitor, quiet_app, settings_of

#: All that goes through pages is tried on SQLite, and on PostgreSQL too among the long tests.
_LONG_TOO = ["sqlite", pytest.param("postgres", marks=pytest.mark.long)]


@pytest.fixture(scope="session")
def region_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The sample island, prepared."""
    from tripplan.pipeline import sample_region
    from tripplan.region.store import save

    path = tmp_path_factory.mktemp("serve") / "island.region"
    save(sample_region(), path)
    return path


@pytest.fixture(scope="session")
def postgres_server() -> Iterator[postgres.Server]:
    """A PostgreSQL server of the tests' own, where there is one to start."""
    why_not = postgres.why_not()
    if why_not:
        pytest.skip(why_not)
    with postgres.server() as own:
        yield own


@pytest.fixture(scope="session")
def database_of(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], str]:
    """Gives a new database of a kind."""
    numbers = count(1)

    def new(kind: str) -> str:
        if kind == "postgres":
            found: str = request.getfixturevalue("postgres_server").database()
            return found
        return str(tmp_path_factory.mktemp("kept") / f"pages-{next(numbers)}.sqlite")

    return new


@pytest.fixture(params=["sqlite", "postgres"])
def database(request: pytest.FixtureRequest, database_of: Callable[[str], str]) -> str:
    """A new database, in turn of each kind."""
    return database_of(request.param)


@pytest.fixture(params=_LONG_TOO)
def quiet(
    request: pytest.FixtureRequest, database_of: Callable[[str], str], region_file: Path, tmp_path: Path
) -> Iterator[tuple[Any, Any, Any]]:
    """A visitor of a page without workers, what it keeps, and its pool."""
    from starlette.testclient import TestClient

    app, kept, pool = quiet_app(region_file, tmp_path, database=database_of(request.param))
    with TestClient(app) as client:
        yield Visitor(client), kept, pool


@pytest.fixture(scope="session", params=_LONG_TOO)
def site(request: pytest.FixtureRequest, database_of: Callable[[str], str], region_file: Path) -> Iterator[Any]:
    """The whole page with one worker process, shared by all tests that plan."""
    from starlette.testclient import TestClient

    from tripplan.region.store import load
    from tripplan.serve.app import make_app

    settings = settings_of(region_file, database_of(request.param), most_jobs=8)
    with TestClient(make_app(settings, load(region_file))) as client:
        yield client


@pytest.fixture
def visitor(site: Any) -> Visitor:
    """A new visitor of the whole page."""
    site.cookies.clear()
    return Visitor(site)


@pytest.fixture
def pool_of(region_file: Path, database: str) -> Iterator[Any]:
    """Makes pools over one database, of each kind; all are closed at the end."""
    from tripplan.serve.database import open_database
    from tripplan.serve.kept import Kept
    from tripplan.serve.pool import Pool

    made: list[Any] = []

    def make(**more: Any) -> tuple[Any, Any, Counter[str]]:
        settings = settings_of(region_file, database, **more)
        kept = Kept(open_database(settings.database), settings.keep_days)
        kept.prepare()
        counts: Counter[str] = Counter()
        pool = Pool(settings, kept, log=lambda *_a, **_k: None, counts=counts)
        made.append(pool)
        return pool, kept, counts

    yield make
    for pool in made:
        pool.close()
