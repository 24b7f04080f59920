"""Share of a fan's label that shows: beside an outside library's fit, and where nothing can be told."""

from math import inf, sqrt
from random import Random

import numpy
import pytest

from gillhouse.core.answers import LEAST_POINTS, answer

HOURS = [n / 120 for n in range(40)]
"""Twenty minutes, a look every half minute."""


def pulls(on_from: int, on_to: int) -> list[float]:
    """A fan of 5 changes an hour, 500 ppm over its intake, running between two looks."""
    found, so_far = [], 0.0
    for n in range(len(HOURS)):
        found.append(so_far)
        so_far -= 5.0 * 500.0 / 120 if on_from <= n < on_to else 0.0
    return found


def co2(share: float, pull: list[float], noise: float = 0.0) -> list[float]:
    rng = Random(3)
    pairs = zip(HOURS, pull, strict=True)
    return [900.0 + 300.0 * hour + share * one + rng.gauss(0.0, noise) for hour, one in pairs]


@pytest.mark.parametrize("share", [0.0, 0.7, 1.4])
def test_what_was_put_in_comes_out(share: float) -> None:
    pull = pulls(15, 25)
    assert answer(HOURS, pull, co2(share, pull), 0.0).share == pytest.approx(share, abs=1e-9)


def test_share_and_error_are_those_of_an_outside_fit() -> None:
    """numpy.linalg.lstsq, and the usual s sqrt(inv(X'X)) of a linear model."""
    pull = pulls(10, 20)
    values = co2(0.6, pull, noise=8.0)
    matrix = numpy.column_stack([numpy.ones(len(HOURS)), HOURS, pull])
    best, squares, *_ = numpy.linalg.lstsq(matrix, numpy.array(values), rcond=None)
    scatter = sqrt(float(squares[0]) / (len(HOURS) - 3))
    error = scatter * sqrt(float(numpy.linalg.inv(matrix.T @ matrix)[2, 2]))
    found = answer(HOURS, pull, values, 0.0)
    assert found.share == pytest.approx(float(best[2]), rel=1e-6)
    assert found.error == pytest.approx(error, rel=1e-6)


def test_a_fit_is_believed_no_better_than_its_least_scatter() -> None:
    pull = pulls(15, 25)
    exact, modest = (answer(HOURS, pull, co2(0.5, pull), least) for least in (0.0, 6.0))
    assert exact.error == pytest.approx(0.0, abs=1e-9)
    assert modest.error > 0.01


@pytest.mark.parametrize(("on_from", "on_to"), [(0, 0), (0, 40)], ids=["never on", "always on"])
def test_a_fan_that_never_changed_tells_nothing(on_from: int, on_to: int) -> None:
    pull = pulls(on_from, on_to)
    assert answer(HOURS, pull, co2(0.0, pull, noise=8.0), 6.0).error > 1e3


def test_few_points_tell_nothing() -> None:
    pull = pulls(2, 5)[: LEAST_POINTS - 1]
    few = HOURS[: LEAST_POINTS - 1]
    assert answer(few, pull, [900.0 + n for n in range(len(few))], 6.0).error == inf
