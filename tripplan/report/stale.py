"""Papers of an earlier run that nothing points to any more: other choices, themes that are not suggested now.

Only what a page of ours lists is looked at, in it only files of the names that we write, and of these only such as nobody has
changed since. A folder with anything else in it stays, with that in it.
"""

from __future__ import annotations

import re
from collections.abc import Collection
from contextlib import suppress
from pathlib import Path

__all__ = ["CHOICES", "GENERATOR", "clear", "clear_choices", "listed"]

#: By this a page is known as ours; it stands in its head.
GENERATOR = '<meta name="generator" content="tripplan">'
#: The page of the choices, beside the papers of the plan asked for.
CHOICES = "choices.html"
_FOLDER = re.compile(r'href="([a-z][a-z0-9-]{0,60})/map\.html"')
_MOST_BYTES = 100_000_000
#: Papers of one run are written within so many seconds of each other; a file changed later was changed by somebody.
_TOGETHER_S = 120.0


def listed(page: Path) -> tuple[str, ...]:
    """Return the folders that a page of ours links to, by name; none where there is no such page, or it is not ours."""
    return tuple(dict.fromkeys(_FOLDER.findall(_ours(page))))


def _ours(page: Path) -> str:
    """Return the text of a page of ours; "" where there is no such page, or it is not ours."""
    with suppress(OSError, UnicodeDecodeError):
        if page.is_file() and not page.is_symlink() and page.stat().st_size <= _MOST_BYTES:
            text = page.read_text(encoding="utf-8")
            return text if GENERATOR in text else ""
    return ""


def clear(out: Path, folders: Collection[str], names: Collection[str]) -> None:
    """Take our files away from folders, and each folder that is empty then.

    Parameters
    ----------
    folders
        As `listed` gave them. names: of the files that are ours. What cannot be taken away stays.
    """
    for name in folders:
        folder = out / name
        plan = folder / "plan.json"
        with suppress(OSError):
            if folder.is_symlink() or not plan.is_file() or plan.is_symlink():
                continue
            written = plan.stat().st_mtime
            ours = [folder / file for file in names if file != plan.name]
            for path in (*ours, plan):  # the plan last: by it the rest is known as ours
                if path.is_file() and not path.is_symlink() and abs(path.stat().st_mtime - written) <= _TOGETHER_S:
                    path.unlink()
            folder.rmdir()


def clear_choices(out: Path, names: Collection[str]) -> None:
    """Take away the choices of an earlier plan, with the page that lists them."""
    page = out / CHOICES
    if _ours(page):
        clear(out, listed(page), names)
        with suppress(OSError):
            page.unlink()
