"""Alarms and reports out to people: who gets which, kept in the store, handed to the channels.

`notice` and `message` word a message, queue its row for the store and hand it to its channel's own thread
(`sender`); they never wait, neither for a disk nor for a server. Rows still open at the start are taken up
again. While the store fails, messages go out from memory all the same, marked so; their rows wait with the
writer and are stored once it works again.
Not here: whether an alarm is announced (`core.alarm`), and what a channel does.
"""

import base64
import json
import logging
import mimetypes
import threading
from collections.abc import Iterable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Protocol

from gillhouse.alerts import Ports, open_channels
from gillhouse.alerts.channel import Attachment, Message
from gillhouse.alerts.mqtt import Publish
from gillhouse.alerts.sender import GIVE_UP_MS, Sender, Waiting
from gillhouse.alerts.wording import alarm_text, late, subject_line
from gillhouse.clock import Clock
from gillhouse.core.edges import AlertSettings, PersonSettings, ReachSettings
from gillhouse.core.instant import Instant
from gillhouse.core.outputs import AlarmNotice
from gillhouse.core.settings import FarmSettings
from gillhouse.store.reader import Reader
from gillhouse.store.records import Opened, OutboxAt
from gillhouse.store.rows import OutboxRow, OutboxUpdate

log = logging.getLogger("gillhouse.alerts")

LATE_MS = 10 * 60_000
"""An alarm sent this long after it was made says from when it is."""

STOP_WITHIN_S = 2.0
"""A channel that hangs in a server's answer is left behind after this; its message stays in the store."""


class Settings(Protocol):
    """What is used of the config."""

    @property
    def alerts(self) -> AlertSettings: ...

    @property
    def farm(self) -> FarmSettings: ...


class Journal(Protocol):
    """What is used of the store's writer."""

    @property
    def opened(self) -> Opened: ...

    def put(self, *entries: OutboxRow | OutboxUpdate) -> None: ...


class Alerts:
    """The outbox. Any thread may call it."""

    def __init__(
        self, config: Settings, clock: Clock, journal: Journal, store: Path, publish: Publish
    ) -> None:
        """Makes the channels; nothing is sent before `start`.

        Args:
            store: the store's file, read at `start` for what an earlier run could not send.
            publish: hands (topic, payload) to the broker, for channels of that kind.
        """
        self._people = config.alerts.people
        self._zone = config.farm.zone
        self._names = {space.id: space.name for space in config.farm.spaces.values()}
        self._clock = clock
        self._journal = journal
        self._store = store
        self._lock = threading.Lock()
        self._next_row = journal.opened.next_outbox_id
        self._stored = True
        self.channels = open_channels(config.alerts, Ports(clock, publish))
        self._senders = {
            name: Sender(channel, clock, config.alerts.retry_ms, journal.put, self._as_of)
            for name, channel in self.channels.items()
        }

    def start(self) -> None:
        """Takes up what was left unsent, then sends."""
        now = self._clock.now()
        with Reader(self._store) as reader:
            for row in reader.outbox_open():
                self._take_up(now, row)
        for sender in self._senders.values():
            sender.start()

    def stop(self) -> None:
        """Ends after what is due now was tried; the rest waits in the store."""
        for sender in self._senders.values():
            sender.close()
        for sender in self._senders.values():
            sender.join(STOP_WITHIN_S)

    def settled(self) -> bool:
        """Nothing is being sent and nothing is due: the trial run may move time on."""
        now_ms = self._clock.now().mono_ms
        return all(sender.settled(now_ms) for sender in self._senders.values())

    def notice(self, now: Instant, notice: AlarmNotice) -> None:
        """Sends the message of an announced alarm to everyone who gets that priority and space."""
        if not notice.announce:
            return
        text = alarm_text(notice, self._names, self._zone, now.wall_ms, self._stored)
        log.warning("alarm, priority %d: %s", notice.priority, text)
        like = Message(
            "", now.wall_ms, "", "", subject_line(notice, self._names), text,
            notice.priority, notice.alarm, notice.occurrence,
        )
        self._send(now, like, (person for person in self._people if _gets(person, notice)))

    def message(self, now: Instant, subject: str, text: str, files: Mapping[str, str] | None = None) -> None:
        """Sends a report to everyone who gets reports.

        Args:
            files: name -> text, sent along by channels that can carry them.
        """
        attachments = tuple(_attached(name, body) for name, body in (files or {}).items())
        like = Message("", now.wall_ms, "", "", subject, text, attachments=attachments)
        self._send(now, like, (person for person in self._people if person.report))

    def store_failed(self, now: Instant, text: str) -> None:
        """From now on messages say that nothing is being written down."""
        self._stored = False
        log.error("alerts go out from memory, the store fails: %s", text)

    def store_recovered(self, now: Instant) -> None:
        """Messages are stored again."""
        self._stored = True

    def _send(self, now: Instant, like: Message, people: Iterable[PersonSettings]) -> None:
        for person in people:
            for reach in person.reach:
                self._post(now, like, person, reach)

    def _post(self, now: Instant, like: Message, person: PersonSettings, reach: ReachSettings) -> None:
        # One lock over number and queue: rows and sending keep the same order.
        with self._lock:
            row = self._next_row
            self._next_row += 1
            message = replace(like, id=_message_id(row, now.wall_ms), person=person.id, to=reach.to)
            self._journal.put(
                OutboxRow(
                    row, now.wall_ms, reach.channel, message.subject, message.text, now.wall_ms,
                    message.alarm, message.occurrence, _packed(message),
                )
            )
            self._senders[reach.channel].put(Waiting(row, message, now.mono_ms))

    def _take_up(self, now: Instant, row: OutboxAt) -> None:
        """Queues a message of an earlier run, unless it is too old or its way is gone."""
        if now.wall_ms - row.ts >= GIVE_UP_MS:
            return
        message = _unpacked(row)
        to = _address(self._people, message.person, row.channel)
        if to is None:
            why = f"given up: {message.person or 'nobody'} is no longer reached by {row.channel}"
            log.warning("message %s %s", message.id, why)
            self._journal.put(OutboxUpdate(row.id, row.attempts, row.next_try, why))
            return
        self._senders[row.channel].put(Waiting(row.id, replace(message, to=to), now.mono_ms, row.attempts))

    def _as_of(self, message: Message, now: Instant) -> Message:
        if message.alarm is None or now.wall_ms - message.at_ms < LATE_MS:
            return message
        return replace(message, text=late(message.text, message.at_ms, self._zone))


def _address(people: Iterable[PersonSettings], person: str, channel: str) -> str | None:
    """Where `channel` reaches `person` now; None: it does not."""
    for one in people:
        for reach in one.reach:
            if (one.id, reach.channel) == (person, channel):
                return reach.to
    return None


def _gets(person: PersonSettings, notice: AlarmNotice) -> bool:
    here = person.spaces is None or notice.space is None or notice.space in person.spaces
    return here and notice.priority in person.priorities


def _message_id(row: int, at_ms: int) -> str:
    return f"{at_ms}-{row}"


def _attached(name: str, body: str) -> Attachment:
    kind = mimetypes.guess_type(name)[0] or "text/plain"
    return Attachment(name, kind, body.encode())


def _packed(message: Message) -> str:
    """What the outbox has no column for, as JSON."""
    files = [
        [one.name, one.media_type, base64.b64encode(one.data).decode("ascii")] for one in message.attachments
    ]
    return json.dumps({"person": message.person, "priority": message.priority, "files": files})


def _unpacked(row: OutboxAt) -> Message:
    rest = json.loads(row.attachments or "{}")
    files = tuple(
        Attachment(name, kind, base64.b64decode(data)) for name, kind, data in rest.get("files", [])
    )
    return Message(
        _message_id(row.id, row.ts), row.ts, rest.get("person", ""), "", row.subject, row.text,
        rest.get("priority"), row.alarm, row.occurrence, files,
    )
