"""What every test may use: the helpers, and the folder of real map extracts."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))


@pytest.fixture(scope="session")
def extracts() -> Path:
    """Folder of real map extracts; the test is skipped, and says so, where there is none."""
    folder = os.environ.get("TRIPPLAN_EXTRACTS", "")
    if not folder or not Path(folder).is_dir():
        pytest.skip("no real map extracts: TRIPPLAN_EXTRACTS does not name a folder")
    return Path(folder)
