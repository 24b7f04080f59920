"""Pulses and numbers that stand for on or off: a flow meter's count, a current, a tachometer.

Here: what a raw report means, before it is judged like any other contact (`quality`). The store keeps the
raw number. Not here: what follows from on or off (`proving`). How: of a count, what it has grown by since
the last report; a count that went back (the board began anew) and the first one prove nothing; of a number,
whether it is over the limit.
"""

from dataclasses import replace
from math import isfinite

from gillhouse.core.inputs import Delivery, Reading
from gillhouse.core.quality import SensorState
from gillhouse.core.readings import Mark, Quality, Verdict
from gillhouse.core.settings import SensorSettings

FIRST = Verdict(Quality.SUSPECT, Mark.FIRST_COUNT)
_IMPOSSIBLE = Verdict(Quality.BAD, Mark.OUT_OF_RANGE)


def as_contact(
    sensor: SensorSettings, state: SensorState, item: Reading, mono_ms: int
) -> tuple[Reading, Verdict | None]:
    """The report as 1.0 or 0.0, and the verdict where that alone settles it. Moves a live count on."""
    if sensor.over is not None:
        on = item.value > sensor.over
        return (replace(item, value=float(on)), None) if isfinite(item.value) else (item, _IMPOSSIBLE)
    if sensor.pulses is None or item.delivery is not Delivery.LIVE:
        return item, None
    if not isfinite(item.value) or item.value < 0.0:
        return item, _IMPOSSIBLE
    last, state.count = state.count, item.value
    state.counted_from_ms, state.counted_ms = state.counted_ms, mono_ms
    if last is None or item.value < last:
        return replace(item, value=0.0), FIRST
    return replace(item, value=float(item.value - last >= sensor.pulses)), None
