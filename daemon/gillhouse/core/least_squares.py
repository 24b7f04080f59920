"""Fits by least squares, with the interval their scatter allows: a straight line, and any small model.

Nothing here knows of air or mushrooms. Two to seven parameters and some hundred points at most, so plain
floats and Gaussian elimination are enough. Intervals are 95 % by Student's t and speak of scatter alone: what
the model leaves out is not in them, so they are called fit intervals wherever a person reads them.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from math import isfinite, sqrt

_Z = 1.959963984540054
"""97.5 % point of the normal distribution (Abramowitz and Stegun, table 26.1)."""
_T_FEW = (12.7062, 4.30265, 3.18245, 2.77645)
"""97.5 % points of Student's t for 1 to 4 degrees of freedom (Abramowitz and Stegun, table 26.10)."""


@dataclass(frozen=True, slots=True)
class Interval:
    """A fitted figure and its 95 % fit interval."""

    value: float
    low: float
    high: float

    @property
    def half(self) -> float:
        return (self.high - self.low) / 2

    def times(self, factor: float) -> "Interval":
        """The same in another unit."""
        ends = sorted((self.low * factor, self.high * factor))
        return Interval(self.value * factor, ends[0], ends[1])

    def holds(self, value: float) -> bool:
        return self.low <= value <= self.high


@dataclass(frozen=True, slots=True)
class Line:
    """y = intercept + slope x."""

    slope: float
    intercept: float
    slope_se: float
    """Standard error of the slope."""
    r2: float
    """Share of the variation that the line explains."""
    points: int

    def slope_interval(self) -> Interval:
        half = t_975(self.points - 2) * self.slope_se
        return Interval(self.slope, self.slope - half, self.slope + half)


@dataclass(frozen=True, slots=True)
class Fit:
    """Parameters of a model, with standard errors."""

    parameters: tuple[float, ...]
    errors: tuple[float, ...]
    residual: float
    """Root mean square of what is left, in the unit of the data."""
    points: int
    lag_one: float
    """How alike neighbouring residuals are, -1..1."""

    def interval(self, index: int) -> Interval:
        half = t_975(self.points - len(self.parameters)) * self.errors[index]
        value = self.parameters[index]
        return Interval(value, value - half, value + half)


def t_975(freedom: int) -> float:
    """97.5 % point of Student's t: half the width of a 95 % interval, in standard errors.

    Source: Abramowitz and Stegun, Handbook of Mathematical Functions, 26.7.5 (expansion around the normal
    point; within 0.001 from 5 degrees of freedom on) and table 26.10 below.
    """
    if freedom < 1:
        return float("inf")
    if freedom <= len(_T_FEW):
        return _T_FEW[freedom - 1]
    z, n = _Z, float(freedom)
    return (
        z
        + (z**3 + z) / (4 * n)
        + (5 * z**5 + 16 * z**3 + 3 * z) / (96 * n**2)
        + (3 * z**7 + 19 * z**5 + 17 * z**3 - 15 * z) / (384 * n**3)
        + (79 * z**9 + 776 * z**7 + 1482 * z**5 - 1920 * z**3 - 945 * z) / (92160 * n**4)
    )


def line(xs: Sequence[float], ys: Sequence[float]) -> Line:
    """The straight line through points, by least squares.

    Raises:
        ValueError: fewer than three points, or all at the same x.
    """
    n = len(xs)
    if n < 3:
        raise ValueError(f"{n} points make no line with an interval; three are the least")
    mean_x, mean_y = sum(xs) / n, sum(ys) / n
    sxx = sum((x - mean_x) ** 2 for x in xs)
    if sxx <= 0.0:
        raise ValueError("all points are at the same x; a line needs some apart")
    sxy = sum((x - mean_x) * (y - mean_y) for x, y in zip(xs, ys, strict=True))
    slope = sxy / sxx
    intercept = mean_y - slope * mean_x
    left = sum((y - intercept - slope * x) ** 2 for x, y in zip(xs, ys, strict=True))
    total = sum((y - mean_y) ** 2 for y in ys)
    return Line(slope, intercept, sqrt(left / (n - 2) / sxx), 1.0 - left / total if total else 1.0, n)


def solve(matrix: Sequence[Sequence[float]], right: Sequence[float]) -> list[float]:
    """x with matrix x = right, by Gaussian elimination with row exchange.

    Raises:
        ValueError: the rows say too little to tell the unknowns apart.
    """
    rows = [[*row, value] for row, value in zip(matrix, right, strict=True)]
    size = len(rows)
    for column in range(size):
        pivot = max(range(column, size), key=lambda row: abs(rows[row][column]))
        if not abs(rows[pivot][column]) > 1e-12:
            raise ValueError("the unknowns cannot be told apart by these data")
        rows[column], rows[pivot] = rows[pivot], rows[column]
        head = rows[column]
        for row in rows[column + 1 :]:
            factor = row[column] / head[column]
            for place in range(column, size + 1):
                row[place] -= factor * head[place]
    found = [0.0] * size
    for column in reversed(range(size)):
        known = sum(rows[column][place] * found[place] for place in range(column + 1, size))
        found[column] = (rows[column][size] - known) / rows[column][column]
    return found


Model = Callable[[Sequence[float]], Sequence[float]]
"""Parameters to what they predict, one value for each observation."""


@dataclass(frozen=True, slots=True)
class Unknown:
    """One parameter of a model: where to start, and between what it must lie."""

    start: float
    low: float
    high: float

    @property
    def scale(self) -> float:
        return max(abs(self.start), 0.01 * (self.high - self.low))


def fit(model: Model, unknowns: Sequence[Unknown], observed: Sequence[float]) -> Fit:
    """The parameters with which `model` comes nearest to `observed`, in the sense of squares.

    Levenberg and Marquardt's way, with derivatives by small steps. Where neighbouring residuals are alike
    (a sensor's lag makes them so), points count for less: errors grow by sqrt((1 + r) / (1 - r)).
    Source of that factor: effective sample size of a first-order autoregression (Bayley and Hammersley, J. R.
    Stat. Soc. Suppl. 8:184, 1946; from memory).

    Raises:
        ValueError: too few points, or the data cannot tell the parameters apart.
    """
    if len(observed) <= len(unknowns) + 2:
        raise ValueError(f"{len(observed)} points are too few for {len(unknowns)} unknowns")
    now = [one.start for one in unknowns]
    residuals = _residuals(model, now, observed)
    best, damping = _squares(residuals), 1e-3
    for _ in range(60):
        slopes = _slopes(model, now, unknowns, observed, residuals)
        moved, value = _step(model, now, unknowns, observed, (slopes, residuals, damping))
        if value < best:
            gain = best - value
            now, best, damping = moved, value, max(damping / 5.0, 1e-9)
            residuals = _residuals(model, now, observed)
            if gain <= 1e-9 * best:
                break
        else:
            damping *= 5.0
            if damping > 1e8:
                break
    return _judged(model, now, unknowns, observed, residuals)


def _residuals(model: Model, now: Sequence[float], observed: Sequence[float]) -> list[float]:
    return [seen - told for seen, told in zip(observed, model(now), strict=True)]


def _squares(values: Sequence[float]) -> float:
    total = sum(value * value for value in values)
    return total if isfinite(total) else float("inf")


def _slopes(
    model: Model,
    now: Sequence[float],
    unknowns: Sequence[Unknown],
    observed: Sequence[float],
    residuals: Sequence[float],
) -> list[list[float]]:
    """How the prediction moves with each parameter, per scale of it."""
    slopes = []
    for index, unknown in enumerate(unknowns):
        step = 1e-4 * unknown.scale
        if now[index] + step > unknown.high:
            step = -step
        moved = list(now)
        moved[index] += step
        changed = _residuals(model, moved, observed)
        share = step / unknown.scale
        slopes.append([(before - after) / share for before, after in zip(residuals, changed, strict=True)])
    return slopes


def _normal(slopes: Sequence[Sequence[float]]) -> list[list[float]]:
    return [[sum(a * b for a, b in zip(one, other, strict=True)) for other in slopes] for one in slopes]


def _step(
    model: Model,
    now: Sequence[float],
    unknowns: Sequence[Unknown],
    observed: Sequence[float],
    way: tuple[list[list[float]], list[float], float],
) -> tuple[list[float], float]:
    slopes, residuals, damping = way
    normal = _normal(slopes)
    for index in range(len(normal)):
        normal[index][index] = normal[index][index] * (1.0 + damping) + 1e-9
    right = [sum(a * b for a, b in zip(one, residuals, strict=True)) for one in slopes]
    moves = solve(normal, right)
    moved = [
        min(max(value + move * unknown.scale, unknown.low), unknown.high)
        for value, move, unknown in zip(now, moves, unknowns, strict=True)
    ]
    return moved, _squares(_residuals(model, moved, observed))


def _judged(
    model: Model,
    now: Sequence[float],
    unknowns: Sequence[Unknown],
    observed: Sequence[float],
    residuals: Sequence[float],
) -> Fit:
    count, free = len(observed), len(observed) - len(now)
    normal = _normal(_slopes(model, now, unknowns, observed, residuals))
    squares = _squares(residuals)
    variance = squares / free
    lag_one = sum(a * b for a, b in pairwise(residuals)) / squares if squares > 0.0 else 0.0
    alike = min(max(lag_one, 0.0), 0.95)
    wider = sqrt((1.0 + alike) / (1.0 - alike))
    errors = []
    for index, unknown in enumerate(unknowns):
        unit = [float(place == index) for place in range(len(now))]
        spread = solve(normal, unit)[index]
        errors.append(sqrt(max(spread, 0.0) * variance) * unknown.scale * wider)
    return Fit(tuple(now), tuple(errors), sqrt(squares / count), count, lag_one)
