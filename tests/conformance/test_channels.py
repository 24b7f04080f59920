"""What every alert channel promises, over all of them, against real servers.

Mail goes to aiosmtpd in clear, by STARTTLS and by TLS from the first byte; the webhook to an HTTP and an
HTTPS server; MQTT through Debian's mosquitto. Certificates are made by openssl for the test and thrown away.
"""

import json
import logging
import socket
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from dataclasses import dataclass, replace
from pathlib import Path

import paho.mqtt.client as paho
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from gillhouse.alerts import CHANNELS, Ports
from gillhouse.alerts.channel import Attachment, Channel, Message, Refused
from gillhouse.alerts.gsm import one_text
from gillhouse.clock import SystemClock
from gillhouse.core.edges import ChannelSettings
from gillhouse.errors import ChannelError
from pty_modem import PtyModem
from servers import (
    HttpReceiver,
    MosquittoBroker,
    ReceivedRequest,
    SmtpServer,
    certificate,
    free_port,
    wait_until,
)

PASSWORD = "k3ller-und-pilz"
TOKEN = "tok-51f0aa"
PIN = "8631"
TEXT = "TENT DRY 76% for 10min, keep over 80. Mist on, water pressure gone. Reply OK 7"


def message(**over: object) -> Message:
    plain: dict[str, object] = {
        "id": "7-1",
        "at_ms": 1_791_864_840_000,
        "person": "helper-1",
        "to": "helper@farm.invalid",
        "subject": "TENT DRY",
        "text": TEXT,
        "priority": 1,
        "alarm": "humidity-low:tent",
        "occurrence": 7,
    }
    return Message(**(plain | over))  # type: ignore[arg-type]


@dataclass
class Rig:
    """A channel and the far end of it."""

    channel: Channel
    settings: ChannelSettings
    texts: Callable[[], list[str]]
    """What arrived."""
    refuse: Callable[[], None]
    """From now on the far end turns messages away for the moment."""
    accept: Callable[[], None]
    refuse_for_good: Callable[[], None] | None = None
    carried: Callable[[str], str] = lambda text: text
    """What of a text the channel can carry."""


def secret_file(folder: Path, secret: str) -> str:
    path = folder / "secret"
    path.write_text(secret + "\n")
    path.chmod(0o600)
    return str(path)


Publish = Callable[[str, bytes], bool]


def made(settings: ChannelSettings, publish: Publish = lambda topic, payload: False) -> Channel:
    return CHANNELS[settings.kind](settings, Ports(SystemClock(), publish))


def mail_rig(stack: ExitStack, folder: Path, security: str) -> Rig:
    context, authority = certificate(folder) if security != "off" else (None, None)
    kind = "none" if security == "off" else security
    server = SmtpServer(kind, context, None if security == "off" else ("box", PASSWORD))
    server.start()
    stack.callback(server.stop)
    settings = ChannelSettings(
        "post",
        "mail",
        host=server.host,
        port=server.port,
        security=security,
        ca_file=authority,
        username=None if security == "off" else "box",
        sender="box@farm.invalid",
        timeout_ms=3_000,
        password_file=None if security == "off" else secret_file(folder, PASSWORD),
    )

    def answer(words: str | None) -> Callable[[], None]:
        return lambda: setattr(server, "refuse", words)

    return Rig(
        made(settings),
        settings,
        lambda: [one.text for one in server.messages],
        answer("451 try later"),
        answer(None),
        answer("550 no such mailbox"),
    )


def webhook_rig(stack: ExitStack, folder: Path, scheme: str) -> Rig:
    context, authority = certificate(folder) if scheme == "https" else (None, None)
    server = HttpReceiver(context)
    server.start()
    stack.callback(server.stop)
    settings = ChannelSettings(
        "hook",
        "webhook",
        url=server.url,
        ca_file=authority,
        token_file=secret_file(folder, TOKEN),
        timeout_ms=3_000,
    )
    turned_away: list[ReceivedRequest] = []

    def texts() -> list[str]:
        return [str(one.json()["text"]) for one in server.requests[len(turned_away) :]]  # type: ignore[index]

    def refuse(status: int) -> Callable[[], None]:
        return lambda: setattr(server, "status", status)

    def accept() -> None:
        turned_away[:] = server.requests
        server.status = 204

    return Rig(made(settings), settings, texts, refuse(503), accept, refuse(422))


def mqtt_rig(stack: ExitStack, folder: Path) -> Rig:
    broker = MosquittoBroker(folder)
    broker.start()
    stack.callback(broker.stop)
    got: list[str] = []
    sender, receiver = (paho.Client(CallbackAPIVersion.VERSION2) for _ in range(2))
    receiver.on_message = lambda client, data, one: got.append(str(json.loads(one.payload)["text"]))
    ready: list[int] = []
    receiver.on_subscribe = lambda *_: ready.append(1)
    for client in (sender, receiver):
        client.connect(broker.host, broker.port)
        client.loop_start()
        stack.callback(client._reset_sockets)  # paho leaves its own wake-up pair to the collector
        stack.callback(client.loop_stop)
        stack.callback(client.disconnect)
    wait_until(receiver.is_connected, what="the receiver to be connected")
    receiver.subscribe("farm/alerts/helper-1", 1)
    wait_until(lambda: ready, what="the subscription")
    wait_until(sender.is_connected, what="the sender to be connected")
    link = {"up": True}

    def publish(topic: str, payload: bytes) -> bool:
        if not link["up"]:
            return False
        sender.publish(topic, payload, 1).wait_for_publish(5)
        return True

    settings = ChannelSettings("bus", "mqtt", topic="farm/alerts/{person}")

    def texts() -> list[str]:
        publish("farm/alerts/helper-1", json.dumps({"text": "marker"}).encode())
        wait_until(lambda: got and got[-1] == "marker", what="the marker behind all messages")
        got[:] = [one for one in got if one != "marker"]
        return list(got)

    return Rig(
        made(settings, publish),
        settings,
        texts,
        lambda: link.update(up=False),
        lambda: link.update(up=True),
    )


def memory_rig(stack: ExitStack, folder: Path) -> Rig:
    settings = ChannelSettings("shelf", "memory")
    channel = made(settings)

    def answer(error: ChannelError | None) -> Callable[[], None]:
        return lambda: setattr(channel, "refusal", error)

    return Rig(
        channel,
        settings,
        lambda: [one.message.text for one in channel.history],  # type: ignore[attr-defined]
        answer(ChannelError("busy")),
        answer(None),
        answer(Refused("never")),
    )


def sms_rig(stack: ExitStack, folder: Path) -> Rig:
    modem = PtyModem(pin=PIN)
    modem.start()
    stack.callback(modem.stop)
    settings = ChannelSettings(
        "text", "sms", device=modem.device, pin_file=secret_file(folder, PIN), timeout_ms=3_000
    )

    def answer(words: str | None) -> Callable[[], None]:
        return lambda: setattr(modem, "refuse", words)

    return Rig(
        made(settings),
        settings,
        lambda: [text for _, text in modem.sent],
        answer("+CMS ERROR: 38"),
        answer(None),
        answer("+CMS ERROR: 1"),
        one_text,
    )


def apprise_rig(stack: ExitStack, folder: Path) -> Rig:
    server = HttpReceiver()
    server.start()
    stack.callback(server.stop)
    address = f"json://box:{PASSWORD}@{server.host}:{server.port}/{TOKEN}"
    settings = ChannelSettings("chat", "apprise", url_file=secret_file(folder, address))
    turned_away: list[ReceivedRequest] = []

    def texts() -> list[str]:
        got = server.requests[len(turned_away) :]
        return [str(one.json()["message"]) for one in got]  # type: ignore[index]

    def accept() -> None:
        turned_away[:] = server.requests
        server.status = 204

    return Rig(
        made(settings),
        settings,
        texts,
        lambda: setattr(server, "status", 503),
        accept,
        carried=lambda text: text.strip(),
    )


RIGS: dict[str, Callable[[ExitStack, Path], Rig]] = {
    "mail-off": lambda stack, folder: mail_rig(stack, folder, "off"),
    "mail-starttls": lambda stack, folder: mail_rig(stack, folder, "starttls"),
    "mail-tls": lambda stack, folder: mail_rig(stack, folder, "tls"),
    "webhook-http": lambda stack, folder: webhook_rig(stack, folder, "http"),
    "webhook-https": lambda stack, folder: webhook_rig(stack, folder, "https"),
    "mqtt": mqtt_rig,
    "sms": sms_rig,
    "apprise": apprise_rig,
    "memory": memory_rig,
}


def test_every_channel_is_here() -> None:
    assert {name.partition("-")[0] for name in RIGS} == set(CHANNELS)


@pytest.fixture(params=RIGS)
def rig(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Rig]:
    with ExitStack() as stack:
        yield RIGS[request.param](stack, tmp_path)


def test_a_message_arrives_as_it_was_written_and_the_answer_is_told(rig: Rig) -> None:
    assert rig.channel.id == rig.settings.id
    answer = rig.channel.send(message())
    assert len(answer) > 5
    assert rig.texts() == [TEXT]


def test_order_is_kept(rig: Rig) -> None:
    for number in range(5):
        rig.channel.send(message(id=f"{number}-1", text=f"message {number}"))
    assert rig.texts() == [f"message {number}" for number in range(5)]


def test_turned_away_for_the_moment_is_an_error_and_passes(rig: Rig) -> None:
    rig.refuse()
    with pytest.raises(ChannelError) as told:
        rig.channel.send(message(text="turned away"))
    assert not isinstance(told.value, Refused)
    rig.accept()
    rig.channel.send(message(text="taken"))
    assert rig.texts() == ["taken"]


def test_turned_away_for_good_is_told_apart(rig: Rig) -> None:
    """SMTP 5yz (RFC 5321 4.2.1), HTTP 422 (RFC 9110 15.5.21) and the cause "unassigned number" of a telephone
    network (TS 24.011, annex E) blame the message. MQTT has no such word, and apprise does not say why."""
    if rig.refuse_for_good is None:
        assert rig.settings.kind in ("mqtt", "apprise")
        return
    rig.refuse_for_good()
    with pytest.raises(Refused):
        rig.channel.send(message(text="turned away"))
    rig.accept()
    rig.channel.send(message(text="taken"))
    assert rig.texts() == ["taken"]


@pytest.mark.parametrize(
    "hostile", ["a\r\nBcc: thief@farm.invalid", "\x00\x1b[2J\x07", "\r\n.\r\nMAIL FROM:<x>", "é€🍄"]
)
def test_hostile_words_stay_words(rig: Rig, hostile: str) -> None:
    rig.channel.send(message(subject=hostile, text=f"before {hostile} after"))
    rig.channel.send(message(text="the next one"))
    first, second = rig.texts()
    assert first.replace("\r\n", "\n") == rig.carried(f"before {hostile} after").replace("\r\n", "\n")
    assert second == "the next one"


def test_an_attachment_does_not_harm_the_text(rig: Rig) -> None:
    night = Attachment("night.html", "text/html", b"<p>GOOD</p>" * 1_000)
    rig.channel.send(message(attachments=(night,)))
    assert rig.texts() == [TEXT]


def test_no_secret_shows_in_what_can_be_printed(rig: Rig, caplog: pytest.LogCaptureFixture) -> None:
    caplog.set_level(logging.DEBUG)
    printed = [repr(rig.channel), str(vars(rig.channel)), rig.channel.send(message())]
    rig.refuse()
    with pytest.raises(ChannelError) as told:
        rig.channel.send(message())
    printed += [str(told.value), repr(told.value), caplog.text]
    for secret in (PASSWORD, TOKEN, PIN):
        assert secret not in "\n".join(printed)


# Beyond what all share.


def test_mail_carries_its_headers_and_attachment(smtp_server: SmtpServer) -> None:
    settings = ChannelSettings(
        "post",
        "mail",
        host=smtp_server.host,
        port=smtp_server.port,
        security="off",
        sender="box@farm.invalid",
    )
    night = Attachment("night.html", "text/html", b"<p>GOOD</p>")
    made(settings).send(message(attachments=(night,)))
    (got,) = smtp_server.messages
    assert (got.sender, got.recipients) == ("box@farm.invalid", ("helper@farm.invalid",))
    assert got.subject == "TENT DRY"
    # 1 791 864 840 s: `date -u -d @1791864840` of GNU coreutils.
    assert got.mail["Date"] == "Tue, 13 Oct 2026 04:14:00 +0000"
    assert got.mail["Message-ID"] == "<7-1@gillhouse.invalid>"
    assert got.mail["Importance"] == "high"
    files = [part for part in got.mail.walk() if part.get_filename()]
    assert [(one.get_filename(), one.get_payload(decode=True)) for one in files] == [
        ("night.html", b"<p>GOOD</p>")
    ]


@pytest.mark.parametrize("security", ["starttls", "tls"])
def test_mail_over_tls_logs_in_and_is_encrypted(tmp_path: Path, security: str) -> None:
    context, authority = certificate(tmp_path)
    server = SmtpServer(security, context, ("box", PASSWORD))
    server.start()
    try:
        settings = ChannelSettings(
            "post",
            "mail",
            host=server.host,
            port=server.port,
            security=security,
            ca_file=authority,
            username="box",
            password_file=secret_file(tmp_path, PASSWORD),
            sender="box@farm.invalid",
        )
        made(settings).send(message())
        assert [(one.tls, one.login) for one in server.messages] == [(True, "box")]
        Path(str(settings.password_file)).write_text("wrong\n")
        with pytest.raises(ChannelError, match="did not take the name and password"):
            made(settings).send(message())
        with pytest.raises(ChannelError, match=r"(?i)certificate"):
            made(replace(settings, ca_file=None)).send(message())
        assert len(server.messages) == 1
    finally:
        server.stop()


def test_mail_goes_nowhere_in_the_clear_when_tls_was_asked_for(smtp_server: SmtpServer) -> None:
    settings = ChannelSettings(
        "post", "mail", host=smtp_server.host, port=smtp_server.port, sender="box@farm.invalid"
    )
    with pytest.raises(ChannelError, match="STARTTLS"):
        made(settings).send(message())
    assert smtp_server.attempts == 0


def test_a_bad_goodbye_is_not_a_bad_mail() -> None:
    """The mail was taken; to send it again because QUIT failed would be a second mail."""

    class Rude(SmtpServer):
        async def handle_QUIT(self, *_: object) -> str:
            return "421 going away"

    server = Rude()
    server.start()
    try:
        settings = ChannelSettings(
            "post", "mail", host=server.host, port=server.port, security="off", sender="box@farm.invalid"
        )
        assert "took the mail" in made(settings).send(message())
    finally:
        server.stop()


def test_the_webhook_posts_json_with_its_token(http_receiver: HttpReceiver, tmp_path: Path) -> None:
    settings = ChannelSettings(
        "hook", "webhook", url=http_receiver.url, token_file=secret_file(tmp_path, TOKEN)
    )
    made(settings).send(message())
    (got,) = http_receiver.requests
    assert got.headers["authorization"] == f"Bearer {TOKEN}"
    assert got.headers["content-type"] == "application/json"
    assert got.json() == {
        "id": "7-1",
        "at_ms": 1_791_864_840_000,
        "person": "helper-1",
        "subject": "TENT DRY",
        "text": TEXT,
        "priority": 1,
        "alarm": "humidity-low:tent",
        "occurrence": 7,
        "attachments": [],
    }


def test_the_webhook_follows_no_redirect(http_receiver: HttpReceiver, tmp_path: Path) -> None:
    http_receiver.status, http_receiver.location = 302, http_receiver.url
    settings = ChannelSettings(
        "hook", "webhook", url=http_receiver.url, token_file=secret_file(tmp_path, TOKEN)
    )
    with pytest.raises(ChannelError, match="final address"):
        made(settings).send(message())
    assert [one.method for one in http_receiver.requests] == ["POST"]


def test_the_webhook_never_names_more_than_the_host(http_receiver: HttpReceiver) -> None:
    secret = "deep/secret-in-the-path?key=1234"
    http_receiver.status = 500
    for port in (http_receiver.port, free_port(), 99_999):
        url = f"http://127.0.0.1:{port}/{secret}"
        with pytest.raises(ChannelError) as told:
            made(ChannelSettings("hook", "webhook", url=url, timeout_ms=2_000)).send(message())
        assert "127.0.0.1" in str(told.value)
        assert "secret-in-the-path" not in str(told.value)


@pytest.mark.parametrize("kind", ["mail", "webhook"])
def test_a_far_end_that_never_answers_is_given_up(kind: str) -> None:
    with socket.socket() as silent:
        silent.bind(("127.0.0.1", 0))
        silent.listen()
        port = silent.getsockname()[1]
        settings = ChannelSettings(
            "far",
            kind,
            host="127.0.0.1",
            port=port,
            security="off",
            sender="box@farm.invalid",
            url=f"http://127.0.0.1:{port}/",
            timeout_ms=200,
        )
        with pytest.raises(ChannelError, match="timed out"):
            made(settings).send(message())


@pytest.mark.parametrize("kind", ["mail", "webhook"])
def test_a_far_end_that_is_not_there_is_an_error(kind: str) -> None:
    port = free_port()
    settings = ChannelSettings(
        "far",
        kind,
        host="127.0.0.1",
        port=port,
        security="off",
        sender="box@farm.invalid",
        url=f"http://127.0.0.1:{port}/",
    )
    with pytest.raises(ChannelError, match="refused"):
        made(settings).send(message())


@pytest.mark.parametrize(
    ("content", "mode", "said"),
    [(None, 0o600, "cannot be read"), ("secret\n", 0o644, "chmod 600"), ("\n", 0o600, "is empty")],
)
def test_a_secret_that_is_not_kept_well_is_not_used(
    http_receiver: HttpReceiver, tmp_path: Path, content: str | None, mode: int, said: str
) -> None:
    path = tmp_path / "token"
    if content is not None:
        path.write_text(content)
        path.chmod(mode)
    settings = ChannelSettings("hook", "webhook", url=http_receiver.url, token_file=str(path))
    with pytest.raises(ChannelError, match=said):
        made(settings).send(message())
    assert http_receiver.requests == []
