"""The table of strings: numbers while a region is built, text read on demand once it is saved."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import islice
from typing import overload

import numpy as np
from numpy.typing import NDArray

__all__ = ["PackedStrings", "StringTable", "pack"]


class StringTable:
    """Gives each distinct string a number; the empty one is -1."""

    def __init__(self) -> None:
        self._number: dict[str, int] = {}

    def number(self, text: str) -> int:
        """Return the number of a string, new or known."""
        return self._number.setdefault(text, len(self._number)) if text else -1

    def numbers(self, texts: Sequence[str]) -> list[int]:
        """Return the number of each of many strings."""
        known = self._number
        return [known.setdefault(text, len(known)) if text else -1 for text in texts]

    def text(self, number: int) -> str:
        """Return the string of a number; looked for one by one, so for a few of them."""
        return next(islice(self._number, number, None)) if number >= 0 else ""

    def packed(self) -> PackedStrings:
        """Return the table as it is saved."""
        return pack(list(self._number))


class PackedStrings(Sequence[str]):
    """Strings as one UTF-8 buffer: ``data[ptr[i]:ptr[i + 1]]`` is the i-th. Decoded when asked for."""

    __slots__ = ("data", "ptr")

    def __init__(self, data: NDArray[np.uint8], ptr: NDArray[np.int64]) -> None:
        self.data = data
        self.ptr = ptr

    def __len__(self) -> int:
        return len(self.ptr) - 1

    @overload
    def __getitem__(self, index: int) -> str: ...
    @overload
    def __getitem__(self, index: slice) -> tuple[str, ...]: ...
    def __getitem__(self, index: int | slice) -> str | tuple[str, ...]:
        if isinstance(index, slice):
            return tuple(self[k] for k in range(*index.indices(len(self))))
        if not -len(self) <= index < len(self):
            raise IndexError(index)
        index %= len(self)
        return self.data[self.ptr[index] : self.ptr[index + 1]].tobytes().decode("utf-8", "replace")

    def __eq__(self, other: object) -> bool:
        if isinstance(other, PackedStrings):
            return np.array_equal(self.ptr, other.ptr) and np.array_equal(self.data, other.data)
        return NotImplemented

    def __hash__(self) -> int:
        return hash((len(self), self.data[:64].tobytes()))


def pack(texts: Sequence[str]) -> PackedStrings:
    """Return strings as one buffer (as they are, if they are so already)."""
    if isinstance(texts, PackedStrings):
        return texts
    parts = [text.encode("utf-8", "replace") for text in texts]
    ptr = np.zeros(len(parts) + 1, np.int64)
    np.cumsum([len(part) for part in parts], out=ptr[1:])
    return PackedStrings(np.frombuffer(b"".join(parts), np.uint8), ptr)
