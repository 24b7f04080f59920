"""What changed in a night besides relays and alarms: stages, sensors that were checked, caps that stayed wet.

Here: from the log's events to a few lines of words, by space. Not here: alarms, and what people
wrote down or did with water by hand (notes).
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import tzinfo

from gillhouse.audit import told
from gillhouse.audit.night import Happened
from gillhouse.audit.wording import reason_words, species_words
from gillhouse.core.outputs import Event, EventKind, Facts
from gillhouse.core.reasons import Reason
from gillhouse.core.settings import Role
from gillhouse.store.records import EventAt

HOUR_MS = 3_600_000
ONE_SPELL_MS = 30 * 60_000
"""Wet caps less than this apart are one spell: a fan's run, too wet air for a while. Our own choice."""
WORTH_MS = 60_000
"""Shorter spells are not told."""


def changes(events: Sequence[EventAt], from_ms: int, to_ms: int, zone: tzinfo) -> tuple[Happened, ...]:
    """Everything worth a line between two times, in order.

    Args:
        events: in order; they may begin earlier.
    """
    begun = [one for one in events if from_ms <= one.ts < to_ms]
    ways = {(one.ts, one.event.space): one.event for one in begun if one.event.reason is Reason.BANDS_MOVING}
    found = []
    for one in begun:
        reason = one.event.reason
        if reason in TOLD and one.event.kind in _KINDS:
            tell = _WORDS.get(reason, _plainly)
            words = tell(one.event)
            way = ways.get((one.ts, one.event.space)) if one.event.kind is EventKind.BATCH else None
            if way is not None:
                words += f", air there by {told.clock(one.ts + _hours_ms(way), zone)}"
            found.append(Happened(one.ts, None, one.event.space, reason, words))
    for space, spells in _wet(events, to_ms).items():
        for begin, end in spells:
            if end - max(begin, from_ms) >= WORTH_MS:
                until = f"until {told.clock(end, zone)}" if end < to_ms else "still"
                words = f"caps wet {until}, mist held back"
                found.append(Happened(max(begin, from_ms), end, space, Reason.CAPS_WET, words))
    return tuple(sorted(found, key=lambda one: (one.ts, one.space or "", one.kind)))


TOLD = (
    Reason.BATCH_ADDED,
    Reason.BATCH_MOVED,
    Reason.BATCH_ENDED,
    Reason.STAGE_BEGUN,
    Reason.BLOCKS_WET,
    Reason.CALIBRATED,
    Reason.CALIBRATION_UNDONE,
    Reason.OVERRIDE,
    Reason.DROPPED,
    Reason.MODE_BEGUN,
    Reason.MODE_OVER,
    Reason.PERSON_OUT,
    Reason.HARVEST_STANDS,
    Reason.RECOVERED,
    Reason.AIRED,
    Reason.AIRING_FAILED,
)
_KINDS = (EventKind.BATCH, EventKind.SENSOR, EventKind.DECISION)
SHORT = (Reason.STAGE_BEGUN, Reason.CALIBRATED, Reason.CAPS_WET)
"""Told in the short text too: after these the air is another, or is seen otherwise."""


def _plainly(event: Event) -> str:
    assert event.reason is not None  # only those in TOLD come here
    return reason_words(event.reason, event.facts)


def _added(event: Event) -> str:
    """Such as: go-1, 240 kg of grey oyster, fruiting, entered."""
    facts = event.facts
    crop = species_words(str(facts.get("species")))
    return f"{facts.get('batch')}, {_kg(facts)} of {crop}, {facts.get('stage')}, entered"


def _kg(facts: Facts) -> str:
    kg = facts.get("kg")
    return f"{kg:g} kg" if isinstance(kg, int | float) else "some"


def _by_hand(event: Event) -> str:
    """Such as: helper ran tent-mist by hand, 10 min at most: looked dry."""
    facts, for_s = event.facts, event.facts.get("for_s")
    did = "ran" if facts.get("on") else "held off"
    lasts = f", {told.lasted(round(for_s * 1000))} at most" if isinstance(for_s, int | float) else ""
    why = f": {facts['text']}" if facts.get("text") else ""
    return f"{facts.get('who')} {did} {event.subject} by hand{lasts}{why}"


def _mode(event: Event) -> str:
    """Such as: somebody inside, 120 min at most (ana: fan rattles)."""
    return _plainly(event).removeprefix(f"{event.facts.get('space')}: ")


def _dropped(event: Event) -> str:
    return f"{event.subject}: {_plainly(event)}"


def _stage(event: Event) -> str:
    """Such as: go-1 from fruiting to rest."""
    facts = event.facts
    return f"{facts.get('batch')} from {facts.get('from_stage')} to {facts.get('stage')}"


def _checked(event: Event) -> str:
    """Such as: room-rh corrected by +1.8 %."""
    facts, shift = event.facts, event.facts.get("shift")
    if not isinstance(shift, int | float):
        return _plainly(event)
    return f"{facts.get('sensor')} corrected by {shift:+.1f} {facts.get('unit')}"


_WORDS: Mapping[Reason, Callable[[Event], str]] = {
    Reason.BATCH_ADDED: _added,
    Reason.OVERRIDE: _by_hand,
    Reason.DROPPED: _dropped,
    Reason.MODE_BEGUN: _mode,
    Reason.MODE_OVER: _mode,
    Reason.STAGE_BEGUN: _stage,
    Reason.CALIBRATED: _checked,
}


def _hours_ms(event: Event) -> int:
    hours = event.facts.get("hours")
    return round(hours * HOUR_MS) if isinstance(hours, int | float) else 0


def _wet(events: Iterable[EventAt], to_ms: int) -> dict[str, list[tuple[int, int]]]:
    """By space: when its caps were reckoned to be wet."""
    since: dict[str, int] = {}
    found: dict[str, list[tuple[int, int]]] = {}
    for one in events:
        event, space = one.event, one.event.space
        steers = event.kind is EventKind.DECISION and event.facts.get("role") == Role.MIST.value
        if space is None or not steers or event.subject != space:
            continue
        if event.reason is Reason.CAPS_WET:
            since.setdefault(space, one.ts)
        elif space in since:
            _add(found.setdefault(space, []), since.pop(space), one.ts)
    for space, begin in since.items():
        _add(found.setdefault(space, []), begin, to_ms)
    return found


def _add(spells: list[tuple[int, int]], begin: int, end: int) -> None:
    if spells and begin - spells[-1][1] < ONE_SPELL_MS:
        spells[-1] = (spells[-1][0], end)
    else:
        spells.append((begin, end))
