"""The MQTT driver's payloads and echoes, and the way from command to board and back over mosquitto."""

from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gillhouse.core.edges import RelayWire
from gillhouse.core.inputs import RelayReport
from gillhouse.core.instant import Instant
from gillhouse.core.outputs import Authority, Command
from gillhouse.core.reasons import Reason
from gillhouse.errors import RelayError
from gillhouse.payloads import Message
from gillhouse.relays.mqtt import MqttDriver
from mqtt.linked import Linked
from relays.board import AVAILABLE, COMMAND, STATE, WIRE, Board
from servers import MosquittoBroker, wait_until

NOW = Instant(1_795_608_000_250, 77)


class Wire:
    """Keeps what a driver sends."""

    def __init__(self, there: bool = True) -> None:
        self.sent: list[tuple[str, bytes, dict[str, Any]]] = []
        self.there = there

    def __call__(self, topic: str, payload: bytes, **more: Any) -> bool:
        self.sent.append((topic, payload, more))
        return self.there


def command(on: bool, lease_ms: int = 0) -> Command:
    return Command("tent-mist", on, lease_ms, Authority.DEMAND, Reason.AIR_DRY)


def test_the_lease_travels_in_the_payload_and_as_expiry() -> None:
    """By hand: 8.2 s are 9 whole seconds; 8.2 s after 1795608000.25 is 1795608008.45, so off by ...009."""
    wire = Wire()
    MqttDriver(WIRE, wire).apply(command(True, 8_200), NOW)
    assert wire.sent == [
        (COMMAND, b'{"on": true, "for": 9, "until": 1795608009, "id": 1795608000250}', {"expire_s": 8.2})
    ]


def test_off_is_filled_the_same_way() -> None:
    wire = Wire()
    driver = MqttDriver(WIRE, wire)
    driver.apply(command(False), NOW)
    driver.all_off(NOW)
    assert [payload for _, payload, _ in wire.sent] == [
        b'{"on": false, "id": 1795608000250}', b'{"on": false, "id": 1795608000251}',
    ]  # fmt: skip


def test_nothing_is_ever_sent_retained() -> None:
    wire = Wire()
    driver = MqttDriver(WIRE, wire)
    driver.apply(command(True, 5_000), NOW)
    driver.apply(command(False), NOW)
    driver.all_off(NOW)
    assert [more.get("retain", False) for _, _, more in wire.sent] == [False] * 3


@given(st.lists(st.integers(-100_000, 100_000), min_size=1, max_size=20))
def test_command_numbers_grow_whatever_the_wall_clock_does(steps: list[int]) -> None:
    wire = Wire()
    driver = MqttDriver(RelayWire("r", "mqtt", "t", payload_on="{id}"), wire)
    wall_ms = NOW.wall_ms
    for step in steps:
        wall_ms += step
        driver.apply(command(True, 1_000), Instant(wall_ms, 0))
    numbers = [int(payload) for _, payload, _ in wire.sent]
    assert all(later > earlier for earlier, later in pairwise(numbers))


def test_a_template_without_places_and_other_braces_stays_as_it_is() -> None:
    wire = Wire()
    wired = RelayWire("r", "mqtt", "t", payload_on='{"POWER": "ON", "x": {y}}')
    MqttDriver(wired, wire).apply(command(True, 1_000), NOW)
    assert wire.sent[0][1] == b'{"POWER": "ON", "x": {y}}'


def test_without_a_broker_the_command_is_refused_by_name() -> None:
    driver = MqttDriver(WIRE, Wire(there=False))
    with pytest.raises(RelayError, match="relay tent-mist: on was not sent to board/relay/set"):
        driver.apply(command(True, 1_000), NOW)
    driver.all_off(NOW)  # the last thing done never raises


def test_a_wire_without_a_command_topic_is_refused() -> None:
    with pytest.raises(ValueError, match="relay r: driver mqtt needs command_topic"):
        MqttDriver(RelayWire("r", "mqtt"), Wire())


@pytest.mark.parametrize(
    ("topic", "payload", "retain", "expected"),
    [
        (STATE, b'{"relay": "ON"}', False, RelayReport("tent-mist", True)),
        (STATE, b'{"relay": "off"}', False, RelayReport("tent-mist", False)),
        (STATE, b'{"relay": "ON"}', True, None),  # a kept echo proves nothing about now
        (STATE, b"ON", False, None),  # not the JSON that the wire promises
        (STATE, b'{"relay": "??"}', False, None),
        (AVAILABLE, b"online", True, RelayReport("tent-mist", None, available=True)),
        (AVAILABLE, b"offline", False, RelayReport("tent-mist", None, available=False)),
        (AVAILABLE, b"perhaps", False, None),
        ("elsewhere", b"ON", False, None),
    ],
)
def test_echoes(topic: str, payload: bytes, retain: bool, expected: RelayReport | None) -> None:
    assert MqttDriver(WIRE, Wire()).report(Message(topic, payload, NOW, retain)) == expected


def test_plain_echoes_and_a_count_of_those_nobody_can_read() -> None:
    driver = MqttDriver(RelayWire("r", "mqtt", "t", state_topic="s", state_on="1", state_off="0"), Wire())
    assert driver.report(Message("s", b"1\n", NOW)) == RelayReport("r", True)
    assert driver.report(Message("s", b"x", NOW)) is None
    assert driver.unread == 1


@given(st.binary(max_size=64), st.sampled_from([STATE, AVAILABLE]))
def test_no_echo_raises(payload: bytes, topic: str) -> None:
    report = MqttDriver(WIRE, Wire()).report(Message(topic, payload, NOW))
    assert report is None or report.relay == "tent-mist"


def test_there_and_back_over_the_broker(broker: MosquittoBroker) -> None:
    """Command out, echo back; then the board loses its link and its will says so."""
    board = Board(broker.port)
    with Linked(broker.port, STATE, AVAILABLE) as linked:
        linked.synced()
        driver = MqttDriver(WIRE, linked.link.publish)
        driver.apply(command(True, 1_000), linked.link.clock.now())

        def reports() -> list[RelayReport]:
            told = [driver.report(message) for message, _ in linked.messages]
            return [report for report in told if report is not None and report.on is not None]

        wait_until(lambda: len(reports()) == 2, 5, "both echoes")
        assert [report.on for report in reports()] == [True, False]  # the second by the board itself
        assert board.kept == [False]
    board.stop()
