"""How much of a fan's label shows in the air: a straight trend with the fan's own pull fitted beside it.

Here: arithmetic over some minutes of one quantity. Not here: what is looked at, what is too little (see
`effect`). Whatever else goes on is taken as a trend that is as good as straight over the window; what the fan
should do, by its label, is a second slope where it ran. Where it ran all the time, or never, the two cannot
be told apart and the interval is wide.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf, sqrt


@dataclass(frozen=True, slots=True)
class Answer:
    """Share of what should be seen that is seen."""

    share: float
    error: float
    """Standard error by the scatter; infinite where nothing can be told."""


NONE = Answer(0.0, inf)

LEAST_POINTS = 8
"""Fewer tell nothing."""

SAME = 1e-9
"""Of its size: what is left of a pull beside the trend, and is no more than rounding."""


def answer(
    times: Sequence[float], pulls: Sequence[float], values: Sequence[float], least_scatter: float
) -> Answer:
    """Fits value = a + b time + share x pull.

    Args:
        times: hours.
        pulls: what the fan should have done up to each time, in the value's unit.
        least_scatter: a fit is believed no better than this, in the value's unit.
    """
    if len(values) < LEAST_POINTS:
        return NONE
    time, pull, value = _centred(times), _centred(pulls), _centred(values)
    tt, tp, pp = _dot(time, time), _dot(time, pull), _dot(pull, pull)
    apart = pp - tp * tp / tt if tt > 0.0 else 0.0
    if apart <= SAME * pp or pp <= 0.0:
        return NONE
    share = (_dot(pull, value) - tp * _dot(time, value) / tt) / apart
    slope = (_dot(time, value) - share * tp) / tt
    left = [y - slope * t - share * p for t, p, y in zip(time, pull, value, strict=True)]
    scatter = max(sqrt(_dot(left, left) / (len(values) - 3)), least_scatter)
    return Answer(share, scatter / sqrt(apart))


def _centred(values: Sequence[float]) -> list[float]:
    middle = sum(values) / len(values)
    return [value - middle for value in values]


def _dot(left: Sequence[float], right: Sequence[float]) -> float:
    return sum(a * b for a, b in zip(left, right, strict=True))
