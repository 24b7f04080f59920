"""The channel of tests and the trial run: keeps what it was sent, with the time. Sends nothing anywhere."""

from dataclasses import dataclass

from gillhouse.alerts.channel import Message
from gillhouse.clock import Clock
from gillhouse.core.edges import ChannelSettings
from gillhouse.core.instant import Instant
from gillhouse.errors import ChannelError


@dataclass(frozen=True, slots=True)
class Kept:
    """A message and when it came."""

    now: Instant
    message: Message


class MemoryChannel:
    """Takes every message, unless told to refuse by setting `refusal`."""

    def __init__(self, settings: ChannelSettings, clock: Clock) -> None:
        self.id = settings.id
        self.history: list[Kept] = []
        self.refusal: ChannelError | None = None
        """What `send` raises while it is set."""
        self.attempts: list[Instant] = []
        """When `send` was called, taken or not."""
        self._clock = clock

    def send(self, message: Message) -> str:
        now = self._clock.now()
        self.attempts.append(now)
        if self.refusal is not None:
            raise self.refusal
        self.history.append(Kept(now, message))
        return "kept in memory"
