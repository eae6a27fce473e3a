"""The compiled loops of the search, by the names that the whole-array code beside them goes by.

Imported only when the work pays for it. Compiled code is kept beside these files or, where that cannot be written, in the
user's cache folder (numba's own order; NUMBA_CACHE_DIR overrides both), so it is compiled once.
"""

from __future__ import annotations

import sys
from pathlib import Path

from . import label_kernels
from .bound_kernels import day_table, night_table
from .label_kernels import expand, undominated
from .pack_kernels import pack

__all__ = ["day_table", "expand", "night_table", "pack", "still_to_compile", "undominated"]


#: Module, and in it the loop that takes longest to compile, of each name.
_LOOPS = {
    "bound": ("bound_kernels", "_day"),
    "memory": ("memory_kernels", "_day"),
    "narrow": ("narrow_kernels", "_through"),
    "search": ("label_kernels", "_expand"),
}


def still_to_compile(loop: str) -> bool:
    """Tell whether a loop was never compiled: not by this process, nor kept by an earlier one.

    Parameters
    ----------
    loop
        ``bound``, ``memory``, ``narrow`` or ``search``.
    """
    name, longest = _LOOPS[loop]
    module = sys.modules.get(f"{__package__}.{name}")
    if module is not None and module.ready():
        return False
    return not any(Path(label_kernels.cache_folder()).glob(f"{name}.{longest}-*.nbi"))
