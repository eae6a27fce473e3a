"""What a person may change so that a trip without a plan gets one."""

from __future__ import annotations

from dataclasses import dataclass

from tripplan.model.plan import Plan

__all__ = ["Change", "Remedies", "Remedy"]


@dataclass(frozen=True, slots=True)
class Change:
    """One thing to change.

    Parameters
    ----------
    key
        Name of its kind, one word or two ("second cassette").
    text
        What to do, as a sentence without its full stop.
    effort
        How much it asks of a hirer: 1 a word to the firm, 2 another habit or a thing to hire, 3 another rhythm of days,
        4 something given up, 5 other dates. Common practice, no source.
    how
        Where it is written in the trip's files.
    name
        What finds it again among the changes that fit the trip: its text before the plan found was woven in.
    """

    key: str
    text: str
    effort: int
    how: str = ""
    name: str = ""


@dataclass(frozen=True, slots=True)
class Remedy:
    """A set of changes that gives a plan, and that plan.

    Parameters
    ----------
    smallest
        Whether it is proven that no part of the set is enough: every part was searched to its end without a plan.
    """

    changes: tuple[Change, ...]
    plan: Plan
    smallest: bool

    @property
    def effort(self) -> int:
        """Of all its changes together."""
        return sum(change.effort for change in self.changes)


@dataclass(frozen=True, slots=True)
class Remedies:
    """All sets found, easiest first.

    Parameters
    ----------
    tried
        Sets searched. whole: whether every set of that size was tried before the time was up.
    missing
        What the map would have to tell, where it knows no place at all for a service.
    """

    found: tuple[Remedy, ...]
    tried: int
    whole: bool
    missing: tuple[str, ...] = ()
