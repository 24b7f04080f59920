"""The ways a call may take to a person: which first, which helps out, and that only one delivers it.

A call goes over one channel. After `HELP_AFTER` failures there the person's next way is tried too; whichever
takes it first ends the others. Three grades of delivery: taken by the channel (here), received by the other
side (where a channel says so), seen by a person. Only the last ends the calls, and that is the core's.
Not here: the queue of a channel (`sender`), whom to call (`core.calling`).
"""

import threading
from collections.abc import Callable
from dataclasses import dataclass, field

from gillhouse.alerts.channel import Message
from gillhouse.core.edges import AlertSettings, PersonSettings
from gillhouse.core.inputs import ChannelReport
from gillhouse.core.outputs import Call, CallKind

HELP_AFTER = 2
"""After so many failures of one way the next one is tried too. Our choice."""


@dataclass(slots=True)
class Going:
    """One message to one person, on its way by one channel or several."""

    first: str = ""
    ways: list[str] = field(default_factory=list)
    """Channels not tried yet, in order."""
    call: str = ""
    """Id of the call; empty: a report."""
    by: str = ""
    """The channel that took it."""
    busy: bool = False
    """Some channel is being asked at this moment."""


@dataclass(slots=True)
class Waiting:
    """A message on its way, and how far it has come."""

    row: int
    """Id in the store's outbox."""
    message: Message
    queued_ms: int
    """Monotonic time it was queued in this run."""
    going: Going
    """What it shares with the other ways of the same message."""
    attempts: int = 0
    due_ms: int = 0
    """Monotonic time before which it is not tried."""


Key = tuple[str, str, int | None]


class Ways:
    """Follows every call over its ways. Any thread may call it."""

    def __init__(
        self,
        settings: AlertSettings,
        help_out: Callable[[Waiting, str], None],
        tell: Callable[[ChannelReport], None],
    ) -> None:
        """Knows the channels.

        Args:
            help_out: queues a message that does not get out on another channel.
            tell: told of each delivery, and of each second failure.
        """
        self._rings = {one.id for one in settings.channels if one.wakes}
        self._answered = {one.id for one in settings.channels if one.kind == "sms" or one.answers}
        self._help_out, self._tell = help_out, tell
        self._lock = threading.Lock()
        self._last: dict[Key, Going] = {}
        """By person, alarm and occurrence: the last call about it."""
        self._taken: dict[tuple[str, str], Going] = {}
        """Of an earlier run, by call and person."""

    def begin(self, person: PersonSettings, call: Call) -> Going:
        """The ways of a call: at night one that rings, for a digest one that does not; about a channel that
        does not get out, that channel last."""
        named = [reach.channel for reach in person.reach]
        loud = call.kind is CallKind.ALARM and (call.night or call.priority == 1)
        if loud or call.kind is not CallKind.ALARM:
            named.sort(key=lambda name: (name in self._rings) is not loud)
        dead = {one.alarm.partition(":")[2] for one in call.notices if one.kind == "channel-dead"}
        named.sort(key=lambda name: name in dead)
        going = Going(named[0], named[1:], call.id)
        if call.kind is CallKind.ALARM:
            self._last[_key(call)] = going
        return going

    def still_going(self, call: Call) -> bool:
        """A call about the same occurrence has not got out yet: another would only queue behind it."""
        last = self._last.get(_key(call)) if call.kind is CallKind.ALARM else None
        return last is not None and not last.by

    def take_up(self, message: Message, channel: str, call: str, ways: list[str]) -> Going:
        """The ways of a message of an earlier run; all rows of one call share them."""
        going = (
            self._taken.setdefault((call, message.person), Going(channel, ways, call)) if call else Going()
        )
        going.ways = [one for one in going.ways if one in ways and one != channel]
        if message.alarm is not None:
            self._last[message.person, message.alarm, message.occurrence] = going
        return going

    def for_reports(self, person: PersonSettings) -> list[str]:
        """Every way that does not ring; the first one where all do."""
        named = [reach.channel for reach in person.reach]
        return [one for one in named if one not in self._rings] or named[:1]

    def answers(self, channel: str) -> bool:
        """What comes back over this channel is read."""
        return channel in self._answered

    # What a sender asks and tells.

    def may_send(self, waiting: Waiting) -> bool | None:
        """Claims a message for one attempt. False: another way took it. None: another is at it now."""
        going = waiting.going
        with self._lock:
            if going.by:
                return False
            if going.busy:
                return None
            going.busy = True
            return True

    def sent(self, waiting: Waiting, channel: str) -> None:
        """`channel` took it."""
        with self._lock:
            waiting.going.by, waiting.going.busy = channel, False
        self._tell(ChannelReport(channel, True, call=waiting.going.call))

    def failed(self, waiting: Waiting, channel: str, why: str) -> None:
        """`channel` did not take it."""
        going, helper = waiting.going, ""
        with self._lock:
            going.busy = False
            if waiting.attempts >= HELP_AFTER and going.ways:
                helper = going.ways.pop(0)
        if helper:
            self._help_out(waiting, helper)
        if waiting.attempts == HELP_AFTER:
            self._tell(ChannelReport(channel, False, call=going.call, detail=why))


def _key(call: Call) -> Key:
    return call.person, call.notices[0].alarm, call.notices[0].occurrence
