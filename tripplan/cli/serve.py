"""`tripplan serve`: a page for people without a command line, on this machine or hosted."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from tripplan.cli.shared import firm_option, plain, region_option

__all__ = ["command"]

#: What most hire firms allow (common practice, no source); the same as `tripplan check` takes.
_COMMON_FIRM = {"name": "", "phone": "", "towing_limit_kmh": 90.0}


@click.command("serve")
@region_option()
@firm_option()
@click.option(
    "--vans",
    "vans_folder",
    metavar="DIR",
    default=None,
    type=click.Path(path_type=Path),
    help="Folder of van files (TOML) to choose from; without it, two usual vans.",
)
@click.option(
    "--closures",
    "closures",
    metavar="FILE_OR_URL",
    multiple=True,
    help="Closed roads and wind warnings by date: GeoJSON, or a WZDx work zone feed; read again when it changes; may be given again.",
)
@click.option(
    "--suggestions",
    "suggestions",
    metavar="DIR",
    default=None,
    type=click.Path(path_type=Path),
    help="Folder that `tripplan suggest` wrote: its loops are offered to start from.",
)
@click.option(
    "--host",
    default="127.0.0.1",
    show_default=True,
    help="Address to listen on. Anything else than loopback makes the page reachable for others.",
)
@click.option(
    "--port", type=click.IntRange(0, 65535), default=8765, show_default=True, help="Port to listen on; 0: any that is free."
)
@click.option(
    "--name",
    "names",
    metavar="NAME",
    multiple=True,
    help="Name by which the page may be asked for (its host name), beside loopback. Repeat it for several.",
)
@click.option(
    "--database",
    metavar="FILE|postgresql://...",
    default="",
    help="Where trips and plans are kept; without it, a file in the user's cache folder.",
)
@click.option(
    "--keep-days",
    type=click.FloatRange(0.01, 3650),
    default=60.0,
    show_default=True,
    help="Days after which trips and plans are deleted.",
)
@click.option("--workers", type=click.IntRange(1, 256), default=None, help="Processes that plan; without it, one for each core.")
@click.option(
    "--memory-mb",
    type=click.IntRange(1024, 1_000_000),
    default=6144,
    show_default=True,
    help="Address space that each of them may take.",
)
@click.option(
    "--job-seconds", type=click.FloatRange(5, 36_000), default=300.0, show_default=True, help="Longest that one plan may take."
)
@click.option(
    "--idle-seconds",
    type=click.FloatRange(10, 36_000),
    default=180.0,
    show_default=True,
    help="A plan that nobody waits for is stopped after so long.",
)
@click.option(
    "--https",
    "secure",
    is_flag=True,
    help="The page is reached by https (a proxy in front does it): its cookie travels by nothing else.",
)
@click.option("--behind-proxy", "trust_proxy", is_flag=True, help="Take who asks from the proxy's X-Forwarded-For.")
def command(
    region_file: Path, firm_file: Path | None, vans_folder: Path | None, closures: tuple[str, ...], suggestions: Path | None, host: str, port: int, names: tuple[str, ...], database: str, keep_days: float,
    workers: int | None, memory_mb: int, job_seconds: float, idle_seconds: float, secure: bool, trust_proxy: bool,
) -> int:  # fmt: skip
    """Serve a page on which people plan trips, compare, change and share them; and staff check ways.

    It answers on this machine alone unless told otherwise. Stop it with Ctrl-C; what was being planned then is taken up again at the
    next start.
    """
    import os

    from tripplan.model.errors import BadInputError
    from tripplan.region.store import load
    from tripplan.serve.settings import LOOPBACK, Settings

    try:
        import uvicorn

        from tripplan.serve.app import make_app
        from tripplan.serve.prompt import PromptProtocol
    except ImportError as error:
        raise BadInputError(
            f"{error.name} is not installed", where="tripplan serve", next_step="pip install 'tripplan[serve]'"
        ) from None
    settings = Settings(
        region_file=region_file, database=database or _own_database(), hosts=(*LOOPBACK, *(name.casefold() for name in names)),
        firm=_firm(firm_file), vans=_vans(vans_folder), secure=secure, trust_proxy=trust_proxy, workers=workers or os.cpu_count() or 1,
        job_s=job_seconds, memory_mb=memory_mb, idle_s=idle_seconds, keep_days=keep_days, closures=closures, suggestions=suggestions,
    )  # fmt: skip
    app = make_app(settings, load(region_file))
    if host not in ("127.0.0.1", "localhost", "::1") and not names:
        click.echo(
            "Others can reach this address, but the page answers to loopback names alone: add --name with its host name.",
            err=True,
        )
    config = uvicorn.Config(
        app, host=host, port=port, http=PromptProtocol, ws="none", log_config=None, access_log=False, server_header=False, date_header=False, proxy_headers=False,
        timeout_keep_alive=15, limit_concurrency=1000, h11_max_incomplete_event_size=16_384, timeout_graceful_shutdown=5,
    )  # fmt: skip
    server = uvicorn.Server(config)
    _announce(server, host)
    server.run()
    return 0


def _announce(server: Any, host: str) -> None:
    """Say where the page is once it can be opened."""
    began = server.startup

    async def startup(sockets: Any = None) -> None:
        await began(sockets=sockets)
        if server.started:
            port = server.servers[0].sockets[0].getsockname()[1]
            shown = f"[{host}]" if ":" in host else host
            click.echo(f"Open http://{shown}:{port}/ in a browser. Ctrl-C ends it.")

    server.startup = startup


def _own_database() -> str:
    from tripplan.roads.cache import cache_folder

    folder = cache_folder()
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / "pages.sqlite"
    path.touch(mode=0o600)
    return str(path)


def _firm(path: Path | None) -> dict[str, Any]:
    """Return a firm's table, checked once here so that no visitor meets its faults."""
    from tripplan.request.parts import read_firm
    from tripplan.request.text_file import read_toml

    if path is None:
        return dict(_COMMON_FIRM)
    read_firm(path)
    raw = read_toml(path)[0]
    return dict(raw["firm"]) if set(raw) == {"firm"} else raw


def _vans(folder: Path | None) -> tuple[dict[str, Any], ...]:
    from tripplan.model.errors import BadInputError
    from tripplan.pipeline import sample_folder
    from tripplan.request.forms import Origin
    from tripplan.request.parts import table
    from tripplan.request.text_file import read_toml

    paths = sorted((folder or sample_folder() / "vans").glob("*.toml"))
    if not paths:
        raise BadInputError(
            f"{plain(str(folder))} holds no van files",
            where="--vans",
            accepted="a folder of .toml files",
            next_step="name another one",
        )
    vans = []
    for path in paths[:50]:
        raw, text = read_toml(path)
        inside = raw["van"] if set(raw) == {"van"} else raw
        vans.append(table("van", inside, Origin(str(path), text)).values)
    return tuple(sorted(vans, key=lambda van: (van["berths"], str(van["name"]))))
