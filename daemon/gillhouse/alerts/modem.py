"""A telephone modem on a serial line: one dialogue in AT commands, from opening the line to closing it.

Here: commands and their answers, the card's PIN, the network, handing over one text, reading and deleting
those that came in. Not here: who a text goes to or comes from, and when (`sms`).
How: a command is a line; its answer ends with `OK`, `ERROR`, `+CMS ERROR: n` or `+CME ERROR: n`. Echoes and
lines the modem says on its own (`+CMTI`, `+CREG`, `RING`) may stand anywhere and are passed over. Texts are
read one place at a time and in UCS2, as digits: so nothing written in a text can be taken for an answer.
Sources: 3GPP TS 27.005 (texts; 3.1, 3.2.5, 3.4.1, 3.5.1, 3.5.4), TS 27.007 (5.5, 7.2, 8.3, 8.5, 9.2).
"""

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Protocol, Self

from gillhouse.alerts.gsm import from_ucs2, octets
from gillhouse.errors import ChannelError

QUICK_S = 5.0
"""A command that only asks the modem itself."""
QUIET_MS = 150
"""A modem that said nothing for so long has nothing left to say of what was before."""
PIN_S = 20.0
PROMPT_S = 15.0
"""From the number to the sign that the text may be typed; some modems take their time."""

REGISTERED = {1: "at home", 5: "roaming", 6: "for texts only", 7: "for texts only, roaming"}
"""Source: TS 27.007, 7.2."""

LAST_PLACE = 100
"""Places of a card that are looked through; cards have some 10 to 50."""

CMS_ERRORS: dict[int, str] = {
    # Source: TS 27.005, 3.2.5; below 128: TS 24.011, annex E. From memory; the numbers are told beside them.
    1: "there is no such number",
    8: "the provider bars texts",
    10: "the card may not send",
    21: "the other side turned it away",
    27: "the other telephone is out of order",
    28: "the network does not know that number",
    30: "the network does not know that number",
    38: "the network is out of order",
    41: "the network has a passing trouble",
    42: "the network is too busy",
    50: "the card has no texts in its contract",
    302: "the modem does not allow it",
    304: "the modem did not like the text",
    305: "the modem did not like the number",
    310: "there is no card in the modem",
    311: "the card wants its PIN",
    313: "the card is broken",
    314: "the card is busy",
    316: "the card wants its PUK",
    322: "the store for texts is full",
    330: "the card holds no number of a service centre",
    331: "no network",
    332: "the network did not answer",
}
NEVER = frozenset({1, 28, 30})
"""Of those, errors that blame the number: no later attempt will do better."""

CME_ERRORS: dict[int, str] = {
    # Source: TS 27.007, 9.2; from memory
    10: "there is no card in the modem",
    11: "the card wants its PIN",
    12: "the card wants its PUK",
    13: "the card is broken",
    14: "the card is busy",
    16: "the PIN is wrong",
    30: "no network",
    31: "the network did not answer",
    32: "the network takes emergency calls only",
}


class ModemError(ChannelError):
    """A command failed; `code` is the number of a +CMS ERROR, where there was one."""

    def __init__(self, words: str, code: int | None = None) -> None:
        super().__init__(words)
        self.code = code


class Silent(ModemError):
    """No answer came in time. One may still come: this dialogue is over."""


class Line(Protocol):
    """What is used of a serial port (pyserial's)."""

    timeout: float | None

    @property
    def in_waiting(self) -> int: ...

    def read(self, size: int = 1) -> bytes: ...

    def write(self, data: bytes) -> int | None: ...

    def close(self) -> None: ...


@dataclass(frozen=True, slots=True)
class Text:
    """A text that lies in the modem."""

    place: int
    sender: str
    """As the network gave it: `+` and digits, or a name."""
    body: str


class Modem:
    """One dialogue. It is a context manager; leaving it closes the line."""

    def __init__(self, line: Line, mono_ms: Callable[[], int]) -> None:
        """Takes an open line. Nothing is said to the modem before `wake`.

        Args:
            mono_ms: a clock that runs on, ms.
        """
        self._line = line
        self._mono_ms = mono_ms
        self._heard = b""
        self._alphabet = "IRA"

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._line.close()

    def wake(self) -> None:
        """Ends whatever a dialogue before this one left half said, and sets what all others rely on.

        Raises:
            ModemError: the modem does not answer.
        """
        self._line.write(b"\x1b\r")  # leaves a text half typed: TS 27.005, 3.5.1
        while self._more(self._mono_ms() + QUIET_MS):
            self._heard = b""
        self.ask("AT")
        self.ask("ATE0")
        self.ask("AT+CMEE=1")
        self.ask("AT+CMGF=1")  # texts as words, not as PDUs

    def ask(self, command: str, wait_s: float = QUICK_S, told: str = "") -> list[str]:
        """Says a command and gives the lines of its answer.

        Args:
            told: stands for the command in an error, where it holds something nobody may read.
        Raises:
            ModemError: it failed, or nothing came.
        """
        self._line.write(command.encode("ascii") + b"\r")
        return self._answer(told or command, wait_s, command)

    def _asked(self, command: str) -> list[str] | None:
        """As `ask`, for a command that not every modem knows; None: it does not."""
        try:
            return self.ask(command)
        except Silent:
            raise
        except ModemError:
            return None

    def _answer(self, told: str, wait_s: float, echo: str = "") -> list[str]:
        lines: list[str] = []
        for line in self._lines(wait_s):
            if line == "OK":
                return lines
            if line == "ERROR" or line.startswith(("+CMS ERROR:", "+CME ERROR:")):
                raise _refused(told, line)
            if line != echo:
                lines.append(line)
        raise Silent(
            f"the modem did not answer {told} within {wait_s:g} s; is it on, and is this its device?"
        )

    def _lines(self, wait_s: float) -> Iterator[str]:
        """Lines as they come, until the time is over."""
        until_ms = self._mono_ms() + round(wait_s * 1_000)
        while True:
            line, end, rest = self._heard.partition(b"\n")
            if end:
                self._heard = rest
                words = line.decode("ascii", "replace").strip()
                if words:
                    yield words
            elif not self._more(until_ms):
                return

    def _more(self, until_ms: int) -> bool:
        """Reads what has come, waiting for it where there is nothing yet. False: the time is over."""
        left_ms = until_ms - self._mono_ms()
        if left_ms <= 0:
            return False
        self._line.timeout = left_ms / 1_000
        came = self._line.read(max(1, self._line.in_waiting))
        self._heard += came
        return bool(came)

    def card_state(self) -> str:
        """What the card wants: `READY`, `SIM PIN`, `SIM PUK` and the like."""
        return _after("+CPIN:", self.ask("AT+CPIN?")) or "nothing it says"

    def pin_tries_left(self) -> int | None:
        """How often the PIN may still be tried; None: the modem does not say."""
        told = self._asked('AT+CPINR="SIM PIN"')
        found = re.search(r",\s*(\d+)", _after("+CPINR:", told or []))
        return int(found[1]) if found else None

    def enter_pin(self, pin: str) -> None:
        """Hands the PIN to the card, once."""
        self.ask(f'AT+CPIN="{pin}"', PIN_S, told="the PIN")

    def network(self) -> str | None:
        """How the modem is in a network, in words; None: it is in none."""
        for command, sign in (("AT+CREG?", "+CREG:"), ("AT+CEREG?", "+CEREG:")):
            for line in self._asked(command) or []:
                # Said by itself, the line has the state first and no second number, or one in quotes.
                found = re.match(rf"\{sign}\s*\d+\s*,\s*(\d+)", line)
                if found and int(found[1]) in REGISTERED:
                    return REGISTERED[int(found[1])]
        return None

    def signal(self) -> str:
        """The strength of the signal in words. Source: TS 27.007, 8.5: 0 is -113 dBm, each step 2 dB."""
        found = re.match(r"\s*(\d+)", _after("+CSQ:", self._asked("AT+CSQ") or []))
        steps = int(found[1]) if found else 99
        return "signal unknown" if steps > 31 else f"signal {-113 + 2 * steps} dBm, {steps} of 31"

    def send(self, number: str, text: str, wait_s: float) -> None:
        """Hands one text to the network.

        Raises:
            ModemError: it was not taken, or nothing says whether it was.
        """
        self._alphabet_for_sending()
        self._line.write(f'AT+CMGS="{number}"\r'.encode("ascii"))
        self._wait_for_prompt()
        self._line.write(octets(text, self._alphabet) + b"\x1a")
        try:
            told = self._answer("the text", wait_s)
        except Silent:
            raise Silent(
                f"the network said nothing within {wait_s:g} s; the text may have gone, and is sent again"
            ) from None
        if not _after("+CMGS:", told):
            raise ModemError("the modem took the text and gave no number for it; it is sent again")

    def _alphabet_for_sending(self) -> None:
        for self._alphabet in ("IRA", "GSM"):
            if self._asked(f'AT+CSCS="{self._alphabet}"') is not None:
                return
        raise ModemError("the modem knows neither the alphabet IRA nor GSM")

    def _wait_for_prompt(self) -> None:
        """The sign `> ` has no line end. Source: TS 27.005, 3.5.1."""
        until_ms = self._mono_ms() + round(PROMPT_S * 1_000)
        while True:
            line, end, rest = self._heard.partition(b"\n")
            words = line.decode("ascii", "replace").strip()
            if words == ">":
                self._heard = rest
                return
            if end:
                self._heard = rest
                if words == "ERROR" or words.startswith(("+CMS ERROR:", "+CME ERROR:")):
                    raise _refused("the number", words)
            elif not self._more(until_ms):
                self._line.write(b"\x1b")
                raise Silent(f"the modem gave no sign to begin the text within {PROMPT_S:g} s")

    def texts(self) -> Iterator[Text]:
        """Those that lie in the modem, one after the other, each read when it is asked for.

        Raises:
            ModemError: they cannot be read.
        """
        stores = re.findall(r'"(\w+)",(\d+),(\d+)', _after("+CPMS:", self.ask("AT+CPMS?"), commas=True))
        if len(stores) == 3 and stores[0][0] != stores[2][0]:  # read where those that come in are kept
            told = _after("+CPMS:", self.ask(f'AT+CPMS="{stores[2][0]}"'), commas=True)
            used, total = (int(one) for one in told.split(",")[:2])
        elif stores:
            used, total = int(stores[0][1]), int(stores[0][2])
        else:
            raise ModemError("the modem does not say where it keeps texts")
        if not used:
            return
        self.ask('AT+CSCS="UCS2"')
        # Places count from 1 on most modems and from 0 on some.
        for place in range(min(total, LAST_PLACE) + 1):
            found = self._read(place)
            if found is not None:
                yield found
                used -= 1
            if used <= 0:
                return

    def _read(self, place: int) -> Text | None:
        """The text at a place; None: there is none. One that cannot be read has no sender and no words."""
        lines = self._asked(f"AT+CMGR={place}") or []
        at = next((n for n, line in enumerate(lines) if line.startswith("+CMGR:")), None)
        if at is None:
            return None
        head = re.match(r'\+CMGR:\s*"REC (?:UN)?READ","([0-9A-Fa-f+]*)"', lines[at])
        body = next((line for line in lines[at + 1 :] if re.fullmatch(r"(?:[0-9A-Fa-f]{4})+", line)), "")
        try:
            sender = head[1] if head else ""
            return Text(place, sender if sender[:1] == "+" else from_ucs2(sender), from_ucs2(body))
        except ValueError:
            return Text(place, "", "")

    def delete(self, place: int) -> None:
        self.ask(f"AT+CMGD={place}")


def _after(sign: str, lines: list[str], *, commas: bool = False) -> str:
    """What stands behind `sign`; with `commas`, in a line that has one."""
    for line in lines:
        if line.startswith(sign) and (not commas or "," in line):
            return line.removeprefix(sign).strip()
    return ""


def _refused(what: str, line: str) -> ModemError:
    found = re.fullmatch(r"\+(CM[SE]) ERROR:\s*(\d+)", line)
    if found is None:
        return ModemError(f"the modem refused {what} ({line})")
    number = int(found[2])
    words = (CMS_ERRORS if found[1] == "CMS" else CME_ERRORS).get(number, "see the modem's manual")
    return ModemError(f"{words} (+{found[1]} ERROR: {number})", number if found[1] == "CMS" else None)
