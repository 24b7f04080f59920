"""A telephone modem at the other end of a real pseudo-terminal, on a thread of its own.

It answers as 3GPP TS 27.005 (text mode) and TS 27.007 have it, echo, lines of its own accord and faults
included; the figures it answers with are invented. It shares no code with the package.
"""

import os
import re
import threading
import tty
from dataclasses import dataclass, field

CTRL_Z, ESC = 0x1A, 0x1B
GSM_TO_ASCII = {0x00: "@", 0x02: "$", 0x11: "_"}
"""TS 23.038, 6.2.1: places of the basic alphabet that differ from ASCII's, of letters both have."""


@dataclass
class PtyModem:
    """Set its attributes to make it misbehave; `sent` and `said` tell what it got."""

    pin: str | None = None
    """What the card wants before anything else; None: nothing."""
    tries: int = 3
    tells_tries: bool = True
    registered: int = 1
    lte_registered: int = 0
    refuse: str | None = None
    """The answer to a text, such as `+CMS ERROR: 38`."""
    refuse_number: str | None = None
    """The answer to the number, in place of the prompt."""
    prompt_after_s: float = 0.0
    silent: bool = False
    silent_after_text: bool = False
    alphabets: tuple[str, ...] = ("IRA", "GSM", "UCS2")
    reads_elsewhere: bool = False
    """It reads in another store than the one texts come in to, until it is told."""
    chatter: tuple[str, ...] = ()
    """Lines it says by itself before each answer."""
    first_place: int = 1
    places: int = 10
    store: dict[int, tuple[str, str]] = field(default_factory=dict)
    """place -> (sender, body) of texts that came in."""
    sent: list[tuple[str, str]] = field(default_factory=list)
    said: list[str] = field(default_factory=list)
    """Every command, in order."""

    def __post_init__(self) -> None:
        self._master, self._slave = os.openpty()
        tty.setraw(self._slave)
        self.device = os.ttyname(self._slave)
        self._over = threading.Event()
        self._echo = True
        self._verbose = False
        self._alphabet = "GSM"
        self._number: str | None = None
        self._buffer = bytearray()
        self._thread = threading.Thread(target=self._run, daemon=True)

    def start(self) -> None:
        self._thread.start()

    def stop(self) -> None:
        """Pulls the modem out."""
        self._over.set()
        os.write(self._slave, b"\x00")  # wakes the reader
        self._thread.join(5)
        os.close(self._master)
        os.close(self._slave)

    def receive(self, sender: str, body: str) -> None:
        """A text comes in over the air."""
        place = next(
            p for p in range(self.first_place, self.first_place + self.places) if p not in self.store
        )
        self.store[place] = (sender, body)
        self._write(f'\r\n+CMTI: "SM",{place}\r\n')

    def _run(self) -> None:
        while not self._over.is_set():
            for octet in os.read(self._master, 256):
                if self._over.is_set():
                    return
                if self._number is not None:
                    self._take_text(octet)
                elif octet in b"\r":
                    line, self._buffer = self._buffer.decode("latin-1"), bytearray()
                    self._command(line)
                elif octet != ESC:
                    self._buffer.append(octet)

    def _take_text(self, octet: int) -> None:
        if octet == ESC:
            self._number, self._buffer = None, bytearray()
            self._write("\r\nOK\r\n")
        elif octet == CTRL_Z:
            number, raw = self._number, bytes(self._buffer)
            self._number, self._buffer = None, bytearray()
            if self.silent_after_text:
                return
            if self.refuse is not None:
                self._end(self.refuse)
                return
            assert number is not None
            self.sent.append((number, self._decoded(raw)))
            self._write(f"\r\n+CMGS: {len(self.sent)}\r\n")
            self._end("OK")
        else:
            self._buffer.append(octet)

    def _decoded(self, raw: bytes) -> str:
        if self._alphabet == "GSM":
            return "".join(GSM_TO_ASCII.get(one, chr(one)) for one in raw)
        return raw.decode("ascii")

    def _command(self, line: str) -> None:
        if not line:
            return
        self.said.append(line)
        if self.silent:
            return
        if self._echo:
            self._write(line + "\r")
        for one in self.chatter:
            self._write(f"\r\n{one}\r\n")
        for pattern, answer in self._ANSWERS:
            found = re.fullmatch(pattern, line)
            if found:
                answer(self, found)
                return
        self._end("ERROR")

    def _locked(self) -> bool:
        if self.pin is not None:
            self._end("+CME ERROR: 11")
        return self.pin is not None

    def _ok(self, _: re.Match[str]) -> None:
        self._end("OK")

    def _set_echo(self, found: re.Match[str]) -> None:
        self._echo = found[1] == "1"
        self._end("OK")

    def _card(self, _: re.Match[str]) -> None:
        state = "READY" if self.pin is None else "SIM PIN" if self.tries else "SIM PUK"
        self._write(f"\r\n+CPIN: {state}\r\n")
        self._end("OK")

    def _try_pin(self, found: re.Match[str]) -> None:
        if found[1] == self.pin:
            self.pin = None
            self._end("OK")
        else:
            self.tries -= 1
            self._end("+CME ERROR: 16")

    def _tries(self, _: re.Match[str]) -> None:
        if not self.tells_tries:
            self._end("ERROR")
            return
        self._write(f"\r\n+CPINR: SIM PIN,{self.tries},3\r\n")
        self._end("OK")

    def _registered(self, found: re.Match[str]) -> None:
        state = self.registered if found[1] == "CREG" else self.lte_registered
        self._write(f"\r\n+{found[1]}: 0,{state}\r\n")
        self._end("OK")

    def _signal(self, _: re.Match[str]) -> None:
        self._write("\r\n+CSQ: 17,99\r\n")
        self._end("OK")

    def _set_alphabet(self, found: re.Match[str]) -> None:
        if found[1] not in self.alphabets:
            self._end("ERROR")
            return
        self._alphabet = found[1]
        self._end("OK")

    def _begin_text(self, found: re.Match[str]) -> None:
        if self._locked():
            return
        if self.refuse_number is not None:
            self._end(self.refuse_number)
            return
        self._over.wait(self.prompt_after_s)
        self._number = found[1]
        self._write("\r\n> ")

    def _stores(self, found: re.Match[str]) -> None:
        if self._locked():
            return
        told = f'"SM",{len(self.store)},{self.places}'
        first = '"ME",0,25' if self.reads_elsewhere else told
        self._write(f"\r\n+CPMS: {first},{told},{told}\r\n")
        self._end("OK")

    def _set_store(self, found: re.Match[str]) -> None:
        self.reads_elsewhere = found[1] != "SM"
        told = f"{len(self.store)},{self.places}"
        self._write(f"\r\n+CPMS: {told},{told},{told}\r\n")
        self._end("OK")

    def _read(self, found: re.Match[str]) -> None:
        kept = None if self.reads_elsewhere else self.store.get(int(found[1]))
        if kept is None:
            self._end("+CMS ERROR: 321")
            return
        sender, body = kept
        if self._alphabet == "UCS2":
            sender, body = (one.encode("utf-16-be").hex().upper() for one in (sender, body))
        self._write(f'\r\n+CMGR: "REC UNREAD","{sender}",,"26/11/25,03:14:05+00"\r\n{body}\r\n')
        self._end("OK")

    def _delete(self, found: re.Match[str]) -> None:
        self.store.pop(int(found[1]), None)
        self._end("OK")

    _ANSWERS = (
        (r"AT", _ok),
        (r"ATE([01])", _set_echo),
        (r"AT\+CMEE=1", _ok),
        (r"AT\+CMGF=1", _ok),
        (r"AT\+CPIN\?", _card),
        (r'AT\+CPIN="(\d+)"', _try_pin),
        (r'AT\+CPINR="SIM PIN"', _tries),
        (r"AT\+(CE?REG)\?", _registered),
        (r"AT\+CSQ", _signal),
        (r'AT\+CSCS="(\w+)"', _set_alphabet),
        (r'AT\+CMGS="([^"]+)"', _begin_text),
        (r"AT\+CPMS\?", _stores),
        (r'AT\+CPMS="(\w+)"', _set_store),
        (r"AT\+CMGR=(\d+)", _read),
        (r"AT\+CMGD=(\d+)", _delete),
    )

    def _end(self, words: str) -> None:
        self._write(f"\r\n{words}\r\n")

    def _write(self, words: str) -> None:
        data = words.encode("ascii")
        for at in range(0, len(data), 7):  # a serial line brings an answer in pieces
            os.write(self._master, data[at : at + 7])
