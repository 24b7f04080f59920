"""What each species wants at each stage, every figure with its source."""

from dataclasses import dataclass
from enum import StrEnum


class Stage(StrEnum):
    SPAWN_RUN = "spawn run"
    PINNING = "pinning"
    FRUITING = "fruiting"
    REST = "rest"


@dataclass(frozen=True, slots=True)
class Band:
    """Where a quantity should be, and where a person is called. Any edge may be open (None)."""

    low: float | None
    high: float | None
    target: float | None
    alarm_low: float | None
    alarm_high: float | None
    source: str
    """Publication, 'common practice, no source', 'from memory', or 'set in FILE by the grower'."""


@dataclass(frozen=True, slots=True)
class LightWish:
    hours: float
    """Hours of light a day, 0..24."""
    lux: float | None
    """Least brightness while it is on."""
    source: str
    most_lux: float | None = None
    """More does no good."""


@dataclass(frozen=True, slots=True)
class Usual:
    """From what to what a figure of the whole crop usually comes."""

    least: float
    most: float
    source: str


@dataclass(frozen=True, slots=True)
class StageProfile:
    humidity: Band
    temperature: Band
    co2: Band
    fresh_air_ach: float
    """Least fresh air, air changes per hour."""
    fresh_air_source: str
    light: LightWish
    days: tuple[float, float] | None
    """How long the stage usually takes, days from..to."""
    days_source: str = ""
    fresh_air_m3_per_h_kg: float = 0.0
    """Least fresh air by the crop's weight, m3/h for each kg of wet blocks; 0: no figure."""
    block_core: Band | None = None
    """Inside a block, degrees C: only `alarm_high` is used."""


@dataclass(frozen=True, slots=True)
class Species:
    id: str
    name: str
    latin: str
    stages: dict[Stage, StageProfile]
    flushes: Usual | None = None
    """How many."""
    days_between_flushes: Usual | None = None
    """From the end of one picking to the first pick of the next."""
    biological_efficiency_pct: Usual | None = None
    """100 x fresh weight picked in all flushes / dry weight of substrate at filling."""
