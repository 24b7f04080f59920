"""The night as one self-contained HTML page: no outside host, no script, prints on one or two pages.

Here: the values the template shows, already worded. The page itself is `night.html.j2` beside this file;
the charts come from `drawing`, one wide and one narrow, of which the page shows one.
"""

from dataclasses import dataclass
from functools import cache
from pathlib import Path

import jinja2

from gillhouse.audit import chart, mains, runs, text, told, verdict
from gillhouse.audit.figures import litres
from gillhouse.audit.night import (
    AlarmNight,
    Night,
    Outside,
    QuantityNight,
    RelayNight,
    SensorNight,
    SpaceNight,
)
from gillhouse.audit.verdict import SpaceVerdict
from gillhouse.audit.wording import (
    DOUBT_WORD,
    about,
    alarm_title,
    answer_words,
    capital,
    outside_words,
    sentence,
    species_words,
    worst_words,
)
from gillhouse.core.reasons import Reason
from gillhouse.core.role_words import ROLE_WORD
from gillhouse.core.settings import RelaySettings
from gillhouse.drawing.strip import NARROW, WIDE, draw

WORTH_A_WORD_MS = 60_000
"""Shorter silences are in the figures, not in the remarks."""
MOST_ROWS = 5
"""Times outside and spells of silence told one by one; the rest are counted."""

HELD_WORD: dict[str, str] = {
    Reason.LEAST_ON: "had to stay on a little",
    Reason.LEAST_OFF: "had to rest a little",
    Reason.LONGEST_RUN: "had run as long as it may",
    Reason.STARTS_CAP: "had started often enough that hour",
    Reason.WATER_CAP: "day's water used up",
    Reason.DOOR_OPEN: "door open",
    Reason.TANK_EMPTY: "tank empty",
    Reason.PEOPLE_INSIDE: "somebody inside",
    Reason.NEVER_WITH: "not together with another",
    Reason.OTHER_SPACE_FIRST: "another space first",
}


@dataclass(frozen=True, slots=True)
class OutsideRow:
    when: str
    lasted: str
    what: str
    why: str


@dataclass(frozen=True, slots=True)
class RelayRow:
    name: str
    id: str
    times: str
    on: str
    water: str
    remark: str


@dataclass(frozen=True, slots=True)
class AlarmRow:
    when: str
    place: str
    what: str
    answer: str


@dataclass(frozen=True, slots=True)
class SensorRow:
    id: str
    place: str
    readings: str
    known: str
    remark: str


@dataclass(frozen=True, slots=True)
class SpaceView:
    """One space on the page."""

    name: str
    crop: str
    word: str
    grade: str
    lines: tuple[str, ...]
    wide: str
    narrow: str
    flags: tuple[chart.Explained, ...]
    outside: tuple[OutsideRow, ...]
    outside_more: str


def as_html(night: Night) -> str:
    """The whole page as text."""
    zone = night.window.zone
    return _template().render(
        farm=night.farm,
        begin=f"{told.day(night.window.from_ms, zone)} {told.clock(night.window.from_ms, zone)}",
        end=f"{told.day(night.window.to_ms, zone)} {told.clock(night.window.to_ms, zone)}",
        night=night,
        jobs=verdict.jobs(night),
        spaces=[_space(night, one) for one in verdict.verdicts(night)],
        relays=_relays(night),
        alarms=_alarms(night),
        sensors=_sensors(night),
        water=text.water(night),
        box=text.box(night),
        mains=mains.sentence(night),
        coming=_coming(night),
        rejects=_rejects(night),
        settings=", ".join(digest[:8] for digest in night.configs),
    )


@cache
def _template() -> jinja2.Template:
    folder = jinja2.FileSystemLoader(Path(__file__).parent)
    environment = jinja2.Environment(
        loader=folder, autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True, lstrip_blocks=True
    )
    return environment.get_template("night.html.j2")


def _space(night: Night, one: SpaceVerdict) -> SpaceView:
    space = one.space.space
    told_lines = text.story(night, one)
    rows = _outside_rows(night, one.space)
    more = len(rows) - MOST_ROWS
    return SpaceView(
        name=space.name,
        crop=f"{species_words(space.species)}, {space.stage.value}",
        word=one.word,
        grade=one.grade.name.lower(),
        lines=tuple(told_lines),
        wide=draw(chart.strip(night, one.space, f"{_key(space.id)}-wide"), WIDE),
        narrow=draw(chart.strip(night, one.space, f"{_key(space.id)}-narrow"), NARROW),
        flags=tuple(chart.flags(night, one.space)),
        outside=tuple(row for _, row in sorted(rows[:MOST_ROWS], key=lambda pair: pair[0])),
        outside_more=f"And {more} more, each slighter." if more > 0 else "",
    )


def _key(space: str) -> str:
    return "strip-" + "".join(letter if letter.isalnum() else "-" for letter in space)


def _outside_rows(night: Night, space: SpaceNight) -> list[tuple[int, OutsideRow]]:
    """(begin, row), the heaviest first."""
    weighed = [
        (
            outside.stretch.deficit / verdict.NOTABLE[one.quantity],
            outside.stretch.from_ms,
            _outside(night, one, outside),
        )
        for one in space.quantities.values()
        for outside in one.outside
    ]
    weighed.sort(key=lambda row: (-row[0], row[1]))
    return [(begin, row) for _, begin, row in weighed]


def _outside(night: Night, one: QuantityNight, outside: Outside) -> OutsideRow:
    stretch, zone = outside.stretch, night.window.zone
    open_end = "" if stretch.end_known else ", end not seen"
    worst = worst_words(one, stretch.side, stretch.worst, told.amount)
    return OutsideRow(
        when=f"{told.clocks(stretch.from_ms, stretch.to_ms, zone)}{open_end}",
        lasted=told.lasted(stretch.outside_ms),
        what=f"{capital(outside_words(one.quantity, stretch.side, stretch.limit))}, {worst}",
        why=sentence(outside.words),
    )


def _coming(night: Night) -> list[str]:
    """A line for each stage that is due or soon will be, and for what is reckoned to come."""
    names = {space.space.id: space.space.name for space in night.spaces}
    found = [text.coming_words(one, names.get(one.space, one.space), night) + "." for one in night.coming]
    return found + [f"{names.get(one.space, one.space)}: {one.words} ({one.source})." for one in night.ahead]


def _relays(night: Night) -> list[RelayRow]:
    rows = [_relay(relay, space.space.name) for space in night.spaces for relay in space.relays]
    return rows + [_relay(relay, "Shared") for relay in night.relays]


def _relay(one: RelayNight, place: str) -> RelayRow:
    relay: RelaySettings = one.relay
    advised = bool(one.advised) and not one.driven
    shown = one.advised if advised else one.driven
    held = ", ".join(
        f"{HELD_WORD.get(reason, reason)} {told.times(count)}" for reason, count in one.held_back.items()
    )
    remarks = ["advise only, nothing switched"] if advised else []
    if held:
        remarks.append(f"held back: {held}")
    return RelayRow(
        name=f"{place}, {ROLE_WORD[relay.role]}",
        id=relay.id,
        times=str(len(shown)),
        on=told.lasted(runs.on_ms(shown)) if shown else "-",
        water=f"{litres(relay, shown):.1f} l" if relay.litres_per_h else "",
        remark="; ".join(remarks),
    )


def _alarms(night: Night) -> list[AlarmRow]:
    pairs: list[tuple[AlarmNight, str]] = [(alarm, "Farm") for alarm in night.alarms]
    pairs += [(alarm, space.space.name) for space in night.spaces for alarm in space.alarms]
    pairs.sort(key=lambda pair: (pair[0].began_ms, pair[1]))
    return [_alarm(night, alarm, place) for alarm, place in pairs]


def _alarm(night: Night, one: AlarmNight, place: str) -> AlarmRow:
    zone = night.window.zone
    before = one.began_ms < night.window.from_ms
    begin = f"{told.day(one.began_ms, zone)} " if before else ""
    end = "still on" if one.ended_ms is None else told.clock(one.ended_ms, zone)
    return AlarmRow(
        f"{begin}{told.clock(one.began_ms, zone)}-{end}",
        place,
        f"{alarm_title(one.kind)}{about(one)}",
        answer_words(one),
    )


def _sensors(night: Night) -> list[SensorRow]:
    rows = [_sensor(night, sensor, space.space.name) for space in night.spaces for sensor in space.sensors]
    return rows + [_sensor(night, sensor, "Outside") for sensor in night.sensors]


def _sensor(night: Night, one: SensorNight, place: str) -> SensorRow:
    zone = night.window.zone
    remarks = [f"{count} {DOUBT_WORD.get(mark, mark)}" for mark, count in one.doubted.items()]
    known = one.calibrations[-1].known if one.calibrations else None
    if known is not None:
        remarks.insert(0, f"corrected, checked {told.day(known.made_ms, zone)}")
    if one.late:
        remarks.append(f"{one.late} arrived late and fill the night")
    if one.counted:
        long = [(begin, end) for begin, end in one.silences if end - begin >= WORTH_A_WORD_MS]
        silent = [told.clocks(begin, end, zone) for begin, end in long]
        shown = ", ".join(silent[:3]) + (f" and {len(silent) - 3} more" if len(silent) > 3 else "")
        if silent:
            remarks.append(f"silent {shown}")
    else:
        remarks.append("not heard")
    return SensorRow(
        one.sensor.id,
        place,
        str(one.counted),
        chart.percent(one.covered_ms, night.window.lasts_ms),
        "; ".join(remarks),
    )


def _rejects(night: Night) -> str:
    if not night.rejects:
        return ""
    return ", ".join(f"{reason} {count}" for reason, count in night.rejects.items())
