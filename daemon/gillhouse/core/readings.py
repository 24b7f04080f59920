"""What is known of one sensor's value: the quality it was given and why."""

from dataclasses import dataclass
from enum import IntEnum, StrEnum


class Quality(IntEnum):
    """Only GOOD drives. All three are stored."""

    GOOD = 0
    SUSPECT = 1
    BAD = 2


class Mark(StrEnum):
    """Why a reading is not plainly GOOD, or what is particular about it. Stored beside the reading."""

    NONE = ""
    OUT_OF_RANGE = "out-of-range"
    JUMPED = "jumped"
    FLAT = "flat"
    """No last-digit movement for too long."""
    SATURATED = "saturated"
    """Humidity at exactly 100.0: the air, or the sensor, is wet. Drives as 'at least', never as broken."""
    STALE = "stale"
    AWAY = "out-of-place"
    """Somebody has taken the sensor out, to check or clean it."""
    QUEUED = "queued-time-unknown"
    """Waited at the broker while we were away, without a time of its own."""
    LATE = "arrived-late"
    """Under its own time, after newer ones or after its moment had passed."""
    AHEAD = "board-clock-ahead"
    """Its own time lies in the future; stored under its arrival."""
    FIRST_COUNT = "first-count"
    """The first count of a pulse input: nothing to compare it with yet."""
    RETAINED = "retained"
    """The broker's kept copy: its age is unknown."""


@dataclass(frozen=True, slots=True)
class Verdict:
    """Quality with its reason, for one reading."""

    quality: Quality
    mark: Mark


GOOD = Verdict(Quality.GOOD, Mark.NONE)
