"""The national towing table against its published sources."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tripplan.almanac.towing import KINDS, MPH_KMH, TABLE, has_towing_table, towing_limit, towing_limits, towing_source


def limit(country: str, kind: str, region: str = "", *, posted: float = math.inf, **mass: float | bool) -> float:
    """The lower of posted and national limit, as the law has it."""
    national = towing_limit(country, kind, region, **mass)  # type: ignore[arg-type]
    return posted if math.isnan(national) else min(posted, national)


def test_check_values() -> None:
    """The worked cases, one a rule."""
    # NZ Transport Agency road code, light vehicle with trailer: 90 km/h (P).
    assert limit("NZ", "rural", posted=100) == 90
    assert limit("NZ", "rural", posted=80) == 80
    # Highway Code rule 124, single carriageway 50 mph, dual and motorway 60 mph (P); a mile is 1.609344 km.
    assert limit("GB", "rural", posted=60 * 1.609344) == pytest.approx(80.47, abs=0.005)
    assert limit("GB", "motorway", posted=70 * 1.609344) == pytest.approx(96.56, abs=0.005)
    # StVO § 18 (5) 1 and 9. Ausnahmeverordnung: Autobahn 80, with approval 100, rural 80 all the same (P).
    assert limit("DE", "motorway") == 80
    assert limit("DE", "motorway", approved=True) == 100
    assert limit("DE", "rural", posted=100, approved=True) == 80
    # Road Rules 2014 (NSW) r. 21 (2): 100 over 4.5 t gross combination mass (P).
    assert limit("AU", "motorway", "NSW", posted=110, mass_kg=4400) == 110
    assert limit("AU", "motorway", "NSW", posted=110, mass_kg=4600) == 100
    # Road Traffic Code 2000 (WA): 100 while towing (P secondary).
    assert limit("AU", "rural", "AU-WA", posted=110) == 100
    # California Vehicle Code § 22406 (b): 55 mph (P).
    assert limit("US", "motorway", "CA", posted=65 * MPH_KMH) == pytest.approx(88.51, abs=0.005)


# The lower figure where sources conflict. Sources and confidence stand in the table's rows; "EC" is the European
# Commission's 31-country table (published source).
@pytest.mark.parametrize(
    ("country", "expected"),
    [
        ("NZ", (math.nan, 90, 90, 90)), ("IE", (50, 80, 80, 80)), ("DE", (50, 80, 80, 80)), ("SE", (math.nan, 80, 80, 80)),
        ("NO", (50, 80, 80, 80)), ("DK", (50, 70, 80, 80)), ("FI", (50, 80, 80, 80)), ("AT", (50, 70, 80, 80)), ("CH", (50, 80, 80, 80)),
        ("LU", (50, 75, 90, 90)), ("ES", (50, 70, 80, 80)), ("IT", (50, 70, 70, 80)), ("PT", (50, 70, 80, 100)), ("PL", (50, 70, 80, 80)),
        ("CZ", (50, 80, 80, 80)), ("HU", (50, 70, 80, 80)), ("IS", (50, 80, 80, 80)),
        ("NL", (50, 80, 80, 80)), ("BE", (50, 90, 90, 90)), ("FR", (50, 80, 80, 90)),
    ],
)  # fmt: skip
def test_rows_for_a_heavy_outfit_without_papers(country: str, expected: tuple[float, ...]) -> None:
    """Each country's four limits, masses not told (the stricter case)."""
    assert towing_limits(country) == pytest.approx(expected, nan_ok=True)


def test_what_mass_and_papers_change() -> None:
    """France, Netherlands and Belgium by mass, Austria by the van's mass, Switzerland, Norway, Denmark by approval."""
    assert towing_limits("FR", mass_kg=3500) == (50, 80, 110, 130)
    assert towing_limits("FR", mass_kg=3501) == (50, 80, 80, 90)
    assert towing_limits("NL", mass_kg=3400) == (50, 80, 90, 90)
    assert towing_limits("BE", mass_kg=3400) == (50, 90, 120, 120)
    assert towing_limits("AT", van_mass_kg=750)[1] == 100
    assert towing_limits("AT", van_mass_kg=751)[1] == 70
    assert towing_limit("CH", "motorway", approved=True, van_mass_kg=1500) == 100
    assert towing_limit("CH", "rural", approved=True, van_mass_kg=1500) == 80
    for country in ("NO", "DK"):
        assert towing_limit(country, "motorway", approved=True) == 100


def test_states() -> None:
    """Without a state the strictest of the country holds; a US state that the table lacks has none; Victoria posts only."""
    assert towing_limit("AU", "motorway") == 100
    assert towing_limit("US", "motorway") == pytest.approx(45 * MPH_KMH)
    assert math.isnan(towing_limit("US", "motorway", "TX"))
    assert math.isnan(towing_limit("AU", "motorway", "VIC"))
    assert towing_limit("UK", "rural") == towing_limit("gb", "rural")


def test_a_country_that_is_not_there() -> None:
    """No row: no limit, and it says so."""
    assert all(math.isnan(value) for value in towing_limits("AD"))
    assert not has_towing_table("AD")
    assert not has_towing_table("")
    assert has_towing_table("NZ")
    assert towing_source("AD") == ""
    assert "rule 124" in towing_source("GB")


def test_every_row_has_a_source_and_sane_figures() -> None:
    """Each row names its source and how sure it is; limits rise, or stay, from rural road to motorway."""
    for row in TABLE.values():
        assert row.source
        assert row.confidence
        known = [value for value in row.limits[1:] if not math.isnan(value)]
        assert known == sorted(known)
        assert all(40 <= value <= 135 for value in known)


@given(st.sampled_from(sorted(TABLE)), st.sampled_from(KINDS), st.floats(800, 6000), st.floats(0, 500), st.booleans())
def test_more_mass_is_never_faster(code: str, kind: str, mass: float, more: float, approved: bool) -> None:
    """A heavier outfit has no higher limit; papers never lower one."""
    country, _, region = code.partition("-")

    def known(mass_kg: float, papers: bool) -> float:
        value = towing_limit(country, kind, region, mass_kg=mass_kg, van_mass_kg=mass_kg / 2, approved=papers)
        return math.inf if math.isnan(value) else value

    assert known(mass + more, approved) <= known(mass, approved)
    assert known(mass, True) >= known(mass, False)
