"""Times without mains, and what the crop went through: from each cut until the air was right again.

Here: the cuts, from the log's lines, and the extremes of each space they touched. Not here: the air itself
(`figures`), layout (`text`, `html`, `record`) beyond the one sentence they all show. Boards that hang on the
same mains say nothing meanwhile: what was not seen is told as not seen, and the extremes are of what was.
"""

from collections.abc import Iterable, Sequence

from gillhouse.audit import hold, told
from gillhouse.audit.hold import Side
from gillhouse.audit.night import MainsOff, Night, QuantityNight, SpaceNight, Went, Window
from gillhouse.audit.wording import worst_words
from gillhouse.core.outputs import EventKind
from gillhouse.core.quantities import Quantity
from gillhouse.core.reasons import Reason
from gillhouse.core.settings import FarmSettings
from gillhouse.store.records import EventAt

Span = tuple[int, int]

WORTH_MS = 30_000
"""A shorter blink is not told; it calls nobody either (`mains-off` in `core.alarm_kinds`)."""
UNSEEN_MS = 10 * 60_000
"""Shorter times of which nothing is known are not worth a word. Common practice, no source."""
MOST_SPACES = 4

USUAL = {Quantity.HUMIDITY: Side.BELOW, Quantity.TEMPERATURE: Side.BELOW, Quantity.CO2: Side.ABOVE}
"""Which way air goes when nothing runs, for the words where neither limit was passed."""


def cuts(farm: FarmSettings, events: Sequence[EventAt], window: Window) -> list[tuple[str, Span, bool]]:
    """(mains input, begin and end, whether they came back), in order of their begin.

    Args:
        events: in order; they may begin earlier than the window.
    """
    inputs = {sensor.id for sensor in farm.sensors.values() if sensor.quantity is Quantity.MAINS}
    since: dict[str, int] = {}
    found: list[tuple[str, Span, bool]] = []
    for one in events:
        event = one.event
        if event.kind is not EventKind.DECISION or event.subject not in inputs:
            continue
        if event.reason is Reason.MAINS_GONE:
            since.setdefault(event.subject, one.ts)
        elif event.reason is Reason.STAGGERED:
            found.append((event.subject, (since.pop(event.subject, window.from_ms), one.ts), True))
    found += [(name, (begin, window.to_ms), False) for name, begin in since.items()]
    told_of = [one for one in found if one[1][1] - one[1][0] >= WORTH_MS and one[1][1] > window.from_ms]
    return sorted(told_of, key=lambda one: (one[1], one[0]))


def times_without(
    farm: FarmSettings, events: Sequence[EventAt], window: Window, spaces: Sequence[SpaceNight]
) -> tuple[MainsOff, ...]:
    """Every time without mains of a night, with what became of each space's air."""
    found = []
    for name, cut, back in cuts(farm, events, window):
        fed = _fed(farm, name)
        went = tuple(_went(one, cut, window) for one in spaces if one.space.id in fed)
        found.append(MainsOff(name, *cut, back, went))
    return tuple(found)


def _fed(farm: FarmSettings, name: str) -> set[str]:
    """Spaces with a load on these mains; where no load names them, those the input stands for."""
    loads = [relay.space for relay in farm.relays.values() if relay.mains == name]
    places = loads or [farm.sensors[name].space]
    return set(farm.spaces) if None in places else {place for place in places if place is not None}


def _went(space: SpaceNight, cut: Span, window: Window) -> Went:
    seen = [one for one in space.quantities.values() if one.measured]
    right_ms = _right_ms(seen, cut[1])
    end = window.to_ms if right_ms is None else max(right_ms, cut[1])
    extremes = {}
    for one in seen:
        values = [step.value for step in one.steps if step.from_ms <= end and step.to_ms > cut[0]]
        if values:
            extremes[one.quantity] = (min(values), max(values))
    known = [list(_within(_known(one), cut)) for one in seen]
    unseen_ms = max((cut[1] - cut[0] - sum(b - a for a, b in spans) for spans in known), default=0)
    return Went(space.space.id, extremes, right_ms, unseen_ms)


def _right_ms(seen: Sequence[QuantityNight], back_ms: int) -> int | None:
    """When all that is still heard was known and inside its limits, at the return or after it."""
    common: list[Span] | None = None
    for one in seen:
        if not one.steps or one.steps[-1].to_ms <= back_ms:
            continue  # never heard again
        inside = [
            (step.from_ms, step.to_ms)
            for step, limit in hold.cut(one.steps, one.limits)
            if hold.beyond(step.value, limit)[0] is None and step.to_ms > back_ms
        ]
        common = inside if common is None else list(_both(common, inside))
    return max(back_ms, common[0][0]) if common else None


def _known(one: QuantityNight) -> Iterable[Span]:
    return ((step.from_ms, step.to_ms) for step in one.steps)


def _within(spans: Iterable[Span], cut: Span) -> Iterable[Span]:
    for begin, end in spans:
        if begin < cut[1] and end > cut[0]:
            yield max(begin, cut[0]), min(end, cut[1])


def _both(first: Sequence[Span], second: Sequence[Span]) -> Iterable[Span]:
    """Times in both of two lists in order."""
    here = there = 0
    while here < len(first) and there < len(second):
        begin, end = max(first[here][0], second[there][0]), min(first[here][1], second[there][1])
        if begin < end:
            yield begin, end
        if first[here][1] <= second[there][1]:
            here += 1
        else:
            there += 1


# --- the sentence --------------------------------------------------------------------------------------


def sentence(night: Night) -> str:
    """All of it in one sentence, the longest cut first of all; empty where the mains held.

    Such as: MAINS off 02:00-04:00 (2 h 00 min): Tent driest 71 %, coldest 14.2 C, CO2 worst 2400 ppm, right
    again 04:35.
    """
    if not night.mains:
        return ""
    longest = max(night.mains, key=lambda one: one.lasts_ms)
    others = [one for one in night.mains if one is not longest]
    more = f"; off {told.times(len(others))} more, {told.lasted(sum(one.lasts_ms for one in others))}"
    return f"MAINS {words(night, longest)}{more if others else ''}."


def words(night: Night, one: MainsOff) -> str:
    zone = night.window.zone
    until = told.clock(one.to_ms, zone) if one.back else "now"
    spaces = {space.space.id: space for space in night.spaces}
    rows = [
        f"{spaces[went.space].space.name} {_said(night, spaces[went.space], went)}" for went in one.spaces
    ]
    more = f"; and {len(rows) - MOST_SPACES} more" if len(rows) > MOST_SPACES else ""
    crop = f": {'; '.join(rows[:MOST_SPACES])}{more}" if rows else ""
    return f"off {told.clock(one.from_ms, zone)}-{until} ({told.lasted(one.lasts_ms)}){crop}"


def _said(night: Night, space: SpaceNight, went: Went) -> str:
    parts = [_extreme(space.quantities[quantity], went) for quantity in went.extremes]
    if not parts:
        return "not measured"
    if went.unseen_ms >= UNSEEN_MS:
        parts[-1] += f" (nothing seen for {told.lasted(went.unseen_ms)})"
    if went.right_ms is None:
        parts.append(f"not right again by {told.clock(night.window.to_ms, night.window.zone)}")
    else:
        parts.append(f"right again {told.clock(went.right_ms, night.window.zone)}")
    return ", ".join(parts)


def _extreme(figures: QuantityNight, went: Went) -> str:
    """The end that lay further outside, else the one air goes to when nothing runs."""
    least, most = went.extremes[figures.quantity]
    limits = figures.limits[-1]
    under = 0.0 if limits.low is None else limits.low - least
    over = 0.0 if limits.high is None else most - limits.high
    side = USUAL[figures.quantity]
    if max(under, over) > 0:
        side = Side.BELOW if under >= over else Side.ABOVE
    name = "CO2 " if figures.quantity is Quantity.CO2 else ""
    return name + worst_words(figures, side, least if side is Side.BELOW else most, told.amount)
