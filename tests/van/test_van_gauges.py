"""What a gauge, a lamp and a voltage say of a store."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
from helpers.living import plain_van
from hypothesis import given
from hypothesis import strategies as st

from tripplan.model.errors import BadInputError
from tripplan.model.readings import Reading
from tripplan.model.words import STORES, Store
from tripplan.van.battery import display_volts, rested_charge, rested_volts
from tripplan.van.gauges import told_of

WHEN = datetime(2026, 2, 5, 8, tzinfo=UTC)


def told(store: Store, kind: str, value: float, error: float = -1.0, *, lit: bool = False, **van: object):  # type: ignore[no-untyped-def]
    """Return what one reading of a plain van tells."""
    return told_of(Reading(WHEN, store, kind, value, error, lit), plain_van(**van))


def test_levels_and_per_cents_count_from_full_or_from_empty() -> None:
    """30 L left of 40 are 10 used up; 25 % of a grey barrel of 40 L are 10 used up; the error is in the same unit."""
    fresh, grey = told(Store.FRESH, "level", 30, 1.5), told(Store.GREY, "percent", 25, 10)
    assert (fresh.row, fresh.used, fresh.error, fresh.more) == (STORES.index(Store.FRESH), 10, 1.5, None)
    assert (grey.row, grey.used, grey.error) == (STORES.index(Store.GREY), pytest.approx(10), pytest.approx(4))


def test_lamps_of_waste_and_of_water_mean_much_used_up() -> None:
    """A lit lamp says that more is used up than at its share: of waste from below, of water from what is left."""
    waste, water = told(Store.CASSETTE, "lamp", 0.8, lit=True), told(Store.FRESH, "lamp", 0.2, lit=True)
    assert (waste.used, waste.more) == (pytest.approx(0.8 * 19), True)
    assert (water.used, water.more) == (pytest.approx(0.8 * 40), True)


@given(share=st.floats(0.02, 0.98), kind=st.sampled_from(["flooded", "agm", "gel", "lifepo4"]))
def test_volts_turn_back_into_the_charge_that_shows_them(share: float, kind: str) -> None:
    """The inverse of what a display shows is the charge, to the width of the curve's flattest part."""
    van = plain_van(battery_kind=kind)
    volts = display_volts(van, share * 100)
    assert rested_volts(rested_charge(volts, kind)[0], kind) == pytest.approx(volts, abs=1e-9)
    found = told_of(Reading(WHEN, Store.BATTERY, "volts", volts), van)
    assert abs(found.used - (1 - share) * 100) < 1e-6
    assert found.error >= 2


def test_what_cannot_be_read_is_refused() -> None:
    """More than the store holds, a store that is not there, and the volts of a battery on charge."""
    for ask in (
        lambda: told(Store.FRESH, "level", 60), lambda: told(Store.FLUSH, "level", 3, flush_l=0), lambda: told(Store.BATTERY, "volts", 13.6)
    ):  # fmt: skip
        with pytest.raises(BadInputError) as caught:
            ask()
        assert "\n" not in str(caught.value)


def test_a_flat_curve_says_little() -> None:
    """The same error in volts leaves a lithium battery far less known in its middle than a lead one."""
    lead, lithium = told(Store.BATTERY, "volts", 12.45), told(Store.BATTERY, "volts", 13.15, battery_kind="lifepo4")
    assert lithium.error > 1.5 * lead.error
