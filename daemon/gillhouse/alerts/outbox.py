"""Messages out to people: worded, kept in the store, handed to the channels.

`call` and `message` word a message, queue its row for the store and hand it to its channel's own thread
(`sender`); they never wait, neither for a disk nor for a server. Rows still open at the start are taken up
again. While the store fails, messages go out from memory all the same, marked so; their rows wait with the
writer and are stored once it works again.
A call goes over a person's first way; when that fails, others help out (`ways`).
Not here: who is called, and when (`core.calling`), and what a channel does.
"""

import base64
import json
import logging
import mimetypes
import re
import threading
from collections.abc import Callable, Iterable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Protocol

from gillhouse.alerts import Ports, open_channels
from gillhouse.alerts.channel import Attachment, Message
from gillhouse.alerts.codes import MARK
from gillhouse.alerts.letters import Letters
from gillhouse.alerts.mqtt import Publish
from gillhouse.alerts.sender import GIVE_UP_MS, Sender
from gillhouse.alerts.ways import Going, Waiting, Ways
from gillhouse.alerts.wording import late
from gillhouse.clock import Clock
from gillhouse.core.edges import AlertSettings, PersonSettings
from gillhouse.core.inputs import ChannelReport
from gillhouse.core.instant import Instant
from gillhouse.core.outputs import AlarmNotice, Call, CallKind
from gillhouse.core.settings import FarmSettings
from gillhouse.store.reader import Reader
from gillhouse.store.records import Opened, OutboxAt
from gillhouse.store.rows import OutboxRow, OutboxUpdate

log = logging.getLogger("gillhouse.alerts")

LATE_MS = 10 * 60_000
"""An alarm sent this long after it was made says from when it is."""

NO_CODE = re.compile(r" ?Reply [^.]*\.")
"""How to answer, where no code could be drawn: better a message without than none."""

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


class Alerts:  # 17 methods: what control hands in, what the senders ask, and the one queue between
    """The outbox. Any thread may call it."""

    def __init__(
        self, config: Settings, clock: Clock, journal: Journal, store: Path, publish: Publish
    ) -> None:
        """Makes the channels; nothing is sent before `start`.

        Args:
            store: the store's file, read at `start` for what an earlier run could not send.
            publish: hands (topic, payload) to the broker, for channels of that kind.
        """
        self._people = {one.id: one for one in config.alerts.people}
        self._zone = config.farm.zone
        self._letters = Letters(config.alerts, config.farm)
        self._clock = clock
        self._journal = journal
        self._store = store
        self._lock = threading.Lock()
        self._next_row = journal.opened.next_outbox_id
        self._ways = Ways(config.alerts, self._help, self._tell)
        self._told: dict[str, tuple[bool, int]] = {}
        self.on_report: Callable[[ChannelReport], None] = lambda _: None
        """Told what channels did; it must only hand over."""
        self.code_of: Callable[[Message, Instant], str] | None = None
        """Draws the code an answer to a message must carry, on the sender's thread."""
        self.channels = open_channels(config.alerts, Ports(clock, publish))
        self._senders = {
            name: Sender(channel, clock, config.alerts.retry_ms, journal.put, self._as_of, self._ways)
            for name, channel in self.channels.items()
        }

    @property
    def digest_lines(self) -> list[Callable[[Instant], tuple[str, ...]]]:
        """What other parts of the house add to the end of a digest."""
        return self._letters.digest_lines

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

    def call(self, now: Instant, call: Call) -> None:
        """Sends a message to one person: by their first way, or, a weekly list, by each of them."""
        person = self._people.get(call.person)
        if person is None:
            log.warning("%s is called and not yet known here: restart to take up the config", call.person)
            return
        if call.kind is CallKind.WEEKLY:
            for reach in person.reach:
                like = self._letters.weekly(now, call, reach.channel)
                self._queue(now, like, person.id, reach.channel, Going(call=call.id))
            return
        if self._ways.still_going(call):
            log.warning("call %s: the last one about the same is still on its way", call.id)
            return
        going = self._ways.begin(person, call)
        like = self._letters.worded(now, call, answers=self._ways.answers(going.first))
        log.log(logging.WARNING if call.notices else logging.INFO, "call %s: %s", call.id, like.text.strip())
        self._queue(now, like, person.id, going.first, going)

    def notice(self, now: Instant, notice: AlarmNotice) -> None:
        """An announced alarm stands in the log, whoever is called."""
        if notice.announce:
            said = self._letters.alarm(now, notice)
            log.warning("alarm, priority %d: %s", notice.priority, said)

    def message(self, now: Instant, subject: str, text: str, files: Mapping[str, str] | None = None) -> None:
        """Sends a report to everyone who gets reports, by all their ways that do not ring.

        Args:
            files: name -> text, sent along by channels that can carry them.
        """
        attachments = tuple(_attached(name, body) for name, body in (files or {}).items())
        like = Message("", now.wall_ms, "", "", subject, text, attachments=attachments)
        for person in self._people.values():
            for channel in self._ways.for_reports(person) if person.report else ():
                self._queue(now, like, person.id, channel, Going())

    def word_back(self, person: str, channel: str, subject: str, text: str) -> None:
        """Tells a person over `channel`, and no other way, what became of their answer."""
        now = self._clock.now()
        self._queue(now, Message("", now.wall_ms, "", "", subject, text), person, channel, Going())

    def store_failed(self, now: Instant, text: str) -> None:
        """From now on messages say that nothing is being written down."""
        self._letters.stored = False
        log.error("alerts go out from memory, the store fails: %s", text)

    def store_recovered(self, now: Instant) -> None:
        """Messages are stored again."""
        self._letters.stored = True

    def _queue(self, now: Instant, like: Message, person: str, channel: str, going: Going) -> None:
        to = _address(self._people.values(), person, channel) or ""
        # One lock over number and queue: rows and sending keep the same order.
        with self._lock:
            row = self._next_row
            self._next_row += 1
            message = replace(like, id=_message_id(row, like.at_ms), person=person, to=to)
            self._journal.put(_row(row, now, channel, message, going))
            self._senders[channel].put(Waiting(row, message, now.mono_ms, going))

    def _take_up(self, now: Instant, row: OutboxAt) -> None:
        """Queues a message of an earlier run, unless it is too old or its way is gone."""
        if now.wall_ms - row.ts >= GIVE_UP_MS:
            return
        message, call, ways = _unpacked(row)
        to = _address(self._people.values(), message.person, row.channel)
        if to is None:
            why = f"given up: {message.person or 'nobody'} is no longer reached by {row.channel}"
            log.warning("message %s %s", message.id, why)
            self._journal.put(OutboxUpdate(row.id, row.attempts, row.next_try, why))
            return
        going = self._ways.take_up(message, row.channel, call, ways)
        waiting = Waiting(row.id, replace(message, to=to), now.mono_ms, going, row.attempts)
        self._senders[row.channel].put(waiting)

    # On the senders' threads.

    def _help(self, waiting: Waiting, channel: str) -> None:
        """Another way is tried for a message that does not get out."""
        log.warning("message %s goes by %s too", waiting.message.id, channel)
        self._queue(self._clock.now(), waiting.message, waiting.message.person, channel, waiting.going)

    def _tell(self, report: ChannelReport) -> None:
        """Tells the house what a channel did; of one that works, once an hour is enough."""
        now_ms = self._clock.now().mono_ms
        ok, at_ms = self._told.get(report.channel, (False, 0))
        if report.ok and ok and now_ms - at_ms < TELL_EVERY_MS:
            return
        self._told[report.channel] = (report.ok, now_ms)
        self.on_report(report)

    def _as_of(self, message: Message, now: Instant) -> Message:
        """The message as it is to be sent now: with its code, and saying from when it is."""
        text = message.text
        if MARK in text:
            code = self.code_of(message, now) if self.code_of is not None else ""
            text = text.replace(MARK, code) if code else NO_CODE.sub("", text)
        if message.alarm is not None and now.wall_ms - message.at_ms >= LATE_MS:
            text = late(text, message.at_ms, self._zone)
        return message if text == message.text else replace(message, text=text)


TELL_EVERY_MS = 3_600_000
"""A channel that works is written down so often. Our choice."""


def _address(people: Iterable[PersonSettings], person: str, channel: str) -> str | None:
    """Where `channel` reaches `person` now; None: it does not."""
    for one in people:
        for reach in one.reach:
            if (one.id, reach.channel) == (person, channel):
                return reach.to
    return None


def _message_id(row: int, at_ms: int) -> str:
    return f"{at_ms}-{row}"


def _attached(name: str, body: str) -> Attachment:
    kind = mimetypes.guess_type(name)[0] or "text/plain"
    return Attachment(name, kind, body.encode())


def _row(number: int, now: Instant, channel: str, message: Message, going: Going) -> OutboxRow:
    return OutboxRow(
        number, message.at_ms, channel, message.subject, message.text, now.wall_ms,
        message.alarm, message.occurrence, _packed(message, going),
    )  # fmt: skip


def _packed(message: Message, going: Going) -> str:
    """What the outbox has no column for, as JSON."""
    files = [
        [one.name, one.media_type, base64.b64encode(one.data).decode("ascii")] for one in message.attachments
    ]
    rest = {"person": message.person, "priority": message.priority, "files": files}
    return json.dumps({**rest, "call": going.call, "ways": going.ways})


def _unpacked(row: OutboxAt) -> tuple[Message, str, list[str]]:
    """A message of an earlier run, the call it belongs to, and the ways that were left when it was queued."""
    rest = json.loads(row.attachments or "{}")
    files = tuple(
        Attachment(name, kind, base64.b64decode(data)) for name, kind, data in rest.get("files", [])
    )
    message = Message(
        _message_id(row.id, row.ts), row.ts, rest.get("person", ""), "", row.subject, row.text,
        rest.get("priority"), row.alarm, row.occurrence, files,
    )  # fmt: skip
    return message, rest.get("call", ""), rest.get("ways", [])
