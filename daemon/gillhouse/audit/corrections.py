"""The corrections that were in force when each reading was taken, from the journal.

The store keeps readings raw. Here they become what the controller believed: the kept state at the last
segment before a time says which corrections held then, and the inputs after it say what changed. By journal
number, so that a reading that came late is corrected as it was corrected then. Not here: the arithmetic
(`core.calibration`).
"""

from bisect import bisect_right
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from gillhouse.core.calibration import Calibration, correct, in_date
from gillhouse.core.inputs import Calibrated
from gillhouse.core.settings import SensorSettings
from gillhouse.core.snapshot import from_plain
from gillhouse.core.truth import Truth, take_calibrated
from gillhouse.store.reader import Reader
from gillhouse.store.records import ReadingAt


@dataclass(frozen=True, slots=True)
class Since:
    """What holds for a sensor from a journal number on."""

    seq: int
    wall_ms: int
    known: Calibration | None
    """None: raw."""


@dataclass(frozen=True, slots=True)
class Corrections:
    """By sensor, in order; sensors that were never checked are not in it."""

    changes: Mapping[str, Sequence[Since]]

    def at(self, sensor: SensorSettings, seq: int) -> Calibration | None:
        """What was in force for a sensor when the input `seq` was handled."""
        changes = self.changes.get(sensor.id, ())
        place = bisect_right([one.seq for one in changes], seq) - 1
        known = changes[place].known if place >= 0 else None
        return known if known is not None and known.quantity is sensor.quantity else None

    def sure(self, sensor: SensorSettings, seq: int, wall_ms: int) -> bool:
        """Whether a check was in date for the reading `seq`."""
        known = self.at(sensor, seq)
        return known is not None and in_date(known, wall_ms)

    def corrected(self, sensor: SensorSettings, readings: Sequence[ReadingAt]) -> Sequence[ReadingAt]:
        """A sensor's readings as they were believed."""
        if sensor.id not in self.changes:
            return readings
        return [self._one(sensor, reading) for reading in readings]

    def _one(self, sensor: SensorSettings, reading: ReadingAt) -> ReadingAt:
        known = self.at(sensor, reading.seq)
        return reading if known is None else replace(reading, value=correct(known, reading.value))

    def within(self, sensor: SensorSettings, to_ms: int) -> list[Since]:
        """What held for a sensor, in order, up to a wall time."""
        return [one for one in self.changes.get(sensor.id, ()) if one.wall_ms < to_ms]


NONE = Corrections({})


def corrections(reader: Reader, from_ms: int, last_seq: int) -> Corrections:
    """What was in force from a wall time on, up to the input `last_seq`."""
    segment = reader.segment_before(from_ms) or next(iter(reader.segments()), None)
    if segment is None:
        return NONE
    state = reader.state_at(segment)
    truth = from_plain(Truth, state["truth"]) if "truth" in state else Truth()
    # From the very beginning: a reading may have come before the segment that lies nearest to it in time.
    changes = {sensor: [Since(0, from_ms, known)] for sensor, known in truth.calibrations.items()}
    for seq, now, item in reader.inputs_of(Calibrated, segment.first_seq, last_seq):
        if take_calibrated(truth, item):
            known = truth.calibrations.get(item.sensor)
            changes.setdefault(item.sensor, []).append(Since(seq, now.wall_ms, known))
    return Corrections(changes)


def last_seq(readings: Iterable[Sequence[ReadingAt]]) -> int:
    """The greatest journal number among some readings; 0 where there are none."""
    return max((reading.seq for some in readings for reading in some), default=0)
