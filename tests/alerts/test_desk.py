"""Answers from end to end: a modem on a pseudo-terminal and a real mailbox, the core's own alarm book behind.

What an answer may do is our own design. Numbers are of those set aside for drama (Ofcom); from memory.
"""

import logging
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from gillhouse.alerts.channel import Incoming
from gillhouse.alerts.codes import LASTS_MS, Codes
from gillhouse.alerts.desk import QUIET_MS, Desk, Ended, ways_in
from gillhouse.alerts.sms import SmsChannel
from gillhouse.clock import SystemClock, VirtualClock
from gillhouse.core.edges import (
    AlertSettings,
    AnswerBox,
    ChannelSettings,
    PersonRole,
    PersonSettings,
    ReachSettings,
)
from gillhouse.core.inputs import Act, OperatorAction
from gillhouse.core.instant import Instant
from gillhouse.core.outputs import AlarmNotice, Outcome, Transition
from gillhouse.errors import LocalError
from imap_server import ImapServer
from pty_modem import PtyModem
from servers import certificate, wait_until

START = Instant(1_791_864_840_000, 0)
ANA, BENO, GUEST, STRANGER = "+447700900123", "+447700900124", "+447700900125", "+447700900999"
ALARM = "humidity-low:tent"
PEOPLE = (
    PersonSettings(
        "ana", "Ana", (ReachSettings("text", ANA), ReachSettings("post", "Ana@example.org")), phone=ANA
    ),
    PersonSettings("beno", "Beno", (ReachSettings("text", BENO),), role=PersonRole.HELPER, phone=BENO),
    PersonSettings("gast", "Gast", (ReachSettings("text", GUEST),), role=PersonRole.GUEST, phone=GUEST),
)


@dataclass
class Farm:
    """Takes acts, as the core would."""

    acts: list[OperatorAction] = field(default_factory=list)
    told: list[tuple[str, str, str, str]] = field(default_factory=list)
    refuses: dict[str, float | int | str | bool | None] | None = None
    stopped: bool = False

    def submit(self, action: OperatorAction) -> Outcome:
        if self.stopped:
            raise LocalError("it is stopping")
        self.acts.append(action)
        if self.refuses is None:
            return Outcome()
        refused = AlarmNotice(ALARM, "humidity-low", 7, Transition.REFUSED, 1, "C", False, None, self.refuses)
        return Outcome(notices=(refused,))

    def tell(self, person: str, channel: str, subject: str, text: str) -> None:
        self.told.append((person, channel, subject, text))


@pytest.fixture
def farm() -> Farm:
    return Farm()


@pytest.fixture
def clock() -> VirtualClock:
    return VirtualClock(START.wall_ms)


@pytest.fixture
def codes(tmp_path: Path) -> Codes:
    numbers = iter([4711, 4712, 4713])
    found = Codes(tmp_path, lambda below: next(numbers))
    assert found.make("1", "ana", ALARM, 7, START) == "4711"
    assert found.make("2", "beno", ALARM, 7, START) == "4712"
    return found


@pytest.fixture
def desk(farm: Farm, codes: Codes, clock: VirtualClock) -> Desk:
    return Desk(PEOPLE, codes, clock, farm.submit, farm.tell)


def text(sender: str, body: str) -> Incoming:
    return Incoming("text", sender, body)


@pytest.mark.parametrize(
    ("body", "act", "for_ms", "note"),
    [
        ("ok 4711", Act.ACK, None, "by text"),
        ("OK 4711 bypass is open", Act.ACK, None, "by text: bypass is open"),
        ("quiet 4711", Act.SHELVE, QUIET_MS, "by text"),
        ("next 4711", Act.PASS_ON, None, "by text"),
    ],
)
def test_an_answer_with_its_code_does_what_it_says(
    desk: Desk, farm: Farm, body: str, act: Act, for_ms: int | None, note: str
) -> None:
    assert desk.take(text(ANA, body)) is Ended.DONE
    assert farm.acts == [OperatorAction(act, ALARM, "ana", note, None, for_ms, 7)]
    assert desk.told(START) == ()
    ((person, channel, _, said),) = farm.told
    assert (person, channel) == ("ana", "text")
    assert said.startswith("Too dry tent: ") or "tent" in said


def test_a_helper_may_answer_a_guest_may_not(desk: Desk, farm: Farm) -> None:
    assert desk.take(text(BENO, "ok 4712")) is Ended.DONE
    assert desk.take(text(GUEST, "ok 4712")) is Ended.MAY_NOT
    assert [act.who for act in farm.acts] == ["beno"]


@pytest.mark.parametrize(
    ("sender", "body", "ended"),
    [
        (STRANGER, "ok 4711", Ended.UNKNOWN_SENDER),
        ("", "ok 4711", Ended.UNKNOWN_SENDER),
        ("ana@example.org", "ok 4711", Ended.UNKNOWN_SENDER),  # an address in a text is no number
        (ANA, "ok 4712", Ended.WRONG),  # somebody else's
        (ANA, "ok 9999", Ended.WRONG),
        (ANA, "hello", Ended.NOT_UNDERSTOOD),
        (ANA, "fan on 4711", Ended.NOT_UNDERSTOOD),
    ],
)
def test_all_else_changes_nothing_and_is_counted_and_logged_without_what_it_held(
    desk: Desk, farm: Farm, sender: str, body: str, ended: Ended, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.DEBUG)
    assert desk.take(text(sender, body)) is ended
    assert (farm.acts, farm.told) == ([], [])
    assert desk.counts() == {ended.value: 1}
    assert desk.told(START) == (f"Answers that changed nothing since the start: 1 {ended.value}.",)
    assert ended.value in caplog.text
    for held in (sender, body, "4711"):
        assert not held or held not in caplog.text
    assert desk.take(text(ANA, "ok 4711")) is Ended.DONE


def test_a_replayed_text_does_nothing_even_after_a_restart(
    desk: Desk, farm: Farm, clock: VirtualClock, tmp_path: Path
) -> None:
    assert desk.take(text(ANA, "ok 4711")) is Ended.DONE
    assert desk.take(text(ANA, "ok 4711")) is Ended.USED
    assert desk.take(text(ANA, "quiet 4711")) is Ended.USED
    again = Desk(PEOPLE, Codes(tmp_path), clock, farm.submit, farm.tell)
    assert again.take(text(ANA, "ok 4711")) is Ended.USED
    assert len(farm.acts) == 1


def test_a_code_of_last_night_is_over(desk: Desk, farm: Farm, clock: VirtualClock) -> None:
    clock.advance_to(LASTS_MS)
    assert desk.take(text(ANA, "ok 4711")) is Ended.EXPIRED
    assert farm.acts == []


def test_guessing_is_shut_out(desk: Desk, farm: Farm) -> None:
    ends = [desk.take(text(ANA, f"ok {number:04}")) for number in range(8)]
    assert ends == [Ended.WRONG] * 5 + [Ended.TOO_MANY_WRONG] * 3
    assert desk.take(text(ANA, "ok 4711")) is Ended.TOO_MANY_WRONG
    assert desk.take(text(BENO, "ok 4712")) is Ended.DONE
    assert [act.who for act in farm.acts] == ["beno"]


@pytest.mark.parametrize(
    ("facts", "why"),
    [({"most_s": 0}, "protects people"), ({"meant": 7}, "somebody has seen it already")],
)
def test_what_the_core_refuses_is_said(desk: Desk, farm: Farm, facts: dict[str, object], why: str) -> None:
    farm.refuses = facts  # type: ignore[assignment]
    assert desk.take(text(ANA, "quiet 4711")) is Ended.REFUSED
    assert why in farm.told[0][3]


def test_an_answer_while_the_box_stops_is_said_too(desk: Desk, farm: Farm) -> None:
    farm.stopped = True
    assert desk.take(text(ANA, "ok 4711")) is Ended.REFUSED
    assert "stopping" in farm.told[0][3]


def test_where_the_code_cannot_be_used_up_nothing_is_done(
    desk: Desk, farm: Farm, codes: Codes, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("gillhouse.alerts.codes.os.fsync", full)
    assert desk.take(text(ANA, "ok 4711")) is Ended.NOT_WRITTEN
    assert farm.acts == []
    monkeypatch.undo()
    assert desk.take(text(ANA, "ok 4711")) is Ended.DONE


# Over the real ways.


@pytest.fixture
def modem() -> Iterator[PtyModem]:
    one = PtyModem()
    one.start()
    yield one
    one.stop()


def test_texts_are_taken_in_by_themselves_and_the_modem_may_fail_between(
    modem: PtyModem, farm: Farm, codes: Codes
) -> None:
    clock = SystemClock()
    settings = ChannelSettings("text", "sms", device=modem.device, look_every_ms=50, timeout_ms=2_000)
    channel = SmsChannel(settings, clock)
    desk = Desk(PEOPLE, codes, clock, farm.submit, farm.tell)
    codes.make("now", "ana", ALARM, 7, clock.now())
    modem.receive(STRANGER, "buy now")
    modem.receive(ANA, "ok 4713")
    modem.pin = "1234"
    desk.start(ways_in(AlertSettings(channels=(settings,)), {"text": channel}))
    try:
        wait_until(lambda: "AT+CPIN?" in modem.said, what="a first look")
        assert farm.acts == []
        modem.pin = None
        wait_until(lambda: not modem.store, what="the texts to be read and deleted")
        assert [(act.act, act.who) for act in farm.acts] == [(Act.ACK, "ana")]
        assert desk.counts() == {Ended.DONE.value: 1, Ended.UNKNOWN_SENDER.value: 1}
    finally:
        desk.stop(5.0)


def test_mails_are_taken_in_over_tls(tmp_path: Path, farm: Farm, codes: Codes) -> None:
    context, authority = certificate(tmp_path)
    server = ImapServer(context, "pw-of-the-box")
    server.start()
    secret = tmp_path / "secret"
    secret.write_text("pw-of-the-box\n")
    secret.chmod(0o600)
    box = AnswerBox(server.host, server.port, "box", str(secret), every_ms=50, ca_file=authority)
    settings = ChannelSettings("post", "mail", answers=box)
    clock = SystemClock()
    desk = Desk(PEOPLE, codes, clock, farm.submit, farm.tell)
    codes.make("now", "ana", ALARM, 7, clock.now())
    desk.start(ways_in(AlertSettings(channels=(settings,)), {}))
    try:
        server.deliver(b"From: thief@example.org\r\n\r\nok 4713\r\n")
        server.deliver(b"From: Ana <ana@example.org>\r\nSubject: Re: TENT DRY\r\n\r\nok 4713\r\n")
        wait_until(lambda: farm.told, what="the answer to be taken")
        assert [(act.act, act.who) for act in farm.acts] == [(Act.ACK, "ana")]
    finally:
        desk.stop(10.0)
        server.stop()
    assert desk.counts() == {Ended.DONE.value: 1, Ended.UNKNOWN_SENDER.value: 1}
