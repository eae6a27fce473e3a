"""Who is next: one job of each session in turn, so that somebody who asks for much waits for himself alone."""

from __future__ import annotations

from collections import OrderedDict, deque

__all__ = ["FairLine"]


class FairLine:
    """Jobs that wait, taken round robin by session; within a session in their order."""

    def __init__(self) -> None:
        self._rows: OrderedDict[str, deque[str]] = OrderedDict()

    def __len__(self) -> int:
        return sum(len(row) for row in self._rows.values())

    def of(self, session: str) -> int:
        """Return how many jobs of a session wait."""
        return len(self._rows.get(session, ()))

    def add(self, session: str, job: str, *, first: bool = False) -> None:
        """Let a job wait: behind the others of its session, or before them."""
        row = self._rows.setdefault(session, deque())
        if first:
            row.appendleft(job)
        else:
            row.append(job)

    def take(self) -> tuple[str, str] | None:
        """Return session and job whose turn it is; that session then stands last."""
        if not self._rows:
            return None
        session, row = self._rows.popitem(last=False)
        job = row.popleft()
        if row:
            self._rows[session] = row
        return session, job

    def drop(self, job: str) -> bool:
        """Take a job out; False when it does not wait."""
        for session, row in self._rows.items():
            if job in row:
                row.remove(job)
                if not row:
                    del self._rows[session]
                return True
        return False

    def ahead(self, job: str) -> int:
        """Return how many jobs are taken before this one, as things stand; -1 when it does not wait."""
        rows = list(self._rows.values())
        for number, row in enumerate(rows):
            if job in row:
                depth = row.index(job)
                return sum(min(len(other), depth + (k < number)) for k, other in enumerate(rows) if k != number) + depth
        return -1
