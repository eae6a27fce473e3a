"""Where prepared files are kept."""

from __future__ import annotations

import os
import sys
from pathlib import Path

__all__ = ["cache_folder"]


def cache_folder() -> Path:
    """Return the folder for prepared files: ``TRIPPLAN_CACHE``, else the user's cache folder of the system."""
    own = os.environ.get("TRIPPLAN_CACHE")
    if own:
        return Path(own)
    if os.environ.get("XDG_CACHE_HOME"):
        return Path(os.environ["XDG_CACHE_HOME"]) / "tripplan"
    if sys.platform == "win32" and os.environ.get("LOCALAPPDATA"):
        return Path(os.environ["LOCALAPPDATA"]) / "tripplan" / "cache"
    if sys.platform == "darwin":
        return Path.home() / "Library" / "Caches" / "tripplan"
    return Path.home() / ".cache" / "tripplan"
