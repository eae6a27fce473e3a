"""Files of prepared arrays in the user's cache folder: written whole or not at all, rebuilt when anything is amiss."""

from __future__ import annotations

import hashlib
import zipfile
import zlib
from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path
from typing import Any, cast

import numpy as np
from numpy.typing import NDArray

from tripplan import __version__
from tripplan.model.leftovers import keep

__all__ = ["code_key", "digest", "load_arrays", "save_arrays"]

Arrays = dict[str, NDArray[Any]]


@lru_cache(maxsize=4)
def code_key(rooms: tuple[str, ...] = ("almanac", "rules", "roads")) -> str:
    """Return a digest of the code whose answers are kept: a file made by other rules is never read again."""
    total = hashlib.sha256(__version__.encode())
    house = Path(__file__).parent.parent
    for room in rooms:
        for path in sorted((house / room).glob("*.py")):
            total.update(path.read_bytes())
    return total.hexdigest()


def digest(*parts: object) -> str:
    """Return a hexadecimal digest of the parts' representations, arrays by their bytes."""
    total = hashlib.sha256()
    for part in parts:
        total.update(part.tobytes() if isinstance(part, np.ndarray) else repr(part).encode())
        total.update(b"\0")
    return total.hexdigest()[:40]


def load_arrays(path: Path | None, names: tuple[str, ...]) -> Arrays | None:
    """Read arrays; ``None`` when the file is not there, not whole, or not what was asked for."""
    if path is None:
        return None
    try:
        with np.load(path, allow_pickle=False) as file:
            return {name: file[name] for name in names}
    except (OSError, ValueError, KeyError, EOFError, zipfile.BadZipFile, zlib.error, NotImplementedError):
        return None


def save_arrays(path: Path | None, arrays: Mapping[str, NDArray[Any]]) -> None:
    """Write arrays beside their place and move them there. A full disk or a read-only folder only costs the cache."""
    if path is not None:
        keep(path, lambda file: np.savez(file, **cast("Any", arrays)))
