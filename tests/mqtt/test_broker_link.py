"""The link against Debian's mosquitto, with `mosquitto_pub` as the board."""

import socket
import subprocess
import threading
from collections.abc import Iterator
from pathlib import Path

import paho.mqtt.client as paho
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from gillhouse.clock import SystemClock
from gillhouse.core.edges import BrokerSettings
from gillhouse.mqtt import BrokerLink, Waits
from gillhouse.payloads import Message
from mqtt.linked import Linked, publish, publish_lines
from servers import MosquittoBroker, program, wait_until

ALIVE = "gillhouse/alive"


@pytest.fixture
def watcher(broker: MosquittoBroker) -> Iterator[Linked]:
    """Somebody else who hears everything."""
    with Linked(broker.port, "#", client_id="watcher", base_topic="watching") as linked:
        yield linked.synced()


def test_hands_over_what_a_board_sends(broker: MosquittoBroker) -> None:
    with Linked(broker.port, "room/t") as linked:
        linked.synced()
        publish(broker.port, "room/t", "21.5")
        wait_until(lambda: linked.messages, what="the message")
        message, synced = linked.messages[0]
        assert (message.topic, message.payload, message.retain, synced) == ("room/t", b"21.5", False, True)
        assert linked.link.received == 1
        assert linked.states == [(True, f"127.0.0.1:{broker.port}, MQTT 5")]


def test_a_broker_that_is_not_there_at_the_start(tmp_path: Path) -> None:
    late = MosquittoBroker(tmp_path)
    with Linked(late.port, "room/t") as linked:
        wait_until(lambda: linked.states, what="word that nobody is there")
        up, detail = linked.states[0]
        assert not up
        assert f"127.0.0.1:{late.port}" in detail and "refused" in detail
        assert not linked.link.connected
        late.start()
        linked.synced()
        publish(late.port, "room/t", "1")
        wait_until(lambda: linked.payloads == [b"1"], what="the message")
    late.stop()


@pytest.mark.parametrize("ending", ["stop", "kill"])
def test_a_broker_that_ends_and_comes_back(broker: MosquittoBroker, ending: str) -> None:
    with Linked(broker.port, "room/t") as linked:
        linked.synced()
        getattr(broker, ending)()
        wait_until(lambda: not linked.link.connected, 10, "the loss noticed")
        assert not linked.link.publish("room/cmd", b"late")
        wait_until(lambda: linked.states[-1][0] is False, what="the loss reported")
        broker.start()
        linked.synced()
        publish(broker.port, "room/t", "2")
        wait_until(lambda: linked.payloads == [b"2"], what="the message")
        assert [up for up, _ in linked.states][:1] == [True]
        assert linked.states[-1] == (True, f"127.0.0.1:{broker.port}, MQTT 5")


@pytest.mark.parametrize("protocol", ["5", "3.1.1"])
def test_what_waited_at_the_broker_comes_before_the_marker(broker: MosquittoBroker, protocol: str) -> None:
    """An hour away at a reading every ten seconds is 360 messages."""
    with Linked(broker.port, "room/t", protocol=protocol) as linked:
        linked.synced()
    publish_lines(broker.port, "room/t", [str(number) for number in range(360)])
    with Linked(broker.port, "room/t", protocol=protocol) as linked:
        linked.synced()
        publish(broker.port, "room/t", "fresh")
        wait_until(lambda: len(linked.messages) == 361, 20, "all messages")
        assert [synced for _, synced in linked.messages] == [False] * 360 + [True]
        assert linked.payloads == [b"%d" % number for number in range(360)] + [b"fresh"]


def test_what_is_not_acknowledged_comes_again(broker: MosquittoBroker) -> None:
    with Linked(broker.port, "room/t", ack=False) as linked:
        linked.synced()
        publish_lines(broker.port, "room/t", ["1", "2", "3"])
        wait_until(lambda: len(linked.messages) == 3, what="the messages")
        linked.link.ack(linked.messages[0][0].token)
        stale = linked.messages[1][0].token
    with Linked(broker.port, "room/t", ack=False) as linked:
        linked.synced()
        assert linked.payloads == [b"2", b"3"]
        assert linked.messages[0][0].dup
        linked.link.ack(stale)  # of an ended session: must not answer for the new one
    with Linked(broker.port, "room/t") as linked:
        linked.synced()
        assert linked.payloads == [b"2", b"3"]
    with Linked(broker.port, "room/t") as linked:
        assert linked.synced().messages == []


def test_acknowledgements_leave_in_the_order_the_messages_came(broker: MosquittoBroker) -> None:
    """MQTT 5 section 4.6: PUBACKs go in the order of the messages, so later ones wait for the first."""
    with Linked(broker.port, "room/t", ack=False) as linked:
        linked.synced()
        publish_lines(broker.port, "room/t", ["1", "2", "3"])
        wait_until(lambda: len(linked.messages) == 3, what="the messages")
        linked.link.ack(linked.messages[2][0].token)
        linked.link.ack(linked.messages[1][0].token)
    with Linked(broker.port, "room/t", ack=False) as linked:
        linked.synced()
        assert linked.payloads == [b"1", b"2", b"3"]
        for message, _ in reversed(linked.messages):
            linked.link.ack(message.token)
    with Linked(broker.port, "room/t") as linked:
        assert linked.synced().messages == []


def test_acknowledging_from_another_thread_after_a_while(broker: MosquittoBroker) -> None:
    """More messages than the broker's ordinary 20 in flight: with MQTT 5 we ask for 1,000."""
    with Linked(broker.port, "room/t", ack=False) as linked:
        linked.synced()
        publish_lines(broker.port, "room/t", [str(number) for number in range(200)])
        wait_until(lambda: len(linked.messages) == 200, what="200 unacknowledged messages")
        tokens = [message.token for message, _ in linked.messages]
        thread = threading.Thread(target=lambda: [linked.link.ack(token) for token in tokens])
        thread.start()
        thread.join()
    with Linked(broker.port, "room/t") as linked:
        assert linked.synced().messages == []


def test_kept_copies_come_with_a_new_subscription_only(broker: MosquittoBroker) -> None:
    publish(broker.port, "room/t", "21.5", "-r")
    with Linked(broker.port, "room/t") as linked:
        wait_until(lambda: linked.messages, what="the kept copy")
        assert linked.messages[0][0].retain
    with Linked(broker.port, "room/t") as linked:
        linked.synced()
        publish(broker.port, "room/t", "21.6")
        wait_until(lambda: linked.messages, what="the fresh message")
        assert [(m.payload, m.retain) for m, _ in linked.messages] == [(b"21.6", False)]


def test_birth_and_last_will(broker: MosquittoBroker, watcher: Linked) -> None:
    def said() -> list[bytes]:
        return [message.payload for message, _ in watcher.messages if message.topic == ALIVE]

    with Linked(broker.port) as linked:
        wait_until(lambda: said() == [b"online"], what="the birth")
        linked.synced()
        session = linked.link._session
        assert session is not None
        session.abandon("cut by the test")  # as a power cut would: no goodbye
        wait_until(lambda: said() == [b"online", b"offline", b"online"], what="the will and a new birth")
    wait_until(lambda: said()[-1] == b"offline", what="the goodbye")
    listen = [program("mosquitto_sub", "mosquitto-clients"), "-p", str(broker.port), "-C", "1", "-W", "5"]
    kept = subprocess.run([*listen, "-t", ALIVE], capture_output=True, check=True)
    assert kept.stdout == b"offline\n"


def test_stopping_lets_out_what_was_sent(broker: MosquittoBroker, watcher: Linked) -> None:
    """More than paho's 20 in flight, and the goodbye behind them."""
    linked = Linked(broker.port).start().synced()
    for number in range(100):
        assert linked.link.publish("room/cmd", b"%d" % number)
    linked.link.stop()
    wait_until(lambda: watcher.payloads[-1:] == [b"offline"], what="the goodbye")
    sent = [message.payload for message, _ in watcher.messages if message.topic == "room/cmd"]
    assert sent == [b"%d" % number for number in range(100)]


def test_publishing_from_many_threads(broker: MosquittoBroker, watcher: Linked) -> None:
    with Linked(broker.port) as linked:
        linked.synced()

        def send(thread: int) -> None:
            for number in range(100):
                assert linked.link.publish(f"many/{thread}", b"%d" % number)

        threads = [threading.Thread(target=send, args=(thread,)) for thread in range(8)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert linked.link.published == 800
        wait_until(lambda: watcher.heard("many/") == 800, 20, "800 messages")
        for number in range(8):
            heard = [m.payload for m, _ in watcher.messages if m.topic == f"many/{number}"]
            assert heard == [b"%d" % index for index in range(100)]


def test_delivery_is_confirmed_or_not(broker: MosquittoBroker) -> None:
    with Linked(broker.port) as linked:
        linked.synced()
        assert linked.link.deliver("alert/call", b"dry", 5.0)
        broker.stop()
        wait_until(lambda: not linked.link.connected, 10, "the loss noticed")
        assert not linked.link.deliver("alert/call", b"dry", 5.0)


def test_a_command_carries_its_expiry(broker: MosquittoBroker) -> None:
    seen: list[object] = []
    board = paho.Client(CallbackAPIVersion.VERSION2, client_id="board", protocol=paho.MQTTv5)
    board.on_message = lambda client, userdata, message: seen.append(message.properties.MessageExpiryInterval)
    board.on_connect = lambda client, *_: client.subscribe("relay/set", 1)
    ready = threading.Event()
    board.on_subscribe = lambda *_: ready.set()
    board.connect("127.0.0.1", broker.port)
    board.loop_start()
    assert ready.wait(5)
    with Linked(broker.port) as linked:
        linked.synced()
        assert linked.link.publish("relay/set", b"ON", expire_s=8.2)
        wait_until(lambda: seen, what="the command")
    board.disconnect()
    board.loop_stop()
    assert seen in ([9], [8])  # rounded up; a broker takes off whole seconds that passed


def test_an_exception_in_the_callback_stops_nothing(broker: MosquittoBroker) -> None:
    heard: list[bytes] = []
    tokens: list[object] = []

    def hear(message: Message, synced: bool) -> None:
        heard.append(message.payload)
        if message.payload == b"poison":
            raise RuntimeError("cannot take this")
        tokens.append(message.token)

    def note(up: bool, detail: str) -> None:
        raise RuntimeError("cannot take that")

    settings = BrokerSettings(port=broker.port, client_id="poisoned")
    link = BrokerLink(settings, SystemClock(), hear, note, Waits(first_ms=40, longest_ms=200))
    link.subscribe(["room/t"])
    link.start()
    wait_until(lambda: link.synced, 10, "the marker")
    publish_lines(broker.port, "room/t", ["1", "poison", "2"])
    wait_until(lambda: len(heard) == 3, what="the message after the poison")
    assert link.connected
    assert link.faults == 2
    for token in tokens:
        link.ack(token)
    link.stop()
    with Linked(broker.port, "room/t", client_id="poisoned") as again:
        assert again.synced().messages == []  # the poison was acknowledged for us, and holds nothing up


def test_topics_of_an_earlier_config_are_left(broker: MosquittoBroker) -> None:
    with Linked(broker.port, "old/t", "room/t") as linked:
        linked.synced()
    with Linked(broker.port, "room/t") as linked:
        linked.synced()
        publish(broker.port, "old/t", "1")
        publish(broker.port, "room/t", "2")
        wait_until(lambda: linked.payloads == [b"2"], what="the wanted message alone")
        linked.link.subscribe(["new/t"])
        publish_until(broker.port, "new/t", linked)
    assert linked.payloads[0] == b"2" and set(linked.payloads[1:]) == {b"3"}


def publish_until(port: int, topic: str, linked: Linked) -> None:
    """The subscription takes a moment; a message a look."""

    def heard() -> bool:
        publish(port, topic, "3")
        return any(message.topic == topic for message, _ in linked.messages)

    wait_until(heard, what=f"a message on {topic}")


def test_two_programs_with_one_client_id_are_told_so(broker: MosquittoBroker) -> None:
    with Linked(broker.port, client_id="twin") as one, Linked(broker.port, client_id="twin") as other:
        said = "another program uses the client id 'twin'"
        wait_until(lambda: any(said in detail for _, detail in one.states + other.states), 20, "the storm")


def test_small_messages_leave_at_once(broker: MosquittoBroker) -> None:
    with Linked(broker.port) as linked:
        linked.synced()
        session = linked.link._session
        assert session is not None
        sock = session.client.socket()
        assert isinstance(sock, socket.socket)
        assert sock.getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY) == 1


def certificate(directory: Path, name: str) -> tuple[Path, Path]:
    """A self-signed certificate for 127.0.0.1 and its key, by openssl."""
    cert, key = directory / f"{name}.crt", directory / f"{name}.key"
    subprocess.run(
        [
            program("openssl", "openssl"), "req", "-x509", "-newkey", "ec",
            "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes", "-days", "2",
            "-subj", "/CN=127.0.0.1", "-addext", "subjectAltName=IP:127.0.0.1",
            "-keyout", str(key), "-out", str(cert),
        ],
        check=True,
        capture_output=True,
    )  # fmt: skip
    return cert, key


@pytest.mark.filterwarnings(
    "ignore::pytest.PytestUnraisableExceptionWarning"  # paho drops a socket whose handshake failed unclosed
)
def test_tls_and_password(tmp_path: Path) -> None:
    """A broker with a certificate and an account: in with the right ones, a plain word without."""
    guarded = MosquittoBroker(tmp_path)
    cert, key = certificate(tmp_path, "broker")
    stranger, _ = certificate(tmp_path, "stranger")
    passwords = tmp_path / "passwords"
    subprocess.run(
        [program("mosquitto_passwd", "mosquitto"), "-c", "-b", str(passwords), "farm", "right"], check=True
    )
    config = tmp_path / "mosquitto.conf"
    text = config.read_text().replace("allow_anonymous true", "allow_anonymous false")
    config.write_text(f"{text}certfile {cert}\nkeyfile {key}\npassword_file {passwords}\n")
    guarded.start()
    secret = tmp_path / "secret"
    secret.write_text("right\n")
    wrong = tmp_path / "wrong"
    wrong.write_text("wrong\n")

    def told(**settings: object) -> tuple[bool, str]:
        with Linked(guarded.port, username="farm", tls=True, **settings) as linked:
            return wait_until(lambda: linked.states, 10, "word of the link")[0]

    assert told(ca_file=str(cert), password_file=str(secret)) == (True, f"127.0.0.1:{guarded.port}, MQTT 5")
    assert "not authorized" in told(ca_file=str(cert), password_file=str(wrong))[1]
    assert "certificate" in told(ca_file=str(stranger), password_file=str(secret))[1]
    assert "nowhere" in told(ca_file=str(cert), password_file=str(tmp_path / "nowhere"))[1]
    guarded.stop()


def test_what_the_account_may_not_send_is_said(tmp_path: Path) -> None:
    strict = MosquittoBroker(tmp_path)
    rights = tmp_path / "rights"
    rights.write_text("topic readwrite gillhouse/#\ntopic write room/#\n")
    config = tmp_path / "mosquitto.conf"
    config.write_text(config.read_text() + f"acl_file {rights}\n")
    strict.start()
    with Linked(strict.port, "room/t") as linked:
        linked.synced()
        assert linked.link.publish("elsewhere", b"1")
        said = "refuses what we send"
        wait_until(lambda: any(said in detail for _, detail in linked.states), what="the refusal")
    strict.stop()
