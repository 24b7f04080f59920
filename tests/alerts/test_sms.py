"""The sms channel against a modem on a real pseudo-terminal.

What a modem answers: 3GPP TS 27.005 and TS 27.007; that 160 letters make one text: TS 23.038, 6.2.1.
"""

from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gillhouse.alerts.channel import Incoming, Message, Refused
from gillhouse.alerts.dialogue import Dialogue, ModemError
from gillhouse.alerts.gsm import from_ucs2, octets, one_text
from gillhouse.alerts.modem import Modem
from gillhouse.alerts.sms import SmsChannel
from gillhouse.alerts.text_inbox import texts
from gillhouse.clock import SystemClock
from gillhouse.core.edges import ChannelSettings
from gillhouse.errors import ChannelError
from pty_modem import PtyModem

NUMBER = "+447700900123"  # of those set aside for drama (Ofcom); from memory
PIN = "8631"


def message(text: str = "TENT DRY 76%") -> Message:
    return Message("1-1", 0, "ana", NUMBER, "TENT DRY", text, 1, "humidity-low:tent", 7)


@pytest.fixture
def modem() -> Iterator[PtyModem]:
    one = PtyModem()
    one.start()
    yield one
    one.stop()


@pytest.fixture
def channel(modem: PtyModem) -> SmsChannel:
    return SmsChannel(ChannelSettings("text", "sms", device=modem.device, timeout_ms=2_000), SystemClock())


def with_pin(modem: PtyModem, folder: Path, pin: str) -> SmsChannel:
    path = folder / "pin"
    path.write_text(f"{pin}\n")
    path.chmod(0o600)
    settings = ChannelSettings("text", "sms", device=modem.device, pin_file=str(path), timeout_ms=2_000)
    return SmsChannel(settings, SystemClock())


def test_a_text_goes_out_and_the_answer_tells_network_and_signal(
    modem: PtyModem, channel: SmsChannel
) -> None:
    # -113 dBm and 2 dB a step (TS 27.007, 8.5): 17 steps are -79 dBm.
    assert channel.send(message()) == "the network took the text (at home, signal -79 dBm, 17 of 31)"
    assert modem.sent == [(NUMBER, "TENT DRY 76%")]


def test_echo_chatter_and_a_slow_prompt_are_borne(modem: PtyModem, channel: SmsChannel) -> None:
    modem.chatter = ('+CMTI: "SM",3', "+CREG: 2", "RING", '+CREG: 1,"1A2B","0102"')
    modem.prompt_after_s = 0.3
    channel.send(message())
    assert modem.sent == [(NUMBER, "TENT DRY 76%")]


@pytest.mark.parametrize("alphabets", [("IRA", "UCS2"), ("GSM", "UCS2")])
def test_letters_that_stand_elsewhere_in_the_gsm_alphabet(
    modem: PtyModem, channel: SmsChannel, alphabets: tuple[str, ...]
) -> None:
    modem.alphabets = alphabets
    channel.send(message("a@b $5 x_y"))
    assert modem.sent == [(NUMBER, "a@b $5 x_y")]


def test_one_message_of_at_most_160_plain_letters(modem: PtyModem, channel: SmsChannel) -> None:
    channel.send(message("wörd " * 60))
    ((_, text),) = modem.sent
    # 31 words and spaces are 155 letters; a 32nd word would leave no room for the two dots.
    assert text == "word " * 30 + "word.."


@pytest.mark.parametrize(
    ("set_up", "said"),
    [
        (lambda m: setattr(m, "registered", 2), "no network"),
        (lambda m: setattr(m, "refuse", "+CMS ERROR: 38"), "the network is out of order"),
        (lambda m: setattr(m, "refuse", "ERROR"), "refused the text"),
        (lambda m: setattr(m, "refuse_number", "+CMS ERROR: 305"), "did not like the number"),
        (lambda m: setattr(m, "pin", PIN), "wants its PIN; name a file"),
        (lambda m: setattr(m, "alphabets", ("UCS2",)), "neither the alphabet"),
    ],
)
def test_what_may_pass_is_an_error_that_says_what_is_wrong(
    modem: PtyModem, channel: SmsChannel, set_up: Callable[[PtyModem], None], said: str
) -> None:
    set_up(modem)
    with pytest.raises(ChannelError, match=said) as told:
        channel.send(message())
    assert not isinstance(told.value, Refused)
    assert modem.sent == []
    modem.registered, modem.refuse, modem.refuse_number, modem.pin = 1, None, None, None
    modem.alphabets = ("IRA", "GSM", "UCS2")
    channel.send(message("later"))
    assert modem.sent == [(NUMBER, "later")]


def test_a_network_of_the_fourth_generation_alone_will_do(modem: PtyModem, channel: SmsChannel) -> None:
    """Some modems register for texts there and say 0 to the older question (TS 27.007, 7.2 and 10.1.22)."""
    modem.registered, modem.lte_registered = 0, 5
    assert "roaming" in channel.send(message())


def test_a_number_the_network_does_not_know_is_refused_for_good(modem: PtyModem, channel: SmsChannel) -> None:
    """Cause 1, unassigned number (TS 24.011, annex E)."""
    modem.refuse = "+CMS ERROR: 1"
    with pytest.raises(Refused, match="no such number"):
        channel.send(message())
    with pytest.raises(Refused, match="no telephone number"):
        channel.send(replace(message(), to=""))


@pytest.mark.parametrize("silence", ["silent", "silent_after_text"])
def test_long_silence_ends_in_an_error_and_the_next_text_goes(
    modem: PtyModem, channel: SmsChannel, silence: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("gillhouse.alerts.dialogue.Dialogue.ask.__defaults__", (0.4, ""))
    setattr(modem, silence, True)
    with pytest.raises(ChannelError, match=r"did not answer AT within|said nothing within 2 s; the text may"):
        channel.send(message("lost"))
    setattr(modem, silence, False)
    channel.send(message("later"))
    assert modem.sent == [(NUMBER, "later")]


def test_a_modem_that_is_pulled_out_is_an_error() -> None:
    gone = SmsChannel(ChannelSettings("text", "sms", device="/dev/gillhouse-none"), SystemClock())
    with pytest.raises(ChannelError, match="is the modem in"):
        gone.send(message())
    with pytest.raises(ChannelError, match="is the modem in"):
        gone.fetch(lambda came: None)


def test_a_second_process_waits_for_its_turn_at_the_modem(modem: PtyModem, channel: SmsChannel) -> None:
    held = channel._open()
    other = SmsChannel(ChannelSettings("text", "sms", device=modem.device, timeout_ms=300), SystemClock())
    try:
        with pytest.raises(ChannelError, match="lock"):
            other.send(message())
    finally:
        held.close()
    other.send(message())
    assert len(modem.sent) == 1


def test_a_modem_pulled_out_and_put_back_is_simply_there_again(tmp_path: Path) -> None:
    device = tmp_path / "modem"
    channel = SmsChannel(ChannelSettings("text", "sms", device=str(device), timeout_ms=2_000), SystemClock())
    for number in range(2):
        one = PtyModem()
        one.start()
        device.unlink(missing_ok=True)
        device.symlink_to(one.device)
        channel.send(message(f"text {number}"))
        assert one.sent == [(NUMBER, f"text {number}")]
        one.stop()
        with pytest.raises(ChannelError, match="is the modem in"):
            channel.send(message("lost"))


class Babble:
    """A line on which anything at all may stand, from the first byte on."""

    def __init__(self, said: bytes) -> None:
        self.timeout: float | None = None
        self._said = said

    @property
    def in_waiting(self) -> int:
        return len(self._said)

    def read(self, size: int = 1) -> bytes:
        came, self._said = self._said[:size], self._said[size:]
        return came

    def write(self, data: bytes) -> int | None:
        return len(data)

    def close(self) -> None:
        """Nothing to close."""


ANSWERS = st.sampled_from(
    [b"OK", b"ERROR", b"+CMS ERROR: 38", b"+CME ERROR: ", b"+CMS ERROR: " + b"9" * 5_000, b"> ",
     b"+CPIN: READY", b"+CREG: 0,1", b"+CREG: 0," + b"1" * 5_000, b"+CSQ: 99999",
     b'+CPMS: "SM",1,1,"SM",1,1,"SM",1,1',
     b'+CPMS: "ME",1,1,"ME",1,1,"SM",1,1', b"+CPMS: a,b", b'+CMGR: "REC READ","004","",""', b"006F", b"D800",
     b'+CMGR: "REC UNREAD","002B0034"', b"+CMGS: 1", b"", b"\xff\x00"]
)  # fmt: skip


@given(st.lists(st.one_of(ANSWERS, st.binary(max_size=40)), max_size=40))
def test_whatever_a_modem_says_is_an_answer_or_an_error_of_ours(said: list[bytes]) -> None:
    ticks = iter(range(0, 10**9, 500))
    with Dialogue(Babble(b"\r\n".join(said) + b"\r\n"), lambda: next(ticks)) as talk:
        modem = Modem(talk)
        for ask in (
            lambda: modem.card_state(),
            lambda: modem.pin_tries_left(),
            lambda: modem.network(),
            lambda: modem.signal(),
            lambda: modem.send(NUMBER, "text", 1.0),
            lambda: list(texts(talk)),
        ):
            with suppress(ModemError):
                ask()


# The card's PIN.


def test_the_pin_opens_the_card_once(modem: PtyModem, tmp_path: Path) -> None:
    modem.pin = PIN
    channel = with_pin(modem, tmp_path, PIN)
    channel.send(message())
    channel.send(message())
    assert [line for line in modem.said if line.startswith("AT+CPIN=")] == [f'AT+CPIN="{PIN}"']


def test_a_wrong_pin_is_tried_once_and_never_locks_the_card(modem: PtyModem, tmp_path: Path) -> None:
    """Three wrong ones lock a card (TS 31.101; from memory)."""
    modem.pin = PIN
    channel = with_pin(modem, tmp_path, "0000")
    for _ in range(5):
        with pytest.raises(ChannelError, match="PIN") as told:
            channel.send(message())
        assert "0000" not in str(told.value)
    assert modem.tries == 2
    for _ in range(5):  # as after five restarts
        with pytest.raises(ChannelError):
            with_pin(modem, tmp_path, "0000").send(message())
    assert modem.tries == 1
    (tmp_path / "pin").write_text(f"{PIN}\n")
    with pytest.raises(ChannelError, match="not asked again"):  # the last try is a person's
        channel.send(message())
    assert modem.tries == 1


def test_without_a_count_of_tries_it_still_asks_once_a_run(modem: PtyModem, tmp_path: Path) -> None:
    modem.pin, modem.tells_tries = PIN, False
    channel = with_pin(modem, tmp_path, "0000")
    for _ in range(3):
        with pytest.raises(ChannelError):
            channel.send(message())
    assert modem.tries == 2
    (tmp_path / "pin").write_text(f"{PIN}\n")
    channel.send(message())
    assert len(modem.sent) == 1


@pytest.mark.parametrize("pin", ["12", '1234"', "12345678901", "PIN"])
def test_what_is_no_pin_is_not_tried(modem: PtyModem, tmp_path: Path, pin: str) -> None:
    modem.pin = PIN
    with pytest.raises(ChannelError, match="holds no PIN"):
        with_pin(modem, tmp_path, pin).send(message())
    assert modem.tries == 3


def test_a_card_that_wants_its_puk_is_left_to_a_person(modem: PtyModem, tmp_path: Path) -> None:
    modem.pin, modem.tries = PIN, 0
    with pytest.raises(ChannelError, match="SIM PUK"):
        with_pin(modem, tmp_path, PIN).send(message())
    assert not [line for line in modem.said if line.startswith("AT+CPIN=")]


# What comes in.


def fetched(channel: SmsChannel) -> list[tuple[str, str]]:
    got: list[Incoming] = []
    channel.fetch(got.append)
    assert all(one.channel == "text" for one in got)
    return [(one.sender, one.body) for one in got]


def test_texts_that_came_in_are_read_and_deleted(modem: PtyModem, channel: SmsChannel) -> None:
    modem.receive(NUMBER, "ok 4711")
    modem.receive("SHOP", "20 % off é 🍄")
    assert fetched(channel) == [(NUMBER, "ok 4711"), ("SHOP", "20 % off é 🍄")]
    assert modem.store == {}
    assert fetched(channel) == []


def test_texts_are_read_in_the_store_they_come_in_to(modem: PtyModem, channel: SmsChannel) -> None:
    """Its three stores may differ (TS 27.005, 3.2.2)."""
    modem.reads_elsewhere = True
    modem.receive(NUMBER, "ok 4711")
    assert fetched(channel) == [(NUMBER, "ok 4711")]


def test_places_may_count_from_nought(modem: PtyModem, channel: SmsChannel) -> None:
    modem.first_place = 0
    modem.receive(NUMBER, "ok 4711")
    assert fetched(channel) == [(NUMBER, "ok 4711")]


def test_words_in_a_text_are_never_taken_for_the_modems_own(modem: PtyModem, channel: SmsChannel) -> None:
    """A text that looks like the modem's answer, with another sender's number in it."""
    forged = (
        f'hello\r\n\r\nOK\r\n\r\n+CMGR: "REC UNREAD","{NUMBER}",,"26/11/25,03:14:05+00"\r\nok 4711\r\n\r\nOK'
    )
    modem.receive("+447700900999", forged)
    modem.receive(NUMBER, "ok 1234")
    assert fetched(channel) == [("+447700900999", forged), (NUMBER, "ok 1234")]


def test_a_text_is_deleted_only_after_it_was_taken(modem: PtyModem, channel: SmsChannel) -> None:
    modem.receive(NUMBER, "ok 4711")

    def fails(came: Incoming) -> None:
        raise RuntimeError("power cut")

    with pytest.raises(RuntimeError):
        channel.fetch(fails)
    assert fetched(channel) == [(NUMBER, "ok 4711")]


def test_texts_wait_while_the_card_is_locked(modem: PtyModem, channel: SmsChannel) -> None:
    modem.receive(NUMBER, "ok 4711")
    modem.pin = PIN
    with pytest.raises(ChannelError, match="PIN"):
        channel.fetch(lambda came: None)
    assert len(modem.store) == 1


# Letters.


def test_plain_letters_as_octets_of_the_basic_alphabet() -> None:
    """TS 23.038, 6.2.1: @ is 0x00, $ 0x02, _ 0x11; digits and letters stand where ASCII has them."""
    assert octets("@$_A1", "GSM") == bytes([0x00, 0x02, 0x11, 0x41, 0x31])
    assert octets("@$_A1", "IRA") == b"@$_A1"
    assert from_ucs2("006F006B00200034") == "ok 4"


def test_a_long_text_is_cut_at_a_word() -> None:
    assert one_text("a" * 160) == "a" * 160
    cut = one_text("word " * 40)
    assert len(cut) <= 160 and cut == ("word " * 31).strip() + ".."
