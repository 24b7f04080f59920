"""Texts that came in: reading those that lie in the modem, and deleting them.

Texts are read one place at a time and in UCS2, as digits: so nothing written in a text can be taken for an
answer of the modem's, nor for the head of another text. Not here: who may answer what (`desk`).
Sources: 3GPP TS 27.005, 3.2.2 and 3.4 (stores, reading, deleting), TS 27.007, 5.5 (alphabets).
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass

from gillhouse.alerts.dialogue import Dialogue, ModemError, after
from gillhouse.alerts.gsm import from_ucs2

LAST_PLACE = 100
"""Places of a card that are looked through; cards have some 10 to 50."""


@dataclass(frozen=True, slots=True)
class Text:
    """A text that lies in the modem."""

    place: int
    sender: str
    """As the network gave it: `+` and digits, or a name."""
    body: str


def texts(talk: Dialogue) -> Iterator[Text]:
    """Those that lie in the modem, one after the other, each read when it is asked for.

    Raises:
        ModemError: they cannot be read.
    """
    stores = re.findall(r'"(\w+)",(\d{1,5}),(\d{1,5})', after("+CPMS:", talk.ask("AT+CPMS?"), commas=True))
    if len(stores) == 3 and stores[0][0] != stores[2][0]:  # read where those that come in are kept
        told = after("+CPMS:", talk.ask(f'AT+CPMS="{stores[2][0]}"'), commas=True)
        found = re.match(r"(\d{1,5}),(\d{1,5})", told)
        used, total = (int(found[1]), int(found[2])) if found else (0, 0)
    elif stores:
        used, total = int(stores[0][1]), int(stores[0][2])
    else:
        raise ModemError("the modem does not say where it keeps texts")
    if not used:
        return
    talk.ask('AT+CSCS="UCS2"')
    # Places count from 1 on most modems and from 0 on some.
    for place in range(min(total, LAST_PLACE) + 1):
        text = _read(talk, place)
        if text is not None:
            yield text
            used -= 1
        if used <= 0:
            return


def _read(talk: Dialogue, place: int) -> Text | None:
    """The text at a place; None: there is none. One that cannot be read has no sender and no words."""
    lines = talk.ask_if_known(f"AT+CMGR={place}") or []
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


def delete(talk: Dialogue, place: int) -> None:
    """Forgets the text at a place."""
    talk.ask(f"AT+CMGD={place}")
