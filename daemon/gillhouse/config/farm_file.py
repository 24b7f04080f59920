"""The sections of `farm.yaml` that hold one group each, and the spaces, programmes and people.

Here: which keys exist, their kind, bounds and defaults. Not here: sensors and relays (`wire_file`), whatever
needs two keys to judge (`checks`), and what becomes of the values (`convert`).
"""

from typing import Annotated, Literal

from pydantic import Field

from gillhouse.config.fields import (
    ClockTime,
    Count,
    Duration,
    FileName,
    Group,
    Host,
    Ident,
    Name,
    NotNegative,
    Number,
    Port,
    Positive,
    Protocol,
    Share,
    Topic,
    Url,
    Weekday,
    YesNo,
    Zone,
    between,
)
from gillhouse.core.crops import Stage
from gillhouse.core.settings import Combine, Role, SpaceKind, When


class FarmGroup(Group):
    name: Name
    zone: Zone
    latitude: Annotated[Number, Field(ge=-90, le=90)] | None = None
    """Degrees north; for the hours of dark."""
    advise_only: YesNo = True
    """For every relay that does not say for itself."""


class BrokerGroup(Group):
    host: Host = "127.0.0.1"
    port: Port | None = None
    """None: 1883, or 8883 with TLS."""
    protocol: Protocol = "auto"
    client_id: Name = "gillhouse"
    username: Name | None = None
    password_file: FileName | None = None
    tls: YesNo | None = None
    """None: off on this machine, on for any other."""
    ca_file: FileName | None = None
    base_topic: Topic = "gillhouse"
    keepalive: Annotated[Duration, between("5 s", "10 min")] = 30_000
    max_payload: Annotated[Count, Field(ge=64, le=262_144)] = 4096


class CropGroup(Group):
    species: Ident
    stage: Stage
    kg: NotNegative
    priority: YesNo = False
    """Where two crops of one space cannot both have what they want, this one wins."""


class BandGroup(Group):
    """Figures of the grower's own; those left out stay the species file's."""

    alarm_low: Number | None = None
    low: Number | None = None
    target: Number | None = None
    high: Number | None = None
    alarm_high: Number | None = None


class BandsGroup(Group):
    humidity: BandGroup = BandGroup()
    temperature: BandGroup = BandGroup()
    co2: BandGroup = BandGroup()


class LightGroup(Group):
    start: ClockTime
    hours: Annotated[NotNegative, Field(le=24)] | None = None
    """None: what the species wants at this stage."""


class IntakeGroup(Group):
    temperature: Annotated[Number, Field(ge=-40, le=60)] | None = None
    humidity: Share | None = None
    co2: Annotated[Number, Field(ge=300, le=5_000)] = 425.0


class CombineGroup(Group):
    humidity: Combine = Combine.CALIBRATED
    temperature: Combine = Combine.MEDIAN
    co2: Combine = Combine.HIGHEST


class HoseGroup(Group):
    """Of an open space that is watered by hand."""

    film: Annotated[Positive, Field(le=2)] = 0.15
    """mm of water a good hosing leaves on a cap."""
    spare: Annotated[Positive, Field(le=2)] = 0.1
    """mm a dry cap may lose of its own."""
    call: Annotated[Duration, between("5 min", "6 h")] = 3_600_000
    shelter: Annotated[NotNegative, Field(le=1)] = 0.2


class SafeAirGroup(Group):
    """How long the fan runs while this box or its boards are dead, and what makes it run then."""

    min_per_h: Annotated[NotNegative, Field(le=60)]
    by: Literal["timer", "board"]
    """A repeat timer of its own, or the board's own programme."""
    tested: Annotated[str, Field(pattern=r"^\d{4}-(0[1-9]|1[0-2])-(0[1-9]|[12]\d|3[01])$")] | None = None
    """Date somebody last saw it run with the box switched off."""


class SpaceGroup(Group):
    name: Annotated[Name, Field(max_length=24)]
    """Short: it stands in every alert."""
    kind: SpaceKind
    walk_in: YesNo
    volume_m3: Annotated[Positive, Field(le=100_000)]
    crop: CropGroup | None = None
    """One crop; or several under `crops`; a cold store has none."""
    crops: Annotated[tuple[CropGroup, ...], Field(min_length=1)] = ()
    bands: BandsGroup = BandsGroup()
    least_fresh_air_per_h: Annotated[NotNegative, Field(le=60)] | None = None
    leak_per_h: Annotated[NotNegative, Field(le=60)] = 0.3
    light: LightGroup | None = None
    intake: IntakeGroup = IntakeGroup()
    combine: CombineGroup = CombineGroup()
    hose: HoseGroup | None = None
    """None: the usual figures."""
    safe_air: SafeAirGroup | None = None


class DayGroup(Group):
    start: ClockTime = 6 * 60
    end: ClockTime = 22 * 60


class ProgrammeGroup(Group):
    space: Ident
    role: Role
    every: Annotated[Duration, between("1 min", "1 d")] | None = None
    at: str | None = None
    """Five fields: minute hour day month weekday."""
    run: Annotated[Duration, between("0 s", "1 d")]
    night_run: Annotated[Duration, between("0 s", "1 d")] | None = None
    """None: as `run`."""
    when: When = When.ALWAYS
    day: DayGroup = DayGroup()


class SupplyGroup(Group):
    pump: Ident
    valves: Annotated[tuple[Ident, ...], Field(min_length=1)]
    most_at_once: Count = 1


class SharedAirGroup(Group):
    fan: Ident
    dampers: Annotated[dict[Ident, Ident], Field(min_length=2)]


class TimingGroup(Group):
    deadband: NotNegative | None = None
    on_delay: Annotated[Duration, between("0 s", "2 h")] | None = None
    off_delay: Annotated[Duration, between("0 s", "2 h")] | None = None


class RepeatGroup(Group):
    wakes: Annotated[Duration, between("1 min", "1 d")] = 300_000
    high: Annotated[Duration, between("1 min", "1 d")] = 1_200_000
    daytime: Annotated[Duration, between("1 min", "7 d")] = 14_400_000


class AsNewGroup(Group):
    """After how long an acknowledged alarm that is still there is as new; None: the alarm table's own."""

    wakes: Annotated[Duration, between("5 min", "7 d")] | None = None
    high: Annotated[Duration, between("5 min", "7 d")] | None = None
    daytime: Annotated[Duration, between("5 min", "7 d")] | None = None


class AlarmsGroup(Group):
    humidity: TimingGroup = TimingGroup()
    temperature: TimingGroup = TimingGroup()
    co2: TimingGroup = TimingGroup()
    repeat: RepeatGroup = RepeatGroup()
    as_new: AsNewGroup = AsNewGroup()
    broker_grace: Annotated[Duration, between("10 s", "1 h")] = 120_000
    store_grace: Annotated[Duration, between("1 s", "10 min")] = 5_000
    door_open: Annotated[Duration, between("10 s", "2 h")] = 300_000


class NightGroup(Group):
    """The night of people who gave no quiet hours of their own."""

    start: ClockTime = 22 * 60
    end: ClockTime = 6 * 60


class CallsGroup(Group):
    """How much a person is called."""

    at_night: Annotated[Count, Field(ge=0, le=20)] = 2
    """Calls a night; priority 1 and a loss foretold for before morning go beyond."""
    an_hour: Annotated[Count, Field(ge=4, le=60)] = 20
    night: NightGroup = NightGroup()
    digest_at: ClockTime = 7 * 60 + 30
    weekly_on: Weekday = 0


class HeartbeatGroup(Group):
    """A sign of life for another machine to miss: an address or a topic."""

    url: Url | None = None
    method: Literal["GET", "POST"] = "POST"
    topic: Topic | None = None
    token_file: FileName | None = None
    ca_file: FileName | None = None
    every: Annotated[Duration, between("10 s", "10 min")] = 60_000
    timeout: Annotated[Duration, between("1 s", "1 min")] = 10_000


class ReportGroup(Group):
    night_start: ClockTime = 18 * 60
    night_end: ClockTime = 7 * 60
    send_at: ClockTime | None = None
    forecast: FileName | None = None
    """A CSV the grower leaves there; no service is asked."""
    slug_nights: YesNo = True
    """Call slug nights at dusk; wants `latitude` and an open space."""


class WaterGroup(Group):
    """The water behind the nozzles."""

    drain_below: Annotated[Number, Field(ge=-5, le=10)] = 2.0
    hardness: Annotated[NotNegative, Field(le=2_000)] | None = None
    """mg/l as calcium carbonate."""
    stood: Annotated[Duration, between("6 h", "30 d")] = 259_200_000
    flush: Annotated[Duration, between("1 s", "10 min")] | None = None
    """None: never by itself."""


class StoreGroup(Group):
    commit_every: Annotated[Duration, between("1 s", "1 min")] = 10_000
    queue_rows: Annotated[Count, Field(ge=1_000, le=1_000_000)] = 100_000
    keep: Annotated[Duration, between("30 d", "3650 d")] = 34_560_000_000
    """Readings older than this go; the sums of their hours stay."""


class MirrorGroup(Group):
    url: Url
    org: Name = "farm"
    bucket: Name = "gillhouse"
    token_file: FileName | None = None
    every: Annotated[Duration, between("1 s", "1 h")] = 10_000
    batch_rows: Annotated[Count, Field(le=10_000)] = 500
    keep: Annotated[Duration, between("1 d", "90 d")] = 604_800_000
    """Lines that could not be sent for so long are dropped."""
    timeout: Annotated[Duration, between("1 s", "2 min")] = 10_000
