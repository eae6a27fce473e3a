"""The guides: every command of them runs as written, and the pages made from the code are what the code says today."""

from __future__ import annotations

import re
import shlex
from pathlib import Path
from typing import Any

import pytest

from tripplan.cli.guide import GENERATED, commands_text, page_text

GUIDES = Path(__file__).resolve().parents[2] / "tripplan" / "guides"
BLOCK = re.compile(r"(<!-- exit code (\d) -->\n)?```(sh|csv|xml)\n(.*?)```", re.DOTALL)


def _saved_as(text: str) -> str:
    """Where a table or a track of a guide is to be saved: named in the text around it."""
    if "<gpx" in text:
        return "track.gpx"
    return "desk/bookings.csv" if "booking," in text else "route.csv"


@pytest.mark.parametrize("name", ["hirer", "operator", "staff"])
def test_each_command_of_a_guide_runs(run: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str) -> None:
    """Typed one after another in an empty folder, the commands of a guide give what it promises."""
    monkeypatch.chdir(tmp_path)
    text = (GUIDES / f"{name}.md").read_text(encoding="utf-8")
    ran = 0
    for _, code, kind, block in BLOCK.findall(text):
        if kind != "sh":
            Path(_saved_as(block)).write_text(block, encoding="utf-8")
            continue
        for line in block.strip().splitlines():
            words = shlex.split(line)
            assert words[0] == "tripplan"
            done = run(*words[1:])
            expected = (0, 1) if "check" in words else (int(code or 0),)
            assert done.code in expected, (line, done.out[-500:], done.err)
            assert "fault of tripplan's own" not in done.err
            ran += 1
    assert ran >= 3


@pytest.mark.parametrize("name", sorted(GENERATED))
def test_pages_made_from_the_code_are_current(name: str) -> None:
    """The file is what `tripplan guide NAME` prints; after a change: tripplan guide NAME > tripplan/guides/NAME.md."""
    assert (GUIDES / f"{name}.md").read_text(encoding="utf-8") == page_text(name)


def test_every_command_and_option_is_told() -> None:
    """Each command stands in the page of commands with its help; no option is without a word."""
    from tripplan.cli.main import _COMMANDS

    text = commands_text()
    for name in _COMMANDS:
        assert f"tripplan {name}" in text
    for line in text.splitlines():
        option = re.match(r"  (-\S.*)$", line)
        if option and "  " not in option[1].strip():
            following = text.split(line + "\n", 1)[1].splitlines()[0]
            assert following.startswith("     "), line


def test_guides_are_listed_and_printed(run: Any) -> None:
    """Without a name each guide is named; with one it is printed; another name is refused."""
    assert "hirer" in run("guide").out
    assert run("guide", "staff").out.startswith("# For staff")
    assert run("guide", "nobody").code == 2
