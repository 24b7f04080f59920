"""What every relay driver must do, run over all of `relays.DRIVERS`.

The MQTT driver runs against a board in the test, over mosquitto and on real time; the one in memory on a
clock that is moved by hand.
"""

from collections.abc import Iterator
from dataclasses import replace
from typing import Protocol

import pytest

from gillhouse.clock import SystemClock, VirtualClock
from gillhouse.core.edges import RelayWire
from gillhouse.core.instant import Instant
from gillhouse.core.outputs import Authority, Command
from gillhouse.core.reasons import Reason
from gillhouse.payloads import Message
from gillhouse.relays import DRIVERS
from gillhouse.relays.driver import Driver
from gillhouse.relays.memory import MemoryDriver
from mqtt.linked import Linked
from relays.board import WIRE, Board
from servers import MosquittoBroker, wait_until


class Stand(Protocol):
    """A driver with its relay, and a way to let time pass."""

    driver: Driver

    def now(self) -> Instant: ...

    def is_on(self) -> bool: ...

    def becomes(self, on: bool, within_s: float) -> None:
        """Fails unless the relay comes to that state within so many seconds."""
        ...

    def stays(self, on: bool, for_s: float) -> None:
        """Fails if the relay leaves that state within so many seconds."""
        ...

    def clicks(self) -> list[bool]: ...

    def close(self) -> None: ...


class MemoryStand:
    def __init__(self) -> None:
        self._clock = VirtualClock(1_795_608_000_000)
        self.memory = MemoryDriver(RelayWire("tent-mist", "memory"))
        self.driver: Driver = self.memory

    def now(self) -> Instant:
        return self._clock.now()

    def is_on(self) -> bool:
        return self.memory.is_on(self.now())

    def becomes(self, on: bool, within_s: float) -> None:
        end = self.now().mono_ms + round(within_s * 1000)
        while self.is_on() is not on and self.now().mono_ms < end:
            self._clock.advance_to(self.now().mono_ms + 10)
        assert self.is_on() is on

    def stays(self, on: bool, for_s: float) -> None:
        end = self.now().mono_ms + round(for_s * 1000)
        while self.now().mono_ms < end:
            assert self.is_on() is on
            self._clock.advance_to(self.now().mono_ms + 10)

    def clicks(self) -> list[bool]:
        return [switching.on for switching in self.memory.history(self.now())]

    def close(self) -> None:
        pass


class MqttStand:
    def __init__(self, broker: MosquittoBroker) -> None:
        self.board = Board(broker.port)
        self.linked = Linked(broker.port, "board/#").start().synced()
        self.driver: Driver = DRIVERS["mqtt"](WIRE, self.linked.link.publish)
        self._clock = SystemClock()

    def now(self) -> Instant:
        return self._clock.now()

    def is_on(self) -> bool:
        return self.board.on

    def becomes(self, on: bool, within_s: float) -> None:
        wait_until(lambda: self.board.on is on, within_s + 2.0, f"the relay to be {on}")

    def stays(self, on: bool, for_s: float) -> None:
        end = self.now().mono_ms + for_s * 1000

        def over() -> bool:
            assert self.board.on is on
            return self.now().mono_ms >= end

        wait_until(over, for_s + 2.0, "the time to pass")

    def clicks(self) -> list[bool]:
        return [on for _, on in self.board.changes]

    def close(self) -> None:
        self.linked.link.stop()
        self.board.stop()


STANDS = {"memory": lambda broker: MemoryStand(), "mqtt": MqttStand}


def test_every_driver_has_a_stand() -> None:
    assert STANDS.keys() == DRIVERS.keys()


@pytest.fixture(params=DRIVERS)
def stand(request: pytest.FixtureRequest, broker: MosquittoBroker) -> Iterator[Stand]:
    made = STANDS[request.param](broker)
    yield made
    made.close()


def on(lease_ms: int, **more: bool) -> Command:
    return Command("tent-mist", True, lease_ms, Authority.DEMAND, Reason.AIR_DRY, **more)


OFF = Command("tent-mist", False, 0, Authority.DEMAND, Reason.IN_BAND)


def test_on_is_a_lease_that_ends_by_itself(stand: Stand) -> None:
    stand.driver.apply(on(1_000), stand.now())
    stand.becomes(True, 0.5)
    stand.becomes(False, 1.0)
    assert stand.clicks() == [True, False]


def test_off_is_at_once(stand: Stand) -> None:
    stand.driver.apply(on(60_000), stand.now())
    stand.becomes(True, 0.5)
    stand.driver.apply(OFF, stand.now())
    stand.becomes(False, 0.5)
    assert stand.clicks() == [True, False]


def test_off_of_what_is_off_is_harmless(stand: Stand) -> None:
    stand.driver.apply(OFF, stand.now())
    stand.driver.all_off(stand.now())
    stand.driver.apply(on(60_000), stand.now())
    stand.becomes(True, 0.5)
    assert stand.clicks() == [True]


def test_a_renewal_extends_without_a_click(stand: Stand) -> None:
    stand.driver.apply(on(1_000), stand.now())
    stand.becomes(True, 0.5)
    stand.stays(True, 0.6)
    stand.driver.apply(on(1_000, renewal=True), stand.now())
    stand.stays(True, 0.7)  # 1.3 s after the first, whose lease was 1 s
    stand.becomes(False, 1.0)
    assert stand.clicks() == [True, False]


def test_all_off(stand: Stand) -> None:
    stand.driver.apply(on(60_000), stand.now())
    stand.becomes(True, 0.5)
    stand.driver.all_off(stand.now())
    stand.becomes(False, 0.5)


def test_advice_is_never_driven(stand: Stand) -> None:
    stand.driver.apply(on(60_000, advise=True), stand.now())
    stand.driver.apply(on(60_000), stand.now())  # comes after it on the same way
    stand.becomes(True, 0.5)
    stand.driver.apply(replace(OFF, advise=True), stand.now())
    stand.stays(True, 0.2)
    assert stand.clicks() == [True]


def test_no_message_makes_a_driver_raise(stand: Stand) -> None:
    topics = [*stand.driver.topics(), "elsewhere"]
    odd = [b"", b"\xff", b"{", b"[" * 5_000, b'{"relay": null}', b'{"relay": "STUCK"}', b"NaN", b"7"]
    for payload in odd:
        for topic in topics:
            assert stand.driver.report(Message(topic, payload, stand.now())) is None
