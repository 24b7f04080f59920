"""What was found of the sensors: what stands now, and what the next look is made of.

State only, for the snapshot; the looking is in `findings`.
"""

from dataclasses import dataclass, field

from gillhouse.core.disagree import Gap
from gillhouse.core.reasons import Reason
from gillhouse.core.sluggish import Pace


@dataclass(slots=True)
class Finding:
    """Something about a sensor that a person should know in daylight; it calls nobody."""

    reason: Reason
    sensor: str
    space: str | None
    facts: dict[str, float | int | str | bool | None]
    since_ms: int = 0
    """Wall time."""


@dataclass(slots=True)
class Found:
    """Of all sensors."""

    looked_ms: int = 0
    """Monotonic time of the last look."""
    gaps: dict[str, Gap] = field(default_factory=dict)
    """By pair, `first sensor/second sensor`."""
    paces: dict[str, Pace] = field(default_factory=dict)
    """By pair, of those in one zone."""
    wet_ms: dict[str, int] = field(default_factory=dict)
    """How long a humidity sensor has read 100 without mist, by sensor."""
    lows: dict[str, dict[int, float]] = field(default_factory=dict)
    """Lowest CO2 by sensor and day since 1970 UTC."""
    standing: dict[str, Finding] = field(default_factory=dict)
    """By `reason:sensor`, or `reason:sensor/other`."""
