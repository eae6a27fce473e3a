"""What can go wrong, in words for the person who has to put it right."""

from __future__ import annotations

__all__ = ["BadInputError", "NoPlanError", "TripplanError"]


class TripplanError(Exception):
    """Base of every error that tripplan raises on purpose."""


class BadInputError(TripplanError, ValueError):
    """Something handed in cannot be used. The command line prints it on one line and exits with 2.

    Parameters
    ----------
    what
        What is wrong, with the value that was met ("`grey_l` is -5").
    where
        The file, table, row or option it was met in ("van.toml, [stores]").
    accepted
        What would be taken instead ("5 to 300 litres").
    next_step
        What to do now ("give the barrel's size in litres").
    """

    def __init__(self, what: str, *, where: str = "", accepted: str = "", next_step: str = "") -> None:
        self.what = what
        self.where = where
        self.accepted = accepted
        self.next_step = next_step
        super().__init__(self.one_line())

    def one_line(self) -> str:
        """Return the whole message on one line, safe to print."""
        what, where = _cut(self.what, 1500), _cut(self.where, 600)
        parts = [f"{where}: {what}" if where else what]
        if self.accepted:
            parts.append(f"accepted: {self.accepted}")
        if self.next_step:
            parts.append(_cut(self.next_step, 300))
        text = "; ".join(parts)
        return "".join(c if c.isprintable() else "�" for c in text.replace("\n", " "))


def _cut(text: str, most: int) -> str:
    """Return a text with its middle left out where it is long: a value that somebody wrote may fill a page."""
    half = most // 2 - 1
    return text if len(text) <= most else f"{text[:half]}...{text[-half:]}"


class NoPlanError(TripplanError):
    """No plan exists within the limits.

    Parameters
    ----------
    message
        All of it on one line.
    excesses
        What the nearest plan exceeds, in the order of its days. least: whether it is proven that no plan exceeds less.
    proven
        Whether it is proven that no plan exists; false where the search was stopped.
    cut
        What was not looked through to the end in search of the nearest plan, in words.
    """

    def __init__(
        self,
        message: str,
        excesses: tuple[object, ...] = (),
        *,
        least: bool = True,
        proven: bool = True,
        cut: tuple[str, ...] = (),
    ) -> None:
        self.excesses = excesses
        self.least = least
        self.proven = proven
        self.cut = cut
        super().__init__(message)
