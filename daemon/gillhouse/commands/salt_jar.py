"""A sensor beside something known: what a person must do, and watching until the sensor has come to rest.

Here: the steps in words, and the wait. Not here: what follows from the points (`core.calibration`), what is
recorded (`calibrate`).
"""

from collections.abc import Callable, Iterator
from pathlib import Path

from gillhouse.clock import Box, Clock
from gillhouse.core.calibration import STILLNESS, Settled, settled
from gillhouse.core.greenspan import SALTS
from gillhouse.core.inputs import Delivery
from gillhouse.core.quantities import Quantity
from gillhouse.core.readings import Quality
from gillhouse.core.settings import SensorSettings
from gillhouse.store.reader import Reader

MINUTE_MS = 60_000
LOOK_MS = 10_000
"""The store is looked at this often; readings reach it about as fast."""

UNIT = {Quantity.HUMIDITY: "%", Quantity.CO2: "ppm", Quantity.TEMPERATURE: "C"}

FRESH_AIR_WAIT_MIN = 15
BESIDE_WAIT_MIN = 20

Say = Callable[[str], None]


def jar_steps(salt: str) -> Iterator[str]:
    """How a salt jar is made, for a person who never did."""
    known = SALTS[salt]
    yield f"Salt: {known.name}; {known.caution}."
    yield "1. Put some spoons of it into a small clean cup. Add clean water drop by drop and stir, until it"
    yield "   is like wet sand: much salt, little water, no clear water standing on top."
    yield "2. Put cup and sensor into a jar or box that closes tightly, as small as will do. Neither salt nor"
    yield "   splashes may touch the sensor; they ruin it. Lead a cable through putty, not through a gap."
    yield "3. Leave it indoors where it stays equally warm, out of the sun, for at least"
    yield f"   {known.least_wait_min // 60} h. The sensor must go on sending."
    yield "Keep salt and cup away from children and animals, and wash your hands."


def fresh_air_steps(self_calibrating: bool) -> Iterator[str]:
    """How a CO2 sensor is brought into fresh air."""
    if self_calibrating:
        yield "This sensor sets itself (self_calibrating: yes). Switch that off first, or it will undo this."
    yield "1. Bring the sensor outdoors by day, dry and in the shade, away from people, engines and chimneys;"
    yield "   or open the empty space wide, fan on, nobody inside. Do not breathe near it."
    yield f"2. Leave it there for at least {FRESH_AIR_WAIT_MIN} min. It must go on sending."


def beside_steps() -> Iterator[str]:
    """How a thermometer is held against a better one."""
    yield "1. Put a better thermometer right beside the sensor, both out of sun, wind and mist."
    yield f"2. Leave both alone for at least {BESIDE_WAIT_MIN} min."


def watch(journal: Path, sensor: SensorSettings, clock: Clock, least_min: float, say: Say) -> float:
    """Waits until the sensor has come to rest; tells once a minute how it stands.

    Args:
        least_min: minutes it must be there at least, from now.
    Returns: what it says at rest, raw.
    """
    begun, told_ms = clock.now(), -MINUTE_MS
    waiting: Box[None] = Box(clock)
    while True:
        now = clock.now()
        found, last = _look(journal, sensor, now.wall_ms, begun.wall_ms if least_min > 0 else 0)
        left_ms = least_min * MINUTE_MS - (now.mono_ms - begun.mono_ms)
        if found.value is not None and left_ms <= 0:
            say(f"At rest: {found.value:.1f} {UNIT[sensor.quantity]}.")
            return found.value
        if now.mono_ms - told_ms >= MINUTE_MS:
            told_ms = now.mono_ms
            say(_standing(sensor, found, last, left_ms))
        waiting.take(now.mono_ms + LOOK_MS)


def _look(journal: Path, sensor: SensorSettings, now_ms: int, since_ms: int) -> tuple[Settled, float | None]:
    """Whether it has settled, by the readings since it came there, and the last of them."""
    window_ms = STILLNESS[sensor.quantity].window_ms
    with Reader(journal) as reader:
        readings = [
            (at.ts, at.value)
            for at in reader.readings(sensor.id, max(now_ms - window_ms, since_ms), now_ms + 1)
            if at.delivery is Delivery.LIVE and at.quality is not Quality.BAD
        ]
    return settled(sensor.quantity, readings, now_ms), readings[-1][1] if readings else None


def _standing(sensor: SensorSettings, found: Settled, last: float | None, left_ms: float) -> str:
    if last is None:
        return f"nothing heard of {sensor.id} yet: is `gillhouse run` up, and its board powered?"
    more = f"; {left_ms / MINUTE_MS:.0f} min more at least" if left_ms > 0 else ""
    return f"{last:.1f} {UNIT[sensor.quantity]}, {found.why_not or 'at rest'}{more}"


def board_mates(topics: dict[str, str], sensor: str) -> tuple[str, ...]:
    """The sensors that come with this one in the same messages: most likely one board, itself first."""
    own = topics[sensor]
    return (sensor, *(other for other, topic in topics.items() if topic == own and other != sensor))


def newest(journal: Path, sensor: SensorSettings, now_ms: int) -> float | None:
    """The mean of its last ten minutes, raw; None if it said nothing."""
    with Reader(journal) as reader:
        values = [
            at.value
            for at in reader.readings(sensor.id, now_ms - 10 * MINUTE_MS, now_ms + 1)
            if at.quality is not Quality.BAD
        ]
    return sum(values) / len(values) if values else None
