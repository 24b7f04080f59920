"""A telephone modem: the card's PIN, the network, and handing over one text.

Here: which commands, and what their answers say. Not here: how an answer is heard (`dialogue`), texts that
came in (`text_inbox`), who a text goes to (`sms`).
Sources: 3GPP TS 27.005 (3.5.1, sending), TS 27.007 (5.5 alphabets, 7.2 network, 8.3 PIN, 8.5 signal).
"""

import re

from gillhouse.alerts.dialogue import Dialogue, ModemError, Silent, after
from gillhouse.alerts.gsm import octets

PIN_S = 20.0

REGISTERED = {1: "at home", 5: "roaming", 6: "for texts only", 7: "for texts only, roaming"}
"""Source: TS 27.007, 7.2."""


class Modem:
    """What a modem is asked and told, within one dialogue."""

    def __init__(self, talk: Dialogue) -> None:
        self._talk = talk
        self._alphabet = "IRA"

    def wake(self) -> None:
        """Sets what all else relies on.

        Raises:
            ModemError: the modem does not answer.
        """
        self._talk.hush()
        self._talk.ask("AT")
        self._talk.ask("ATE0")
        self._talk.ask("AT+CMEE=1")
        self._talk.ask("AT+CMGF=1")  # texts as words, not as PDUs

    def card_state(self) -> str:
        """What the card wants: `READY`, `SIM PIN`, `SIM PUK` and the like."""
        return after("+CPIN:", self._talk.ask("AT+CPIN?")) or "nothing it says"

    def pin_tries_left(self) -> int | None:
        """How often the PIN may still be tried; None: the modem does not say."""
        told = self._talk.ask_if_known('AT+CPINR="SIM PIN"')
        found = re.search(r",\s*(\d{1,3})(?!\d)", after("+CPINR:", told or []))
        return int(found[1]) if found else None

    def enter_pin(self, pin: str) -> None:
        """Hands the PIN to the card, once."""
        self._talk.ask(f'AT+CPIN="{pin}"', PIN_S, told="the PIN")

    def network(self) -> str | None:
        """How the modem is in a network, in words; None: it is in none."""
        for command, sign in (("AT+CREG?", "+CREG:"), ("AT+CEREG?", "+CEREG:")):
            for line in self._talk.ask_if_known(command) or []:
                # Said by itself, the line has the state first and no second number, or one in quotes.
                found = re.match(rf"\{sign}\s*\d+\s*,\s*(\d{{1,3}})(?!\d)", line)
                if found and int(found[1]) in REGISTERED:
                    return REGISTERED[int(found[1])]
        return None

    def signal(self) -> str:
        """The strength of the signal in words. Source: TS 27.007, 8.5: 0 is -113 dBm, each step 2 dB."""
        found = re.match(r"\s*(\d{1,3})(?!\d)", after("+CSQ:", self._talk.ask_if_known("AT+CSQ") or []))
        steps = int(found[1]) if found else 99
        return "signal unknown" if steps > 31 else f"signal {-113 + 2 * steps} dBm, {steps} of 31"

    def send(self, number: str, text: str, wait_s: float) -> None:
        """Hands one text to the network.

        Raises:
            ModemError: it was not taken, or nothing says whether it was.
        """
        self._alphabet_for_sending()
        self._talk.say(f'AT+CMGS="{number}"\r'.encode("ascii"))
        self._talk.wait_for_prompt()
        self._talk.say(octets(text, self._alphabet) + b"\x1a")
        try:
            told = self._talk.answer("the text", wait_s)
        except Silent:
            raise Silent(
                f"the network said nothing within {wait_s:g} s; the text may have gone, and is sent again"
            ) from None
        if not after("+CMGS:", told):
            raise ModemError("the modem took the text and gave no number for it; it is sent again")

    def _alphabet_for_sending(self) -> None:
        for self._alphabet in ("IRA", "GSM"):
            if self._talk.ask_if_known(f'AT+CSCS="{self._alphabet}"') is not None:
                return
        raise ModemError("the modem knows neither the alphabet IRA nor GSM")
