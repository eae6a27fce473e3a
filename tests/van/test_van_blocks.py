"""The algebra of blocks against a plain hour-by-hour simulation, and the blocks of days and nights."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from helpers.living import COLD, MILD, SHARE, SUN, kinds, parties, plain_party, plain_van, vans, weathers
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from tripplan.model.van import DayWeather, Party, Van
from tripplan.van.blocks import EMPTY, Block, block_of, day_block, join, night_block, to_units, worst
from tripplan.van.limits import UNITS_PER, room_units
from tripplan.van.use import MEAN, StayKind, Tilt, hourly, slots

#: What a plan may count with so that its limits hold.
SURE = Tilt(1.3, 0.8, 1.2, 1.0, 0.9)

steps = st.integers(0, 12).flatmap(lambda n: arrays(np.float64, (n, 6), elements=st.integers(-20, 20).map(float)))
levels = arrays(np.float64, (6,), elements=st.integers(0, 60).map(float))


def simulate(start: np.ndarray, use: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the level after all hours and the worst on the way: a full store takes no more."""
    level, peak = start.copy(), start.copy()
    for hour in use:
        level = np.maximum(0.0, level + hour)
        peak = np.maximum(peak, level)
    return level, peak


def apply(block: Block, start: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return what the block says of the same."""
    end = np.maximum(start + np.array(block.total), np.array(block.tail))
    return end, np.maximum(start + np.array(block.prefix), np.array(block.inner))


@given(use=steps, start=levels)
def test_a_block_is_the_simulation(use: np.ndarray, start: np.ndarray) -> None:
    """Level after, and worst on the way, equal an hour-by-hour run with clipping, for any increments and any level."""
    for mine, theirs in zip(apply(block_of(use), start), simulate(start, use), strict=True):
        assert mine == pytest.approx(theirs)


@given(first=steps, then=steps)
def test_joining_is_the_block_of_both(first: np.ndarray, then: np.ndarray) -> None:
    """Two blocks joined equal the block of the hours one after another, in one and the same writing."""
    mine, theirs = join(block_of(first), block_of(then)), block_of(np.concatenate((first, then)))
    for a, b in zip(
        (mine.total, mine.prefix, mine.tail, mine.inner), (theirs.total, theirs.prefix, theirs.tail, theirs.inner), strict=True
    ):
        assert a == pytest.approx(b)
    assert join(EMPTY, mine) == join(mine, EMPTY) == mine


@given(one=steps, other=steps, start=levels)
def test_the_worse_of_two_covers_both(one: np.ndarray, other: np.ndarray, start: np.ndarray) -> None:
    """The worse block promises no better level, and no lower worst, than either."""
    both = apply(worst(block_of(one), block_of(other)), start)
    for use in (one, other):
        for mine, theirs in zip(both, simulate(start, use), strict=True):
            assert (mine >= theirs - 1e-9).all()


@given(use=steps.map(abs))
def test_no_negative_part(use: np.ndarray) -> None:
    """Where nothing is given back, prefix is the total and tail is 0, as the search's contract says."""
    block = block_of(use)
    assert block.prefix == pytest.approx(block.total)
    assert block.tail == block.inner == (0.0,) * 6


@given(use=steps.map(lambda u: u / 7), start=arrays(np.int64, (6,), elements=st.integers(0, 400)))
def test_units_never_flatter(use: np.ndarray, start: np.ndarray) -> None:
    """In search units the block promises no better level than the exact simulation, and is at most one unit a number off."""
    per = np.array(UNITS_PER)
    total, prefix, tail = to_units(block_of(use)).astype(np.int64)
    end, _ = simulate(start / per, use)
    assert (np.maximum(start + total, tail) >= end * per - 1e-6).all()
    assert (np.maximum(start + total, tail) <= end * per + 1 + 1e-6).all()
    assert (prefix >= total).all()
    assert (tail >= 0).all()


@given(use=steps, start=levels)
def test_the_check_refuses_exactly_what_overflows(use: np.ndarray, start: np.ndarray) -> None:
    """With the room known, ``level + prefix > room`` or ``end > room`` exactly when some hour passes the room."""
    room = np.full(6, 25 * 100, dtype=np.int32) // (100 // np.array(UNITS_PER))
    start = np.minimum(start, 25)
    total, prefix, tail = to_units(block_of(use), room).astype(np.int64)
    units = (start * UNITS_PER).astype(np.int64)
    refused = (units + prefix > room) | (np.maximum(units + total, tail) > room)
    _, peak = simulate(start, use)
    assert (refused == (peak * UNITS_PER > room)).all()


@given(
    van=vans,
    party=parties,
    weather=weathers(),
    kind=kinds,
    arrive=st.floats(12, 22),
    leave=st.floats(6, 12),
    tilt=st.sampled_from([MEAN, SURE]),
)
@settings(max_examples=60, deadline=None)
def test_a_night_is_sound(
    van: Van, party: Party, weather: DayWeather, kind: StayKind, arrive: float, leave: float, tilt: Tilt
) -> None:
    """Only the battery gets anything back; prefix covers total; tail is not negative; grey is never more than fresh."""
    block = night_block(van, party, weather, SUN, kind, arrive_h=arrive, leave_h=leave, tilt=tilt)
    assert min(block.total[:5]) >= 0
    assert all(p >= t for p, t in zip(block.prefix, block.total, strict=True))
    assert min(block.tail) >= 0
    assert block.total[1] <= block.total[0] + 1e-9
    assert block.total[3] == 0 or van.flush_l > 0


def _covers(worse: Block, better: Block) -> bool:
    """Whether one block is at least as bad as another at every level."""
    for start in (np.zeros(6), np.full(6, 30.0), np.full(6, 300.0)):
        for a, b in zip(apply(worse, start), apply(better, start), strict=True):
            if (a < b - 1e-9).any():
                return False
    return True


@given(van=vans, party=parties, weather=weathers(), kind=kinds)
@settings(max_examples=60, deadline=None)
def test_more_people_never_use_less(van: Van, party: Party, weather: DayWeather, kind: StayKind) -> None:
    """One adult more is no better for any store, at night or on the road."""
    from dataclasses import replace

    more = replace(party, adults=party.adults + 1)
    assert _covers(night_block(van, more, weather, SUN, kind, tilt=SURE), night_block(van, party, weather, SUN, kind, tilt=SURE))
    assert _covers(
        day_block(van, more, weather, SUN, drive_h=3, tilt=SURE),
        day_block(van, party, weather, SUN, drive_h=3, tilt=SURE),
    )


@given(van=vans, party=parties, weather=weathers(), kind=kinds, by=st.floats(0, 20))
@settings(max_examples=60, deadline=None)
def test_colder_never_burns_less(van: Van, party: Party, weather: DayWeather, kind: StayKind, by: float) -> None:
    """The same day some degrees colder is no better for any store."""
    colder = DayWeather(weather.mean_c - by, weather.low_c - by, weather.high_c - by, weather.sun_kwh_per_m2)
    assert _covers(night_block(van, party, colder, SUN, kind, tilt=SURE), night_block(van, party, weather, SUN, kind, tilt=SURE))


@given(van=vans, party=parties, weather=weathers(), kind=kinds)
@settings(max_examples=40, deadline=None)
def test_more_loads_and_less_sun_never_plan_less(van: Van, party: Party, weather: DayWeather, kind: StayKind) -> None:
    """Counted with more of everything that is used and less sun, a night is no better for any store."""
    plans = [
        night_block(van, party, weather, SUN, kind, tilt=Tilt(1 + x, 1 - x, 1 + x, 1 + x, 1 + x)) for x in (0.0, 0.1, 0.4, 1.0)
    ]
    assert all(_covers(more, less) for less, more in itertools.pairwise(plans))


@given(van=vans, party=parties, weather=weathers(), kind=kinds)
@settings(max_examples=40, deadline=None)
def test_what_a_site_gives_never_costs(van: Van, party: Party, weather: DayWeather, kind: StayKind) -> None:
    """Mains, a toilet block, showers and a piped pitch each leave every store no worse off."""
    bare = kind._replace(powered=False, toilets=False, showers=False, piped=False)
    base = night_block(van, party, weather, SUN, bare, tilt=SURE)
    for word in ("powered", "toilets", "showers", "piped"):
        assert _covers(base, night_block(van, party, weather, SUN, bare._replace(**{word: True}), tilt=SURE))


@given(van=vans, party=parties, weather=weathers(), drive=st.floats(0.2, 6.5), begin=st.floats(0, 1))
@settings(max_examples=60, deadline=None)
def test_a_towing_day_covers_driving_at_either_end(
    van: Van, party: Party, weather: DayWeather, drive: float, begin: float
) -> None:
    """Driving first or last, the day's block promises no better level than the hours themselves."""
    block = day_block(van, party, weather, SUN, drive_h=drive, tilt=SURE)
    start = 9.0 if begin < 0.5 else 16 - drive
    parts = [(slots(9, start), 0.0), (slots(start, start + drive), 1.0), (slots(start + drive, 16), 0.0)]
    hours = np.concatenate([p for p, _ in parts])
    towing = np.concatenate([np.full(len(p), t) for p, t in parts])
    use = hourly(van, party, weather, SHARE, None, hours, towing=towing, tilt=SURE)
    for level in (0.0, 20.0):
        first = np.full(6, level)
        assert (apply(block, first)[0] >= simulate(first, use)[0] - 1e-9).all()


def test_a_day_and_a_night_add_up_to_the_days_habits() -> None:
    """Standing day and night together use exactly one day's water and toilet, wherever the day is cut."""
    van, party = plain_van(), plain_party()
    for leave, arrive in ((9.0, 16.0), (8.25, 17.5), (11.0, 13.75)):
        day = day_block(van, party, MILD, SUN, drive_h=0, kind=StayKind(), leave_h=leave, arrive_h=arrive)
        night = night_block(van, party, MILD, SUN, StayKind(), arrive_h=arrive, leave_h=leave)
        assert day.total[0] + night.total[0] == pytest.approx(2 * (12 + 0.5 * 12))
        assert day.total[1] + night.total[1] == pytest.approx(2 * (12 - 2 + 0.5 * 12))
        assert day.total[2] + night.total[2] == pytest.approx(2 * (1.55 + 5 * 0.3))
        assert day.total[3] + night.total[3] == pytest.approx(2 * 5 * 0.3)


def test_mains_fill_the_battery_and_spare_the_gas() -> None:
    """A night on mains ends with a full battery and burns only the hob's gas; a cold one off mains burns over half a kilogram."""
    van, party = plain_van(), plain_party()
    on = night_block(van, party, MILD, SUN, StayKind(powered=True))
    assert on.total[5] < -100
    assert on.tail[5] == 0
    assert on.total[4] == pytest.approx(1500 * 0.75 * 13 / 15 * 0.0036 / 46.34, rel=0.01)
    off = night_block(van, party, COLD, SUN, StayKind())
    assert 0.5 < off.total[4] < 2.5


def test_gas_is_off_at_the_wheel() -> None:
    """Hours spent wholly at the wheel burn no gas, whatever the cold."""
    use = hourly(plain_van(), plain_party(), COLD, SHARE, None, slots(9, 16), towing=1.0)
    assert use[:, 4].sum() == 0


def test_a_battery_fridge_drains_the_house_battery() -> None:
    """The three ways to run the fridge while towing differ by what they take from the house battery."""
    used = {
        way: day_block(plain_van(fridge_towing=way), plain_party(), MILD, SUN, drive_h=4).total[5]
        for way in ("none", "car_12v", "battery")
    }
    assert used["none"] < used["car_12v"] < used["battery"]
    assert used["battery"] - used["car_12v"] > 4 * 12.5


def test_an_empty_stretch_is_nothing() -> None:
    """A day that ends before it begins has no block."""
    assert day_block(plain_van(), plain_party(), MILD, SUN, drive_h=0, leave_h=12, arrive_h=11, tilt=SURE) == EMPTY
    assert (to_units(EMPTY) == 0).all()


def test_more_than_a_store_holds_is_refused_from_any_level() -> None:
    """A dark night that asks more than the battery holds says so in its prefix, though the sun of the day before it fills any battery."""
    van, party, bright = (
        plain_van(battery_ah=20, battery_depth=0.3, solar_w=800),
        plain_party(devices_ah=10),
        DayWeather(10, 5, 15, 6.0),
    )
    hours = slots(10, 33)
    plain = block_of(hourly(van, party, bright, SHARE, StayKind(), hours, tilt=SURE))
    room = room_units(van)
    assert to_units(plain)[1, 5] <= room[5] < to_units(plain, room)[1, 5]
    made = night_block(van, party, bright, SUN, StayKind(), arrive_h=10, tilt=SURE)
    assert to_units(made)[1, 5] > room[5]
    standing = day_block(van, party, bright, SUN, drive_h=0, kind=StayKind(), leave_h=10, arrive_h=24, tilt=SURE)
    assert to_units(standing)[1, 5] > room[5]
