"""OPL text back to tags and numbers."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tripplan.osm.opl import NO_PLACE, escape, parse_located, parse_members, parse_tags, unescape

_TEXT = st.text(st.characters(exclude_categories=("Cs",)), max_size=20)
_PLACE = st.one_of(st.none(), st.tuples(st.integers(-1_800_000_000, 1_800_000_000), st.integers(-900_000_000, 900_000_000)))


def _degrees(e7: int) -> str:
    """Write 1e-7 degrees as libosmium does: no trailing zeros, no point without need."""
    text = f"{'-' if e7 < 0 else ''}{abs(e7) // 10_000_000}.{abs(e7) % 10_000_000:07d}"
    return text.rstrip("0").rstrip(".")


@given(st.lists(st.tuples(st.integers(-(2**40), 2**40), _PLACE), max_size=30))
def test_located_nodes_come_back_exactly(nodes: list[tuple[int, tuple[int, int] | None]]) -> None:
    """Ids and 1e-7 degrees are exact for every sign, length and missing position."""
    text = ",".join(f"n{number}x{_degrees(at[0])}y{_degrees(at[1])}" if at else f"n{number}xy" for number, at in nodes)
    ids, lon, lat = parse_located(text.encode(), len(nodes))
    assert ids.tolist() == [number for number, _ in nodes]
    assert list(zip(lon.tolist(), lat.tolist(), strict=True)) == [at or (NO_PLACE, NO_PLACE) for _, at in nodes]


def test_a_wrong_count_is_an_error_not_a_shift() -> None:
    """Text that does not hold what was promised is refused."""
    with pytest.raises(ValueError, match="expected"):
        parse_located(b"n1x2y3,n4x5", 2)


@given(st.dictionaries(_TEXT.filter(bool), _TEXT, max_size=6))
@settings(max_examples=150)
def test_tags_survive_escaping(tags: dict[str, str]) -> None:
    """Any key and value, control characters and all, comes back as it was."""
    assert parse_tags(",".join(f"{escape(k)}={escape(v)}" for k, v in tags.items()).encode()) == tags


def test_members_and_odd_escapes() -> None:
    """Members keep order and role; a number that is no character becomes the replacement sign."""
    assert parse_members(b"w1@from,n2@via,r3@a%2c%b,") == (("w", 1, "from"), ("n", 2, "via"), ("r", 3, "a,b"))
    assert unescape(b"%d800%%110000%x") == "\ufffd\ufffdx"
    assert np.array_equal(parse_located(b"", 0)[0], [])
