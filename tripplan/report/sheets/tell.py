"""Whole sentences with named places for what they tell; foreign values are cleaned on their way in."""

from __future__ import annotations

from tripplan.report.safe import plain

__all__ = ["tell"]


def tell(sentence: str, **values: object) -> str:
    """Return a sentence with its values put in.

    Text values are cleaned and isolated first, so that none turns the sentence round. A value's own braces mean nothing.
    """
    return sentence.format(**{name: plain(value) if isinstance(value, str) else value for name, value in values.items()})
