"""What stands of the sensors at the end of a night: wet, disagreeing, overdue, out of place.

From the kept state of the last segment and the log since; the looking is the core's (`core.findings`). Not
here: words.
"""

from collections.abc import Iterable
from dataclasses import dataclass

from gillhouse.core.findings import REASONS, key_of
from gillhouse.core.found import Found
from gillhouse.core.outputs import EventKind, Facts
from gillhouse.core.reasons import Reason
from gillhouse.core.snapshot import from_plain
from gillhouse.store.reader import Reader
from gillhouse.store.records import EventAt, Segment


@dataclass(frozen=True, slots=True)
class FindingNight:
    """One thing found that stood at the end."""

    reason: Reason
    sensor: str
    space: str | None
    since_ms: int
    facts: Facts


def standing(reader: Reader, segment: Segment, events: Iterable[EventAt]) -> tuple[FindingNight, ...]:
    """What stood after the last of `events`.

    Args:
        segment: the last one begun before the end; `events` may go back further.
    """
    state = reader.state_at(segment)
    found = from_plain(Found, state["found"]) if "found" in state else Found()
    stands = {
        key: FindingNight(one.reason, one.sensor, one.space, one.since_ms, one.facts)
        for key, one in found.standing.items()
    }
    for one in events:
        event = one.event
        if event.kind is not EventKind.SENSOR or one.seq < segment.first_seq:
            continue
        if event.reason is Reason.FOUND_OVER:
            stands.pop(str(event.facts.get("key")), None)
        elif event.reason in REASONS:
            key = key_of(event.reason, event.subject, event.facts.get("other"))
            stands[key] = FindingNight(event.reason, event.subject, event.space, one.ts, event.facts)
    return tuple(sorted(stands.values(), key=lambda one: (one.since_ms, one.sensor, one.reason)))
