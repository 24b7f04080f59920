"""What the parts around the core are told: broker, topics, relay wires, store, mirror, alerts, report.

Here: frozen settings only, one class per part. They stand below every part that reads them (`mqtt`,
`payloads`, `relays`, `store`, `alerts`), so that `config` can fill them and no part need know another.
Not here: anything that decides, opens, reads or sends; what the core itself needs (`core.settings`).
Durations are whole milliseconds, local times are minutes since local midnight. A secret is never held
here: only the name of the file it is read from, at the moment it is needed.
"""

from dataclasses import dataclass
from datetime import date
from enum import StrEnum

from gillhouse.core.quantities import Quantity


@dataclass(frozen=True, slots=True)
class BrokerSettings:
    """The MQTT broker the boards talk to."""

    host: str = "127.0.0.1"
    port: int = 1883
    protocol: str = "auto"
    """`auto`, `5` or `3.1.1`."""
    client_id: str = "gillhouse"
    """Names our kept session at the broker: two daemons with one id throw each other out."""
    username: str | None = None
    password_file: str | None = None
    """Absolute path of a file only its owner may read (mode 0600); its first line is the password."""
    tls: bool = False
    ca_file: str | None = None
    """Absolute path of the authority that signed the broker's certificate; None: the machine's own list."""
    base_topic: str = "gillhouse"
    """Our own topics stand under it: `{base_topic}/alive` (birth and last will), the marker to ourselves."""
    keepalive_s: int = 30
    max_payload: int = 4096
    """Bytes; a longer message is rejected unread."""


@dataclass(frozen=True, slots=True)
class RateSettings:
    """How fast anybody may speak. Messages that waited at the broker or on a board are not counted."""

    board_per_s: int = 50
    """Messages a second of one topic that may go on for good; 0: no limit."""
    board_burst: int = 1_000
    """... and how many at once after a quiet time."""
    local_per_s: int = 50
    """Requests a second of one user of this machine; 0: no limit."""
    local_burst: int = 1_000


@dataclass(frozen=True, slots=True)
class SensorRoute:
    """Where one sensor's value is found: which topic, in which format, where inside the message."""

    sensor: str
    """Id, as in `FarmSettings.sensors`."""
    topic: str
    """Full topic, no wildcard. Several sensors may share one topic."""
    format: str
    """`number`, `json`, `senml` or `words`."""
    quantity: Quantity
    unit: str
    """What the board writes: one of `UNITS[quantity]`; `1` for an on/off quantity."""
    every_ms: int
    """The interval the board reports at."""
    path: str | None = None
    """json: RFC 6901 pointer to the value, `/rh`. words: the same where the word stands in JSON, else
    None."""
    time_path: str | None = None
    """json: pointer to the board's own time (Unix seconds, or ISO 8601 with offset)."""
    seq_path: str | None = None
    """json: pointer to the board's own message number."""
    words: tuple[str, str] | None = None
    """words: (word for 1.0, word for 0.0), as ("open", "closed"). Case does not matter."""
    senml_name: str | None = None
    """senml: the record's resolved name (base name + name, RFC 8428 4.5.1)."""


@dataclass(frozen=True, slots=True)
class GpioPin:
    """A pin of this machine."""

    pin: int
    """As the chip counts (BCM), not the place on the header."""
    active_low: bool = True
    """The relay is on while the pin is low, as on most boards with optocouplers."""
    chip: int | None = None
    """Number of the /dev/gpiochip; None: the one this board usually has its header on."""


@dataclass(frozen=True, slots=True)
class ModbusLine:
    """How Modbus boards are reached: over TCP, or where `serial` is given, over that device."""

    host: str = ""
    port: int = 502
    serial: str | None = None
    baud: int = 9_600
    parity: str = "N"
    """`N`, `E` or `O`."""
    stop_bits: int = 1
    timeout_ms: int = 1_000

    def __str__(self) -> str:
        return self.serial or f"{self.host}:{self.port}"


@dataclass(frozen=True, slots=True)
class ModbusCoil:
    """A coil of a Modbus board."""

    line: ModbusLine
    coil: int
    """From 0, as in the protocol."""
    device: int = 1
    """The board's address on the line, 1 to 247."""

    def __str__(self) -> str:
        return f"{self.line} device {self.device} coil {self.coil}"


@dataclass(frozen=True, slots=True)
class RelayWire:
    """How one relay is reached. Payloads are templates over `{seconds}`, `{until}` and `{id}`."""

    relay: str
    """Id, as in `FarmSettings.relays`."""
    driver: str
    """A key of `relays.DRIVERS`."""
    command_topic: str | None = None
    """mqtt: where commands go. None for every other driver."""
    payload_on: str = "ON"
    """`{seconds}`: whole seconds to run; `{until}`: Unix time at which it must be off; `{id}`: the command's
    number. Only these three are filled in; every other brace stays, so JSON is written as it is:
    `{"on": true, "for": {seconds}}`. `payload_off` is filled the same way."""
    payload_off: str = "OFF"
    state_topic: str | None = None
    """Where the board says what its relay does; None: it says nothing."""
    state_path: str | None = None
    """RFC 6901 pointer to the state word where the echo is JSON; None: the whole payload is the word."""
    state_on: str = "ON"
    """The word for on; case does not matter."""
    state_off: str = "OFF"
    available_topic: str | None = None
    """The board's own birth and last will; None: it has none."""
    available_on: str = "online"
    available_off: str = "offline"
    gpio: GpioPin | None = None
    modbus: ModbusCoil | None = None
    advise_only: bool = False
    """Not to be touched at all, not even to switch it off."""


@dataclass(frozen=True, slots=True)
class StoreSettings:
    """The journal's pace and bounds."""

    commit_every_ms: int = 10_000
    """Plain readings are committed at least this often; commands and alarms at once."""
    queue_rows: int = 100_000
    """Rows kept in memory while the disk refuses; beyond it the oldest readings are dropped and counted."""
    release_after_ms: int = 5_000
    """Without a commit for this long, readings are acknowledged to the broker all the same."""
    keep_days: int = 400
    """Readings older than this are removed, a few at each commit. Events, commands, alarms, hours stay."""


@dataclass(frozen=True, slots=True)
class MirrorSettings:
    """A second store that takes line protocol v2 over HTTP. It only receives; no question is asked of it."""

    url: str
    org: str = ""
    bucket: str = ""
    token_file: str | None = None
    """Absolute path, mode 0600; None: the server asks for none."""
    batch_rows: int = 500
    every_ms: int = 10_000
    timeout_ms: int = 10_000
    keep_days: int = 7
    """Lines that could not be sent for longer are dropped, and counted."""


WAKES = {
    # kind of channel: whether a message on it rings at night by itself
    "sms": True,
    "mail": False,
    "webhook": False,
    "mqtt": False,
    "apprise": False,
    "memory": False,
}
"""Our judgement, from memory: a telephone rings for a text unless muted; it is silent for mail; what stands
behind an address or a topic we cannot know. The config may say otherwise of one channel, with a reason."""


@dataclass(frozen=True, slots=True)
class AnswerBox:
    """The mailbox replies come to, fetched over IMAP with TLS (RFC 9051, RFC 8314)."""

    host: str
    port: int
    username: str
    password_file: str
    folder: str = "INBOX"
    every_ms: int = 60_000
    ca_file: str | None = None


@dataclass(frozen=True, slots=True)
class ChannelSettings:
    """One way out for messages. Which fields count is a matter of `kind`; config refuses the others."""

    id: str
    kind: str
    """A key of `WAKES`."""
    wakes: bool = False
    """A message on it wakes a sleeper: the kind's own fact, or what the grower says of this one."""
    wakes_why: str = ""
    """Why the grower says so; empty: the kind's own fact."""
    host: str = ""
    """mail: the SMTP server."""
    port: int = 0
    """mail."""
    security: str = "starttls"
    """mail: `starttls`, `tls` (from the first byte) or `off` (warned of)."""
    ca_file: str | None = None
    """mail, webhook: absolute path of the authority to trust; None: the machine's own list."""
    username: str | None = None
    """mail."""
    password_file: str | None = None
    """mail: absolute path, mode 0600."""
    sender: str = ""
    """mail: the From address."""
    url: str = ""
    """webhook."""
    token_file: str | None = None
    """webhook: absolute path, mode 0600; sent as `Authorization: Bearer`."""
    topic: str = ""
    """mqtt: the topic; `{person}` in it becomes the person's id."""
    url_file: str | None = None
    """apprise: absolute path, mode 0600; its first line is the service's address, which holds its secrets."""
    device: str = ""
    """sms: the modem's serial device."""
    baud: int = 115_200
    """sms."""
    pin_file: str | None = None
    """sms: absolute path, mode 0600; None: the card asks for no PIN."""
    look_every_ms: int = 10_000
    """sms: texts that came in are read at least this often."""
    answers: AnswerBox | None = None
    """mail: where replies are fetched; None: none are."""
    timeout_ms: int = 15_000


@dataclass(frozen=True, slots=True)
class ReachSettings:
    """How one person is reached over one channel."""

    channel: str
    """Id of a `ChannelSettings`."""
    to: str = ""
    """mail: the address; sms: the telephone number. The other kinds need none."""


class PersonRole(StrEnum):
    """What a person may do besides getting messages."""

    OWNER = "owner"
    """Everything."""
    HELPER = "helper"
    """Acknowledge, note, and run a relay for up to `HELPER_RUN_MS`."""
    GUEST = "guest"
    """Nothing: gets messages, and no answer of theirs counts."""


HELPER_RUN_MS = 20 * 60_000
"""The longest a helper may run a relay by hand. Our own choice."""


@dataclass(frozen=True, slots=True)
class PersonSettings:
    """Somebody who gets messages."""

    id: str
    name: str
    reach: tuple[ReachSettings, ...]
    """All are used, in this order."""
    priorities: tuple[int, ...] = (1, 2, 3)
    """Alarms of these priorities (1 wakes someone, 2 high, 3 daytime)."""
    spaces: tuple[str, ...] | None = None
    """Alarms of these spaces, and those of no space; None: of all."""
    report: bool = True
    """Gets the night's report each morning."""
    role: PersonRole = PersonRole.OWNER
    phone: str = ""
    """`+` and digits (ITU-T E.164); texts go to it, and only texts from it are this person's. Empty: none."""
    logins: tuple[str, ...] = ()
    """Users of this machine who are this person."""
    quiet_from_min: int | None = None
    """Local minutes since midnight at which the person's quiet hours begin; None: has none."""
    quiet_to_min: int | None = None
    """Local minutes at which they end; before `quiet_from_min`: next morning."""


@dataclass(frozen=True, slots=True)
class RotaSettings:
    """Who is called first on some days. The first entry that holds a day counts; without one, file order."""

    id: str
    first: tuple[str, ...]
    """Ids of people, in the order they are called; those left out come after, in the order of the file."""
    start: date | None = None
    """First local day; None: from ever."""
    end: date | None = None
    """Last local day, itself included; None: for ever."""
    weekdays: tuple[int, ...] = ()
    """0 is Monday, as `date.weekday()`; empty: all."""
    hands_over_min: int = 8 * 60
    """A day of the rota runs from this local time to the same next day, so that a night has one first."""


@dataclass(frozen=True, slots=True)
class AlertSettings:
    """Who is told, and how. With neither, alarms stand in the log alone (config warns)."""

    people: tuple[PersonSettings, ...] = ()
    channels: tuple[ChannelSettings, ...] = ()
    retry_ms: tuple[int, ...] = (5_000, 15_000, 60_000, 300_000)
    """Waits after each failure; the last one repeats."""
    rota: tuple[RotaSettings, ...] = ()


@dataclass(frozen=True, slots=True)
class HeartbeatSettings:
    """A sign of life sent outwards, for another machine to miss. One of `url` and `topic`."""

    url: str = ""
    method: str = "POST"
    """`POST` sends what it knows as JSON; `GET` only asks for the address."""
    topic: str = ""
    """MQTT, on the farm's own broker."""
    token_file: str | None = None
    """Absolute path, mode 0600; sent as `Authorization: Bearer`."""
    ca_file: str | None = None
    every_ms: int = 60_000
    timeout_ms: int = 10_000


@dataclass(frozen=True, slots=True)
class ReportSettings:
    """The night: the audit's unit."""

    night_from_min: int = 18 * 60
    """Local minutes since midnight at which it begins, in the evening."""
    night_to_min: int = 7 * 60
    """Local minutes at which it ends, next morning."""
    send_at_min: int | None = None
    """Local minutes at which the night is sent to the people who get it; None: not sent."""
    forecast_file: str | None = None
    """The grower's own forecast, a CSV, read whenever a report is made."""
    slug_nights: bool = True
    """They are called at dusk, where the latitude is known and a space is open."""


@dataclass(frozen=True, slots=True)
class ShutOff:
    """Where something is turned off by hand, for the helper card."""

    what: str
    where: str
    how: str = ""


@dataclass(frozen=True, slots=True)
class Neighbour:
    """Somebody to ring who gets no messages from us: the electrician, the water works."""

    who: str
    number: str
    what_for: str = ""


@dataclass(frozen=True, slots=True)
class CardSettings:
    """What the helper card says beyond what the rest of the config knows."""

    emergency: str = ""
    """The number of the rescue services here; empty: a line to fill in by hand."""
    address: str = ""
    """How somebody from outside finds the farm."""
    shut_offs: tuple[ShutOff, ...] = ()
    ring: tuple[Neighbour, ...] = ()
    notes: tuple[str, ...] = ()
