"""A night as figures: what `figures` fills and every report (text, page, JSON, chart) is made from.

Here: frozen values only. Not here: how they are found (`figures`), how they are told (`verdict`, `text`,
`html`, `record`). Times are whole milliseconds of wall time, durations milliseconds.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import tzinfo

from gillhouse.audit.alarm_figures import AlarmFigures
from gillhouse.audit.corrections import Since
from gillhouse.audit.hold import Held, Limits, Stretch, Tally
from gillhouse.audit.runs import Run
from gillhouse.audit.sensor_findings import FindingNight
from gillhouse.core.crops import Stage
from gillhouse.core.outputs import Facts
from gillhouse.core.quantities import Quantity
from gillhouse.core.reasons import Reason
from gillhouse.core.settings import RelaySettings, SensorSettings, SpaceSettings
from gillhouse.errors import GillhouseError

REPORTED = (Quantity.HUMIDITY, Quantity.CO2, Quantity.TEMPERATURE)
"""The quantities a night is judged by, in this order."""


class AuditError(GillhouseError, LookupError):
    """What was asked for is not in the store; the message says what is."""


@dataclass(frozen=True, slots=True)
class Window:
    """The time a report is about."""

    from_ms: int
    to_ms: int
    zone: tzinfo

    @property
    def lasts_ms(self) -> int:
        return self.to_ms - self.from_ms


@dataclass(frozen=True, slots=True)
class Coming:
    """A stage that is usual for a batch soon, or due by now. Somebody has to look and say so."""

    batch: str
    space: str
    stage: Stage
    """The one it is in."""
    next: Stage
    from_ms: int
    """The first usual moment, or when to ask again."""
    planned: bool
    """Somebody said yes already: it begins then."""


@dataclass(frozen=True, slots=True)
class Outside:
    """A time outside the band, with what explains it."""

    stretch: Stretch
    cause: str
    """Key of `causes.WORDS`."""
    words: str


@dataclass(frozen=True, slots=True)
class QuantityNight:
    quantity: Quantity
    limits: tuple[Limits, ...]
    """In force, one per time they were the same; the last are the latest."""
    samples: int
    late_samples: int
    steps: tuple[Held, ...]
    tally: Tally
    holes: tuple[tuple[int, int], ...]
    outside: tuple[Outside, ...]
    measured: bool
    """The space has a sensor of it."""
    sure_to: float | None = None
    """Values above are only 'at least': no sensor was checked up there."""
    wished: float | None = None
    """More than could be steered to: no sensor's check was in date at the end."""
    out_ms: int = 0
    """The space was out of use for so long: left out of everything here."""


@dataclass(frozen=True, slots=True)
class RelayNight:
    relay: RelaySettings
    driven: tuple[Run, ...]
    driven_starts: int
    advised: tuple[Run, ...]
    """What it would have done; nothing was switched."""
    advised_starts: int
    held_back: Mapping[str, int]
    """How often it was not let, by reason."""


@dataclass(frozen=True, slots=True)
class AlarmNight:
    alarm: str
    kind: str
    occurrence: int
    space: str | None
    priority: int
    began_ms: int
    ended_ms: int | None
    acknowledged_ms: int | None
    who: str
    announced: int
    """Messages that went out."""
    facts: Facts


@dataclass(frozen=True, slots=True)
class NoteNight:
    ts: int
    space: str | None
    who: str
    text: str
    number: int = 0
    """In the journal: a note that puts this one right names it."""
    corrects: int | None = None
    """Number of the note this one puts right."""
    corrected_by: int | None = None
    """Number of the newest note that puts this one right, as far as it was written within the night."""


@dataclass(frozen=True, slots=True)
class Happened:
    """Something that changed a space, or how it is seen, besides relays and alarms."""

    ts: int
    to_ms: int | None
    """Of something that lasts: its end, or the window's."""
    space: str | None
    kind: Reason
    words: str


@dataclass(frozen=True, slots=True)
class SensorNight:
    sensor: SensorSettings
    received: int
    counted: int
    late: int
    doubted: Mapping[str, int]
    """Readings that did not count, by mark."""
    covered_ms: int
    silences: tuple[tuple[int, int], ...]
    last_ms: int | None
    """Its last counted reading before the window's end."""
    calibrations: tuple[Since, ...] = ()
    """Corrections in force, in order; its values are corrected by them."""


@dataclass(frozen=True, slots=True)
class Away:
    """A time the daemon itself was not there, or lost rows."""

    from_ms: int
    to_ms: int
    lost: int
    clean: bool
    """It had been stopped in good order."""


@dataclass(frozen=True, slots=True)
class Forgotten:
    """A time of which what boards sent may be gone: the broker had forgotten our place."""

    from_ms: int
    to_ms: int


@dataclass(frozen=True, slots=True)
class Went:
    """What one space went through from a cut of the mains until its air was right again, as far as seen."""

    space: str
    extremes: Mapping[Quantity, tuple[float, float]]
    """Least and most of what was measured."""
    right_ms: int | None
    """When all of it was known and inside its limits again; None: not within the window."""
    unseen_ms: int
    """Of the time without mains: how long a quantity was not known."""


@dataclass(frozen=True, slots=True)
class MainsOff:
    """A time the mains of loads were gone."""

    sensor: str
    from_ms: int
    to_ms: int
    """Where they did not come back: the window's end."""
    back: bool
    spaces: tuple[Went, ...]

    @property
    def lasts_ms(self) -> int:
        return self.to_ms - self.from_ms


@dataclass(frozen=True, slots=True)
class ClockUnset:
    """A time the daemon ran without knowing the time."""

    from_ms: int
    to_ms: int
    showed_ms: int | None
    """What the clock showed as it began; None where these are its own times, it having never been set."""


@dataclass(frozen=True, slots=True)
class SpaceNight:
    space: SpaceSettings
    quantities: Mapping[Quantity, QuantityNight]
    relays: tuple[RelayNight, ...]
    shared: tuple[str, ...]
    """Ids of shared relays that serve this space."""
    alarms: tuple[AlarmNight, ...]
    notes: tuple[NoteNight, ...]
    sensors: tuple[SensorNight, ...]
    reach: tuple[float, float] | None = None
    """Of an open space: from how dry to how damp it came in these hours lately, percent."""
    happened: tuple[Happened, ...] = ()
    out_of_use: tuple[tuple[int, int], ...] = ()
    """Left out of every share and sum."""

    @property
    def out_ms(self) -> int:
        return sum(end - begin for begin, end in self.out_of_use)


@dataclass(frozen=True, slots=True)
class Ahead:
    """Something that is reckoned to come up in a space, such as flies."""

    space: str
    words: str
    source: str
    """Of the figures behind it."""


@dataclass(frozen=True, slots=True)
class Night:
    """One night of the farm, or of the spaces asked for."""

    farm: str
    window: Window
    """Never later than the last thing in the store or now."""
    asked_to_ms: int
    """The end that was asked for."""
    log_begins_ms: int | None
    """First thing in the store, where that is inside the window."""
    log_ends_ms: int | None
    """Last thing in the store, where the window goes on for long after it."""
    removed_before_ms: int | None
    """Readings of the time asked for were removed up to here, being too old; the window begins here then."""
    spaces: tuple[SpaceNight, ...]
    relays: tuple[RelayNight, ...]
    """Shared equipment."""
    alarms: tuple[AlarmNight, ...]
    """Of no single space."""
    notes: tuple[NoteNight, ...]
    """Of no single space."""
    sensors: tuple[SensorNight, ...]
    """Of no single space: outdoors, intake."""
    away: tuple[Away, ...]
    rejects: Mapping[str, int]
    """Messages no reading could be made of, by reason, over the UTC days the night touches."""
    simulated: bool
    findings: tuple[FindingNight, ...]
    """What stands of the sensors at the end, oldest first."""
    coming: tuple[Coming, ...]
    """Stages that are due or soon will be, first come first."""
    configs: tuple[str, ...]
    """Digests in force, in order."""
    clock_unset: tuple[ClockUnset, ...] = ()
    mains: tuple[MainsOff, ...] = ()
    forgotten: tuple[Forgotten, ...] = ()
    ahead: tuple[Ahead, ...] = ()
    """What is reckoned to come up, space by space."""
    alarm_system: AlarmFigures | None = None
    """How well the alarms served; None: not asked for."""

    @property
    def complete(self) -> bool:
        return self.window.to_ms >= self.asked_to_ms
