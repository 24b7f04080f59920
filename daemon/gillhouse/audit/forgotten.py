"""Times of which readings may be missing because the broker forgot what it kept for this box.

Here: those times, from the log's lines, and their sentence. Not here: times the box itself was not there
(`evidence`), sensors that were silent (`hold`).
"""

from collections.abc import Sequence

from gillhouse.audit import told
from gillhouse.audit.night import Forgotten, Night, Window
from gillhouse.core.inputs import Link
from gillhouse.core.outputs import EventKind
from gillhouse.store.records import EventAt

MOST = 3


def forgotten(events: Sequence[EventAt], window: Window) -> tuple[Forgotten, ...]:
    """In order of time, cut to the window. It is told when the link is back, so `events` end no earlier."""
    found = []
    for one in events:
        event = one.event
        begin, end = event.facts.get("from_ms"), event.facts.get("to_ms")
        ours = event.kind is EventKind.GAP and event.subject == Link.BROKER.value
        if not ours or not isinstance(begin, int) or not isinstance(end, int):
            continue
        cut = Forgotten(max(begin, window.from_ms), min(end, window.to_ms))
        if cut.from_ms < cut.to_ms:
            found.append(cut)
    return tuple(sorted(found, key=lambda one: (one.from_ms, one.to_ms)))


def sentence(night: Night) -> str:
    """Such as: THE BROKER forgot what waited for this box: readings of 02:00-02:06 may be missing."""
    if not night.forgotten:
        return ""
    zone = night.window.zone
    spans = ", ".join(told.clocks(one.from_ms, one.to_ms, zone) for one in night.forgotten[:MOST])
    more = f" and {len(night.forgotten) - MOST} more times" if len(night.forgotten) > MOST else ""
    return f"THE BROKER forgot what waited for this box: readings of {spans}{more} may be missing."
