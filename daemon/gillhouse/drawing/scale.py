"""From milliseconds and values to places on the paper. Pure arithmetic."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from gillhouse.drawing.figures import Step, TraceLane


@dataclass(frozen=True, slots=True)
class TimeAxis:
    """Time runs from `left` to `right` over the paper."""

    from_ms: int
    to_ms: int
    left: float
    right: float

    def x(self, ms: int) -> float:
        """Where a moment is; moments outside lie on the edge."""
        inside = min(max(ms, self.from_ms), self.to_ms)
        return self.left + (self.right - self.left) * (inside - self.from_ms) / (self.to_ms - self.from_ms)

    @property
    def width(self) -> float:
        return self.right - self.left


@dataclass(frozen=True, slots=True)
class ValueAxis:
    """Values run from `low` at the bottom edge to `high` at the top edge."""

    low: float
    high: float
    top: float
    bottom: float

    def y(self, value: float) -> float:
        inside = min(max(value, self.low), self.high)
        return self.bottom - (self.bottom - self.top) * (inside - self.low) / (self.high - self.low)


def value_range(lane: TraceLane) -> tuple[float, float]:
    """The least range that shows the trace and its band with a little air around."""
    values = [step.value for step in lane.steps]
    values += [edge for band in lane.bands for edge in (band.low, band.high) if edge is not None]
    if not values:
        values = [0.0]
    low, high = min(values), max(values)
    spread = max(high - low, lane.least_span)
    middle = (low + high) / 2
    low = min(low, middle - spread / 2) - 0.08 * spread
    high = max(high, middle + spread / 2) + 0.08 * spread
    if lane.ceiling is not None and high > lane.ceiling:
        high = lane.ceiling
        low = min(low, high - lane.least_span)
    return low, high


def levels(low: float, high: float, most: int = 5) -> list[float]:
    """Round values between two ends, at most `most` of them, evenly apart: steps of 1, 2 or 5."""
    size = 10.0 ** math.floor(math.log10((high - low) / most))
    step = next(size * factor for factor in (1, 2, 5, 10) if (high - low) / (size * factor) <= most)
    first = math.ceil(low / step)
    return [round(place * step, 6) for place in range(first, math.floor(high / step) + 1)]


@dataclass(frozen=True, slots=True)
class Column:
    """Least and most of a trace within one column of the paper; touching columns join."""

    left: float
    right: float
    low: float
    high: float
    late: bool


def envelope(steps: Sequence[Step], axis: TimeAxis) -> list[Column]:
    """The trace thinned to one column per unit of width: nothing between least and most is lost."""
    filled: dict[int, Column] = {}
    for step in steps:
        first, last = axis.x(step.from_ms), axis.x(step.to_ms)
        for at in range(int(first), max(int(first), int(last - 1e-9)) + 1):
            left, right = max(first, float(at)), min(last, float(at + 1))
            before = filled.get(at)
            if before is None:
                filled[at] = Column(left, right, step.value, step.value, step.late)
            else:
                filled[at] = Column(
                    min(before.left, left),
                    max(before.right, right),
                    min(before.low, step.value),
                    max(before.high, step.value),
                    before.late or step.late,
                )
    return [filled[at] for at in sorted(filled)]


def unbroken(steps: Sequence[Step]) -> list[list[Step]]:
    """The trace in pieces that touch."""
    pieces: list[list[Step]] = []
    for step in steps:
        if pieces and pieces[-1][-1].to_ms == step.from_ms:
            pieces[-1].append(step)
        else:
            pieces.append([step])
    return pieces
