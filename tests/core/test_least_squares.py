"""Least squares against numpy, scipy and printed tables, and on exact cases worked by hand."""

from math import exp

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats
from scipy.optimize import curve_fit

from gillhouse.core.least_squares import Interval, Unknown, fit, line, solve, t_975


@pytest.mark.parametrize("freedom", [1, 2, 3, 4, 5, 7, 10, 14, 30, 120, 1000])
def test_students_t(freedom: int) -> None:
    """Reference: scipy.stats.t. The expansion is good to 0.001 from 5 degrees of freedom on."""
    assert t_975(freedom) == pytest.approx(float(stats.t.ppf(0.975, freedom)), abs=0.0012)


def test_a_line_worked_by_hand() -> None:
    """Points (0, 1), (1, 2), (2, 6): means 1 and 3, Sxy 5, Sxx 2, so slope 2.5, intercept 0.5; what is left
    is 0.5, -1, 0.5, squares 1.5, one degree of freedom, standard error sqrt(1.5 / 2)."""
    found = line([0.0, 1.0, 2.0], [1.0, 2.0, 6.0])
    assert (found.slope, found.intercept) == pytest.approx((2.5, 0.5))
    assert found.slope_se == pytest.approx((1.5 / 2) ** 0.5)
    assert found.r2 == pytest.approx(1 - 1.5 / 14)


@given(st.lists(st.tuples(st.floats(-50, 50), st.floats(-1e3, 1e3)), min_size=3, max_size=30))
def test_a_line_like_numpys(points: list[tuple[float, float]]) -> None:
    """Reference: numpy.linalg.lstsq, standard error from its covariance."""
    xs, ys = [x for x, _ in points], [y for _, y in points]
    if max(xs) - min(xs) < 0.5:
        return
    matrix = np.column_stack([np.ones(len(xs)), xs])
    theirs, *_ = np.linalg.lstsq(matrix, np.array(ys), rcond=None)
    left = np.array(ys) - matrix @ theirs
    error = np.sqrt(left @ left / (len(xs) - 2) * np.linalg.inv(matrix.T @ matrix)[1, 1])
    ours = line(xs, ys)
    assert ours.slope == pytest.approx(theirs[1], rel=1e-6, abs=1e-6)
    assert ours.slope_se == pytest.approx(error, rel=1e-4, abs=1e-6)


def test_a_line_needs_points() -> None:
    with pytest.raises(ValueError, match="three are the least"):
        line([0.0, 1.0], [0.0, 1.0])
    with pytest.raises(ValueError, match="same x"):
        line([2.0, 2.0, 2.0], [0.0, 1.0, 2.0])


@given(st.lists(st.lists(st.floats(-10, 10), min_size=3, max_size=3), min_size=3, max_size=3))
def test_solving_like_numpy(matrix: list[list[float]]) -> None:
    if abs(np.linalg.det(matrix)) < 0.1:
        return
    assert solve(matrix, [1.0, -2.0, 3.0]) == pytest.approx(
        list(np.linalg.solve(matrix, [1.0, -2.0, 3.0])), rel=1e-5, abs=1e-6
    )


def test_what_cannot_be_told_apart_is_refused() -> None:
    with pytest.raises(ValueError, match="told apart"):
        solve([[1.0, 2.0], [2.0, 4.0]], [1.0, 2.0])


def test_a_curve_like_scipys() -> None:
    """Reference: scipy.optimize.curve_fit, parameters and standard errors; noise of a fixed seed."""
    rng = np.random.default_rng(7)
    hours = np.linspace(0, 1, 60)
    seen = 500 + 900 * np.exp(-3.5 * hours) + rng.normal(0, 8, 60)

    def curve(t, a, n, c):
        return c + a * np.exp(-n * t)

    theirs, spread = curve_fit(curve, hours, seen, p0=(800, 2, 450))
    ours = fit(
        lambda p: [p[2] + p[0] * exp(-p[1] * t) for t in hours],
        (Unknown(800, 100, 5000), Unknown(2, 0.1, 50), Unknown(450, 0, 2000)),
        list(seen),
    )
    assert ours.parameters == pytest.approx(tuple(theirs), rel=1e-4)
    alike = max(ours.lag_one, 0.0)
    wider = ((1 + alike) / (1 - alike)) ** 0.5
    assert ours.errors == pytest.approx(tuple(wider * np.sqrt(np.diag(spread))), rel=0.01)


def test_a_model_that_does_not_depend_on_a_parameter_is_refused() -> None:
    with pytest.raises(ValueError, match="told apart"):
        fit(lambda p: [p[0]] * 9, (Unknown(1, 0, 9), Unknown(1, 0, 9)), [3.0 + 0.1 * n for n in range(9)])


def test_an_interval_in_another_unit() -> None:
    assert Interval(2.0, 1.0, 4.0).times(-10.0) == Interval(-20.0, -40.0, -10.0)
    assert Interval(2.0, 1.0, 4.0).half == 1.5
