"""Compiled loops: numba where it is there, kept in the user's folder."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar, cast

import numba

from tripplan.roads.cache import cache_folder

__all__ = ["jit"]

F = TypeVar("F", bound=Callable[..., Any])


def jit(function: F) -> F:
    """Compile a function at its first call; what was compiled is kept for the next process where a folder allows it."""
    config: Any = numba.config
    if not config.CACHE_DIR:
        config.CACHE_DIR = str(cache_folder() / "compiled")
    try:
        made: Any = numba.njit(cache=True, nogil=True)(function)
    except RuntimeError:  # no folder to keep it in: compile anew each time
        made = numba.njit(nogil=True)(function)
    return cast("F", made)
