"""Where answers to calls come in: one thread for each way they come, and what each answer does.

An answer counts only from a number or address of a person in the config, whose role may answer, with a code
that went to that person, is not used and not expired. Everything else changes nothing, is counted, and is
logged without numbers, addresses or words. A code is used up on the disk before anything is done for it.
What an answer may do stands in `ACTS`: acts on one alarm. None of them moves a relay, whoever asks.
Not here: reading texts (`sms`) and mails (`mailbox`), codes (`codes`), the words (`replies`).
"""

import logging
import threading
from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from enum import StrEnum
from typing import Protocol

from gillhouse.alerts.channel import Incoming, Message
from gillhouse.alerts.codes import Codes, Issued, Verdict
from gillhouse.alerts.replies import Reply, Wish, understood
from gillhouse.clock import Box, Clock
from gillhouse.core.alarm_kinds import KINDS
from gillhouse.core.edges import AlertSettings, ChannelSettings, PersonRole, PersonSettings
from gillhouse.core.inputs import Act, OperatorAction
from gillhouse.core.instant import Instant
from gillhouse.core.outputs import Outcome, Transition
from gillhouse.errors import ChannelError, GillhouseError

log = logging.getLogger("gillhouse.alerts")

QUIET_MS = 3_600_000
"""What "quiet" asks for."""

ACTS: dict[Wish, Act] = {Wish.SEEN: Act.ACK, Wish.QUIET: Act.SHELVE, Wish.NEXT: Act.PASS_ON}

DONE: dict[Wish, str] = {
    Wish.SEEN: "{alarm}: you have seen it, nobody else is called. Mend it, then look again.",
    Wish.QUIET: "{alarm}: no more messages about it for an hour. It goes on until it is mended.",
    Wish.NEXT: "{alarm}: the next person is called now.",
}
NOT_DONE = "{alarm}: not done, {why}. It stands as it was."

TROUBLE_EVERY_MS = 3_600_000
"""A way answers cannot be read from is told in the log at most so often."""


class Ended(StrEnum):
    """What became of something that came in."""

    DONE = "done"
    REFUSED = "refused by the alarm"
    UNKNOWN_SENDER = "from nobody we know"
    MAY_NOT = "from a guest"
    NOT_UNDERSTOOD = "not understood"
    WRONG = "wrong code"
    USED = "used code"
    EXPIRED = "expired code"
    TOO_MANY_WRONG = "too many wrong codes"
    NOT_WRITTEN = "not done, the disk fails"


VERDICTS = {
    Verdict.WRONG: Ended.WRONG,
    Verdict.USED: Ended.USED,
    Verdict.EXPIRED: Ended.EXPIRED,
    Verdict.TOO_MANY_WRONG: Ended.TOO_MANY_WRONG,
}


class Way(Protocol):
    """Something answers come in over."""

    @property
    def id(self) -> str: ...

    @property
    def look_every_ms(self) -> int: ...

    def fetch(self, take: Callable[[Incoming], object]) -> int: ...


Submit = Callable[[OperatorAction], Outcome]
"""Hands an act to the core and waits for what came of it."""

Tell = Callable[[str, str, str, str], None]
"""(person, channel, subject, text): sends word back."""


class Desk:
    """Takes answers in. `start` and `stop` bracket its threads; `take` may be called by any."""

    def __init__(
        self, people: Iterable[PersonSettings], codes: Codes, clock: Clock, submit: Submit, tell: Tell
    ) -> None:
        self._people = tuple(people)
        self._codes = codes
        self._clock = clock
        self._submit = submit
        self._tell = tell
        self._lock = threading.Lock()
        self._counts: Counter[Ended] = Counter()
        self._lookers: list[_Looker] = []

    def start(self, ways: Iterable[Way]) -> None:
        """Begins to look at each way, on a thread of its own."""
        self._lookers = [_Looker(way, self._clock, self.take) for way in ways]
        for one in self._lookers:
            one.start()

    def stop(self, within_s: float) -> None:
        for one in self._lookers:
            one.close()
        for one in self._lookers:
            one.join(within_s)

    def code_of(self, message: Message, now: Instant) -> str:
        """The code an answer to `message` must carry; none where it cannot be written down."""
        if message.alarm is None:
            return ""
        try:
            return self._codes.make(message.id, message.person, message.alarm, message.occurrence, now)
        except OSError as error:
            log.error("a call goes out without a code, none can be written down: %s", error.strerror)
            return ""

    def counts(self) -> dict[str, int]:
        """How many of what came in ended how, since the start."""
        with self._lock:
            return {ended.value: count for ended, count in sorted(self._counts.items())}

    def told(self, _now: Instant) -> tuple[str, ...]:
        """For the digest: what came in since the start and changed nothing."""
        with self._lock:
            idle = {ended: count for ended, count in self._counts.items() if ended is not Ended.DONE}
        if not idle:
            return ()
        parts = ", ".join(f"{count} {ended.value}" for ended, count in sorted(idle.items()))
        return (f"Answers that changed nothing since the start: {parts}.",)

    def take(self, came: Incoming) -> Ended:
        """Does what an answer asks for, or nothing. Never raises."""
        try:
            ended = self._dealt_with(came)
        except OSError as error:
            log.error("an answer was not taken, its code could not be used up: %s", error.strerror)
            ended = Ended.NOT_WRITTEN
        with self._lock:
            self._counts[ended] += 1
        if ended is not Ended.DONE:
            log.warning("an answer over %s changed nothing: %s", came.channel, ended.value)
        return ended

    def _dealt_with(self, came: Incoming) -> Ended:
        person = who_sent(came, self._people)
        if person is None:
            return Ended.UNKNOWN_SENDER
        if person.role is PersonRole.GUEST:
            return Ended.MAY_NOT
        reply = understood(came.body)
        if reply is None:
            return Ended.NOT_UNDERSTOOD
        now = self._clock.now()
        verdict, issued = self._codes.check(person.id, reply.code, now)
        if verdict is not Verdict.GOOD or issued is None:
            return VERDICTS[verdict]
        if not self._codes.spend(issued, now):
            return Ended.USED
        return self._do(came.channel, person, reply, issued)

    def _do(self, channel: str, person: PersonSettings, reply: Reply, issued: Issued) -> Ended:
        action = OperatorAction(
            act=ACTS[reply.wish],
            subject=issued.alarm,
            who=person.id,
            text=f"by {channel}{': ' + reply.note if reply.note else ''}",
            for_ms=QUIET_MS if reply.wish is Wish.QUIET else None,
            occurrence=issued.occurrence,
        )
        try:
            why = _refused(self._submit(action))
        except GillhouseError as error:
            log.error("an answer over %s could not be handed on: %s", channel, error)
            why = "the box is stopping"
        kind, _, subject = issued.alarm.partition(":")
        alarm = f"{KINDS[kind].title} {subject}" if kind in KINDS else issued.alarm
        words = (NOT_DONE if why else DONE[reply.wish]).format(alarm=alarm, why=why)
        self._tell(person.id, channel, f"{reply.wish.value}: {alarm}", words)
        log.info("%s answered %s for %s over %s", person.id, reply.wish.value, issued.alarm, channel)
        return Ended.REFUSED if why else Ended.DONE


def who_sent(came: Incoming, people: Iterable[PersonSettings]) -> PersonSettings | None:
    """The person whose number or address it came from; None: nobody's."""
    for person in people:
        if came.sender and came.sender == person.phone:
            return person
        for reach in person.reach:
            if reach.channel == came.channel and reach.to and reach.to.casefold() == came.sender:
                return person
    return None


def ways_in(settings: AlertSettings, channels: Mapping[str, object]) -> list[Way]:
    """Every way of the config that answers may come over: a modem's texts, a mail channel's mailbox."""
    ways: list[Way] = []
    for one in settings.channels:
        ways += _way(one, channels)
    return ways


def _way(settings: ChannelSettings, channels: Mapping[str, object]) -> list[Way]:
    if settings.answers is not None:
        from gillhouse.alerts.mailbox import (
            Mailbox,  # 0.8 MB with IMAP and mail: only where one is looked into
        )

        return [Mailbox(settings.id, settings.answers, settings.timeout_ms)]
    channel = channels[settings.id]
    return [channel] if settings.kind == "sms" and hasattr(channel, "fetch") else []  # type: ignore[list-item]


def _refused(outcome: Outcome) -> str:
    """Why the core did not do it, in words; empty: it did."""
    refused = [one for one in outcome.notices if one.transition is Transition.REFUSED]
    if not refused:
        return ""
    facts = refused[0].facts
    if facts.get("most_s") == 0:
        return "it protects people and cannot be kept quiet"
    return "it is over, or somebody has seen it already"


class _Looker:
    """Looks at one way again and again, on its own thread."""

    def __init__(self, way: Way, clock: Clock, take: Callable[[Incoming], object]) -> None:
        self._way = way
        self._clock = clock
        self._take = take
        self._box: Box[None] = Box(clock)
        self._told_ms: int | None = None
        self._thread = threading.Thread(target=self._run, name=f"answers-{way.id}", daemon=True)

    def start(self) -> None:
        self._thread.start()

    def close(self) -> None:
        self._box.close()

    def join(self, timeout_s: float) -> None:
        self._thread.join(timeout_s)

    def _run(self) -> None:
        while not self._box.closed:
            self._look()
            self._box.take(self._clock.now().mono_ms + self._way.look_every_ms)

    def _look(self) -> None:
        try:
            self._way.fetch(self._take)
            self._told_ms = None
        except ChannelError as error:
            self._say(str(error))
        except Exception as error:  # a fault of ours must not end the looking
            log.exception("answers over %s: a fault of ours", self._way.id)
            self._say(type(error).__name__)

    def _say(self, why: str) -> None:
        now_ms = self._clock.now().mono_ms
        if self._told_ms is None or now_ms - self._told_ms >= TROUBLE_EVERY_MS:
            self._told_ms = now_ms
            log.warning("answers over %s: %s", self._way.id, why)
