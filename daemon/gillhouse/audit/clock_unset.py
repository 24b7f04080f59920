"""When this box ran without knowing the time, found in the stretches of the journal.

Here: those times, told by the right clock where it was set later, and the order of stretches a night can go
by. Not here: the judgement that a clock is not set (`clock_trust`), what the core makes of it.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from gillhouse.audit.night import ClockUnset, Window
from gillhouse.store.records import Segment

START = "start"
"""Why a segment began: the daemon did, and its monotonic clock with it."""
LONGEST_MS = 6 * 3_600_000
"""A stretch that the daemon never ended lasted no longer than this (see `decider`)."""


@dataclass(slots=True)
class _Spell:
    """Stretches of one run, one after the other, all without a set clock."""

    first: Segment
    last: Segment


def clock_unset(segments: Iterable[Segment], window: Window) -> tuple[ClockUnset, ...]:
    """The times within a window in which the clock was not set, cut to it.

    Set later in the same run, they are told by the clock as it was set then: the monotonic one measured how
    long they lasted. Else only by the clock that was not set, up to where that run is last heard of.

    Args:
        segments: in the journal's order, from at least the window's begin to after its end.
    """
    found = []
    spell: _Spell | None = None
    for one in segments:
        if spell is not None and (one.why == START or not one.time_unsure):
            found.append(_told(spell, one))
            spell = None
        if one.time_unsure:
            spell = _Spell(one, one) if spell is None else _Spell(spell.first, one)
    if spell is not None:
        found.append(ClockUnset(spell.first.now.wall_ms, window.to_ms, None))
    return tuple(
        ClockUnset(max(one.from_ms, window.from_ms), min(one.to_ms, window.to_ms), one.showed_ms)
        for one in found
        if one.from_ms < window.to_ms and one.to_ms > window.from_ms
    )


def _told(spell: _Spell, after: Segment) -> ClockUnset:
    first, last = spell.first.now, spell.last.now
    if after.why != START:
        begin_ms = after.now.wall_ms - (after.now.mono_ms - first.mono_ms)
        return ClockUnset(begin_ms, after.now.wall_ms, first.wall_ms)
    end_ms = last.wall_ms + LONGEST_MS
    return ClockUnset(first.wall_ms, min(end_ms, max(after.now.wall_ms, last.wall_ms)), None)


def in_order(segments: Sequence[Segment]) -> list[Segment]:
    """The segments a night's settings are read from: not those that a clock in the past dated."""
    found: list[Segment] = []
    for one in segments:
        if not (one.time_unsure and found and one.now.wall_ms < found[-1].now.wall_ms):
            found.append(one)
    return found
