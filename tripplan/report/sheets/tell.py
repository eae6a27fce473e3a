"""Whole sentences with named places for what they tell; foreign values are cleaned on their way in."""

from __future__ import annotations

from tripplan.report.language import tell, tell_n, word

__all__ = ["tell", "tell_n", "word"]
