"""A list that findings are put on while the rooms of the audit look at a plan."""

from __future__ import annotations

from dataclasses import dataclass, field

from tripplan.model.plan import Finding

__all__ = ["Findings"]


@dataclass
class Findings:
    """Findings in the order met. `add` takes what, day (0: the whole trip), amount, unit and words."""

    rows: list[Finding] = field(default_factory=list)

    def add(self, what: str, day: int, amount: float, unit: str, text: str) -> None:
        """Put one finding on the list."""
        self.rows.append(Finding(what, day, float(amount), unit, text))

    def unless(self, holds: bool, what: str, day: int, text: str, amount: float = 1.0, unit: str = "") -> None:
        """Put a finding on the list unless something holds."""
        if not holds:
            self.add(what, day, amount, unit, text)
