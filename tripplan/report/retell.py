"""Sentences that stand in a plan, told in the language spoken."""

from __future__ import annotations

__all__ = ["retell"]


def retell(text: str) -> str:
    """Return a sentence of a plan in the language spoken."""
    return text
