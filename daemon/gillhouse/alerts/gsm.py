"""Letters of a text message: what fits into one, and the octets a modem is given.

Source: 3GPP TS 23.038, 6.2.1 (the basic alphabet), as far as its letters are ASCII; all others were folded
away before (`wording.plain`). TS 27.007, 5.5 names the alphabets a modem may be set to.
"""

from gillhouse.alerts.wording import LONGEST, plain

_MOVED = {"@": 0x00, "$": 0x02, "_": 0x11}
"""ASCII letters that have another place in the basic alphabet; the other plain ones do not."""


def one_text(words: str) -> str:
    """`words` as one message: plain letters, at most 160, cut at a word."""
    text = plain(words)
    if len(text) <= LONGEST:
        return text
    return text[: LONGEST - 2].rpartition(" ")[0].rstrip(" ,.-:") + ".."


def octets(text: str, alphabet: str) -> bytes:
    """A plain text in the modem's alphabet, `IRA` (ASCII) or `GSM`."""
    if alphabet == "IRA":
        return text.encode("ascii")
    return bytes(_MOVED.get(one, ord(one)) for one in text)


def from_ucs2(digits: str) -> str:
    """What a modem set to `UCS2` writes: four hexadecimal digits a letter.

    Raises:
        ValueError: it is no such thing.
    """
    return bytes.fromhex(digits).decode("utf-16-be")
