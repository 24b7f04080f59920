"""Commands to a modem and their answers, over one serial line.

Here: saying a command, hearing its answer out, and what a modem's errors mean. Not here: which commands
(`modem`, `text_inbox`).
How: a command is a line; its answer ends with `OK`, `ERROR`, `+CMS ERROR: n` or `+CME ERROR: n`. Echoes and
lines the modem says on its own (`+CMTI`, `+CREG`, `RING`) may stand anywhere and are passed over.
Sources: 3GPP TS 27.005 (texts; 3.2.5, 3.5.1), TS 27.007 (9.2).
"""

import re
from collections.abc import Callable, Iterator
from typing import Protocol, Self

from gillhouse.errors import ChannelError

QUICK_S = 5.0
"""A command that only asks the modem itself."""
QUIET_MS = 150
"""A modem that said nothing for so long has nothing left to say of what was before."""
PROMPT_S = 15.0
"""From the number to the sign that the text may be typed; some modems take their time."""

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


class Dialogue:
    """From opening a line to closing it. It is a context manager; leaving it closes the line."""

    def __init__(self, line: Line, mono_ms: Callable[[], int]) -> None:
        """Takes an open line; nothing is said yet.

        Args:
            mono_ms: a clock that runs on, ms.
        """
        self._line = line
        self._mono_ms = mono_ms
        self._heard = b""

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._line.close()

    def hush(self) -> None:
        """Ends whatever a dialogue before this one left half said, and waits until nothing more comes."""
        self._line.write(b"\x1b\r")  # leaves a text half typed: TS 27.005, 3.5.1
        while self._more(self._mono_ms() + QUIET_MS):
            self._heard = b""

    def say(self, octets: bytes) -> None:
        """Says something that is no command, or one whose answer is heard apart."""
        self._line.write(octets)

    def ask(self, command: str, wait_s: float = QUICK_S, told: str = "") -> list[str]:
        """Says a command and gives the lines of its answer.

        Args:
            told: stands for the command in an error, where it holds something nobody may read.
        Raises:
            ModemError: it failed, or nothing came.
        """
        self._line.write(command.encode("ascii") + b"\r")
        return self.answer(told or command, wait_s, command)

    def ask_if_known(self, command: str) -> list[str] | None:
        """As `ask`, for a command that not every modem knows; None: it does not."""
        try:
            return self.ask(command)
        except Silent:
            raise
        except ModemError:
            return None

    def answer(self, told: str, wait_s: float, echo: str = "") -> list[str]:
        """The lines of an answer, without the word that ends it.

        Args:
            told: stands for what was said, in an error.
        Raises:
            ModemError: it was refused, or nothing came.
        """
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

    def wait_for_prompt(self) -> None:
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


def after(sign: str, lines: list[str], *, commas: bool = False) -> str:
    """What stands behind `sign`; with `commas`, in a line that has one."""
    for line in lines:
        if line.startswith(sign) and (not commas or "," in line):
            return line.removeprefix(sign).strip()
    return ""


def _refused(what: str, line: str) -> ModemError:
    found = re.fullmatch(r"\+(CM[SE]) ERROR:\s*(\d{1,4})", line)
    if found is None:
        return ModemError(f"the modem refused {what} ({line})")
    number = int(found[2])
    words = (CMS_ERRORS if found[1] == "CMS" else CME_ERRORS).get(number, "see the modem's manual")
    return ModemError(f"{words} (+{found[1]} ERROR: {number})", number if found[1] == "CMS" else None)
