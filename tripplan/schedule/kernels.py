"""The compiled loops of the search, by the names that the whole-array code beside them goes by.

Imported only when the work pays for it. Compiled code is kept beside these files or, where that cannot be written, in the
user's cache folder (numba's own order; NUMBA_CACHE_DIR overrides both), so it is compiled once.
"""

from __future__ import annotations

from pathlib import Path

from . import label_kernels
from .bound_kernels import day_table, night_table
from .label_kernels import expand, undominated
from .pack_kernels import pack

__all__ = ["compiled_before", "day_table", "expand", "night_table", "pack", "undominated"]


def compiled_before() -> bool:
    """Tell whether the compiled loops lie in the user's folder from an earlier run."""
    folder = Path(label_kernels.cache_folder())
    return any(folder.glob("label_kernels._expand-*.nbi"))
