"""The hold rule: how single readings become the air of a whole night, and what is counted on it.

Here: pure arithmetic on readings that count. Not here: which readings count (`figures`), words, the store.

The rule. A reading holds until the next one of the same sensor, but never longer than that sensor's silence
limit; after that nothing is known until the next reading. Where a space has several sensors of a quantity,
their held values at each moment become one by the space's combine rule. The result is a staircase with
holes. Every figure of the night is a sum over its steps; the holes count as unknown, never as good.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

from gillhouse.core.estimate import Sample, combined
from gillhouse.core.settings import Combine
from gillhouse.drawing.figures import gaps

MS_PER_H = 3_600_000


@dataclass(frozen=True, slots=True)
class Counted:
    """One reading that counts."""

    ts: int
    """Wall time the value belongs to, milliseconds."""
    value: float
    late: bool
    """It reached us after its moment, under its own time."""
    sure: bool = False
    """The sensor's check was in date then."""


@dataclass(frozen=True, slots=True)
class Track:
    """The readings of one sensor, in order of time."""

    readings: Sequence[Counted]
    silent_after_ms: int
    calibrated: bool = False


@dataclass(frozen=True, slots=True)
class Held:
    """One step of the staircase: `value` from `from_ms` up to, not including, `to_ms`."""

    from_ms: int
    to_ms: int
    value: float
    late: bool


@dataclass(frozen=True, slots=True)
class Limits:
    """Where a quantity should be during a stretch of the night. None: that side is open."""

    from_ms: int
    to_ms: int
    low: float | None
    high: float | None


class Side(StrEnum):
    BELOW = "below"
    ABOVE = "above"


@dataclass(frozen=True, slots=True)
class Stretch:
    """A time the quantity was outside on one side, short returns included."""

    side: Side
    from_ms: int
    to_ms: int
    limit: float
    worst: float
    worst_ms: int
    outside_ms: int
    """Time really outside; less than `to_ms - from_ms` where short returns were joined over."""
    deficit: float
    """Distance from the limit summed over time, unit x milliseconds."""
    end_known: bool
    """False where readings or the night ended while it was still outside."""


@dataclass(frozen=True, slots=True)
class Tally:
    """Sums over the staircase. Times in milliseconds, deficits in unit x milliseconds."""

    covered_ms: int
    inside_ms: int
    below_ms: int
    above_ms: int
    deficit_below: float
    deficit_above: float
    least: float | None
    most: float | None
    mean: float | None
    late_ms: int


def held(tracks: Sequence[Track], rule: Combine, from_ms: int, to_ms: int) -> list[Held]:
    """The staircase of a space's quantity between two times, by the hold rule.

    Args:
        tracks: one per sensor; readings from before `from_ms` may hold into it.
    """
    changes: list[tuple[int, int, Counted | None]] = []
    for place, track in enumerate(tracks):
        changes.extend(_changes(place, track, from_ms, to_ms))
    changes.sort(key=lambda change: (change[0], change[1]))
    now: dict[int, Counted] = {}
    steps: list[Held] = []
    since = from_ms
    for ts, place, reading in changes:
        if ts > since:
            _add(steps, tracks, rule, now, (since, ts))
            since = ts
        if reading is None:
            now.pop(place, None)
        else:
            now[place] = reading
    _add(steps, tracks, rule, now, (since, to_ms))
    return steps


def _changes(place: int, track: Track, from_ms: int, to_ms: int) -> Iterable[tuple[int, int, Counted | None]]:
    """When this sensor's held value begins, is replaced, or runs out (None), clipped to the window."""
    for at, reading in enumerate(track.readings):
        runs_out = reading.ts + track.silent_after_ms
        following = track.readings[at + 1].ts if at + 1 < len(track.readings) else None
        end = runs_out if following is None else min(runs_out, following)
        if end <= from_ms or reading.ts >= to_ms:
            continue
        yield max(reading.ts, from_ms), place, reading
        if end < to_ms and (following is None or runs_out < following):
            yield end, place, None


def _add(
    steps: list[Held], tracks: Sequence[Track], rule: Combine, now: dict[int, Counted], span: tuple[int, int]
) -> None:
    if not now or span[1] <= span[0]:
        return
    late = any(reading.late for reading in now.values())
    steps.append(Held(span[0], span[1], _one_value(tracks, rule, now), late))


def _one_value(tracks: Sequence[Track], rule: Combine, now: dict[int, Counted]) -> float:
    """Several sensors' values at one moment as one, by the very rule that steered."""
    if len(now) == 1:
        return next(iter(now.values())).value
    samples = [
        Sample(str(place), now[place].value, 0, 0, calibrated=tracks[place].calibrated or now[place].sure)
        for place in sorted(now)
    ]
    value = combined(rule, samples).value
    assert value is not None  # combined() of at least one sample has a value
    return value


def without(steps: Sequence[Held], spans: Sequence[tuple[int, int]]) -> list[Held]:
    """The staircase with some times taken out of it, as if nothing were known of them."""
    left = list(steps)
    for begin, end in spans:
        parts = [
            part
            for step in left
            for part in (
                replace(step, to_ms=min(step.to_ms, begin)), replace(step, from_ms=max(step.from_ms, end))
            )
        ]  # fmt: skip
        left = [part for part in parts if part.from_ms < part.to_ms]
    return left


def outside_of(holes_: Sequence[tuple[int, int]], spans: Sequence[tuple[int, int]]) -> list[tuple[int, int]]:
    """What is left of some times when others are taken out of them."""
    steps = without([Held(begin, end, 0.0, False) for begin, end in holes_], spans)
    return [(step.from_ms, step.to_ms) for step in steps]


def cut(steps: Sequence[Held], limits: Sequence[Limits]) -> list[tuple[Held, Limits]]:
    """Each step with the limits in force during it, split where the limits changed."""
    pieces = []
    for step in steps:
        for limit in limits:
            begin, end = max(step.from_ms, limit.from_ms), min(step.to_ms, limit.to_ms)
            if begin < end:
                pieces.append((Held(begin, end, step.value, step.late), limit))
    return pieces


def beyond(value: float, limit: Limits) -> tuple[Side | None, float]:
    """On which side of the limits a value lies and how far. Exactly on a limit is inside."""
    if limit.low is not None and value < limit.low:
        return Side.BELOW, limit.low - value
    if limit.high is not None and value > limit.high:
        return Side.ABOVE, value - limit.high
    return None, 0.0


def tally(pieces: Sequence[tuple[Held, Limits]]) -> Tally:
    """Sums over the pieces of a night (from `cut`)."""
    spent: dict[Side | None, int] = {None: 0, Side.BELOW: 0, Side.ABOVE: 0}
    deficit = {Side.BELOW: 0.0, Side.ABOVE: 0.0}
    weighted = 0.0
    late_ms = 0
    for step, limit in pieces:
        lasted = step.to_ms - step.from_ms
        side, by = beyond(step.value, limit)
        spent[side] += lasted
        if side is not None:
            deficit[side] += by * lasted
        weighted += step.value * lasted
        late_ms += lasted if step.late else 0
    covered = sum(spent.values())
    values = [step.value for step, _ in pieces]
    return Tally(
        covered_ms=covered,
        inside_ms=spent[None],
        below_ms=spent[Side.BELOW],
        above_ms=spent[Side.ABOVE],
        deficit_below=deficit[Side.BELOW],
        deficit_above=deficit[Side.ABOVE],
        least=min(values, default=None),
        most=max(values, default=None),
        mean=weighted / covered if covered else None,
        late_ms=late_ms,
    )


holes = gaps
"""The times of which nothing is known."""


def stretches(pieces: Sequence[tuple[Held, Limits]], join_ms: int) -> list[Stretch]:
    """The times outside the limits.

    Args:
        join_ms: two times on the same side with a known return shorter than this between them are one.
    """
    runs = _outside_runs(pieces)
    joined: list[Stretch] = []
    for run in runs:
        before = joined[-1] if joined else None
        if (
            before is None
            or before.side is not run.side
            or not before.end_known
            or run.from_ms - before.to_ms >= join_ms
        ):
            joined.append(run)
        else:
            joined[-1] = _joined(before, run)
    return joined


def _outside_runs(pieces: Sequence[tuple[Held, Limits]]) -> list[Stretch]:
    runs: list[Stretch] = []
    for step, limit in pieces:
        side, by = beyond(step.value, limit)
        last = runs[-1] if runs else None
        touching = last is not None and not last.end_known and last.to_ms == step.from_ms
        if last is not None and touching and last.side is not side:
            runs[-1] = replace(last, end_known=True)
        if side is None:
            continue
        edge = limit.low if side is Side.BELOW else limit.high
        assert edge is not None  # beyond() names a side only where that side has an edge
        lasted = step.to_ms - step.from_ms
        run = Stretch(
            side, step.from_ms, step.to_ms, edge, step.value, step.from_ms, lasted, by * lasted, False
        )
        if last is not None and touching and last.side is side:
            runs[-1] = _joined(last, run)
        else:
            runs.append(run)
    return runs


def _joined(first: Stretch, second: Stretch) -> Stretch:
    worst = second if _depth(second) > _depth(first) else first
    return Stretch(
        side=first.side,
        from_ms=first.from_ms,
        to_ms=second.to_ms,
        limit=worst.limit,
        worst=worst.worst,
        worst_ms=worst.worst_ms,
        outside_ms=first.outside_ms + second.outside_ms,
        deficit=first.deficit + second.deficit,
        end_known=second.end_known,
    )


def _depth(run: Stretch) -> float:
    return abs(run.worst - run.limit)
