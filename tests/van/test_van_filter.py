"""What readings tell: against closed forms, against conditioning all at once, against weighted draws, and on drawn parties.

References: a normal prior under linear observations is conditioned in one step by its joint covariance (Anderson, An Introduction to
Multivariate Statistical Analysis, 2.5; from memory); everything that is not linear is held against importance sampling.
"""

from __future__ import annotations

import numpy as np
import pytest
from helpers.living import MILD, SHARE, plain_party, plain_van
from hypothesis import given, settings
from hypothesis import strategies as st

from tripplan.van.filter import FACTORS, Belief, lamp, observe, passed, prior, served, surprise
from tripplan.van.spread import mean_room, parts_of, spreads_of
from tripplan.van.use import StayKind, slots

SIGMA = np.array([0.12, 0.1, 0.14, 0.12, 0.15, 0.1, 0.12, 0.12, 0.15])
DAILY = np.array([0.5, 0.4, 0.2, 0.1, 0.01, 0.005, 0.01, 0.4, 1.0])
HOUR = np.array([1.2, 0.9, 0.3, 0.1, 0.02, 0.015, 0.01, 1.1, 0.4, 0.0])
DRAWS = 400_000


def start(used: float = 0.0, sd: float = 0.0) -> Belief:
    """Return a belief with all stores alike."""
    return prior(SIGMA, np.full(6, used), np.full(6, sd))


def test_one_gauge_after_one_stretch_is_the_textbook_product_of_normals() -> None:
    """Factor and level after one reading are the conjugate closed form, to rounding."""
    mean, s2, noise, error, read = 18.0, 0.12**2, 0.5 * 18.0, 1.5, 22.0
    belief = observe(passed(start(), np.array([mean, *np.zeros(9)]), DAILY), 0, read, error)
    # y = 18 theta + noise: theta | y by precisions.
    precision = 1 / s2 + mean**2 / (noise + error**2)
    theta = (1 / s2 + mean * read / (noise + error**2)) / precision
    assert belief.factors[0] == pytest.approx(theta, rel=1e-12)
    assert belief.sd[0] == pytest.approx(precision**-0.5, rel=1e-12)
    # x | y: prior N(18, 18² s² + noise) times the likelihood of y.
    level_precision = 1 / (mean**2 * s2 + noise) + 1 / error**2
    level = (mean / (mean**2 * s2 + noise) + read / error**2) / level_precision
    assert belief.used[0] == pytest.approx(level, rel=1e-12)
    assert belief.sd[FACTORS] == pytest.approx(level_precision**-0.5, rel=1e-12)


@pytest.mark.parametrize("seed", range(6))
def test_step_by_step_is_the_same_as_all_at_once(seed: int) -> None:
    """Stretches, services and readings taken one after another give what one conditioning of the joint normal gives."""
    rng = np.random.default_rng(seed)
    steps = 12
    rows = rng.uniform(0.1, 2.0, (steps, 10)) * HOUR
    rows[:, 9] = 0.0
    belief = start(40.0, 2.0)
    # The joint of (factors, first levels, noise of each step and store), and each level as a linear map of it.
    size = FACTORS + 6 + steps * 6
    mean, cov = np.zeros(size), np.zeros((size, size))
    mean[: FACTORS + 6] = np.concatenate((np.ones(FACTORS), np.full(6, 40.0)))
    cov[range(FACTORS + 6), range(FACTORS + 6)] = np.concatenate((SIGMA, np.full(6, 2.0))) ** 2
    maps = np.zeros((6, size))
    maps[range(6), range(FACTORS, FACTORS + 6)] = 1.0
    seen, values, errors = [], [], []
    owner = [0, 1, 2, 3, 4, 4, 4, 5, 5]
    for n, row in enumerate(rows):
        belief = passed(belief, row, DAILY)
        for part, store in enumerate(owner):
            maps[store, part] += -row[part] if part == 8 else row[part]
        for store in range(6):
            at = FACTORS + 6 + n * 6 + store
            cov[at, at] = sum(DAILY[p] * row[p] for p in range(FACTORS) if owner[p] == store)
            maps[store, at] = 1.0
        if n == 5:
            gone = np.array([True, False, True, False, False, False])
            belief = served(belief, gone)
            maps[gone] = 0.0
        if n in (3, 7, 9):
            store, error = int(rng.integers(6)), float(rng.uniform(0.2, 3))
            value = float(belief.used[store] + rng.normal(0, 2))
            belief = observe(belief, store, value, error)
            seen.append(maps[store].copy())
            values.append(value)
            errors.append(error)
    look = np.array(seen)
    gain = cov @ look.T @ np.linalg.inv(look @ cov @ look.T + np.diag(np.square(errors)))
    after, spread = mean + gain @ (np.array(values) - look @ mean), cov - gain @ look @ cov
    whole = np.vstack((np.eye(size)[:FACTORS], maps))
    assert belief.mean == pytest.approx(whole @ after, rel=1e-9, abs=1e-9)
    assert belief.cov == pytest.approx(whole @ spread @ whole.T, rel=1e-7, abs=1e-9)


@pytest.mark.parametrize(("threshold", "lit"), [(20.0, True), (20.0, False), (24.0, True), (14.0, False)])
def test_a_lamp_is_a_cut_with_the_moments_of_weighted_draws(threshold: float, lit: bool) -> None:
    """Factor, level and their covariance after a lamp are those of draws kept where a lamp of that error would be so."""
    belief = passed(start(), HOUR * 18, DAILY)
    rng = np.random.default_rng(5)
    draws = rng.multivariate_normal(belief.mean[[0, FACTORS]], belief.cov[np.ix_([0, FACTORS], [0, FACTORS])], DRAWS)
    kept = draws[(draws[:, 1] + 0.8 * rng.standard_normal(DRAWS) > threshold) == lit]
    after = lamp(belief, 0, threshold, 0.8, lit=lit)
    tolerance = 5 / np.sqrt(len(kept))
    for k, at in enumerate((0, FACTORS)):
        assert after.mean[at] == pytest.approx(kept[:, k].mean(), abs=tolerance * kept[:, k].std())
        assert after.sd[at] == pytest.approx(kept[:, k].std(), rel=2 * tolerance)
    assert after.cov[0, FACTORS] == pytest.approx(np.cov(kept.T)[0, 1], abs=3 * tolerance * kept[:, 0].std() * kept[:, 1].std())


def test_a_full_battery_takes_no_more_by_its_moments() -> None:
    """After an hour on the charger mean, spread and the tie to the loads are those of draws cut off at full."""
    belief = passed(start(8.0, 3.0), np.array([0, 0, 0, 0, 0, 0, 0, 20.0, 0, 0]), DAILY)
    rng = np.random.default_rng(6)
    two = np.ix_([7, FACTORS + 5], [7, FACTORS + 5])
    draws = rng.multivariate_normal(belief.mean[[7, FACTORS + 5]], belief.cov[two], DRAWS)
    after = passed(belief, np.array([0, 0, 0, 0, 0, 0, 0, 0, 0, 27.0]), DAILY)
    draws[:, 1] = np.maximum(draws[:, 1] - 27.0, 0.0)
    tolerance = 5 / np.sqrt(DRAWS)
    assert after.used[5] == pytest.approx(draws[:, 1].mean(), abs=tolerance * draws[:, 1].std())
    assert after.sd[FACTORS + 5] == pytest.approx(draws[:, 1].std(), rel=2 * tolerance)
    assert after.cov[7, FACTORS + 5] == pytest.approx(np.cov(draws.T)[0, 1], rel=0.03)


def test_a_week_of_charging_and_reading_is_near_to_lived_draws() -> None:
    """Through nights and suns that fill the battery, a voltage moves loads and level as it moves weighted draws."""
    rng = np.random.default_rng(7)
    night, noon = HOUR * [0, 0, 0, 0, 0, 0, 0, 14, 0, 0], HOUR * [0, 0, 0, 0, 0, 0, 0, 4, 40, 0]
    belief = start()
    theta = 1 + SIGMA[7:9, None] * rng.standard_normal((2, DRAWS))
    used = np.zeros(DRAWS)
    for row in (night, noon, night, noon, night):
        belief = passed(belief, row, DAILY)
        noise = np.sqrt(DAILY[7] * row[7] + DAILY[8] * row[8]) * rng.standard_normal(DRAWS)
        used = np.maximum(used + row[7] * theta[0] - row[8] * theta[1] + noise, 0.0)
    read, error = float(used.mean() + 1.2 * used.std()), 2.0
    weight = np.exp(-0.5 * ((used - read) / error) ** 2)
    weight /= weight.sum()
    after = observe(belief, 5, read, error)
    assert after.factors[7] == pytest.approx(float(weight @ theta[0]), abs=0.15 * SIGMA[7])
    assert after.used[5] == pytest.approx(float(weight @ used), abs=0.15 * error)
    lived = float(np.sqrt(weight @ (used - weight @ used) ** 2))
    assert after.sd[FACTORS + 5] == pytest.approx(lived, rel=0.1)


@settings(max_examples=150, deadline=None)
@given(
    hours=st.lists(st.tuples(st.floats(0, 30), st.floats(0, 60)), min_size=1, max_size=6),
    store=st.integers(0, 5), value=st.floats(0, 200), error=st.floats(0.01, 50), how=st.sampled_from(["level", "lit", "dark"]),
)  # fmt: skip
def test_no_reading_ever_widens_what_is_held(
    hours: list[tuple[float, float]], store: int, value: float, error: float, how: str
) -> None:
    """After any reading each factor and each level is at least as sure as before, and the covariance is one."""
    belief = start(5.0, 1.0)
    for share, charge in hours:
        belief = passed(belief, np.array([*(HOUR[:9] * share), charge]), DAILY)
    after = observe(belief, store, value, error) if how == "level" else lamp(belief, store, value, error, lit=how == "lit")
    assert (after.sd <= belief.sd * (1 + 1e-9) + 1e-9).all()
    assert np.isfinite(after.mean).all()
    assert np.linalg.eigvalsh(after.cov).min() >= -1e-6 * max(1.0, float(np.diagonal(after.cov).max()))


@settings(max_examples=100, deadline=None)
@given(
    room=st.floats(1, 200), shared=st.floats(0, 0.5), daily=st.floats(0, 5), z=st.floats(0.1, 3.5), first=st.floats(0, 20), part=st.floats(0, 1),
)  # fmt: skip
def test_the_room_after_an_unsure_level_is_that_limit_turned_round(
    room: float, shared: float, daily: float, z: float, first: float, part: float
) -> None:
    """The greatest mean after a level with an error of its own just fills the room, and is no more than after a sure one."""
    tied = first * part
    s, v = np.array([shared]), np.array([daily])
    mean = float(mean_room(np.array([room]), s, v, z, first, tied)[0])
    assert mean <= float(mean_room(np.array([room]), s, v, z)[0]) + 1e-9
    if mean > 0:
        spread = np.sqrt((tied + shared * mean) ** 2 + first**2 - tied**2 + daily * mean)
        assert mean + z * spread == pytest.approx(room, rel=1e-6)
    else:
        assert z * first >= room * (1 - 1e-6)


def test_a_service_forgets_the_level_and_keeps_the_habit() -> None:
    """What was learned of a party outlasts the dump point; the level is then sure."""
    belief = observe(passed(start(), HOUR * 24, DAILY), 1, 30.0, 1.0)
    after = served(belief, np.array([False, True, False, False, False, False]))
    assert after.used[1] == 0
    assert after.sd[FACTORS + 1] == 0
    assert (after.factors == belief.factors).all()
    assert (after.sd[:FACTORS] == belief.sd[:FACTORS]).all()
    assert float(surprise(belief, 1, belief.used[1], 1.0)) == 0


@pytest.mark.parametrize(("kind", "most"), [("often", 0.97), ("by day", 1.0)])
def test_intervals_cover_the_truth_of_20_000_drawn_parties(kind: str, most: float) -> None:
    """Posterior intervals of habits and levels hold what drawn parties really are 93 to 97 times in a hundred.

    Draws that make up a day fall on all its hours, as the spread says. Where one draw rules the whole day, what the rest of a day
    brings is surer than counted: the levels are then held more often, never less.
    """
    n = 20_000
    rng = np.random.default_rng(11)
    van, party = plain_van(), plain_party()
    spreads = spreads_of(van, party, MILD, SHARE)
    day = parts_of(van, party, MILD, SHARE, StayKind(), slots(0.0, 24.0)).reshape(8, 3, 10).sum(axis=1)
    whole = day.sum(axis=0)[:9]
    theta = 1 + spreads.shared[:, None] * rng.standard_normal((9, n))
    one = prior(spreads.shared, np.full(6, 30.0), np.full(6, 1.0))
    belief = Belief(np.tile(one.mean, (n, 1)), np.tile(one.cov, (n, 1, 1)))
    used = 30.0 + rng.standard_normal((6, n))
    errors = np.array([2.0, 2.5, 1.0, 0.5, 0.2, 3.0])

    def noise(mean: np.ndarray) -> np.ndarray:
        """Skewed draws of a mean's own variance, the mean taken off."""
        variance = spreads.daily * mean
        shape, scale = (
            np.divide(a, b, out=np.full(9, 1e9), where=b > 1e-12)[:, None] for a, b in ((mean**2, variance), (variance, mean))
        )
        return np.where(variance[:, None] > 1e-12, rng.gamma(shape, np.minimum(scale, 1e6), (9, n)) - mean[:, None], 0.0)

    for d in range(4):
        of_day = noise(whole) / np.maximum(whole, 1e-12)[:, None]
        for h, row in enumerate(day):
            belief = passed(belief, row, spreads.daily)
            drawn = row[:9, None] * theta + (noise(row[:9]) if kind == "often" else row[:9, None] * of_day)
            used[:4] += drawn[:4]
            used[4] += drawn[4:7].sum(axis=0)
            used[5] = np.maximum(used[5] + drawn[7] - drawn[8] - row[9], 0.0)
            if (d, h) in ((0, 6), (1, 2), (3, 6)):
                for store in (0, 1, 3, 4, 5):
                    belief = observe(belief, store, used[store] + errors[store] * rng.standard_normal(n), errors[store])
            if (d, h) == (1, 4):
                belief = served(belief, np.array([True, True, True, True, False, False]))
                used[:4] = 0.0
            if (d, h) in ((2, 2), (3, 2)):
                at = float(np.median(used[2]))
                belief = lamp(belief, 2, at, errors[2], lit=used[2] + errors[2] * rng.standard_normal(n) > at)
    truth = np.vstack((theta, used)).T
    inside = (np.abs(truth - belief.mean) <= 1.96 * belief.sd).mean(axis=0)
    assert (inside >= 0.93).all(), inside.round(3)
    assert (inside[:FACTORS] <= 0.97).all(), inside.round(3)
    assert (inside <= most).all(), inside.round(3)
    # Something was learned of all that was read often.
    assert (belief.sd.mean(axis=0)[[0, 1, 3, 7]] < 0.9 * spreads.shared[[0, 1, 3, 7]]).all()
