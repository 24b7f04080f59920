"""Two unknowns followed through time, against ordinary least squares (numpy) and whatever may come."""

from random import Random

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gillhouse.core.recursive import Pair, Walk, fresh, learn
from gillhouse.core.snapshot import from_plain, to_plain

STILL = (Walk(1.0, 100.0, 0.0, -1e6, 1e6), Walk(0.0, 1000.0, 0.0, -1e6, 1e6))


def test_without_wandering_it_is_ordinary_least_squares() -> None:
    """Reference: numpy.linalg.lstsq over the same looks. Doubts at the start are too large to matter."""
    rng = Random(11)
    looks = [(rng.uniform(1, 9), 1.0, 0.0) for _ in range(60)]
    looks = [(x, one, 2.5 * x - 4.0 + rng.gauss(0, 0.3)) for x, one, _ in looks]
    pair = fresh(*STILL)
    for x, one, y in looks:
        assert learn(pair, STILL, 0.25, (x, one, y, 0.3))
    wanted, *_ = np.linalg.lstsq(
        np.array([[x, one] for x, one, _ in looks]), np.array([y for *_, y in looks]), rcond=None
    )
    assert (pair.gain, pair.base) == pytest.approx(tuple(wanted), abs=0.01)
    matrix = np.array([[x, one] for x, one, _ in looks])
    spread = 0.09 * np.linalg.inv(matrix.T @ matrix)
    assert pair.gain_doubt == pytest.approx(float(np.sqrt(spread[0, 0])), rel=0.02)


def test_it_follows_what_wanders() -> None:
    walks = (Walk(1.0, 1.0, 0.02, 0.0, 5.0), Walk(0.0, 1.0, 0.0, -9.0, 9.0))
    pair, rng = fresh(*walks), Random(2)
    for n in range(800):
        gain = 1.0 if n < 400 else 0.7
        x = rng.uniform(1, 5)
        learn(pair, walks, 0.25, (x, 1.0, gain * x + 0.5 + rng.gauss(0, 0.1), 0.1))
        if n == 399:
            assert pair.gain == pytest.approx(1.0, abs=0.05)
    assert pair.gain == pytest.approx(0.7, abs=0.05)


def test_one_wild_look_moves_little() -> None:
    walks = (Walk(1.0, 0.5, 0.0, 0.0, 5.0), Walk(0.0, 1.0, 0.0, -9.0, 9.0))
    pair, rng = fresh(*walks), Random(2)
    for _ in range(100):
        x = rng.uniform(1, 5)
        learn(pair, walks, 0.25, (x, 1.0, x + rng.gauss(0, 0.1), 0.1))
    before = pair.gain
    learn(pair, walks, 0.25, (4.0, 1.0, 4000.0, 0.1))
    assert abs(pair.gain - before) < 0.05


ANY = st.floats(allow_nan=True, allow_infinity=True)


@given(st.lists(st.tuples(ANY, ANY, ANY, st.floats(0, 1e6), st.floats(0, 1e4)), max_size=40))
def test_whatever_comes_the_state_stays_finite_and_within_its_ends(looks) -> None:
    walks = (Walk(1.0, 0.5, 0.01, 0.1, 2.5), Walk(200.0, 400.0, 25.0, 0.0, 20_000.0))
    pair = fresh(*walks)
    for x, one, y, scatter, hours in looks:
        learn(pair, walks, hours, (x, one, y, scatter))
        assert from_plain(Pair, to_plain(pair)) == pair, "a snapshot takes finite numbers only"
        assert 0.1 <= pair.gain <= 2.5
        assert 0.0 <= pair.base <= 20_000.0
        assert 0.0 < pair.gain_var <= 0.25 + 1e-9
        assert pair.both**2 <= pair.gain_var * pair.base_var
