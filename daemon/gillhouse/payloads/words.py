"""Format `words`: an on/off input that says one of two words, alone or at a pointer in JSON.

Case does not matter. In JSON a truth value counts as the word `true` or `false`, a number as its digits, so
that `{"open": true}` is read by the words `true` and `false`.
"""

from collections.abc import Callable

from gillhouse.core.edges import SensorRoute
from gillhouse.payloads.json_pointer import Pointer, own_and_seq
from gillhouse.payloads.reject import Reject, refused, shown
from gillhouse.payloads.sample import Sample


class Words:
    """The two words of one input."""

    __slots__ = ("_values",)

    def __init__(self, words: tuple[str, str]) -> None:
        """
        Args:
            words: the word for 1.0, then the word for 0.0; they differ in more than case.
        """
        on, off = words
        self._values = {on.strip().casefold(): 1.0, off.strip().casefold(): 0.0}

    def value(self, text: str) -> float:
        """1.0 or 0.0.

        Raises:
            PayloadError: UNKNOWN_WORD.
        """
        value = self._values.get(text.strip().casefold())
        if value is None:
            words = ", ".join(map(shown, self._values))
            raise refused(Reject.UNKNOWN_WORD, f"{shown(text)} is neither of {words}")
        return value


def word_of(found: object) -> str:
    """A JSON scalar as a word.

    Raises:
        PayloadError: EMPTY for null and blanks, WRONG_TYPE for an object or a list.
    """
    if isinstance(found, str):
        if not found.strip():
            raise refused(Reject.EMPTY, "there is no word")
        return found
    if isinstance(found, bool):
        return "true" if found else "false"
    if isinstance(found, int | float):
        return str(found)
    if found is None:
        raise refused(Reject.EMPTY, "the word is null")
    raise refused(Reject.WRONG_TYPE, f"{shown(found)} is no word")


def _words(route: SensorRoute) -> Words:
    if route.words is None:
        raise ValueError(f"sensor {route.sensor}: format words needs its two words; name them in the config")
    return Words(route.words)


def text_picker(route: SensorRoute) -> Callable[[str], tuple[Sample, ...]]:
    """For a message that is the word."""
    words = _words(route)

    def pick(text: str) -> tuple[Sample, ...]:
        return (Sample(words.value(text)),)

    return pick


def json_picker(route: SensorRoute) -> Callable[[object], tuple[Sample, ...]]:
    """For a message that is JSON with the word at `route.path`."""
    words = _words(route)
    pointer = Pointer(route.path or "")
    extra = own_and_seq(route)

    def pick(document: object) -> tuple[Sample, ...]:
        value = words.value(word_of(pointer.find(document)))
        if extra is None:
            return (Sample(value),)
        own_ms, seq = extra(document)
        return (Sample(value, own_ms, seq),)

    return pick
