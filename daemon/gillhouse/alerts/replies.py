"""What a person may answer to a call: one word and its code, "ok 4711".

Here: the words, one row each, and finding them in what was written. Not here: whether the code counts
(`codes`), and what is done (`desk`). There is no word that moves a relay, and none can be added here: the
acts stand in `desk.ACTS`, which holds acts on alarms alone.
"""

import re
from dataclasses import dataclass
from enum import StrEnum


class Wish(StrEnum):
    """What an answer asks for."""

    SEEN = "ok"
    QUIET = "quiet"
    """No messages about it for an hour."""
    NEXT = "next"
    """I cannot: call the next person."""


WORDS: dict[str, Wish] = {
    # first letters as people type them; the first of each is the one our messages name
    "ok": Wish.SEEN,
    "okay": Wish.SEEN,
    "seen": Wish.SEEN,
    "quiet": Wish.QUIET,
    "hush": Wish.QUIET,
    "next": Wish.NEXT,
    "pass": Wish.NEXT,
}

LONGEST_NOTE = 100
"""Letters of what may follow the code; it is written down as a note."""

_WORD_CODE = re.compile(r"(?P<word>[A-Za-z]{2,8})[\s.,:!#-]*(?P<code>[0-9]{4})(?![0-9])(?P<note>.*)")
_CODE_WORD = re.compile(r"(?P<code>[0-9]{4})[\s.,:!#-]+(?P<word>[A-Za-z]{2,8})(?![A-Za-z])(?P<note>.*)")


@dataclass(frozen=True, slots=True)
class Reply:
    """An answer as far as it can be understood without knowing the codes."""

    wish: Wish
    code: str
    note: str = ""


def understood(text: str) -> Reply | None:
    """The answer in the first line that has letters; None: it is none.

    Only the first line counts: below it a mail quotes ours, code and all.
    """
    line = next((one.strip() for one in text.splitlines() if one.strip()), "")
    found = _WORD_CODE.fullmatch(line) or _CODE_WORD.fullmatch(line)
    if found is None:
        return None
    wish = WORDS.get(found["word"].lower())
    if wish is None:
        return None
    note = "".join(one if one.isprintable() else " " for one in found["note"]).strip(" .,:;-")
    return Reply(wish, found["code"], note[:LONGEST_NOTE])
