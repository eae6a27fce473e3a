"""The command line run in this process, on the sample island."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

SAMPLE = Path(__file__).resolve().parents[2] / "data_sample"


@dataclass(frozen=True)
class Ran:
    """What a command left: exit code, standard output, standard error."""

    code: int
    out: str
    err: str


Run = Callable[..., Ran]


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Run:
    """Run `tripplan` with words and return what it left."""
    from tripplan.cli.main import main

    def words(*args: object) -> Ran:
        with pytest.raises(SystemExit) as stop:
            main([str(a) for a in args])
        told = capsys.readouterr()
        return Ran(int(stop.value.code or 0), told.out, told.err)

    return words


@pytest.fixture(scope="session")
def island(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The sample island's region in a file."""
    from tripplan.region.build import build
    from tripplan.region.store import save

    path = tmp_path_factory.mktemp("region") / "island.region"
    save(build(SAMPLE / "island.osm.pbf", name="Sample island"), path)
    return path


@pytest.fixture(autouse=True)
def own_cache(tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch) -> None:
    """Keep prepared files of the tests apart from the user's, but together."""
    monkeypatch.setenv("TRIPPLAN_CACHE", str(tmp_path_factory.getbasetemp() / "cache"))


@pytest.fixture(scope="session")
def sample() -> Path:
    """The folder of the embedded sample."""
    return SAMPLE
