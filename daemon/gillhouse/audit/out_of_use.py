"""When each space was out of use in a night: that time is marked, and left out of every share and sum.

Here: those times, from the log's lines and from how the stretch of the journal began. Not here: taking them
out of a staircase (`hold`), how they are told (`text`, `html`, `record`).
"""

from collections.abc import Mapping, Sequence
from typing import Any

from gillhouse.audit.night import Window
from gillhouse.core.modes import Mode
from gillhouse.core.reasons import Reason
from gillhouse.store.records import EventAt

Span = tuple[int, int]


def out_of_use(kept: Mapping[str, Any], events: Sequence[EventAt], window: Window) -> dict[str, list[Span]]:
    """By space: the times within a window, in order.

    Args:
        kept: `modes` of the core's state where the first stretch of the journal began.
        events: from there on, in order.
    """
    since = {
        space: int(one["since_wall_ms"]) for space, one in kept.items() if one["mode"] == Mode.EMPTY.value
    }
    found: dict[str, list[Span]] = {}
    for one in events:
        space, event = one.event.space, one.event
        if space is None or event.facts.get("mode") != Mode.EMPTY.value:
            continue
        if event.reason is Reason.MODE_BEGUN:
            since[space] = one.ts
        elif event.reason is Reason.MODE_OVER and space in since:
            found.setdefault(space, []).append((since.pop(space), one.ts))
    for space, begin in since.items():
        found.setdefault(space, []).append((begin, window.to_ms))
    cut = {space: [_within(span, window) for span in spans] for space, spans in found.items()}
    return {space: spans for space, own in cut.items() if (spans := [one for one in own if one[0] < one[1]])}


def _within(span: Span, window: Window) -> Span:
    return max(span[0], window.from_ms), min(span[1], window.to_ms)
