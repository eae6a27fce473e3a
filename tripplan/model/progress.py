"""How long work tells how far it is, without knowing who listens."""

from __future__ import annotations

from collections.abc import Callable

__all__ = ["Progress", "silent"]

#: Called now and then with what is being done and the share done, 0 to 1 (NaN: cannot tell).
Progress = Callable[[str, float], None]


def silent(what: str, share: float) -> None:
    """Listen to nothing."""
