"""Picks, losses and looks at a batch as a grower's notes: one fixed sentence each, to be read back.

Here: making the sentence and reading it. They are notes like any other, with who wrote them and when, in the
journal's chain, put right by another note as every note is (docs/decisions has why). Not here: the journal,
any reckoning.

    crop: LM-12 flush 1 picked 2.4 kg, waste 0.3 kg, 40 pieces, first grade on 2026-11-20 18:30; morning
    crop: LM-12 flush 1 lost 3 to green-mould on 2026-11-20 18:30
    crop: LM-12 flush 1 looked at: pins, wet-caps on 2026-11-20 18:30
    crop: LM-12 flush 1 filled with 14 kg dry, 20 blocks on 2026-11-20 18:30
"""

import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import tzinfo
from math import isfinite

from gillhouse.core import local_moment

WORD = "crop:"
"""Notes that begin so are these."""
GRADES = ("first", "second")
CAUSES = ("green-mould", "bacteria", "cobweb", "flies", "dry", "other")
"""What blocks are lost to. Common practice, no source."""
SIGNS = ("pins", "wet-caps", "blotch", "mould")
"""What a look may find, in the order it is written."""
LEAST_KG = 0.001
MOST_FLUSH = 20
MOST_COUNT = 999_999
MOST_WORDS = 200
_HEAD = r"(?P<batch>[A-Za-z0-9._-]{1,24}) flush (?P<flush>\d{1,2}) "
_WHEN = r" on (?P<when>\d{4}-\d\d-\d\d \d\d:\d\d)(?:; (?P<words>.*))?"
_KG = r"\d{1,7}(?:\.\d{1,3})?"


@dataclass(frozen=True, slots=True)
class About:
    """Which batch, at which flush, when; and the grower's words."""

    batch: str
    flush: int
    at_ms: int
    words: str = ""


@dataclass(frozen=True, slots=True)
class Picked:
    about: About
    kg: float
    """Wet, kept."""
    waste_kg: float = 0.0
    """Wet, trimmed off or thrown away; not in `kg`."""
    pieces: int | None = None
    grade: str = ""


@dataclass(frozen=True, slots=True)
class Lost:
    about: About
    blocks: int
    cause: str


@dataclass(frozen=True, slots=True)
class Looked:
    about: About
    signs: tuple[str, ...] = ()
    """Of `SIGNS`; none: nothing of these was seen."""


@dataclass(frozen=True, slots=True)
class Filled:
    """What the batch was made of."""

    about: About
    dry_kg: float
    """Substrate without its water, spawn and casing left out."""
    blocks: int | None = None


CropEntry = Picked | Lost | Looked | Filled


def written(entry: CropEntry, zone: tzinfo) -> str:
    """The note of an entry.

    Raises:
        ValueError: a weight, count or word that cannot be; the message says which and what to do.
    """
    about = entry.about
    if not 1 <= about.flush <= MOST_FLUSH:
        raise ValueError(f"flush {about.flush} cannot be; flushes are numbered 1 to {MOST_FLUSH}")
    if len(about.words) > MOST_WORDS or not about.words.isprintable():
        raise ValueError(f"words are one line of at most {MOST_WORDS} plain letters; write them shorter")
    when = local_moment.written(about.at_ms, zone)
    words = f"; {about.words}" if about.words else ""
    return f"{WORD} {about.batch} flush {about.flush} {said(entry)} on {when}{words}"


def said(entry: CropEntry) -> str:
    """What was done, without when: `picked 2.4 kg, waste 0.3 kg`.

    Raises:
        ValueError: as `written`.
    """
    if isinstance(entry, Picked):
        return _picked_said(entry)
    if isinstance(entry, Lost):
        return f"lost {_count(entry.blocks, 'blocks lost')} to {_one_of(entry.cause, CAUSES)}"
    if isinstance(entry, Looked):
        seen = sorted({_one_of(sign, SIGNS) for sign in entry.signs}, key=SIGNS.index)
        return f"looked at: {', '.join(seen) or 'nothing'}"
    blocks = "" if entry.blocks is None else f", {_count(entry.blocks, 'blocks')} blocks"
    return f"filled with {_kg(entry.dry_kg, 'dry weight')} kg dry{blocks}"


def _picked_said(entry: Picked) -> str:
    kg = _kg(entry.kg, "weight")
    waste = f", waste {_kg(entry.waste_kg, 'waste')} kg" if entry.waste_kg else ""
    pieces = "" if entry.pieces is None else f", {_count(entry.pieces, 'pieces')} pieces"
    grade = f", {_one_of(entry.grade, GRADES)} grade" if entry.grade else ""
    return f"picked {kg} kg{waste}{pieces}{grade}"


def read(text: str, zone: tzinfo) -> CropEntry | None:
    """The entry in a note; None for any other note, and for one that was typed by hand and is off."""
    if not text.startswith(WORD):
        return None
    for pattern, make in _KINDS:
        found = pattern.fullmatch(text[len(WORD) :].lstrip())
        at_ms = None if found is None else local_moment.read(found["when"], zone)
        if found is None or at_ms is None:
            continue
        entry = make(found, About(found["batch"], int(found["flush"]), at_ms, found["words"] or ""))
        try:
            written(entry, zone)
        except ValueError:
            return None
        return entry
    return None


def _kg(kg: float, what: str) -> str:
    if not isfinite(kg) or kg < LEAST_KG or kg >= 1e7:
        raise ValueError(f"a {what} of {kg:g} kg cannot be; weigh again, and write it in kg, as 2.4")
    return f"{kg:.3f}".rstrip("0").rstrip(".")


def _count(count: int, what: str) -> int:
    if not 1 <= count <= MOST_COUNT:
        raise ValueError(f"{count} {what} cannot be; count 1 or more")
    return count


def _one_of(word: str, known: tuple[str, ...]) -> str:
    if word not in known:
        raise ValueError(f"{word!r} is not known; write one of: {', '.join(known)}")
    return word


def _picked(found: re.Match[str], about: About) -> CropEntry:
    pieces = found["pieces"]
    return Picked(
        about,
        float(found["kg"]),
        float(found["waste"] or 0.0),
        None if pieces is None else int(pieces),
        found["grade"] or "",
    )


def _lost(found: re.Match[str], about: About) -> CropEntry:
    return Lost(about, int(found["blocks"]), found["cause"])


def _looked(found: re.Match[str], about: About) -> CropEntry:
    signs = found["signs"]
    return Looked(about, () if signs == "nothing" else tuple(signs.split(", ")))


def _filled(found: re.Match[str], about: About) -> CropEntry:
    return Filled(about, float(found["dry"]), None if found["blocks"] is None else int(found["blocks"]))


def _kind(middle: str) -> re.Pattern[str]:
    return re.compile(_HEAD + middle + _WHEN, re.DOTALL)


_KINDS: tuple[tuple[re.Pattern[str], Callable[[re.Match[str], About], CropEntry]], ...] = (
    (
        _kind(
            rf"picked (?P<kg>{_KG}) kg(?:, waste (?P<waste>{_KG}) kg)?"
            r"(?:, (?P<pieces>\d{1,6}) pieces)?(?:, (?P<grade>[a-z]+) grade)?"
        ),
        _picked,
    ),
    (_kind(r"lost (?P<blocks>\d{1,6}) to (?P<cause>[a-z-]+)"), _lost),
    (_kind(r"looked at: (?P<signs>nothing|[a-z, -]+?)"), _looked),
    (_kind(rf"filled with (?P<dry>{_KG}) kg dry(?:, (?P<blocks>\d{{1,6}}) blocks)?"), _filled),
)
