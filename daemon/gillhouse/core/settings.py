"""What the core is told of the farm: spaces, sensors, relays, shared equipment, programmes, limits.

Frozen; filled by `gillhouse.config` from the grower's files (where every figure's bounds are checked) and
by tests directly. Durations are whole milliseconds, flows per hour, everything else in canonical units.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import tzinfo
from enum import StrEnum

from gillhouse.core.bands_meet import Clash
from gillhouse.core.crops import Band, LightWish, Species, Stage
from gillhouse.core.edges import PersonSettings, RotaSettings
from gillhouse.core.guard_settings import LimiterSettings, ProofSettings, SafetySettings, StatementSettings
from gillhouse.core.quantities import Quantity


class SpaceKind(StrEnum):
    ROOM = "room"
    TENT = "tent"
    OPEN = "open"
    SPAWN_RUN = "spawn run"
    """A room where blocks run warm and closed: the heat inside them is what counts."""
    COLD_STORE = "cold store"
    """For what was picked: nothing grows here."""


CORE_ZONE = "core"
"""Zone of a temperature sensor pushed into a block: not the space's air."""
LINE_ZONE = "line"
"""Zone of a temperature sensor strapped to a water line: not the space's air."""


class Role(StrEnum):
    """What a relay switches."""

    MIST = "mist"
    FAN = "fan"
    """Fresh-air fan."""
    HEATER = "heater"
    COOLER = "cooler"
    LIGHT = "light"
    CIRCULATION = "circulation"
    PUMP = "pump"
    """Shared supply of mist valves."""
    DAMPER = "damper"
    """A space's share of a shared fan."""
    UV = "uv"
    """A lamp that harms eyes and skin: never on unless the door is proved shut and nobody is inside."""
    MASTER = "master"
    """A valve or contactor upstream of other relays' loads: on with them, and what stops them when one of
    them sticks."""
    ALARM = "alarm"
    """On while all is well; dropping out is the alarm, so that a broken wire calls too."""


class Combine(StrEnum):
    """How several sensors of one quantity in a space become one value."""

    CALIBRATED = "calibrated"
    """Humidity's default: the median of three or more; with fewer, the one with a calibration in date, else
    the mean."""
    HIGHEST = "highest"
    LOWEST = "lowest"
    MEDIAN = "median"


@dataclass(frozen=True, slots=True)
class SensorSettings:
    id: str
    quantity: Quantity
    space: str | None
    """None: outdoors or intake air of the whole farm."""
    zone: str
    """Free word; `intake`, `outdoor`, `core` and `line` have a meaning: they are not the room's air."""
    every_ms: int
    """The interval it reports at."""
    silent_after_ms: int
    """Age at which it counts as silent; by default 3.25 intervals, at least 2 min (see alarm delays)."""
    error: float = 0.0
    """Stated error in the quantity's unit; margins widen with it."""
    calibrated: bool = False
    """A calibration is in date, by the grower's own book (see also `core.truth`)."""
    since_wall_ms: int | None = None
    """It stands where it stands since then; the audit gives older readings to where it was. None: always."""
    self_calibrating: bool = False
    """Of CO2: it takes the lowest value of some days for fresh air."""
    button: bool = False
    """Of people: a push button; each press says that somebody goes in, its other word says nothing."""
    pulses: float | None = None
    """Of an on/off quantity: the board sends a count that grows, and this much more since its last report
    means on."""
    over: float | None = None
    """Of an on/off quantity: the board sends a number, and more than this means on."""
    on_change: bool = False
    """The board reports a change at once, so the last report is true until the next."""


@dataclass(frozen=True, slots=True)
class RelaySettings:
    id: str
    role: Role
    space: str | None
    """None for equipment shared by spaces."""
    advise_only: bool = True
    """Log what would be done; drive nothing."""
    own_timer: bool = True
    """The board drops out by itself when a lease ends."""
    lease_ms: int = 300_000
    """Longest single lease; renewed while wanted. A pulse's lease is the pulse."""
    least_on_ms: int = 0
    least_off_ms: int = 0
    longest_run_ms: int | None = None
    rest_after_longest_ms: int = 300_000
    starts_per_h: int | None = None
    daily_litres: float | None = None
    """Water cap per local day."""
    litres_per_h: float = 0.0
    """Of a mist nozzle set, while on (label figure)."""
    air_m3_per_h: float = 0.0
    """Of a fan, while on (label figure)."""
    watts: float = 0.0
    never_with: tuple[str, ...] = ()
    """Relays that may not be on together with this one."""
    only_door_closed: bool = False
    tank: str | None = None
    """Sensor id of the tank switch that must say 'has water'."""
    not_with_people: bool = False
    """Held off while the space's people input says somebody is inside."""
    over_broker: bool = True
    """Commands reach its board through the broker; without the broker it is not asked for anything."""
    echo_within_ms: int | None = None
    """A state echo is expected this soon after a command; None: the board echoes nothing."""
    pulse_ms: int = 8_000
    """Ordinary pulse of a mist relay."""
    pulse_gap_ms: int = 60_000
    """Least time between two pulses."""
    hardness_mg_l: float | None = None
    """Of the water of a mist relay, where it is not the farm's."""
    most_per_h_ms: int | None = None
    """On for so long in any hour at most."""
    most_per_day_ms: int | None = None
    """On for so long in a local day at most."""
    proofs: tuple[ProofSettings, ...] = ()
    only_with: tuple[str, ...] = ()
    """Relays whose loads must be proved to run while this one is on; they are asked on with it."""
    master: str | None = None
    """Relay upstream of this one's load."""
    mains: str | None = None
    """Sensor id of the mains of this one's load."""
    limiter: LimiterSettings | None = None


@dataclass(frozen=True, slots=True)
class SupplySettings:
    """A pump and the valves it feeds: the pump is on while any valve is open, with its own least run."""

    id: str
    pump: str
    valves: tuple[str, ...]
    most_at_once: int


@dataclass(frozen=True, slots=True)
class SharedAirSettings:
    """One fan with a damper per space. It serves the space in most need, unless that takes another past a
    hard limit."""

    id: str
    fan: str
    dampers: dict[str, str]
    """space id -> damper relay id"""


class When(StrEnum):
    ALWAYS = "always"
    FALLBACK = "fallback"
    """Only while no GOOD reading can steer the role."""


@dataclass(frozen=True, slots=True)
class ProgrammeSettings:
    """A timed programme: works with no sensor at all, and steps in when a sensor is silent."""

    id: str
    space: str
    role: Role
    """MIST, FAN, LIGHT or CIRCULATION"""
    run_ms: int
    """Run of each due time by day (0: none)."""
    night_run_ms: int
    """Run of each due time by night."""
    when: When
    every_min: int | None = None
    """Every 5/15/30 ... minutes, counted from local midnight; None if `cron` is given."""
    cron: str | None = None
    """Five fields, local time."""
    day_from_min: int = 6 * 60
    """Local minutes since midnight at which day begins."""
    day_to_min: int = 22 * 60


@dataclass(frozen=True, slots=True)
class LightSettings:
    """A photoperiod in local time: on from `from_min`, for `hours`."""

    from_min: int
    hours: float
    wish: LightWish | None = None


@dataclass(frozen=True, slots=True)
class IntakeSettings:
    """The air the fan brings in, where no intake sensor says so."""

    temperature_c: float | None = None
    humidity_pct: float | None = None
    co2_ppm: float = 425.0
    """Outdoor baseline, 2024: world mean about 424 ppm, WMO Greenhouse Gas Bulletin 21 (2025), as quoted in
    the news."""


@dataclass(frozen=True, slots=True)
class OwnFigures:
    """What the grower set for a space over every species file: it holds whatever crop and stage come in."""

    bands: Mapping[Quantity, Band] = field(default_factory=dict)
    """Only the edges that were set; the others are open here."""
    fresh_air_ach: float | None = None
    light_hours: float | None = None


@dataclass(frozen=True, slots=True)
class CropShare:
    """One of the crops a space is said to hold."""

    species: str
    stage: Stage
    kg: float
    """Wet blocks."""
    priority: bool
    """It wins where two crops cannot both have what they want."""


@dataclass(frozen=True, slots=True)
class HoseSettings:
    """Of an open space that is hosed. The figures are starting values of ours, no source; see `core.caps`."""

    film_mm: float = 0.15
    """What a good hosing leaves on a cap, mm."""
    spare_mm: float = 0.1
    """What a dry cap may lose of its own before it is harmed, mm."""
    call_ms: int = 3_600_000
    """Called so long before."""
    shelter: float = 0.2
    """Share of the wind outdoors that is felt inside, where no wind gauge stands there."""


class SafeAirBy(StrEnum):
    """What makes a fan run while nothing commands it."""

    TIMER = "timer"
    """A repeat timer of its own."""
    BOARD = "board"
    """The relay board's own programme."""


@dataclass(frozen=True, slots=True)
class SafeAir:
    """What the grower says of a space's fan while this box is dead. Declared, never driven by us."""

    min_per_h: float
    by: SafeAirBy
    tested: str | None = None
    """ISO date it was last seen to run so."""


@dataclass(frozen=True, slots=True)
class WaterSettings:
    """The water that feeds the nozzles."""

    drain_below_c: float = 2.0
    """At or under this no mist, and a call to drain the lines. Common practice is 1 to 2 C, no source."""
    hardness_mg_l: float | None = None
    """As calcium carbonate; None: not known, no descaling is called for."""
    stood_ms: int = 72 * 3_600_000
    """Water that has stood in a line for so long is told. Our choice; a local rule comes first."""
    flush_ms: int | None = None
    """A line that stood is flushed for so long, when somebody counts people and says nobody is inside; None:
    never by itself."""


@dataclass(frozen=True, slots=True)
class SpaceSettings:
    id: str
    name: str
    kind: SpaceKind
    walk_in: bool
    """People can be inside: the CO2 limits for people hold."""
    volume_m3: float
    species: str
    """Of the crop that leads, where there are several: the one with priority, else the heaviest."""
    stage: Stage
    crop_kg: float
    """Of all crops together."""
    bands: dict[Quantity, Band]
    """In force: HUMIDITY, TEMPERATURE, CO2."""
    fresh_air_ach: float
    """Least fresh air, air changes per hour; 0 for an open space."""
    intake: IntakeSettings
    light: LightSettings | None
    combine: dict[Quantity, Combine]
    leak_ach: float = 0.3
    """Leakage guess, air changes per hour."""
    own: OwnFigures = field(default_factory=OwnFigures)
    crops: tuple[CropShare, ...] = ()
    """As the grower wrote them."""
    clashes: tuple[Clash, ...] = ()
    """Where two of the crops cannot both have what they want."""
    fresh_air_m3_per_h: float = 0.0
    """Least fresh air by the weight of the crops; 0: no figure, or an open space."""
    block_core_c: float | None = None
    """Over this inside a block somebody is called; None: the usual limit (see `core.kind_limits`)."""
    hose: HoseSettings = HoseSettings()
    safe_air: SafeAir | None = None
    """None: nothing is said of its fan while this box is dead."""


@dataclass(frozen=True, slots=True)
class LimitTiming:
    """Deadband and delays of one kind of limit alarm."""

    deadband: float
    on_delay_ms: int
    off_delay_ms: int


@dataclass(frozen=True, slots=True)
class AlarmSettings:
    timing: dict[Quantity, LimitTiming]
    repeat_ms: dict[int, int]
    """By priority 1, 2, 3: an unacknowledged alarm is announced again after this."""
    realarm_ms: dict[int, int] = field(default_factory=dict)
    """By priority: an acknowledged alarm that is still there becomes as new after this; where not given, see
    `core.alarm_kinds.REALARM_MS`."""
    broker_grace_ms: int = 120_000
    store_grace_ms: int = 5_000
    door_open_ms: int = 300_000


@dataclass(frozen=True, slots=True)
class CallSettings:
    """Who is called for an alarm, and when. With nobody in it, nobody is. All figures are our choice."""

    people: tuple[PersonSettings, ...] = ()
    """In the order they are called where no rota says otherwise."""
    rota: tuple[RotaSettings, ...] = ()
    night_calls: int = 2
    """Messages a night and person; only priority 1 and a loss foretold for before morning go beyond."""
    most_per_h: int = 20
    """Messages an hour and person; a quarter of them is kept free for priority 1."""
    night_from_min: int = 22 * 60
    """Local minutes; the night of people who gave no quiet hours."""
    night_to_min: int = 6 * 60
    digest_min: int = 7 * 60 + 30
    """Local minutes at which the day's digest goes out, also when nothing happened."""
    weekly_on: int = 0
    """Weekday of the list of reminders, which tries every channel too; 0 is Monday."""


@dataclass(frozen=True, slots=True)
class FarmSettings:
    name: str
    zone: tzinfo
    spaces: dict[str, SpaceSettings]
    sensors: dict[str, SensorSettings]
    relays: dict[str, RelaySettings]
    programmes: dict[str, ProgrammeSettings]
    alarms: AlarmSettings
    supplies: dict[str, SupplySettings] = field(default_factory=dict)
    shared_air: dict[str, SharedAirSettings] = field(default_factory=dict)
    species: Mapping[str, Species] = field(default_factory=dict)
    """All there is a file for: what a batch may be of."""
    water: WaterSettings = WaterSettings()
    calling: CallSettings = CallSettings()
    safety: SafetySettings = field(default_factory=SafetySettings)
    statements: Mapping[str, StatementSettings] = field(default_factory=dict)
    digest: str = ""
    """Of the config these came from."""
    latitude_deg: float | None = None
    """North is positive; nothing the core decides goes by it, only what is told of nights."""
