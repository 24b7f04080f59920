"""Logs and bags on the scale, as a grower's notes: one fixed sentence each, so that they are read back.

    weighed: 4.21 kg log 3

A note like any other, with who and when; put right by another note as every note is. The name may be
anything, and the same name is the same log.
"""

import re
from dataclasses import dataclass
from typing import Final

WORD: Final = "weighed:"
_WEIGHED = re.compile(r"(\d{1,4}(?:\.\d{1,3})?) ?kg (\S.{0,39})")


@dataclass(frozen=True, slots=True)
class OnScale:
    name: str
    kg: float


def weighed_in(text: str) -> OnScale | None:
    """The weight in a note; None for any other note, and for one of these that is off."""
    if not text.lower().startswith(WORD):
        return None
    match = _WEIGHED.fullmatch(text[len(WORD) :].strip())
    if match is None or float(match[1]) <= 0.0:
        return None
    return OnScale(match[2].strip(), float(match[1]))
