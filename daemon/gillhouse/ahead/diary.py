"""Sightings and counts as a grower's notes: one fixed sentence each, so that they are read back.

Here: making the sentence and reading it. They are notes like any other, with who wrote them and when, in the
journal's chain, put right by another note as every note is (docs/decisions has why). Not here: the journal.

    flies: sciarid adult seen on 2026-11-20 18:30; by the door
    flies: sciarid 14 caught on 2 traps in 7 days until 2026-11-20 18:30
    flies: sciarid 3 larvae in 125 g on 2026-11-20 18:30
"""

import re
from dataclasses import dataclass
from datetime import tzinfo

from gillhouse.ahead.pests import PestStage
from gillhouse.ahead.traps import Catch
from gillhouse.core import local_moment

WORD = "flies:"
"""Notes that begin so are these."""
SAMPLE_G = 125
"""Larvae are counted in so much substrate or casing, as the published thresholds are."""
_SEEN_STAGES = (PestStage.ADULT, PestStage.EGG, PestStage.LARVA, PestStage.PUPA)
_WHEN = r"(?P<when>\d{4}-\d\d-\d\d \d\d:\d\d)(?:; (?P<words>.*))?"
_PEST = r"(?P<pest>[a-z][a-z0-9-]*)"
_SEEN = re.compile(rf"{_PEST} (?P<stage>adult|egg|larva|pupa) seen on {_WHEN}", re.DOTALL)
_CAUGHT = re.compile(
    rf"{_PEST} (?P<caught>\d+) caught on (?P<traps>\d+) traps?"
    rf" in (?P<days>\d+(?:\.\d+)?) days? until {_WHEN}",
    re.DOTALL,
)
_LARVAE = re.compile(rf"{_PEST} (?P<larvae>\d+) larvae in {SAMPLE_G} g on {_WHEN}", re.DOTALL)


@dataclass(frozen=True, slots=True)
class Seen:
    pest: str
    at_ms: int
    stage: PestStage
    words: str = ""


@dataclass(frozen=True, slots=True)
class Caught:
    pest: str
    catch: Catch
    words: str = ""

    @property
    def at_ms(self) -> int:
        return self.catch.at_ms


@dataclass(frozen=True, slots=True)
class Larvae:
    """Counted in `SAMPLE_G` of substrate."""

    pest: str
    at_ms: int
    count: int
    words: str = ""


Entry = Seen | Caught | Larvae


def written(entry: Entry, zone: tzinfo) -> str:
    """The note of an entry.

    Raises:
        ValueError: a count below nothing, no trap, no time; the message says which.
    """
    when = local_moment.written(entry.at_ms, zone)
    words = f"; {entry.words}" if entry.words else ""
    if isinstance(entry, Seen):
        if entry.stage not in _SEEN_STAGES:
            raise ValueError(f"a {entry.stage} cannot be seen; say {', '.join(_SEEN_STAGES)}")
        return f"{WORD} {entry.pest} {entry.stage} seen on {when}{words}"
    if isinstance(entry, Larvae):
        if entry.count < 0:
            raise ValueError(f"{entry.count} larvae cannot be; a count is 0 or more")
        return f"{WORD} {entry.pest} {entry.count} larvae in {SAMPLE_G} g on {when}{words}"
    catch = entry.catch
    if catch.caught < 0 or catch.traps < 1 or not catch.days > 0.0:
        raise ValueError(
            f"{catch.caught} caught on {catch.traps} traps in {catch.days:g} days cannot be; a count is 0 or"
            f" more, with a trap and some time at least"
        )
    traps, days = _plural(catch.traps, "trap"), _plural(round(catch.days, 2), "day")
    return f"{WORD} {entry.pest} {catch.caught} caught on {traps} in {days} until {when}{words}"


def read(text: str, zone: tzinfo) -> Entry | None:
    """The entry in a note; None for any other note, and for one that was typed by hand and is off."""
    if not text.startswith(WORD):
        return None
    rest = text[len(WORD) :].strip()
    for pattern, make in _KINDS:
        found = pattern.fullmatch(rest)
        at_ms = local_moment.read(found["when"], zone) if found else None
        if found is not None and at_ms is not None:
            return make(found, at_ms)
    return None


def _seen(found: re.Match[str], at_ms: int) -> Entry:
    return Seen(found["pest"], at_ms, PestStage(found["stage"]), found["words"] or "")


def _larvae(found: re.Match[str], at_ms: int) -> Entry:
    return Larvae(found["pest"], at_ms, int(found["larvae"]), found["words"] or "")


def _caught(found: re.Match[str], at_ms: int) -> Entry | None:
    caught, traps, days = int(found["caught"]), int(found["traps"]), float(found["days"])
    if traps < 1 or days <= 0.0:
        return None
    return Caught(found["pest"], Catch(at_ms, caught, traps, days), found["words"] or "")


_KINDS = ((_SEEN, _seen), (_CAUGHT, _caught), (_LARVAE, _larvae))


def _plural(number: float, word: str) -> str:
    return f"{number:g} {word}" if number == 1 else f"{number:g} {word}s"
