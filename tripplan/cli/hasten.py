"""Starting quickly where the process does one job and ends."""

from __future__ import annotations

import gc
import sys
from collections.abc import Iterator
from contextlib import contextmanager

__all__ = ["folium_alone", "no_collections"]


@contextmanager
def no_collections() -> Iterator[None]:
    """Leave out the hunt for cycles of garbage: a plan or a region makes few, and many objects that stay."""
    collecting = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if collecting:
            gc.enable()


def folium_alone() -> None:
    """Import folium without pandas, which it takes for data frames where it finds it: that costs more than drawing the map.

    Only a command does this: in a notebook folium keeps its tables.
    """
    if "pandas" in sys.modules or "folium" in sys.modules:
        return
    sys.modules["pandas"] = None  # type: ignore[assignment]
    try:
        import folium  # noqa: F401 - for the sake of the import
    finally:
        del sys.modules["pandas"]
