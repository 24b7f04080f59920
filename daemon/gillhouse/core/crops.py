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


@dataclass(frozen=True, slots=True)
class Species:
    id: str
    name: str
    latin: str
    stages: dict[Stage, StageProfile]
