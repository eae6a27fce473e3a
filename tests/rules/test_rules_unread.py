"""Conditions and limits that nobody can read: listed as written, and never taken for a limit or for its absence."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tripplan.rules.unread import cautions, unread_conditions, unread_limits


@pytest.mark.parametrize(
    ("key", "value", "unread"),
    [
        ("motor_vehicle:conditional", "no @ winter", True), ("access:conditional", "no @ (snow)", True),
        ("access:conditional", "no @ (Nov-Mar AND wet)", True), ("trailer:conditional", "no", True), ("access:conditional", "winter", True),
        ("vehicle:conditional", "private @ (SH)", True), ("motor_vehicle:conditional", "no @ (weight>heavy)", True),
        ("maxheight:conditional", "2.5 @ (winter)", True), ("maxweight:conditional", "heavy @ (Nov-Mar)", True),
        ("maxweight:conditional", "3 @", False), ("oneway:conditional", "schooldays only", True), ("seasonal", "summer", True),
        # What is read, opens, is for others, or holds at all times anyhow.
        ("motor_vehicle:conditional", "no @ (Nov-Mar)", False), ("motor_vehicle:conditional", "no @ 2024-11-01--2025-03-31", False),
        ("motor_vehicle:conditional", "no @ (22:00-06:00 AND weight>3.5)", False), ("access:conditional", "no @ (trailer)", False),
        ("maxspeed:conditional", "slow @ (Mo-Fr)", True), ("maxspeed:conditional", "30 @ (Mo-Fr)", False),
        ("maxspeed:conditional", "signals @ (Mo-Fr)", False), ("access:conditional", "no @ (hgv)", False), ("hgv:conditional", "no @ winter", False),
        ("access:conditional", "destination @ (resident)", False), ("maxweight:conditional", "none @ (destination)", False),
        ("maxweight:hgv:conditional", "3 @ winter", False), ("oneway:conditional", "yes @ (market days)", False), ("seasonal", "no", False),
    ],
)  # fmt: skip
def test_conditions(key: str, value: str, unread: bool) -> None:
    """A condition that could close or limit the road for us and that nothing decides is listed as written."""
    tags = {"highway": "secondary", "surface": "asphalt", key: value}
    assert unread_conditions(tags) == ((f"{key}={value}",) if unread else ())
    assert cautions(tags) == ((f"a condition that could not be read, as written: {key}={value}",) if unread else ())


@pytest.mark.parametrize(
    ("key", "value", "listed"),
    [
        ("access:conditional", "yes @ (dry)", True), ("access:conditional", "destination @ (market days)", True),
        ("maxweight:conditional", "none @ (winter)", True), ("access:conditional", "yes @ (Mo-Fr)", False),
        ("access:conditional", "yes @ (destination)", False), ("maxweight:conditional", "none @ (delivery AND 06:00-09:00)", False),
    ],
)  # fmt: skip
def test_what_would_only_open_is_listed_and_no_caution(key: str, value: str, listed: bool) -> None:
    """An opening that nobody can date leaves the road as it is: a fault of the map, nothing to ask about."""
    tags = {"highway": "secondary", "access": "no", key: value}
    assert unread_conditions(tags) == ((f"{key}={value}",) if listed else ())
    assert unread_conditions(tags, closing=True) == ()
    assert cautions(tags) == ()


# `default`: OSM wiki, Tag:maxheight=default. The other words from memory of Key:maxheight.
@pytest.mark.parametrize(
    ("key", "value", "unread"),
    [
        ("maxheight", "-3", True), ("maxwidth", "0", True), ("maxweight", "abc", True), ("maxheight", "3,5,2", True), ("maxlength", "long", True),
        ("maxaxleload", "?", True), ("maxheight:physical", "low", True), ("maxheight", "3.5;low", True), ("maxheight:backward", "yes", True),
        ("maxheight", ";", True), ("maxheight", "unknown", True),
        ("maxheight", "default", False), ("maxheight", "none", False), ("maxheight", "unsigned", False), ("maxheight", "no_sign", False),
        ("maxheight", "no_indications", False), ("maxweight", "3.5|none", False), ("maxheight", "12'6\"", False), ("maxheight", "below_default", False),
        ("maxweight:signed", "no", False), ("maxheight:source", "sign", False), ("maxweight:hgv", "abc", False),
        ("width", "narrow", True), ("width", "0", True), ("width", "3;?", True), ("width", "", True), ("width", "2.5 m", False), ("est_width", "narrow", False),
        ("maxspeed", "abc", True), ("maxspeed:trailer", "slow", True), ("maxspeed:backward", "-50", True), ("maxspeed", "50|fast", True), ("maxspeed", ";", True),
        ("maxspeed", "30 mph", False), ("maxspeed", "signals", False), ("maxspeed", "none", False), ("maxspeed", "walk", False), ("maxspeed", "RO:rural", False),
        ("maxspeed:hgv", "abc", False), ("maxspeed:advisory", "abc", False),
    ],
)  # fmt: skip
def test_limits(key: str, value: str, unread: bool) -> None:
    """A limit without a figure or a known word is listed as written; the known words are not."""
    tags = {"highway": "secondary", key: value}
    assert unread_limits(tags) == ((f"{key}={value}",) if unread else ())
    if unread:
        assert cautions(tags) == (f"a limit that could not be read, as written: {key}={value}",)


def test_what_is_read_and_asks_for_care() -> None:
    """A height below the country's rules without a figure, and advice to take four-wheel drive, are cautions and no faults."""
    low = {"highway": "secondary", "maxheight": "below_default"}
    assert [line for line in cautions(low) if "height below what the country's general rules" in line]
    assert "4wd_only=recommended" in cautions({"highway": "track", "4wd_only": "recommended"})[0]
    for tags in ({"4wd_only": "yes"}, {"4wd_only": "no"}, {"maxheight": "default"}, {}):
        assert cautions(tags) == ()


@given(
    st.dictionaries(
        st.sampled_from(["access:conditional", "maxheight", "maxheight:conditional", "maxweight:lanes", "oneway:conditional", "seasonal", "4wd_only", "highway"]),
        st.one_of(st.text(max_size=30), st.sampled_from(["no @ winter", "3 @ (", "@", "2.5 @ (Nov-Mar)", "none", "|", "no @ (weight>x)"])),
    )
)  # fmt: skip
def test_any_text_gets_an_answer(tags: dict[str, str]) -> None:
    """No text raises; every caution is one line."""
    lines = cautions(tags)
    assert len(lines) >= len(unread_conditions(tags, closing=True)) + len(unread_limits(tags))
    assert all("\n" not in line for line in lines)
