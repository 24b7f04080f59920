"""What a relay driver is given to work with: a way to publish, a clock, and somebody to tell."""

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, Protocol

from gillhouse.clock import Clock
from gillhouse.core.inputs import RelayReport


class Publish(Protocol):
    """Sends a message; `BrokerLink.publish` is one."""

    def __call__(
        self, topic: str, payload: bytes, qos: int = 1, retain: bool = False, expire_s: float | None = None
    ) -> bool:
        """False: not sent, and never will be."""
        ...


Pins = Callable[[int | None], Any]
"""Opens a gpio chip by its number (None: this board's usual one); gives a gpiozero pin factory."""


@dataclass(frozen=True, slots=True)
class Ports:
    """One for the whole life of a daemon, so that drivers made anew find what others of them hold."""

    publish: Publish
    clock: Clock
    tell: Callable[[RelayReport], None]
    """Called from a driver's own thread: it must only hand over."""
    pins: Pins | None = None
    """None: the machine's own pins."""
    shared: dict[object, Any] = field(default_factory=dict)
    """What several relays reach their boards through (`keeper`), by how it is reached."""
