"""The broker as it ships, by the scripts that ship: TLS, a password each, and no board beyond its own topics.

A real mosquitto on the shipped snippet and rights, certificates by `broker-certificates.sh`, accounts by
`board-account.sh`; only ports and folders are this test's own. Outside truth: MQTT 5 section 3.4.2.1 (0x87
not authorized) and 2.4; mosquitto.conf(5) for what the lines mean. A sensor account cannot move a relay, nor
write another board's topic (the security list's point 5).
"""

import gc
import re
import ssl
import subprocess
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import paho.mqtt.client as paho
import pytest

from gillhouse.clock import SystemClock
from gillhouse.core.edges import BrokerSettings
from gillhouse.mqtt import BrokerLink
from servers import READY_S, free_port, listening, program, wait_until

DEPLOY = Path(__file__).parents[2] / "deploy"
NOT_AUTHORIZED = 0x87
NO_MATCHING_SUBSCRIBERS = 0x10


@dataclass
class ShippedBroker:
    """mosquitto on what ships, under a root of its own."""

    root: Path
    plain: int = field(default_factory=free_port)
    tls: int = field(default_factory=free_port)
    passwords: dict[str, str] = field(default_factory=dict)
    _process: subprocess.Popen[bytes] | None = None

    def script(self, name: str, *words: str) -> str:
        done = subprocess.run(
            ["sh", str(DEPLOY / name), "--root", str(self.root), *words],
            capture_output=True, text=True, check=True, timeout=60,
        )  # fmt: skip
        return done.stdout.strip()

    def set_up(self) -> None:
        etc = self.root / "etc" / "mosquitto"
        etc.mkdir(parents=True)
        self.script("broker-certificates.sh", "gillhouse.local", "127.0.0.1")
        (etc / "gillhouse.acl").write_text((DEPLOY / "mosquitto-gillhouse.acl").read_text())
        (etc / "gillhouse.passwd").write_text("")
        for board in ("room", "tent"):
            self.passwords[board] = self.script("board-account.sh", board)
        # The box's account comes from install.sh; here by the broker's own tool.
        self.passwords["box"] = "a password of this test"
        lines = etc / "box"
        lines.write_text(f"box:{self.passwords['box']}\n")
        subprocess.run([program("mosquitto_passwd", "mosquitto"), "-U", str(lines)], check=True)
        with (etc / "gillhouse.passwd").open("a") as file:
            file.write(lines.read_text())
        conf_d = etc / "conf.d"
        conf_d.mkdir()
        text = (DEPLOY / "mosquitto-gillhouse.conf").read_text().replace("/etc/mosquitto/", f"{etc}/")
        text = text.replace("listener 1883 127.0.0.1", f"listener {self.plain} 127.0.0.1")
        text = text.replace("listener 8883", f"listener {self.tls} 127.0.0.1")
        (conf_d / "gillhouse.conf").write_text(text)
        # Debian's own file around it, so that what may not stand twice is found out here.
        text = Path("/etc/mosquitto/mosquitto.conf").read_text()
        for place, ours in (("/run", "pid"), ("/var/lib", "state"), ("/var/log", "log")):
            (self.root / ours).mkdir()
            text = text.replace(f"{place}/mosquitto/", f"{self.root / ours}/")
        text = text.replace("include_dir /etc/mosquitto/conf.d", f"include_dir {conf_d}")
        (etc / "mosquitto.conf").write_text(f"user root\n{text}\n")

    def start(self) -> None:
        config = self.root / "etc/mosquitto/mosquitto.conf"
        self._process = subprocess.Popen(
            [program("mosquitto", "mosquitto"), "-c", str(config)],
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        both = (self.plain, self.tls)
        wait_until(lambda: all(listening("127.0.0.1", port) for port in both), READY_S, "the shipped broker")

    def stop(self) -> None:
        if self._process is not None:
            self._process.terminate()
            self._process.wait(READY_S)

    @property
    def ca(self) -> str:
        return str(self.root / "etc/gillhouse/ca/ca.crt")


class Client:
    """A client of the broker's, and what it was answered."""

    def __init__(self, user: str, password: str, client_id: str = "") -> None:
        self.answer: int | None = None
        self.granted: list[int] = []
        self.confirmed: dict[int, int] = {}
        self.heard: list[tuple[str, bytes]] = []
        self.ended = threading.Event()
        self.paho = paho.Client(
            paho.CallbackAPIVersion.VERSION2, client_id=client_id or f"as-{user}", protocol=paho.MQTTv5,
            reconnect_on_failure=False,
        )  # fmt: skip
        self.paho.username_pw_set(user, password)
        self.paho.on_connect = lambda _c, _u, _f, code, _p: setattr(self, "answer", code.value)
        self.paho.on_subscribe = lambda _c, _u, _m, codes, _p: self.granted.extend(c.value for c in codes)
        self.paho.on_publish = lambda _c, _u, mid, code, _p: self.confirmed.update({mid: code.value})
        self.paho.on_message = lambda _c, _u, m: self.heard.append((m.topic, m.payload))
        self.paho.on_disconnect = lambda *_: self.ended.set()

    def connect(self, port: int) -> int:
        self.paho.connect("127.0.0.1", port)
        self.paho.loop_start()
        wait_until(lambda: self.answer is not None, READY_S, "an answer to our connect")
        assert self.answer is not None
        return self.answer

    def publish(self, topic: str, payload: bytes = b"1") -> int:
        """The broker's reason code for it."""
        info = self.paho.publish(topic, payload, qos=1)
        return wait_until(lambda: self.confirmed.get(info.mid, -1) + 1, READY_S, f"PUBACK of {topic}") - 1

    def close(self) -> None:
        self.paho.disconnect()
        self.paho.loop_stop()
        self.paho._reset_sockets()


@contextmanager
def client(
    broker: ShippedBroker, user: str, *, password: str | None = None, name: str = "", tls: bool = True
) -> Iterator[Client]:
    one = Client(user, broker.passwords[user] if password is None else password, name)
    if tls:
        one.paho.tls_set(ca_certs=broker.ca, tls_version=ssl.PROTOCOL_TLS_CLIENT)
    try:
        yield one
    finally:
        one.close()


@pytest.fixture(scope="module")
def shipped(tmp_path_factory: pytest.TempPathFactory) -> Iterator[ShippedBroker]:
    one = ShippedBroker(tmp_path_factory.mktemp("shipped"))
    one.set_up()
    one.start()
    yield one
    one.stop()


OWN = ("farm/room/air", "farm/room/mist/state", "farm/room/relays/alive", "farm/room/door/rh")
FORBIDDEN = (
    "farm/room/mist/set",      # its own relays: only the box tells them
    "farm/tent/mist/set",      # another board's relay
    "farm/tent/air",           # another board's reading
    "farm/tent/mist/state",
    "farm/tent/relays/alive",
    "farm/alerts/ana",         # a call to people
    "gillhouse/alive",         # the box's own word
    "farm/room",
    "other/topic",
)  # fmt: skip


def test_a_board_writes_its_own_topics_and_the_box_hears_them(shipped: ShippedBroker) -> None:
    with client(shipped, "box", tls=False) as box, client(shipped, "room") as board:
        assert (box.connect(shipped.plain), board.connect(shipped.tls)) == (0, 0)
        box.paho.subscribe("farm/#", 1)
        wait_until(lambda: box.granted, READY_S, "the box's subscription")
        assert box.granted == [1]
        for topic in OWN:
            assert board.publish(topic) in (0, NO_MATCHING_SUBSCRIBERS)
        wait_until(lambda: len(box.heard) == len(OWN), READY_S, "the box to hear the board")
        assert {topic for topic, _ in box.heard} == set(OWN)


@pytest.mark.parametrize("topic", FORBIDDEN)
def test_a_board_cannot_write_anything_else(shipped: ShippedBroker, topic: str) -> None:
    with client(shipped, "box", tls=False) as box, client(shipped, "room") as board:
        assert (box.connect(shipped.plain), board.connect(shipped.tls)) == (0, 0)
        box.paho.subscribe([("farm/#", 1), ("gillhouse/#", 1)])
        wait_until(lambda: box.granted, READY_S, "the box's subscription")
        assert board.publish(topic, b"stolen") == NOT_AUTHORIZED
        assert board.publish("farm/room/air", b"proof") in (0, NO_MATCHING_SUBSCRIBERS)
        wait_until(lambda: ("farm/room/air", b"proof") in box.heard, READY_S, "what came after it")
        assert not [heard for heard in box.heard if heard[1] == b"stolen"]


def test_a_board_hears_only_what_its_own_relays_are_told(shipped: ShippedBroker) -> None:
    with client(shipped, "box", tls=False) as box, client(shipped, "room") as board:
        assert (box.connect(shipped.plain), board.connect(shipped.tls)) == (0, 0)
        board.paho.subscribe("#", 1)  # may be asked for; what it may not read is not sent (mosquitto.conf(5))
        wait_until(lambda: board.granted, READY_S, "the board's subscription")
        for topic in ("farm/tent/mist/set", "farm/tent/air", "farm/alerts/ana", "farm/room/mist/set"):
            assert box.publish(topic) in (0, NO_MATCHING_SUBSCRIBERS)
        wait_until(lambda: board.heard, READY_S, "the board to hear its command")
        assert [topic for topic, _ in board.heard] == ["farm/room/mist/set"]


@pytest.mark.parametrize(
    ("user", "password"), [("room", "wrong"), ("room", ""), ("nobody", "x"), ("tent", "of room")]
)
def test_nobody_gets_in_with_a_wrong_password(shipped: ShippedBroker, user: str, password: str) -> None:
    given = shipped.passwords["room"] if password == "of room" else password
    for port, tls in ((shipped.tls, True), (shipped.plain, False)):
        with client(shipped, user, password=given, tls=tls) as one:
            assert one.connect(port) == NOT_AUTHORIZED


def test_nobody_gets_in_without_a_name(shipped: ShippedBroker) -> None:
    with client(shipped, "room", tls=False) as one:
        one.paho.username_pw_set(None, None)
        assert one.connect(shipped.plain) == NOT_AUTHORIZED


def test_a_board_cannot_take_the_boxes_place(shipped: ShippedBroker) -> None:
    """MQTT 5 section 3.1.4: a second client of one id ends the first. There the account is the id."""
    with client(shipped, "box", name="gillhouse", tls=False) as box:
        assert box.connect(shipped.plain) == 0
        with client(shipped, "room", name="gillhouse") as board:
            assert board.connect(shipped.tls) == 0
            assert board.publish("farm/room/air") in (0, NO_MATCHING_SUBSCRIBERS)
            assert not box.ended.is_set()
            assert box.publish("farm/room/mist/set") in (0, NO_MATCHING_SUBSCRIBERS)


def test_plain_talk_is_refused_on_the_boards_door(shipped: ShippedBroker) -> None:
    with client(shipped, "room", tls=False) as one:
        one.paho.connect("127.0.0.1", shipped.tls)
        one.paho.loop_start()
        assert one.ended.wait(READY_S)
        assert one.answer is None


def test_a_message_over_the_limit_reaches_nobody(shipped: ShippedBroker) -> None:
    with client(shipped, "box", tls=False) as box, client(shipped, "room") as board:
        assert (box.connect(shipped.plain), board.connect(shipped.tls)) == (0, 0)
        box.paho.subscribe("farm/#", 1)
        wait_until(lambda: box.granted, READY_S, "the box's subscription")
        board.paho.publish("farm/room/air", b"x" * 9000, qos=1)  # message_size_limit 8192
        board.paho.publish("farm/room/air", b"y" * 8000, qos=1)
        wait_until(lambda: box.heard, READY_S, "the smaller one")
        assert {len(payload) for _, payload in box.heard} == {8000}


@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")  # paho drops its socket
def test_our_own_link_trusts_the_farms_authority_and_no_other(shipped: ShippedBroker, tmp_path: Path) -> None:
    """What the daemon does by `ca_file`; RFC 8446 and RFC 9525: a certificate of a stranger, or for another
    name, is none."""
    secret = tmp_path / "password"
    secret.write_text(shipped.passwords["box"])
    secret.chmod(0o600)
    stranger = ShippedBroker(tmp_path / "stranger")
    (stranger.root / "etc").mkdir(parents=True)
    stranger.script("broker-certificates.sh", "127.0.0.1")
    for ca, host, trusted in (
        (shipped.ca, "127.0.0.1", True),
        (shipped.ca, "localhost", True),
        (stranger.ca, "127.0.0.1", False),
        (None, "127.0.0.1", False),
    ):
        told: list[tuple[bool, str]] = []

        def tell(up: bool, why: str, to: list[tuple[bool, str]] = told) -> None:
            to.append((up, why))

        settings = BrokerSettings(
            host=host, port=shipped.tls, username="box", password_file=str(secret), tls=True, ca_file=ca,
            client_id="box",
        )  # fmt: skip
        link = BrokerLink(settings, SystemClock(), lambda *_: None, tell)
        link.start()
        wait_until(lambda to=told: to, 15, "the link's word")
        link.stop()
        assert told[0][0] is trusted, told
        assert trusted or "certificate" in told[0][1].lower(), told
    gc.collect()


def test_secrets_are_for_their_owner_alone_and_hashed(shipped: ShippedBroker) -> None:
    ca = shipped.root / "etc/gillhouse/ca"
    assert (ca / "ca.key").stat().st_mode & 0o077 == 0
    assert ca.stat().st_mode & 0o077 == 0
    assert (shipped.root / "etc/mosquitto/certs/gillhouse-server.key").stat().st_mode & 0o007 == 0
    kept = (shipped.root / "etc/mosquitto/gillhouse.passwd").read_text()
    for name, password in shipped.passwords.items():
        assert password not in kept
        assert re.search(rf"^{name}:\$7\$", kept, re.MULTILINE), "PBKDF2, see mosquitto_passwd(1)"
    assert shipped.passwords["room"] != shipped.passwords["tent"]
    assert len(shipped.passwords["room"]) == 36  # 18 random bytes


def test_certificates_can_be_renewed_and_the_boards_need_nothing_new(shipped: ShippedBroker) -> None:
    before = Path(shipped.ca).read_bytes()
    old = (shipped.root / "etc/mosquitto/certs/gillhouse-server.crt").read_bytes()
    shipped.script("broker-certificates.sh", "gillhouse.local", "127.0.0.1")
    certs = shipped.root / "etc/mosquitto/certs"
    assert Path(shipped.ca).read_bytes() == before
    assert (certs / "gillhouse-server.crt").read_bytes() != old
    done = subprocess.run(
        [program("openssl", "openssl"), "verify", "-CAfile", shipped.ca, "-verify_ip", "127.0.0.1",
         str(certs / "gillhouse-server.crt")],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr


@pytest.mark.parametrize(
    "name", ["+", "#", "room/tent", "Room", "", "a" * 33, "box", "gillhouse", "alerts", "$x"]
)
def test_an_account_cannot_have_a_name_that_opens_more(shipped: ShippedBroker, name: str) -> None:
    before = (shipped.root / "etc/mosquitto/gillhouse.passwd").read_text()
    done = subprocess.run(
        ["sh", str(DEPLOY / "board-account.sh"), "--root", str(shipped.root), name],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 2
    assert "board-account:" in done.stderr
    assert (shipped.root / "etc/mosquitto/gillhouse.passwd").read_text() == before


def test_an_account_can_be_taken_away(shipped: ShippedBroker) -> None:
    shipped.script("board-account.sh", "lost")
    assert "lost:" in (shipped.root / "etc/mosquitto/gillhouse.passwd").read_text()
    shipped.script("board-account.sh", "lost", "--remove")
    kept = (shipped.root / "etc/mosquitto/gillhouse.passwd").read_text()
    assert "lost:" not in kept
    assert "room:" in kept
