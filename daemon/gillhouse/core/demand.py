"""What the controllers of a space share: what they look at, what they wish, where they aim.

Nothing here decides (see `misting`, `fresh_air`, `warmth`). Bands in, wishes out: a controller knows nothing
of dwell times, doors, tanks or shared pumps (see `interlock`), nor which sensor a value came from. Each
keeps a little state and is called whenever something is known anew.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Protocol

from gillhouse.core.air import humidity_ratio
from gillhouse.core.crops import Band
from gillhouse.core.outputs import Facts
from gillhouse.core.reasons import Reason

HOUR_MS = 3_600_000

LONGEST_STEP_MS = 120_000
"""A controller that was not asked for longer than this counts no more than this."""

SHORTEST_RUN_MS = 60_000
"""Shortest fan run where the relay names none; shorter ones wear it and move little air."""

UNCALIBRATED_AIM_PCT = 93.0
"""A humidity sensor whose calibration is not in date steers no higher: 3 points of bias would wet caps."""


WET_NEAR_PCT = 1.0
"""Air is dried from here under its upper edge on (see `wet_from`)..."""

WET_STAYS_MS = 240_000
"""... once it has been so wet for so long: a pulse passes sooner."""

FRESH_STEP_KG = 0.0002
"""Intake air must be drier by this humidity ratio before it is used to dry."""


class Known(Protocol):
    """What is believed of one quantity (see `estimate.Estimate`)."""

    @property
    def value(self) -> float | None: ...
    @property
    def held(self) -> bool: ...
    @property
    def trusted(self) -> bool: ...
    @property
    def error(self) -> float: ...
    @property
    def seqs(self) -> tuple[int, ...]: ...
    @property
    def mono_ms(self) -> int: ...
    @property
    def spread(self) -> float: ...


@dataclass(slots=True)
class Inside:
    """The air of a space and what moves it, at one moment."""

    humidity: Known
    temperature: Known
    co2: Known
    temperature_c: float
    """Measured, or assumed where no sensor says so."""
    intake_c: float
    intake_ratio: float
    """Humidity ratio of the air the fan brings in, kg/kg."""
    intake_dew_c: float
    intake_co2_ppm: float
    fan_m3_per_h: float
    """Flow of the fans that are on now, leakage apart."""
    fan_left_ms: int = 0
    """So long they will go on, as far as it is known."""
    cold: bool = False
    """Under its temperature band, and colder outside."""
    mono_ms: int = 0


@dataclass(slots=True)
class Wish:
    """What a controller wants of its relays now."""

    on: bool
    reason: Reason
    run_ms: int | None = None
    """A run of this length; None: hold as long as it is wished."""
    causes: tuple[int, ...] = ()
    facts: Facts = field(default_factory=dict)


def humidity_aim(band: Band, trusted: bool, error: float, swing: float) -> float:
    """The humidity to steer at, percent: the band's target, kept off the edges by the error.

    Without a target it is the driest that stays in the band with the space's own swing: every point above
    costs water and leaves caps wet for longer.
    """
    low = band.low if band.low is not None else 0.0
    high = band.high if band.high is not None else 100.0
    margin = min(error, (high - low) / 2)
    aim = band.target if band.target is not None else min(low + margin + swing, (low + high) / 2)
    aim = min(max(aim, low + margin), high - margin)
    return aim if trusted else min(aim, UNCALIBRATED_AIM_PCT)


def wet_from(band: Band, error: float) -> float:
    """The humidity from which air that stays so is dried, percent; of a band with an upper edge.

    It keeps off the edge by the sensor's error, and in a narrow band off the middle too, where mist aims: fan
    and nozzle would work against each other.
    """
    assert band.high is not None
    low = band.low if band.low is not None else 0.0
    return band.high - min(max(error, WET_NEAR_PCT), (band.high - low) / 4)


def wet_since(since_ms: int | None, is_wet: bool, mono_ms: int) -> int | None:
    """Since when the air has been wet without a break; None: it is not. `since_ms`: what this said last."""
    if not is_wet:
        return None
    return mono_ms if since_ms is None else since_ms


def stays_wet(since_ms: int | None, mono_ms: int) -> bool:
    """It has been wet for longer than a pulse's damp takes to pass."""
    return since_ms is not None and mono_ms - since_ms >= WET_STAYS_MS


def airing_dries(inside: Inside, humidity_pct: float) -> bool:
    """The intake is so much drier that a fan dries the air; where it is not, only warmth does."""
    return inside.intake_ratio <= humidity_ratio(inside.temperature_c, humidity_pct) - FRESH_STEP_KG


def earliest(moments: Sequence[int | None]) -> int | None:
    """The soonest of some moments, None among them meaning never."""
    return min((moment for moment in moments if moment is not None), default=None)
