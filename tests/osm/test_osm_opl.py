"""OPL text back to tags and numbers."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tripplan.osm.opl import (
    NO_PLACE,
    escape,
    parse_located,
    parse_many_located,
    parse_members,
    parse_tags,
    unescape,
    unescape_all,
)  # fmt: skip

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


_WHOLE = st.tuples(st.integers(-1_800_000_000, 1_800_000_000), st.integers(-900_000_000, 900_000_000)).filter(
    lambda at: at[0] % 10_000_000 and at[1] % 10_000_000
)


@given(
    st.one_of(
        st.lists(st.lists(st.tuples(st.integers(-(2**40), 2**40), _WHOLE), min_size=1, max_size=5), max_size=6),
        st.lists(st.lists(st.tuples(st.integers(0, 2**40), _PLACE), max_size=5), max_size=6),
    )
)
def test_many_ways_at_once_are_each_way_alone(ways: list[list[tuple[int, tuple[int, int] | None]]]) -> None:
    """Coordinates of many ways, whole or with gaps, with nodes or without, are what each way alone gives."""
    texts = ["N" + ",".join(f"n{k}x{_degrees(at[0])}y{_degrees(at[1])}" if at else f"n{k}xy" for k, at in way) for way in ways]
    located, counts = parse_many_located([text.encode() for text in texts])
    assert counts.tolist() == [len(way) for way in ways]
    alone = [parse_located(text[1:].encode(), len(way)) for text, way in zip(texts, ways, strict=True)]
    for k in range(3):
        assert located[k].tolist() == [value for part in alone for value in part[k].tolist()]


_PERCENT = st.text("%20ac\n,é", max_size=12).map(str.encode)


@given(st.lists(st.one_of(_TEXT.map(lambda text: escape(text).encode()), _PERCENT, st.binary(max_size=6)), max_size=8))
@settings(max_examples=300)
def test_many_texts_at_once_are_each_text_alone(texts: list[bytes]) -> None:
    """Escapes of many texts, sound or not, come out as those of each text alone."""
    assert unescape_all(texts) == [unescape(text) for text in texts]


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
