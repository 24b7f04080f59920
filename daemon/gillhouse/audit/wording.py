"""The grower's words for what the figures hold: roles, worst values, alarms, notes, sensors' faults.

Here: one table each, and sentences made of one row. Not here: judgement, layout.
"""

from collections.abc import Callable
from datetime import tzinfo

from gillhouse.audit import told
from gillhouse.audit.hold import Side
from gillhouse.audit.night import AlarmNight, NoteNight, QuantityNight
from gillhouse.core.alarm_kinds import KINDS
from gillhouse.core.outputs import Facts
from gillhouse.core.quantities import Quantity
from gillhouse.core.readings import Mark
from gillhouse.core.reasons import WORDS, Reason
from gillhouse.store.chain import Head

WORST_WORD: dict[tuple[Quantity, Side], str] = {
    (Quantity.HUMIDITY, Side.BELOW): "driest",
    (Quantity.HUMIDITY, Side.ABOVE): "wettest",
    (Quantity.CO2, Side.BELOW): "lowest",
    (Quantity.CO2, Side.ABOVE): "worst",
    (Quantity.TEMPERATURE, Side.BELOW): "coldest",
    (Quantity.TEMPERATURE, Side.ABOVE): "warmest",
}

DOUBT_WORD: dict[str, str] = {
    Mark.OUT_OF_RANGE.value: "impossible",
    Mark.JUMPED.value: "jumped",
    Mark.FLAT.value: "frozen",
    Mark.STALE.value: "old",
    Mark.QUEUED.value: "waited, time unknown",
    Mark.AHEAD.value: "board's clock ahead",
    Mark.FIRST_COUNT.value: "first count, no flow known yet",
    Mark.RETAINED.value: "kept copy of unknown age",
    Mark.LATE.value: "late and impossible",
    Mark.AWAY.value: "out of its place",
}
"""Why readings did not count, by mark."""


def alarm_title(kind: str) -> str:
    """The alarm's name; an unknown kind (from a newer store) keeps its key."""
    known = KINDS.get(kind)
    return known.title if known else kind


def alarm_words(one: AlarmNight, zone: tzinfo) -> str:
    """Such as: too dry, until 02:52; helper answered after 5 min."""
    until = "still on" if one.ended_ms is None else f"until {told.clock(one.ended_ms, zone)}"
    return f"{alarm_title(one.kind)}{about(one)}, {until}; {answer_words(one)}"


def about(one: AlarmNight) -> str:
    """The sensor or relay an alarm names, in brackets; nothing where it names its space."""
    subject = one.alarm.partition(":")[2]
    return f" ({subject})" if subject and subject != one.space else ""


def answer_words(one: AlarmNight) -> str:
    if one.acknowledged_ms is not None:
        return f"{one.who or 'somebody'} answered after {told.lasted(one.acknowledged_ms - one.began_ms)}"
    return "nobody answered" if one.announced else "nobody was called"


def note_words(one: NoteNight) -> str:
    said = f"{one.who}: {one.text}" if one.who else one.text
    return said + correction_words(one.corrects, one.corrected_by)


def seal_line(head: Head | None) -> str:
    """What a morning's message ends with: kept, it proves the log up to here (`gillhouse verify --head`)."""
    return "" if head is None else f"LOG SEAL  {head}  Keep this message: it proves the log up to now.\n"


def correction_words(corrects: object, corrected_by: object) -> str:
    """What follows a note that puts another right, or is put right; nothing after any other."""
    parts = [
        f"puts number {corrects} right" if corrects else "",
        f"put right by number {corrected_by}" if corrected_by else "",
    ]
    said = ", ".join(part for part in parts if part)
    return f" ({said})" if said else ""


def species_words(species: str) -> str:
    """A species' id as it is said."""
    return species.replace("-", " ")


def outside_words(quantity: Quantity, side: Side, limit: float) -> str:
    """Such as: under 80 %, CO2 over 1000 ppm."""
    what = "CO2 " if quantity is Quantity.CO2 else ""
    return f"{what}{'under' if side is Side.BELOW else 'over'} {told.limit(quantity, limit)}"


def span_words(figures: QuantityNight, least: float, most: float) -> str:
    """Least to most, such as 83-95 % or more: where sensors are not sure any more, 'or more'."""
    sure = figures.sure_to
    if sure is None or most <= sure:
        return told.span(figures.quantity, least, most)
    return f"{told.span(figures.quantity, min(least, sure), sure)} or more"


def worst_words(
    figures: QuantityNight, side: Side, worst: float, shown: Callable[[Quantity, float], str] = told.number
) -> str:
    """Such as: driest 78, wettest 95 or more."""
    words, sure = WORST_WORD[figures.quantity, side], figures.sure_to
    if sure is not None and worst > sure:
        return f"{words} {shown(figures.quantity, sure)} or more"
    return f"{words} {shown(figures.quantity, worst)}"


def capital(words: str) -> str:
    return words[:1].upper() + words[1:]


def sentence(words: str) -> str:
    """With a capital and a full stop."""
    text = capital(words)
    return text if text.endswith((".", "!", "?")) else text + "."


def reason_words(reason: Reason, facts: Facts) -> str:
    """A reason with its facts filled in; the bare words where a fact is missing (an older store)."""
    try:
        return WORDS[reason].format(**facts)
    except (KeyError, ValueError, TypeError):
        return reason.value.replace("-", " ")
