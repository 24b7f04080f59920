"""'Did you mean': the known word nearest to one that is not known."""

import difflib
from collections.abc import Iterable


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """A question naming the nearest of `known`, or an empty text where none is near."""
    near = difflib.get_close_matches(word[:60], sorted(known), 1, 0.7)
    return f"did you mean {near[0]}?" if near else ""


def choices(word: str, known: Iterable[str]) -> str:
    """What to write instead of `word`: the nearest of `known`, else all of them."""
    names = sorted(known)
    return did_you_mean(word, names) or (
        f"write one of: {', '.join(names)}" if names else "none is given yet; add it"
    )
