"""What drivers are given in the tests: nowhere to publish, a clock moved by hand, and a list to tell."""

from collections.abc import Callable
from typing import Any

from gillhouse.clock import VirtualClock
from gillhouse.core.inputs import RelayReport
from gillhouse.relays.ports import Pins, Ports

START_MS = 1_795_608_000_000


def silent(topic: str, payload: bytes, **more: Any) -> bool:
    return True


def ports_of(
    told: Callable[[RelayReport], None] = lambda _: None,
    clock: VirtualClock | None = None,
    pins: Pins | None = None,
) -> Ports:
    return Ports(silent, clock or VirtualClock(START_MS), told, pins)
