"""Room, used up, and levels as people read them."""

from __future__ import annotations

import pytest
from helpers.living import COLD, MILD, plain_party, plain_van, vans
from hypothesis import given
from hypothesis import strategies as st

from tripplan.model.errors import BadInputError
from tripplan.model.van import Levels, Van
from tripplan.model.words import STORES, Store
from tripplan.van.limits import (
    UNITS_PER,
    battery_temperature,
    capacity,
    level_of_used,
    limit_level,
    room_units,
    used_units_of_levels,
)


def test_an_ordinary_van() -> None:
    """40 L barrels keep 2 L back, a 19 L cassette is used to 17.1 L, 9 kg of gas to 0.3 kg, 100 Ah to half of what 10 °C leaves."""
    van = plain_van()
    assert room_units(van).tolist() == [380, 380, 171, 95, 870, 418]
    assert limit_level(van, "fresh") == pytest.approx(2.0)
    assert limit_level(van, "grey") == pytest.approx(38.0)
    assert limit_level(van, "cassette") == pytest.approx(17.1)
    assert limit_level(van, "gas") == pytest.approx(0.3)
    assert limit_level(van, "battery") == pytest.approx(58.2)


def test_spares_add_room() -> None:
    """A second cassette doubles the room, a second bottle adds a whole one."""
    assert room_units(plain_van(cassettes=2))[2] == 342
    assert room_units(plain_van(gas_bottles=2))[4] == 870 + 900


def test_the_cold_takes_battery() -> None:
    """A colder trip leaves less room, at 25 °C the depth limit alone; other stores do not feel it."""
    van = plain_van()
    warm, cold = room_units(van, battery_c=25), room_units(van, battery_c=0)
    assert warm[5] == 500
    assert cold[5] == int(500 / 1.405)
    assert (warm[:5] == cold[:5]).all()
    party = plain_party()
    assert battery_temperature([MILD, COLD], party) == pytest.approx((-5 + 15) / 2)
    assert battery_temperature([], party) == 10


def test_full_and_empty() -> None:
    """Full fresh, gas and battery with empty grey and cassette is nothing used up; empty barrels are all used up."""
    van = plain_van()
    full = Levels(40, 0, 0, 10, 9, 100)
    assert used_units_of_levels(van, full).tolist() == [0] * 6
    assert used_units_of_levels(van, Levels()).tolist() == [400, 0, 0, 100, 900, 1000]


@pytest.mark.parametrize("levels", [Levels(fresh_l=41), Levels(grey_l=-1), Levels(gas_kg=float("nan")), Levels(battery_ah=1e9)])
def test_impossible_levels_are_refused(levels: Levels) -> None:
    """More than the store holds, less than nothing, or no number gives one clear line."""
    with pytest.raises(BadInputError, match="level of"):
        used_units_of_levels(plain_van(), levels)


@given(van=vans, shares=st.tuples(*[st.floats(0, 1)] * 6))
def test_there_and_back(van: Van, shares: tuple[float, ...]) -> None:
    """Level to units and back errs by less than a unit, always to the safe side; the room fits the store; the limit has the room."""
    values = [share * capacity(van, store) for share, store in zip(shares, STORES, strict=True)]
    used = used_units_of_levels(van, Levels(*values))
    room = room_units(van)
    for i, store in enumerate(STORES):
        back = level_of_used(van, store, int(used[i]))
        error = (back - values[i]) * (1 if store.fills else -1)
        assert -1e-5 <= error <= 1 / UNITS_PER[i] + 1e-6
        assert 0 <= room[i] <= capacity(van, store) * UNITS_PER[i] + 1e-6
        assert limit_level(van, store) == pytest.approx(level_of_used(van, store, int(room[i])))


@given(van=vans, used=st.integers(0, 500), more=st.integers(0, 500))
def test_use_moves_levels_towards_their_limits(van: Van, used: int, more: int) -> None:
    """More used up raises grey and cassette and lowers the others."""
    for store in Store:
        change = level_of_used(van, store, used + more) - level_of_used(van, store, used)
        assert change >= -1e-9 if store.fills else change <= 1e-9
