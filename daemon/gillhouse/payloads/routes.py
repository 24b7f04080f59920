"""Which sensor a message belongs to, and what becomes of each reading in it.

`Routes.decode` looks the topic up, has its format read the message once, lets each sensor pick its value, and
gives every sample one of these fates:

* LIVE: fresh; it may drive.
* QUEUED: waited at the broker while we were away and has no time of its own.
* LATE: its own time lies before one already had from this sensor, or more than two intervals back.
* AHEAD: its own time lies more than two minutes in the future; kept under its arrival.
  While our own clock is not set, neither LATE against it nor AHEAD is said: a board's time is taken as it is,
  LIVE if it is the newest of its sensor, and LATE if the message waited at the broker.
* RETAINED: the broker's kept copy.
* refused, with a reason from `reject.Reject`; nothing else ever leaves a decoder.

A reading is known again by its own time and the board's number, whichever it has; with neither, a second
delivery cannot be told from a second reading. Not here: whether a value is plausible (`core.quality`).
"""

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

from gillhouse.core.edges import SensorRoute
from gillhouse.core.inputs import Delivery, Reading
from gillhouse.core.instant import Instant
from gillhouse.errors import PayloadError
from gillhouse.payloads import formats
from gillhouse.payloads.message import Message
from gillhouse.payloads.reject import Reject, refused
from gillhouse.payloads.sample import Sample

AHEAD_MS = 120_000
"""A board's clock may run ahead of ours by this much. Our own choice: cheap clocks drift seconds a day."""
LATE_INTERVALS = 2
"""A reading older than this many of its sensor's intervals is history, not news. Our own choice."""
REMEMBERED = 4096
"""Readings known again, over all sensors. A broker has at most 1,000 messages unacknowledged with us (see
`mqtt.RECEIVE_MAXIMUM`), so what it may send twice is among the last 1,000 messages of a few sensors each."""
OVERTAKEN = 100
"""A number so little below the newest may have been overtaken: more than boards have under way at once."""
FIRST_NUMBER = 1
"""A board that begins anew counts from 0 or 1."""
STEP_MS = 2_000
"""Wall against monotonic clock moved by more than this: a step, not drift (as `core.inputs.ClockStep`)."""
SEED_AHEAD_MS = 60_000
"""A stored stamp further ahead of our clock than this tells of a stepped clock, not of a busy second."""

RETAINED, QUEUED, LIVE, LATE, AHEAD = (
    Delivery.RETAINED, Delivery.QUEUED, Delivery.LIVE, Delivery.LATE, Delivery.AHEAD,
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Rejected:
    """A message, or one sensor's part of it, no reading could be made of."""

    topic: str
    sensor: str | None
    """None: no sensor of the topic could read the message."""
    reason: Reject
    detail: str
    """What was found, shortened and printable."""


@dataclass(frozen=True, slots=True)
class Decoded:
    """All that one message gave."""

    readings: tuple[Reading, ...]
    rejects: tuple[Rejected, ...]


NOTHING = Decoded((), ())


@dataclass(slots=True)
class _Batch:
    """What is being made of one message."""

    message: Message
    synced: bool
    clock_sure: bool
    readings: list[Reading] = field(default_factory=list)
    rejects: list[Rejected] = field(default_factory=list)


@dataclass(slots=True)
class _Sensor:
    """One sensor's picker, and what is remembered of its readings."""

    id: str
    pick: Callable[[Any], tuple[Sample, ...]]
    late_ms: int
    newest_own_ms: int = 0
    newest_seq: int = -1
    newest_stamp_ms: int = 0
    """Newest arrival stamp given; stamps only grow, so that none falls on another in the store."""
    same_own: int = 0
    """Readings beyond the first with the newest own time."""
    numbering: int = 0
    """Raised when the board began to number anew."""


@dataclass(frozen=True, slots=True)
class _Reader:
    """Sensors of one topic that read it in the same format."""

    parse: Callable[[bytes], Any]
    sensors: tuple[_Sensor, ...]


class Routes:
    """Topics to sensors to readings. One thread calls it."""

    def __init__(self, routes: Sequence[SensorRoute], max_payload: int) -> None:
        """
        Args:
            max_payload: bytes; longer messages are refused unread.
        Raises:
            ValueError: a route names no known format, unit or pointer (a config check prevents this).
        """
        self._max_payload = max_payload
        self._sensors: dict[str, _Sensor] = {}
        self._topics = self._by_topic(routes)
        self._known: dict[tuple[object, ...], None] = {}
        self._clock_gap_ms: int | None = None
        self.rejected: Counter[tuple[str, Reject]] = Counter()
        """(sensor, or topic where no sensor could read it; reason) -> how many."""
        self.delivered: Counter[Delivery] = Counter()

    def _by_topic(self, routes: Sequence[SensorRoute]) -> dict[str, tuple[_Reader, ...]]:
        grouped: dict[str, dict[Callable[[bytes], Any], list[_Sensor]]] = {}
        for route in routes:
            form = formats.form_of(route)
            sensor = _Sensor(route.sensor, form.picker(route), LATE_INTERVALS * route.every_ms)
            self._sensors[route.sensor] = sensor
            grouped.setdefault(route.topic, {}).setdefault(form.parse, []).append(sensor)
        return {
            topic: tuple(_Reader(parse, tuple(sensors)) for parse, sensors in readers.items())
            for topic, readers in grouped.items()
        }

    def topics(self) -> tuple[str, ...]:
        """Every topic a sensor speaks on, in the config's order."""
        return tuple(self._topics)

    def remember(
        self, sensor: str, ts: int, board_seq: int | None, *, own_time: bool = False, value: float = 0.0
    ) -> None:
        """Tells at the start of a stored reading, oldest first, so that its second delivery is known.

        Args:
            ts: its stored time, Unix ms. value: as stored, canonical unit.
        """
        known = self._sensors.get(sensor)
        if known is None:
            return
        if own_time:
            known.newest_own_ms = max(known.newest_own_ms, ts)
        else:
            known.newest_stamp_ms = ts
        if own_time or board_seq is not None:
            self._is_new(known, Sample(value, ts if own_time else None, board_seq))

    def decode(self, message: Message, synced: bool, clock_sure: bool = True) -> Decoded:
        """The readings in a message, each with its fate.

        Args:
            synced: False while messages that waited at the broker may still be coming in.
            clock_sure: False while our wall clock is not set: own times are not held against it.
        Returns:
            Never raises: what cannot be read is in `rejects`. A topic nobody listens on gives nothing.
        """
        readers = self._topics.get(message.topic)
        if readers is None:
            return NOTHING
        self._watch_clock(message.received, clock_sure)
        batch = _Batch(message, synced, clock_sure)
        for reader in readers:
            try:
                document = self._read(reader, message.payload)
            except PayloadError as error:
                self._refuse(batch, None, error)
                continue
            for sensor in reader.sensors:
                self._pick(sensor, document, batch)
        return Decoded(tuple(batch.readings), tuple(batch.rejects))

    def _read(self, reader: _Reader, payload: bytes) -> Any:
        if len(payload) > self._max_payload:
            raise refused(Reject.TOO_LARGE, f"{len(payload)} bytes, over the {self._max_payload} allowed")
        return reader.parse(payload)

    def _pick(self, sensor: _Sensor, document: Any, batch: _Batch) -> None:
        try:
            samples = sensor.pick(document)
        except PayloadError as error:
            self._refuse(batch, sensor.id, error)
            return
        for sample in samples:
            if (sample.own_ms is None and sample.seq is None) or self._is_new(sensor, sample):
                reading = _reading(sensor, sample, batch)
                self.delivered[reading.delivery] += 1
                batch.readings.append(reading)
            else:
                detail = f"time {sample.own_ms}, number {sample.seq} came before"
                self._refuse(batch, sensor.id, refused(Reject.DUPLICATE, detail))

    def _refuse(self, batch: _Batch, sensor: str | None, error: PayloadError) -> None:
        topic, reason = batch.message.topic, Reject(error.reason)
        self.rejected[sensor or topic, reason] += 1
        batch.rejects.append(Rejected(topic, sensor, reason, error.detail))

    def _is_new(self, sensor: _Sensor, sample: Sample) -> bool:
        """False if this reading came before; else remembers it.

        With a time of its own a reading is its time and number. With a number alone it is the number and the
        value, since boards number anew when they restart: a number far below the newest, or the board's
        first, not seen before, says so, and from there on the old numbers no longer count. One that is only
        a little below was overtaken on its way, as when a broker begins again.
        """
        known, seq = self._known, sample.seq
        if sample.own_ms is not None:
            key: tuple[object, ...] = (sensor.id, sample.own_ms, seq)
        else:
            key = (sensor.id, sensor.numbering, seq, sample.value)
        if key in known:
            return False
        if sample.own_ms is None and seq is not None:
            if seq < sensor.newest_seq - OVERTAKEN or seq <= FIRST_NUMBER < sensor.newest_seq:
                sensor.numbering += 1
                key = (sensor.id, sensor.numbering, seq, sample.value)
                sensor.newest_seq = seq
            sensor.newest_seq = max(sensor.newest_seq, seq)
        known[key] = None
        if len(known) > REMEMBERED:
            del known[next(iter(known))]
        return True

    def _watch_clock(self, received: Instant, clock_sure: bool) -> None:
        """Forgets the newest stamps when the wall clock was stepped: the next arrival begins anew.

        Boards' own times that lie ahead of a clock that is set are forgotten too: the boards took them from a
        clock that was wrong, and would be late until it is that time again.
        """
        gap_ms = received.wall_ms - received.mono_ms
        if self._clock_gap_ms is not None and abs(gap_ms - self._clock_gap_ms) <= STEP_MS:
            return
        first, self._clock_gap_ms = self._clock_gap_ms is None, gap_ms
        for sensor in self._sensors.values():
            if not first or sensor.newest_stamp_ms > received.wall_ms + SEED_AHEAD_MS:
                sensor.newest_stamp_ms = 0
            if clock_sure and sensor.newest_own_ms > received.wall_ms + AHEAD_MS:
                sensor.newest_own_ms = 0


def _reading(sensor: _Sensor, sample: Sample, batch: _Batch) -> Reading:
    """One reading with its fate."""
    own_ms, arrival_ms = sample.own_ms, batch.message.received.wall_ms
    shown_ahead_ms = own_ms - arrival_ms if own_ms is not None and batch.clock_sure else 0
    ahead = max(sample.shift_ms, shown_ahead_ms) > AHEAD_MS
    if own_ms is None or ahead:
        return _by_arrival(sensor, sample, batch, ahead)
    if batch.clock_sure:
        late = own_ms < max(sensor.newest_own_ms, arrival_ms - sensor.late_ms)
    else:  # its age cannot be told: what waited at the broker moves nothing
        late = own_ms < sensor.newest_own_ms or not batch.synced
    sensed_ms = own_ms
    if own_ms > sensor.newest_own_ms:
        sensor.newest_own_ms, sensor.same_own = own_ms, 0
    elif own_ms == sensor.newest_own_ms:  # a clock of whole seconds and two readings in one
        sensor.same_own += 1
        sensed_ms += sensor.same_own
    delivery = RETAINED if batch.message.retain else LATE if late else LIVE
    return Reading(sensor.id, sample.value, sensed_ms, True, sample.seq, delivery)


def _by_arrival(sensor: _Sensor, sample: Sample, batch: _Batch, ahead: bool) -> Reading:
    """A reading without a usable time of its own."""
    arrival_ms, shift_ms = batch.message.received.wall_ms, min(sample.shift_ms, 0)
    late = -shift_ms > sensor.late_ms
    sensed_ms = arrival_ms + shift_ms
    if not late:
        sensed_ms = sensor.newest_stamp_ms = max(sensed_ms, sensor.newest_stamp_ms + 1)
    if batch.message.retain:
        delivery = RETAINED
    elif not batch.synced:
        delivery = QUEUED
    else:
        delivery = AHEAD if ahead else LATE if late else LIVE
    return Reading(sensor.id, sample.value, sensed_ms, False, sample.seq, delivery)
