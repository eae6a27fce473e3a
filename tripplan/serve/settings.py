"""How the page is run: where the map is, who may ask, and the limits that nobody can pass."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

__all__ = ["LOOPBACK", "Settings"]

#: Names by which this machine calls itself.
LOOPBACK = ("127.0.0.1", "localhost", "[::1]")


@dataclass(frozen=True, slots=True)
class Settings:
    """All that a server needs to know. It is handed to the worker processes as it is.

    Parameters
    ----------
    region_file
        The prepared map. database: path of an SQLite file, or a ``postgresql://`` connection string.
    hosts
        Names that the Host header may have, without port.
    firm, vans
        The firm's table as in a trip file; each van's table. Both as read from TOML.
    closures
        Files and addresses with closed roads and wind warnings, read again when they change.
    suggestions
        Folder that `tripplan suggest` wrote; ``None``: none are offered ready made.
    secure
        Whether the page is reached by https, so that its cookie may travel by nothing else.
    trust_proxy
        Whether ``X-Forwarded-For`` of the proxy in front tells who asks.
    workers
        Processes that plan. job_s: longest a job may take [s]. memory_mb: address space of each process [MB].
    idle_s
        A job that nobody has asked about for so long is stopped [s].
    keep_days
        Trips and plans are deleted so many days after they were made; checks of tracks after one.
    form_kb, upload_mb
        Largest body of a form [kB] and of a file to be checked [MB].
    per_second, burst
        Requests that one address may make, on the long run and at once; posts count ten.
    most_jobs, most_queued
        Jobs of one session that may wait or run, and of all.
    most_jobs_address
        Jobs of one address that may wait or run: sessions cost nothing. most_uploads_mb: files that wait, all together [MB].
    """

    region_file: Path
    database: str
    hosts: tuple[str, ...] = LOOPBACK
    firm: dict[str, Any] = field(default_factory=dict)
    vans: tuple[dict[str, Any], ...] = ()
    closures: tuple[str, ...] = ()
    suggestions: Path | None = None
    secure: bool = False
    trust_proxy: bool = False
    workers: int = 2
    job_s: float = 300.0
    memory_mb: int = 6144
    idle_s: float = 180.0
    keep_days: float = 60.0
    form_kb: int = 64
    upload_mb: int = 41
    per_second: float = 20.0
    burst: float = 200.0
    most_jobs: int = 4
    most_queued: int = 500
    most_jobs_address: int = 60
    most_uploads_mb: int = 1000
    ways_out_s: float = 30.0
