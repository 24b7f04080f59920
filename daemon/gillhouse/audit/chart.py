"""A space's night as a strip to be drawn: lanes, marks and flags with their words.

Here: figures to `drawing.figures.Strip`. Not here: lines and colours (`drawing`), pages (`html`).
"""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from gillhouse.audit import runs, told
from gillhouse.audit.figures import litres
from gillhouse.audit.night import (
    AlarmNight,
    Happened,
    Night,
    NoteNight,
    QuantityNight,
    RelayNight,
    SpaceNight,
    Window,
)
from gillhouse.audit.wording import alarm_words, note_words, span_words
from gillhouse.core.quantities import Quantity
from gillhouse.core.role_words import ROLE_WORD
from gillhouse.drawing.figures import BandSpan, Flag, Ink, MarkLane, Step, Strip, Tick, TraceLane

TITLE = {Quantity.HUMIDITY: "Humidity %", Quantity.CO2: "CO2 ppm", Quantity.TEMPERATURE: "Temperature C"}
INK = {Quantity.HUMIDITY: Ink.HUMIDITY, Quantity.CO2: Ink.CO2, Quantity.TEMPERATURE: Ink.TEMPERATURE}
LEAST_SPAN = {Quantity.HUMIDITY: 10.0, Quantity.CO2: 300.0, Quantity.TEMPERATURE: 4.0}
CEILING = {Quantity.HUMIDITY: 100.0}
MOST_FLAGS = 24
"""More flags than this would hide the chart; alarms go before notes, notes before changes."""


@dataclass(frozen=True, slots=True)
class Explained:
    """A flag with its words."""

    flag: Flag
    at: str
    words: str


def strip(night: Night, space: SpaceNight, key: str) -> Strip:
    """The sheet of one space."""
    window = night.window
    title = f"{space.space.name}, night to {told.day(window.to_ms, window.zone)}"
    traces = [_trace(one, window) for one in space.quantities.values() if one.measured]
    return Strip(
        key=key,
        title=title,
        description=description(night, space),
        from_ms=window.from_ms,
        to_ms=max(window.to_ms, window.from_ms + 1),
        ticks=ticks(window),
        traces=traces,
        marks=[_marks(relay) for relay in (*space.relays, *_shared(night, space))],
        flags=[one.flag for one in flags(night, space)],
    )


def flags(night: Night, space: SpaceNight) -> list[Explained]:
    """Alarms, notes and changes of a space, and those of the whole farm, numbered by time."""
    zone = night.window.zone
    alarms = [*space.alarms, *night.alarms][:MOST_FLAGS]
    notes = [*space.notes, *night.notes][: MOST_FLAGS - len(alarms)]
    changes = space.happened[: max(MOST_FLAGS - len(alarms) - len(notes), 0)]
    rows: list[AlarmNight | NoteNight | Happened] = [*alarms, *notes, *changes]
    rows.sort(key=lambda row: row.began_ms if isinstance(row, AlarmNight) else row.ts)
    found = []
    for number, row in enumerate(rows, start=1):
        if isinstance(row, AlarmNight):
            flag = Flag(number, row.began_ms, True, row.ended_ms)
            found.append(Explained(flag, told.clock(row.began_ms, zone), alarm_words(row, zone)))
        elif isinstance(row, NoteNight):
            found.append(Explained(Flag(number, row.ts, False), told.clock(row.ts, zone), note_words(row)))
        else:
            flag = Flag(number, row.ts, False, row.to_ms)
            found.append(Explained(flag, told.clock(row.ts, zone), row.words))
    return found


def _shared(night: Night, space: SpaceNight) -> list[RelayNight]:
    return [relay for relay in night.relays if relay.relay.id in space.shared]


def ticks(window: Window) -> list[Tick]:
    """The full local hours within the window. In the autumn night the repeated hour appears twice."""
    begin = datetime.fromtimestamp(window.from_ms // 1000, UTC)
    at = begin.replace(minute=0, second=0, microsecond=0)
    found = []
    while at.timestamp() * 1000 <= window.to_ms:
        local = at.astimezone(window.zone)
        if local.minute:  # zones off by half or a quarter of an hour
            at += timedelta(minutes=60 - local.minute)
            continue
        if at >= begin:
            found.append(Tick(int(at.timestamp() * 1000), f"{local:%H:%M}"))
        at += timedelta(hours=1)
    return found


def _trace(one: QuantityNight, window: Window) -> TraceLane:
    return TraceLane(
        title=TITLE[one.quantity],
        summary=_summary(one) + _known(one, window),
        short=_summary(one),
        ink=INK[one.quantity],
        steps=[Step(step.from_ms, step.to_ms, step.value, step.late) for step in one.steps],
        bands=[BandSpan(limit.from_ms, limit.to_ms, limit.low, limit.high) for limit in one.limits],
        least_span=LEAST_SPAN[one.quantity],
        ceiling=CEILING.get(one.quantity),
        empty="no readings this night",
    )


def _summary(one: QuantityNight) -> str:
    """Such as 83-96 %, in range 92 %."""
    tally = one.tally
    if tally.least is None or tally.most is None:
        return "nothing known"
    inside = percent(tally.inside_ms, tally.covered_ms)
    return f"{span_words(one, tally.least, tally.most)}, in range {inside}"


def _known(one: QuantityNight, window: Window) -> str:
    """Such as `, known 84 %`; nothing where nearly all is known."""
    whole_ms = max(window.lasts_ms - one.out_ms, 1)
    known = one.tally.covered_ms / whole_ms
    return "" if known > 0.99 or not one.steps else f", known {percent(one.tally.covered_ms, whole_ms)}"


def percent(part: int, whole: int) -> str:
    """Never rounded up to all, nor down to nothing."""
    if part == whole:
        return "100 %"
    share = 100 * part / whole if whole else 0.0
    if share > 99:
        return "over 99 %"
    return f"{share:.0f} %" if share >= 1 or not part else "under 1 %"


def _marks(one: RelayNight) -> MarkLane:
    return MarkLane(
        title=relay_title(one),
        summary=relay_summary(one),
        solid=[(run.from_ms, run.to_ms) for run in one.driven],
        hollow=[(run.from_ms, run.to_ms) for run in one.advised],
    )


def relay_title(one: RelayNight) -> str:
    word = ROLE_WORD[one.relay.role]
    return word if one.relay.space is not None else f"{word}, shared"


def relay_summary(one: RelayNight) -> str:
    """Such as 6.1 l, 41 times."""
    if one.advised and not one.driven:
        return f"advised {told.times(len(one.advised))}"
    if not one.driven:
        return "not once"
    water = litres(one.relay, one.driven)
    amount = f"{water:.1f} l" if one.relay.litres_per_h else told.lasted(runs.on_ms(one.driven))
    return f"{amount}, {told.times(len(one.driven))}"


def description(night: Night, space: SpaceNight) -> str:
    """All the chart shows, in sentences, for who cannot see it."""
    zone = night.window.zone
    parts = [f"Strip chart, {told.clocks(night.window.from_ms, night.window.to_ms, zone)}."]
    for one in space.quantities.values():
        if one.measured:
            spells = _spells(one, night.window)
            parts.append(f"{TITLE[one.quantity]}: {_summary(one)}{_known(one, night.window)}.{spells}")
    parts += [f"{relay_title(relay)}: {relay_summary(relay)}." for relay in space.relays]
    parts += [f"Flag {one.flag.number}, {one.at}: {one.words}." for one in flags(night, space)]
    return " ".join(parts)


def _spells(one: QuantityNight, window: Window) -> str:
    """The heaviest times outside, in words."""
    weighed = sorted(one.outside, key=lambda outside: -outside.stretch.deficit)
    words = [
        f" {outside.stretch.side.value.capitalize()} {told.limit(one.quantity, outside.stretch.limit)} "
        f"{told.clocks(outside.stretch.from_ms, outside.stretch.to_ms, window.zone)}."
        for outside in weighed[:3]
    ]
    if len(weighed) > 3:
        words.append(f" And {len(weighed) - 3} slighter ones.")
    return "".join(words)
