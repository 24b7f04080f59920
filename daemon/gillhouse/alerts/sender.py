"""One channel's queue and the thread that empties it: in order, with growing waits, nothing twice.

A channel that cannot take a message now is left alone for a while, and all that waits behind keeps its place.
A message the channel will never take steps aside, so that it blocks nobody, and is tried at the same waits.
After `GIVE_UP_MS` a message is let go: yesterday's alarm helps nobody. It stays in the store, unsent, with
the reason. What became of each attempt is put to the store after it, so sending never waits for a disk.
Not here: who gets what, and in which words (`outbox`).
"""

import logging
import threading
from collections import deque
from collections.abc import Callable

from gillhouse.alerts.channel import Channel, Message, Refused
from gillhouse.alerts.ways import Waiting, Ways
from gillhouse.clock import Box, Clock
from gillhouse.core.instant import Instant
from gillhouse.errors import ChannelError
from gillhouse.store.rows import OutboxUpdate

log = logging.getLogger("gillhouse.alerts")

GIVE_UP_MS = 48 * 3_600_000
"""How long a message is tried: a server that refuses for a day loses none. Our choice."""
BUSY_MS = 1_000
"""The same call is being sent another way at this moment: looked at again after this."""

Put = Callable[[OutboxUpdate], None]


class Sender:
    """Owns one channel. `put` hands over and returns; `start` and `stop` bracket the thread."""

    def __init__(  # 6 arguments: what it sends with, and whom it asks and tells
        self,
        channel: Channel,
        clock: Clock,
        retry_ms: tuple[int, ...],
        put: Put,
        dress: Callable[[Message, Instant], Message],
        ways: Ways,
    ) -> None:
        """Makes the queue; nothing is sent before `start`.

        Args:
            retry_ms: waits after the first, second ... failure; the last one repeats.
            put: stores what became of an attempt.
            dress: the message as it is to be sent at a moment (a late one says so).
            ways: asked before every attempt, told after it.
        """
        self._channel = channel
        self._clock = clock
        self._retry_ms = retry_ms
        self._put = put
        self._dress = dress
        self._ways = ways
        self._box: Box[Waiting] = Box(clock)
        self._queue: deque[Waiting] = deque()
        self._aside: list[Waiting] = []
        self._thread = threading.Thread(target=self._run, name=f"alerts-{channel.id}", daemon=True)

    def put(self, waiting: Waiting) -> None:
        self._box.put(waiting)

    def start(self) -> None:
        self._thread.start()

    def close(self) -> None:
        """Tells the thread to end once nothing is due; what waits for a later attempt stays in the store."""
        self._box.close()

    def join(self, timeout_s: float) -> None:
        if self._thread.ident is not None:
            self._thread.join(timeout_s)

    def settled(self, now_mono_ms: int) -> bool:
        """Nothing is being sent, and nothing is due by `now_mono_ms`."""
        return self._box.at_rest(now_mono_ms)

    def _run(self) -> None:
        while True:
            waiting = self._box.take(self._wake_ms())
            if waiting is not None:
                self._queue.append(waiting)
                continue  # all that is there is queued before the next attempt
            self._send_what_is_due()
            if self._box.closed:
                return

    def _wake_ms(self) -> int | None:
        heads = [*([self._queue[0]] if self._queue else []), *self._aside]
        return min((one.due_ms for one in heads), default=None)

    def _send_what_is_due(self) -> None:
        now_ms = self._clock.now().mono_ms
        for waiting in [one for one in self._aside if one.due_ms <= now_ms]:
            self._aside.remove(waiting)
            self._attempt(waiting)
        while self._queue and self._queue[0].due_ms <= self._clock.now().mono_ms:
            if not self._attempt(self._queue.popleft()):
                return

    def _attempt(self, waiting: Waiting) -> bool:
        """Tries one message. Returns whether the next one may be tried."""
        free = self._ways.may_send(waiting)
        if not free:
            return self._left_out(waiting, busy=free is None)
        waiting.attempts += 1
        try:
            answer = self._channel.send(self._dress(waiting.message, self._clock.now()))
        except Refused as error:
            self._failed(waiting, str(error), self._aside.append)
            return True
        except ChannelError as error:
            self._failed(waiting, str(error), self._queue.appendleft)
            return False
        except Exception as error:  # a fault in one channel must not silence it for good
            log.exception("channel %s: a fault of ours", self._channel.id)
            self._failed(waiting, f"channel {self._channel.id}: {type(error).__name__}", self._aside.append)
            return True
        now = self._clock.now()
        self._put(OutboxUpdate(waiting.row, waiting.attempts, now.wall_ms, None, now.wall_ms))
        self._ways.sent(waiting, self._channel.id)
        log.info("sent %s: %s", waiting.message.id, answer)
        return True

    def _left_out(self, waiting: Waiting, busy: bool) -> bool:
        """Another way has it, or is being asked just now. Returns whether the next one may be tried."""
        now = self._clock.now()
        if busy:
            waiting.due_ms = now.mono_ms + BUSY_MS
            self._aside.append(waiting)
        else:
            went = f"went by {waiting.going.by}"
            self._put(OutboxUpdate(waiting.row, waiting.attempts, now.wall_ms, went, now.wall_ms))
        return True

    def _failed(self, waiting: Waiting, why: str, keep: Callable[[Waiting], None]) -> None:
        now = self._clock.now()
        wait_ms = self._retry_ms[min(waiting.attempts, len(self._retry_ms)) - 1]
        waiting.due_ms = now.mono_ms + wait_ms
        given_up = now.mono_ms - waiting.queued_ms >= GIVE_UP_MS
        said = f"given up: {why}" if given_up else why
        self._put(OutboxUpdate(waiting.row, waiting.attempts, now.wall_ms + wait_ms, said))
        self._ways.failed(waiting, self._channel.id, why)
        if given_up:
            log.error("%s, message %s", said, waiting.message.id)
            return
        if waiting.attempts == 1:
            log.warning("%s; trying again", why)
        keep(waiting)
