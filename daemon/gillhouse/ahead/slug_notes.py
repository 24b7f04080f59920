"""Slugs counted, as a grower's notes: one fixed sentence, so that it is read back.

    slugs: 14 found

A note like any other, with who and when; put right by another note as every note is. Several of one night
add up.
"""

import re
from typing import Final

WORD: Final = "slugs:"
_FOUND = re.compile(r"(\d{1,5})(?: found)?(?:[;,.] .*)?", re.DOTALL)


def found_in(text: str) -> int | None:
    """The count in a note; None for any other note, and for a slug note that tells no count."""
    if not text.lower().startswith(WORD):
        return None
    match = _FOUND.fullmatch(text[len(WORD) :].strip())
    return None if match is None else int(match[1])


def is_off(text: str) -> bool:
    """A slug note whose count cannot be read, a negative one for example."""
    return text.lower().startswith(WORD) and found_in(text) is None
