"""When the next eggs, larvae, pupae and adults are due: windows, never dates.

Here: adding up rates hour by hour from what a grower knows (a space was opened, a stage was seen, a card
caught something). Not here: tables (`rates`), hours (`warmth`), words and dates (`audit.pests_told`).

Each window is reckoned three times. Its early end takes the fast edge of the table, warm doubts, and a sum
that is `window_share` short; its late end the slow edge, cool doubts, and a sum that is as much over; the
likely moment lies between. Adults lay as long as they live: where that is sourced, the late end of each
stage starts from the last egg. Egg-laying delay, food and deaths are not reckoned: what comes may be less,
and later, than these windows say.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from gillhouse.ahead.pests import Pest, PestStage
from gillhouse.ahead.rates import Edge, Pace, Range
from gillhouse.ahead.warmth import HOUR_MS, Hour, Origin

DAY_MS: Final = 86_400_000
MOST_GENERATIONS: Final = 12
"""No more are told of: by then the windows have run together."""
_WHOLE: Final[Mapping[Edge, float]] = dict.fromkeys(Edge, 1.0)
_UNKNOWN_PART: Final[Mapping[Edge, float]] = {Edge.EARLY: 0.0, Edge.LIKELY: 0.5, Edge.LATE: 1.0}
"""What is left of a stage that somebody saw: nothing to all of it."""
_AMOUNT_SIGN: Final = {Edge.EARLY: -1.0, Edge.LIKELY: 0.0, Edge.LATE: 1.0}


class Sign(StrEnum):
    """What the clock starts from."""

    OPENED = "opened"
    """From then flies could come in: the earliest there can be."""
    SEEN = "seen"
    CAUGHT = "caught"
    """On a card: adults flew."""


@dataclass(frozen=True, slots=True)
class Begin:
    sign: Sign
    at_ms: int
    stage: PestStage = PestStage.ADULT
    """What was seen."""
    since_ms: int | None = None
    """The blocks came then: nothing was laid in them before."""


@dataclass(frozen=True, slots=True)
class Window:
    """When a stage of a generation can be there. None: not within the hours that are reckoned."""

    generation: int
    """1: the young of those that came in or were seen."""
    stage: PestStage
    from_ms: int
    """The first, at the earliest."""
    likely_ms: int | None
    """The first of those most likely."""
    to_ms: int | None
    """The last, at the latest."""


@dataclass(frozen=True, slots=True)
class Sure:
    """How well the likely row of a forecast is known: hours by where they are from, and what was tested."""

    hours: dict[Origin, int]
    tested: dict[Range, int]


@dataclass(slots=True)
class _Run:
    """One edge's way through the hours."""

    hours: Sequence[Hour]
    edge: Edge
    share: float

    def after(self, pace: Pace, from_ms: int | None, part: float = 1.0) -> int | None:
        """When `part` of a stage is done that begins at `from_ms`; None: not within the hours."""
        if from_ms is None or not self.hours:
            return None
        left = part * (1.0 + _AMOUNT_SIGN[self.edge] * self.share)
        if left <= 0.0:
            return from_ms
        place = max((from_ms - self.hours[0].begin_ms) // HOUR_MS, 0)
        at = max(from_ms, self.hours[0].begin_ms)
        for hour in self.hours[place:]:
            end = hour.begin_ms + HOUR_MS
            gain = pace.rate(hour.felt_c(self.edge), self.edge).per_day * (end - at) / DAY_MS
            if gain >= left:
                return at + round((end - at) * left / gain)
            left -= gain
            at = end
        return None

    def before(self, pace: Pace, from_ms: int) -> int:
        """How far back a life that ends at `from_ms` can have begun; the first hour where it is longer."""
        left = 1.0
        for hour in reversed([one for one in self.hours if one.begin_ms < from_ms]):
            left -= pace.rate(hour.felt_c(self.edge), self.edge).per_day / 24.0
            if left <= 0.0:
                return hour.begin_ms
        return self.hours[0].begin_ms if self.hours else from_ms


def windows(pest: Pest, hours: Sequence[Hour], begin: Begin, until_ms: int) -> list[Window]:
    """Every window that can begin before `until_ms`, in order of generation and stage.

    Args:
        hours: unbroken, from before `begin` (adults that were seen had lived a while) to beyond `until_ms`.
    Returns: nothing for a pest without sourced rates, or without hours.
    """
    if not pest.is_sourced or not hours:
        return []
    runs = {edge: _Run(hours, edge, pest.window_share) for edge in Edge}
    laid = _laid(pest, runs, begin)
    found: list[Window] = []
    first = _first_stage(pest, begin)
    parts = _UNKNOWN_PART if begin.stage is not PestStage.ADULT else _WHOLE
    for generation in range(1, MOST_GENERATIONS + 1):
        told = _generation(pest, runs, laid, (generation, first, parts))
        found += [one for one in told if one.from_ms < until_ms]
        grown = told[-1] if told else None
        if grown is None or grown.stage is not PestStage.ADULT or grown.from_ms >= until_ms:
            break
        laid = {Edge.EARLY: grown.from_ms, Edge.LIKELY: grown.likely_ms, Edge.LATE: grown.to_ms}
        first, parts = 0, _WHOLE
    return found


def _first_stage(pest: Pest, begin: Begin) -> int:
    stages = [one.stage for one in pest.stages]
    return stages.index(begin.stage) if begin.stage in stages else 0


def _laid(pest: Pest, runs: dict[Edge, _Run], begin: Begin) -> dict[Edge, int | None]:
    """When the first and last eggs of generation 1 were laid, or, of a stage that was seen, when it began.

    Adults that were seen may have flown, and laid, for as long as they live; and may go on as long.
    """
    at = begin.at_ms
    if begin.stage is not PestStage.ADULT:
        return dict.fromkeys(Edge, at)
    life = pest.life
    if life is None:
        return dict.fromkeys(Edge, at)
    late = runs[Edge.LATE].after(life.pace, at)
    early = at if begin.sign is Sign.OPENED else runs[Edge.LATE].before(life.pace, at)
    if begin.since_ms is not None:
        early = min(max(early, begin.since_ms), at)
    return {Edge.EARLY: early, Edge.LIKELY: at, Edge.LATE: late}


def _generation(
    pest: Pest,
    runs: dict[Edge, _Run],
    laid: dict[Edge, int | None],
    which: tuple[int, int, Mapping[Edge, float]],
) -> list[Window]:
    """The windows of one generation, ending with its adults if they come within the hours.

    `which`: its number, the stage it begins with, and what is left of that stage by each edge.
    """
    generation, first, parts = which
    begun = dict(laid)
    found: list[Window] = []
    for place, stage in enumerate(pest.stages[first:], first):
        left = parts if place == first else _WHOLE
        ended = {edge: runs[edge].after(stage.pace, begun[edge], left[edge]) for edge in Edge}
        early = begun[Edge.EARLY]
        if early is None:
            return found
        found.append(Window(generation, stage.stage, early, begun[Edge.LIKELY], ended[Edge.LATE]))
        begun = ended
    early = begun[Edge.EARLY]
    if early is not None:
        last = begun[Edge.LATE]
        if pest.life is not None:
            last = runs[Edge.LATE].after(pest.life.pace, last)
        found.append(Window(generation, PestStage.ADULT, early, begun[Edge.LIKELY], last))
    return found


@dataclass(frozen=True, slots=True)
class Generations:
    """Whole generations between two moments, by the slow, the likely and the fast reckoning."""

    least: int
    likely: int
    most: int


def generations(pest: Pest, hours: Sequence[Hour], from_ms: int, until_ms: int) -> Generations:
    """How many generations fit in: a ceiling, for laying, food and deaths are not reckoned."""
    counts = []
    for edge in (Edge.LATE, Edge.LIKELY, Edge.EARLY):
        run, count, at = _Run(hours, edge, pest.window_share), 0, from_ms
        while pest.is_sourced:
            end: int | None = at
            for stage in pest.stages:
                end = run.after(stage.pace, end)
            if end is None or end > until_ms or end <= at:
                break
            count, at = count + 1, end
        counts.append(count)
    return Generations(*counts)


def clear_by_ms(found: Sequence[Window], now_ms: int) -> int | None:
    """The last moment for clearing the blocks before the next young fly or breed from them.

    Returns: None where none are due within the hours.
    """
    due = [one.from_ms for one in found if one.stage is PestStage.ADULT and one.from_ms > now_ms]
    return min(due, default=None)


def how_sure(pest: Pest, hours: Sequence[Hour], from_ms: int, to_ms: int) -> Sure:
    """Where the hours of a span come from, and how many of them lie outside what was tested."""
    used = [hour for hour in hours if from_ms <= hour.begin_ms < to_ms]
    origins = dict.fromkeys(Origin, 0)
    tested = dict.fromkeys(Range, 0)
    order = (Range.WITHIN, Range.UNSTATED, Range.ABOVE, Range.BELOW)
    for hour in used:
        origins[hour.origin] += 1
        found = [stage.pace.rate(hour.temp_c).tested for stage in pest.stages]
        if found:
            tested[max(found, key=order.index)] += 1
    return Sure(origins, tested)
