"""Text messages through a modem on a serial line (extra `sms`).

The line is opened for each dialogue and closed after it, and held by one process at a time: so
`gillhouse try-alert` works beside a running daemon, and a modem that was pulled out and put back is simply
there again. The card's PIN is tried once; after a wrong one it waits for another file, since three wrong ones
lock a card. Not here: the commands (`modem`, `text_inbox`), what an answer means (`replies`).
"""

import hashlib
import termios
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from itertools import islice

import serial

from gillhouse.alerts.channel import Incoming, Message, Refused, heard
from gillhouse.alerts.dialogue import NEVER, Dialogue, ModemError
from gillhouse.alerts.gsm import one_text
from gillhouse.alerts.modem import Modem
from gillhouse.alerts.secret import read_secret
from gillhouse.alerts.text_inbox import delete, texts
from gillhouse.clock import Clock
from gillhouse.core.edges import ChannelSettings
from gillhouse.errors import ChannelError

LEAST_TRIES = 2
"""With fewer tries of the PIN left a person must type it on a telephone: the last one is not ours."""

OPEN_AGAIN_MS = 250
"""Between two looks at a line somebody else holds."""

MOST_AT_ONCE = 50
"""Texts read in one dialogue; the rest wait for the next."""


class SmsChannel:
    """Sends each message as one text of at most 160 letters, and reads the texts that come in."""

    def __init__(self, settings: ChannelSettings, clock: Clock) -> None:
        self.id = settings.id
        self._settings = settings
        self._clock = clock
        self._lock = threading.Lock()
        self._pause = threading.Condition()
        self._tried_pin = ""
        """Digest of a PIN the card refused."""

    def send(self, message: Message) -> str:
        if not message.to:
            raise Refused(
                f"channel {self.id}: {message.person} has no telephone number; add phone to the person"
            )
        with self._dialogue() as talk:
            modem = Modem(talk)
            network = self._ready(modem)
            try:
                modem.send(message.to, one_text(message.text), self._settings.timeout_ms / 1_000)
            except ModemError as error:
                if error.code in NEVER:
                    raise Refused(f"channel {self.id}: {error}") from None
                raise
            return f"the network took the text ({network}, {modem.signal()})"

    def fetch(self, take: Callable[[Incoming], object]) -> int:
        """Hands every text that came in to `take`, and deletes it after. Returns how many.

        Raises:
            ChannelError: they could not be read now.
        """
        with self._dialogue() as talk:
            self._unlock(Modem(talk))
            found = list(islice(texts(talk), MOST_AT_ONCE))
        for text in found:  # the line is free meanwhile: what follows from an answer may be a text
            take(Incoming(self.id, text.sender, text.body))
        if found:
            with self._dialogue() as talk:
                for text in found:
                    delete(talk, text.place)
        return len(found)

    @property
    def look_every_ms(self) -> int:
        return self._settings.look_every_ms

    @contextmanager
    def _dialogue(self) -> Iterator[Dialogue]:
        """The modem, awake and ours alone; whatever goes wrong becomes an error with the channel's name."""
        with self._lock:
            try:
                with Dialogue(self._open(), lambda: self._clock.now().mono_ms) as talk:
                    Modem(talk).wake()
                    yield talk
            except ModemError as error:
                raise ChannelError(f"channel {self.id}: {error}") from None
            except (serial.SerialException, OSError, termios.error) as error:
                why = heard(str(error))
                raise ChannelError(
                    f"channel {self.id}: {self._settings.device}: {why}; is the modem in?"
                ) from None

    def _open(self) -> serial.Serial:
        """The line, waited for while another process of ours has it."""
        until_ms = self._clock.now().mono_ms + self._settings.timeout_ms
        while True:
            try:
                return serial.Serial(
                    self._settings.device, self._settings.baud, timeout=1.0, write_timeout=5.0, exclusive=True
                )
            except serial.SerialException as error:
                busy = "lock" in str(error)  # pyserial's word where flock(2) says that another has it
                if not busy or self._clock.now().mono_ms >= until_ms:
                    raise
            with self._pause:
                self._clock.wait(self._pause, self._clock.now().mono_ms + OPEN_AGAIN_MS)

    def _ready(self, modem: Modem) -> str:
        """Unlocks the card and asks for the network; its state in words."""
        self._unlock(modem)
        network = modem.network()
        if network is None:
            raise ModemError("no network; look at the antenna, and whether the card still has a contract")
        return network

    def _unlock(self, modem: Modem) -> None:
        state = modem.card_state()
        if state == "READY":
            return
        if state != "SIM PIN":
            raise ModemError(f"the card wants {heard(state)}; put it into a telephone and see")
        if self._settings.pin_file is None:
            raise ModemError(
                "the card wants its PIN; name a file that holds it in pin_file, or switch the PIN off"
            )
        pin = read_secret(self._settings.pin_file, self.id)
        if not (pin.isascii() and pin.isdigit() and 4 <= len(pin) <= 8):
            raise ModemError(f"{self._settings.pin_file} holds no PIN of 4 to 8 digits; it was not tried")
        mark = hashlib.sha256(pin.encode()).hexdigest()
        left = modem.pin_tries_left()
        if mark == self._tried_pin or (left is not None and left < LEAST_TRIES):
            raise ModemError(
                "the card refused this PIN, and was not asked again lest it lock; correct pin_file"
            )
        self._tried_pin = mark
        modem.enter_pin(pin)
        self._tried_pin = ""
