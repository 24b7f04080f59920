"""The night as plain text for a phone: at most twelve lines, the one most urgent job first.

Here: lines made of the verdict, in the grower's words and plain characters. Not here: judgement (`verdict`).
What does not fit goes by weight: the tale of a good space shrinks before that of a bad one.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from gillhouse.audit import forgotten, mains, runs, told, verdict
from gillhouse.audit.chart import percent
from gillhouse.audit.happened import SHORT
from gillhouse.audit.night import AlarmNight, Coming, Night, Outside, QuantityNight, SensorNight, SpaceNight
from gillhouse.audit.verdict import Finding, Grade, SpaceVerdict
from gillhouse.audit.wording import (
    alarm_title,
    capital,
    outside_words,
    span_words,
    species_words,
    worst_words,
)
from gillhouse.core.quantities import Quantity
from gillhouse.core.role_words import ROLE_WORD

MOST_LINES = 12
MOST_COMING = 3
MOST_CHANGED = 4


@dataclass(frozen=True, slots=True)
class Block:
    """The lines about one thing; the first stays, the others go when room is short."""

    lines: tuple[str, ...]
    weight: int
    """Heavier keeps its lines longer."""


def as_text(night: Night) -> str:
    return "\n".join(lines(night)) + "\n"


def lines(night: Night) -> list[str]:
    """At most `MOST_LINES` lines."""
    found = verdict.verdicts(night)
    top = [head(night), _first(verdict.jobs(night))]
    last = (mains.sentence(night), changed(night), coming(night), box(night), water(night), _sensors(night))
    tail = [line for line in last if line]
    room = MOST_LINES - len(top) - len(tail)
    return [*top, *_fitted([_block(night, one) for one in found], found, room), *tail]


def _fitted(blocks: Sequence[Block], found: Sequence[SpaceVerdict], room: int) -> list[str]:
    """The spaces' lines, shortened until they fit."""
    shown = [list(block.lines) for block in blocks]
    while sum(map(len, shown)) > room:
        longer = [at for at, some in enumerate(shown) if len(some) > 1]
        if not longer:
            break
        shown[min(longer, key=lambda at: (-len(shown[at]), blocks[at].weight, at))].pop()
    flat = [line for some in shown for line in some]
    if len(flat) <= room:
        return flat
    # More spaces than lines: the worst keep theirs, the rest are named in one.
    order = sorted(range(len(found)), key=lambda at: (-found[at].grade, at))
    kept = sorted(order[: room - 1])
    rest = ", ".join(f"{found[at].space.space.name} {found[at].word}" for at in sorted(order[room - 1 :]))
    return [*(shown[at][0] for at in kept), f"ALSO {rest}."]


def head(night: Night) -> str:
    window = night.window
    begin, end = told.local(window.from_ms, window.zone), told.local(night.asked_to_ms, window.zone)
    hours = f"{begin:%H:%M}-{end:%H:%M}"
    parts = [f"{told.day(window.to_ms, window.zone)} {told.clock(window.to_ms, window.zone)}, night {hours}"]
    if not night.complete:
        parts.append("so far")
    if night.removed_before_ms is not None:
        parts.append("earlier readings no longer kept")
    if night.log_begins_ms is not None:
        parts.append(f"log begins {told.clock(night.log_begins_ms, window.zone)}")
    if night.log_ends_ms is not None:
        parts.append(f"log ends {told.clock(night.log_ends_ms, window.zone)}")
    return f"{night.farm}. {', '.join(parts)}."


def _first(jobs: Sequence[verdict.Job]) -> str:
    if not jobs:
        return "DO FIRST  Nothing: no trouble found."
    more = f" ({len(jobs) - 1} more to do.)" if len(jobs) > 1 else ""
    return f"DO FIRST  {jobs[0].place}: {jobs[0].words}{more}"


def _block(night: Night, one: SpaceVerdict) -> Block:
    space = one.space.space
    first, *rest = story(night, one)
    title = f"{space.name.upper()} {species_words(space.species)}, {space.stage.value}: {one.word}."
    return Block((f"{title} {first}", *(f"  {line}" for line in rest)), one.grade)


def story(night: Night, one: SpaceVerdict) -> list[str]:
    """A space's night in a few sentences: what, why, what was done, the rest."""
    if one.word == verdict.OUT_OF_USE:
        return ["Not judged."]
    if one.leading is None:
        return ["Nothing is known of this night."]
    unused = _out_of_use(night, one.space)
    if one.grade is Grade.GOOD:
        return [capital(_ranges(one)), *unused, *own_reach(one.space)]
    told_lines = [_trouble(night, one.leading)]
    if one.leading.worst is not None:
        told_lines.append(f"Why: {one.leading.worst.words}.")
    told_lines.append(f"Done: {_done(night, one.space)}.")
    others = _others(one)
    if others:
        told_lines.append(f"Else: {others}.")
    return [*told_lines, *unused, *own_reach(one.space)]


def _out_of_use(night: Night, space: SpaceNight) -> list[str]:
    """When it was out of use; that time is in no figure."""
    spans = ", ".join(told.clocks(begin, end, night.window.zone) for begin, end in space.out_of_use)
    return [f"Out of use {spans}: left out."] if spans else []


def own_reach(space: SpaceNight) -> list[str]:
    """What weather, hose and nozzles made of these hours in the last days; nothing for a closed space."""
    if space.reach is None:
        return []
    return [f"Its own reach lately: {told.span(Quantity.HUMIDITY, *space.reach)}."]


def _ranges(one: SpaceVerdict) -> str:
    """All that was measured, as least and most."""
    parts = [_range(finding.figures) for finding in one.findings if finding.figures.tally.least is not None]
    return ", ".join(parts) + "."


def _range(figures: QuantityNight) -> str:
    """Such as 79-99 % (right 97 %): the share of the known time it was where it should be."""
    tally = figures.tally
    assert tally.least is not None and tally.most is not None  # callers look first
    if figures.quantity is Quantity.CO2:
        words = f"CO2 up to {told.number(Quantity.CO2, tally.most)}"
    else:
        words = span_words(figures, tally.least, tally.most)
    share = percent(tally.inside_ms, tally.covered_ms)
    return words if share == "100 %" else f"{words} (right {share})"


def _others(one: SpaceVerdict) -> str:
    """The quantities that did not lead, in few words."""
    parts = [
        _range(finding.figures)
        for finding in one.findings
        if finding is not one.leading and finding.figures.tally.least is not None
    ]
    unseen = [
        f"no {told.TITLE[finding.figures.quantity]} readings"
        for finding in one.findings
        if finding.grade is Grade.UNKNOWN
    ]
    return ", ".join(parts + unseen)


def _trouble(night: Night, finding: Finding) -> str:
    """From when, how far: the times outside on the side that leads."""
    figures, tally = finding.figures, finding.figures.tally
    same = [outside for outside in figures.outside if outside.stretch.side is finding.side]
    if not same or finding.worst is None:
        share = 100 * tally.covered_ms / (night.window.lasts_ms - figures.out_ms)
        return f"Known for {share:.0f} % of the night only; {_range(figures)}."
    return f"{_where(figures, same)} {_when(night, same)}, {_how_far(figures, same)}."


def _where(figures: QuantityNight, same: Sequence[Outside]) -> str:
    stretch = same[0].stretch
    words = outside_words(figures.quantity, stretch.side, stretch.limit)
    return capital(words)


def _when(night: Night, same: Sequence[Outside]) -> str:
    zone = night.window.zone
    first, last = same[0].stretch, same[-1].stretch
    if len(same) == 1:
        until = f"to {told.clock(first.to_ms, zone)}" if first.end_known else "to the end of what is known"
        return f"from {told.clock(first.from_ms, zone)} {until}"
    whole = told.lasted(sum(outside.stretch.outside_ms for outside in same))
    between = f"{told.clock(first.from_ms, zone)} and {told.clock(last.to_ms, zone)}"
    return f"for {whole}, {told.times(len(same))} between {between}"


def _how_far(figures: QuantityNight, same: Sequence[Outside]) -> str:
    worst = max(same, key=lambda outside: abs(outside.stretch.worst - outside.stretch.limit)).stretch
    return worst_words(figures, worst.side, worst.worst)


def _done(night: Night, space: SpaceNight) -> str:
    """What ran, and who answered."""
    parts = []
    for relay in space.relays:
        word = ROLE_WORD[relay.relay.role]
        if relay.driven:
            ran = told.lasted(runs.on_ms(relay.driven))
            parts.append(f"{word} {told.times(len(relay.driven))} ({ran})")
        elif relay.advised:
            parts.append(f"{word} advised {told.times(len(relay.advised))}, not switched")
    if not parts:
        parts.append("nothing ran")
    called = [alarm for alarm in space.alarms if alarm.announced]
    if called:
        parts.append(_answer(night, called))
    return "; ".join(parts)


def _answer(night: Night, called: Sequence[AlarmNight]) -> str:
    zone = night.window.zone
    first = min(called, key=lambda alarm: (alarm.priority, alarm.began_ms))
    at = f"{told.clock(first.began_ms, zone)} ({alarm_title(first.kind).lower()})"
    if first.acknowledged_ms is None:
        return f"called {at}, nobody answered"
    return f"called {at}, {first.who or 'somebody'} answered {told.clock(first.acknowledged_ms, zone)}"


def changed(night: Night) -> str:
    """What made the air another, or how it is seen, such as: Room 20:30 go-1 from fruiting to rest."""
    rows = [(one, space.space.name) for space in night.spaces for one in space.happened if one.kind in SHORT]
    rows.sort(key=lambda row: row[0].ts)
    zone = night.window.zone
    parts = [f"{name} {told.clock(one.ts, zone)} {one.words}" for one, name in rows[:MOST_CHANGED]]
    more = f" And {len(rows) - MOST_CHANGED} more." if len(rows) > MOST_CHANGED else ""
    return f"CHANGED {'; '.join(parts)}.{more}" if parts else ""


def coming(night: Night) -> str:
    """The stages that are due or soon will be, such as: LM-12 fruiting? (Tent, usual from Fri 27 Nov)."""
    names = {space.space.id: space.space.name for space in night.spaces}
    parts = [coming_words(one, names.get(one.space, one.space), night) for one in night.coming]
    parts += [f"{names.get(one.space, one.space)}: {one.words}" for one in night.ahead]
    more = f" And {len(parts) - MOST_COMING} more." if len(parts) > MOST_COMING else ""
    return f"COMING UP {'; '.join(parts[:MOST_COMING])}.{more}" if parts else ""


def coming_words(one: Coming, place: str, night: Night) -> str:
    on = told.day(one.from_ms, night.window.zone)
    if one.planned:
        return f"{one.batch} in {place}: {one.next} begins {on}"
    usual = f"usual since {on}" if one.from_ms <= night.window.to_ms else f"usual from {on}"
    return f"{one.batch} in {place}: {one.next} is {usual}, look at the crop"


def box(night: Night) -> str:
    zone = night.window.zone
    off = [away for away in night.away if not away.lost and away.to_ms - away.from_ms >= 1000]
    lost = sum(away.lost for away in night.away)
    spells = [f"{told.clock(away.from_ms, zone)}-{told.clock(away.to_ms, zone)}" for away in off]
    shown = ", ".join(spells[:3]) + (f" and {len(spells) - 3} more" if len(spells) > 3 else "")
    parts = [f"was off {shown}"] if off else []
    if night.clock_unset:
        unset = ", ".join(told.clocks(one.from_ms, one.to_ms, zone) for one in night.clock_unset[:3])
        parts.append(f"ran with its clock not set {unset}")
    if lost:
        parts.append(f"could not save {lost} readings or entries")
    own = f"THIS BOX {' and '.join(parts)}." if parts else ""
    return f"{own} {forgotten.sentence(night)}".strip()


def water(night: Night) -> str:
    given, advised = verdict.water(night)
    waters = any(relay.relay.litres_per_h for space in night.spaces for relay in space.relays)
    if not waters:
        return ""
    extra = f", {advised:.1f} l more advised" if advised else ""
    return f"WATER {given:.1f} l{extra}."


def _sensors(night: Night) -> str:
    sensors = [*night.sensors, *(sensor for space in night.spaces for sensor in space.sensors)]
    good = [one for one in sensors if not verdict.long_silences(one)]
    poor = [one for one in sensors if one not in good]
    names = ", ".join(_poor(night, one) for one in poor[:3])
    more = f" and {len(poor) - 3} more" if len(poor) > 3 else ""
    rejects = sum(night.rejects.values())
    unread = f" {rejects} messages could not be read." if rejects else ""
    return f"SENSORS {len(good)} of {len(sensors)} good{'; ' if poor else ''}{names}{more}.{unread}"


def _poor(night: Night, one: SensorNight) -> str:
    zone, silences = night.window.zone, verdict.long_silences(one)
    if one.counted == 0:
        return f"{one.sensor.id} not heard"
    begin, end = silences[-1]
    if end >= night.window.to_ms:
        return f"{one.sensor.id} silent since {told.clock(begin, zone)}"
    more = f" and {len(silences) - 1} times more" if len(silences) > 1 else ""
    return f"{one.sensor.id} silent {told.clocks(*max(silences, key=_length), zone)}{more}"


def _length(span: tuple[int, int]) -> int:
    return span[1] - span[0]
