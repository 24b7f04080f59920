"""Protocol fallback and liveness, against brokers that refuse, hang up or fall silent."""

import pytest
from iotcore import Broker

from mqtt.fakes import (
    CONNACK_OK_5,
    CONNACK_OK_311,
    CONNACK_UNSUPPORTED_5,
    CONNACK_UNSUPPORTED_311,
    FakeBroker,
)
from mqtt.linked import Linked, publish
from servers import free_port, wait_until


@pytest.mark.parametrize("refusal", [CONNACK_UNSUPPORTED_311, CONNACK_UNSUPPORTED_5])
def test_a_broker_that_says_it_does_not_speak_5(refusal: bytes) -> None:
    answer = {4: CONNACK_OK_311, 5: refusal}
    with FakeBroker(answer.__getitem__) as fake, Linked(fake.port) as linked:
        wait_until(lambda: linked.link.connected, 10, "the link by 3.1.1")
        assert fake.levels[:2] == [5, 4]
        up, detail = linked.states[-1]
        assert up and detail.endswith("MQTT 3.1.1 (the broker does not speak MQTT 5)")


def test_a_broker_that_hangs_up_on_5() -> None:
    answer = {4: CONNACK_OK_311, 5: None}
    with FakeBroker(answer.__getitem__) as fake, Linked(fake.port) as linked:
        wait_until(lambda: linked.link.connected, 10, "the link by 3.1.1")
        assert fake.levels == [5, 5, 5, 4]  # three closes in a row, as the issue asks
        assert "closed 3 MQTT 5 connections without an answer" in linked.states[-1][1]


@pytest.mark.parametrize(("protocol", "level"), [("5", 5), ("3.1.1", 4)])
def test_a_protocol_that_was_asked_for_is_kept(protocol: str, level: int) -> None:
    with FakeBroker(lambda _: None) as fake, Linked(fake.port, protocol=protocol):
        wait_until(lambda: len(fake.levels) >= 5, 10, "five tries")
        assert set(fake.levels) == {level}


def test_a_broker_that_falls_silent_is_left() -> None:
    """Accepts the connect and never speaks again, while its socket stays open."""
    with FakeBroker(lambda _: CONNACK_OK_5) as fake, Linked(fake.port, keepalive_s=1) as linked:
        wait_until(lambda: linked.states, 5, "the first connect")
        wait_until(lambda: "nothing heard for" in linked.states[-1][1], 10, "the silence noticed")
        wait_until(lambda: len(fake.levels) >= 2, 10, "a new connection")


def test_a_broker_that_never_answers_the_connect_is_left() -> None:
    with FakeBroker(lambda _: b"") as fake, Linked(fake.port, keepalive_s=1) as linked:
        wait_until(lambda: len(fake.levels) >= 2, 10, "a second try")
        assert not linked.link.connected
        assert "nothing heard" in linked.states[0][1]


def test_topics_the_account_may_not_hear_are_named() -> None:
    """The answer to our first subscription: the marker granted, the other refused (0x87, not authorised)."""
    suback = b"\x90\x05\x00\x01\x00\x00\x87"  # MQTT 5 section 3.9
    with FakeBroker(lambda _: CONNACK_OK_5 + suback) as fake, Linked(fake.port, "room/t") as linked:
        wait_until(lambda: len(linked.states) >= 2, 10, "the refusal")
        assert linked.states[1] == (
            True, "the broker refuses to let us hear room/t; check this account's rights"
        )  # fmt: skip


def test_a_broker_that_talks_nonsense() -> None:
    nonsense = b"HTTP/1.1 400 Bad Request\r\n\r\n"
    with FakeBroker(lambda _: nonsense) as fake, Linked(fake.port, keepalive_s=1) as linked:
        wait_until(lambda: len(fake.levels) >= 3, 15, "more tries")
        assert not linked.link.connected


def test_the_broker_in_a_wheel_speaks_311_only() -> None:
    """The trial run's broker, found by `auto`."""
    broker = Broker(port=free_port(), listen="127.0.0.1").start()
    try:
        with Linked(broker.port, "room/t") as linked:
            linked.synced()
            assert "MQTT 3.1.1" in linked.states[-1][1]
            publish(broker.port, "room/t", "21.5")
            wait_until(lambda: linked.payloads == [b"21.5"], what="the message")
    finally:
        broker.stop()
