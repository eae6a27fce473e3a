"""What every test may use: the helpers, and the folder of real map extracts."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from tripplan.roads.cache import cache_folder

# Tests keep their prepared files apart, but what is compiled once serves them all and every process that they start.
os.environ.setdefault("NUMBA_CACHE_DIR", str(cache_folder() / "compiled"))


@pytest.fixture(scope="session")
def extracts() -> Path:
    """Folder of real map extracts; the test is skipped, and says so, where there is none."""
    folder = os.environ.get("TRIPPLAN_EXTRACTS", "")
    if not folder or not Path(folder).is_dir():
        pytest.skip("no real map extracts: TRIPPLAN_EXTRACTS does not name a folder")
    return Path(folder)
