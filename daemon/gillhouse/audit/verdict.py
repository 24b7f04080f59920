"""What a night comes to: one word per space, the worst of it, and the jobs, most urgent first.

Here: judgement on finished figures, as values. Not here: lines or pages made of it (`text`, `html`). The
thresholds say when a grower would call a night good; all are common practice, no source.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from enum import IntEnum

from gillhouse.audit import hold, runs, told
from gillhouse.audit.causes import REMEDY, TOOL
from gillhouse.audit.hold import Side
from gillhouse.audit.night import REPORTED, AlarmNight, Night, Outside, QuantityNight, SensorNight, SpaceNight
from gillhouse.audit.wording import alarm_title, capital, reason_words, sentence
from gillhouse.core.alarm_kinds import KINDS
from gillhouse.core.crops import Band
from gillhouse.core.demand import UNCALIBRATED_AIM_PCT
from gillhouse.core.quantities import Quantity
from gillhouse.core.settings import Role

GOOD_SHARE = 0.9
"""In band this share of the known time is a good night."""
BAD_SHARE = 0.5
"""In band less than this is named by its fault, not called fair."""
KNOWN_SHARE = 0.1
"""With less than this of the night known nothing is judged."""
SURE_SHARE = 0.75
"""With less than this of the night known it is fair at most."""
HURT_MS = 10 * 60_000
"""This long beyond the limit at which people are called is a bad night."""
LONG_SILENCE_MS = 10 * 60_000
"""A sensor that was silent this long at a stretch was not good."""

WORD: dict[tuple[Quantity, Side], str] = {
    (Quantity.HUMIDITY, Side.BELOW): "DRY",
    (Quantity.HUMIDITY, Side.ABOVE): "WET",
    (Quantity.CO2, Side.ABOVE): "STALE AIR",
    (Quantity.CO2, Side.BELOW): "FAIR",
    (Quantity.TEMPERATURE, Side.BELOW): "COLD",
    (Quantity.TEMPERATURE, Side.ABOVE): "WARM",
}

OUT_OF_USE = "OUT OF USE"
"""All night: there is nothing to judge."""

NOTABLE = {Quantity.HUMIDITY: 5.0, Quantity.CO2: 500.0, Quantity.TEMPERATURE: 3.0}
"""Distances from the limit that weigh the same to a crop, to compare unlike things."""


class Grade(IntEnum):
    GOOD = 0
    FAIR = 1
    BAD = 2
    UNKNOWN = 3


@dataclass(frozen=True, slots=True)
class Finding:
    """How one quantity fared."""

    figures: QuantityNight
    grade: Grade
    side: Side | None
    """The side the trouble was on, where there was trouble."""
    worst: Outside | None
    """The time outside that weighs most."""


@dataclass(frozen=True, slots=True)
class SpaceVerdict:
    space: SpaceNight
    grade: Grade
    word: str
    """GOOD, FAIR, DRY, WET, STALE AIR, COLD, WARM, NO READINGS or OUT OF USE."""
    leading: Finding | None
    """The finding the word comes from; None where nothing was measured."""
    findings: tuple[Finding, ...]


@dataclass(frozen=True, slots=True)
class Job:
    """Something to do, in one sentence."""

    urgency: int
    """1 first."""
    place: str
    words: str


def verdicts(night: Night) -> list[SpaceVerdict]:
    """One per space, in the farm's order."""
    return [_space(space, night.window.lasts_ms - space.out_ms) for space in night.spaces]


def _space(space: SpaceNight, night_ms: int) -> SpaceVerdict:
    if night_ms <= 0:
        return SpaceVerdict(space, Grade.GOOD, OUT_OF_USE, None, ())
    findings = tuple(
        _finding(figures, space.space.bands.get(quantity), night_ms)
        for quantity in REPORTED
        if (figures := space.quantities[quantity]).measured
    )
    if not findings:
        return SpaceVerdict(space, Grade.UNKNOWN, "NO READINGS", None, ())
    known = [finding for finding in findings if finding.grade is not Grade.UNKNOWN]
    if not known:
        return SpaceVerdict(space, Grade.UNKNOWN, "NO READINGS", None, findings)
    leading = max(known, key=lambda finding: (finding.grade, _weight(finding)))
    grade = leading.grade
    if grade is Grade.GOOD and len(known) < len(findings):
        grade = Grade.FAIR  # part of it was not seen
    if grade is Grade.BAD and leading.side is not None:
        return SpaceVerdict(space, grade, WORD[leading.figures.quantity, leading.side], leading, findings)
    return SpaceVerdict(space, grade, grade.name, leading, findings)


def _finding(figures: QuantityNight, band: Band | None, night_ms: int) -> Finding:
    tally = figures.tally
    worst = max(figures.outside, key=lambda outside: outside.stretch.deficit, default=None)
    side = None
    if tally.below_ms or tally.above_ms:
        side = Side.BELOW if tally.deficit_below > tally.deficit_above else Side.ABOVE
    if tally.covered_ms < KNOWN_SHARE * night_ms:
        return Finding(figures, Grade.UNKNOWN, side, worst)
    share = tally.inside_ms / tally.covered_ms
    hurt_side = _hurt(figures, band)
    if hurt_side is not None:
        return Finding(figures, Grade.BAD, hurt_side, _worst_on(figures, hurt_side) or worst)
    if share < BAD_SHARE and side is not None and (figures.quantity, side) != (Quantity.CO2, Side.BELOW):
        return Finding(figures, Grade.BAD, side, _worst_on(figures, side))
    fair = share < GOOD_SHARE or tally.covered_ms < SURE_SHARE * night_ms
    return Finding(figures, Grade.FAIR if fair else Grade.GOOD, side, worst)


def _hurt(figures: QuantityNight, band: Band | None) -> Side | None:
    """The side on which it was beyond the limit at which people are called, for long enough to matter."""
    if band is None or not figures.steps:
        return None
    called = hold.Limits(figures.steps[0].from_ms, figures.steps[-1].to_ms, band.alarm_low, band.alarm_high)
    tally = hold.tally([(step, called) for step in figures.steps])
    if max(tally.below_ms, tally.above_ms) < HURT_MS:
        return None
    return Side.BELOW if tally.below_ms >= tally.above_ms else Side.ABOVE


def _worst_on(figures: QuantityNight, side: Side) -> Outside | None:
    mine = [outside for outside in figures.outside if outside.stretch.side is side]
    return max(mine, key=lambda outside: outside.stretch.deficit, default=None)


def _weight(finding: Finding) -> float:
    """How much of a quantity's trouble a crop feels, to compare unlike quantities."""
    if finding.worst is None:
        return 0.0
    return finding.worst.stretch.deficit / NOTABLE[finding.figures.quantity]


def long_silences(sensor: SensorNight) -> list[tuple[int, int]]:
    """Its silences worth a word, in order of time."""
    return [(begin, end) for begin, end in sensor.silences if end - begin >= LONG_SILENCE_MS]


def silent_since(night: Night, sensor: SensorNight) -> int | None:
    """When a sensor that is still silent at the end of the night was last heard, or the night's begin."""
    if not sensor.silences or sensor.silences[-1][1] < night.window.to_ms:
        return None
    return sensor.silences[-1][0]


def jobs(night: Night) -> list[Job]:
    """What to do, most urgent first; one per trouble."""
    found: dict[tuple[str, str], Job] = {}
    for rule in _RULES:
        for subject, job in rule(night):
            found.setdefault((job.place, subject), job)
    return sorted(found.values(), key=lambda job: job.urgency)


def place_name(night: Night, space: str | None) -> str:
    for one in night.spaces:
        if one.space.id == space:
            return one.space.name
    return "Farm" if space is None else space


Told = Iterator[tuple[str, Job]]
"""(what it is about, the job): a later rule about the same thing in the same place is not told again."""


def _standing_alarms(night: Night) -> Told:
    """Alarms that still stand: the most pressing, then the oldest."""
    standing = [alarm for alarm in _all_alarms(night) if alarm.ended_ms is None]
    for alarm in sorted(standing, key=lambda alarm: (alarm.priority, alarm.began_ms)):
        kind = KINDS.get(alarm.kind)
        action = kind.action if kind else "see what it is about"
        since = told.clock(alarm.began_ms, night.window.zone)
        answered = "" if alarm.acknowledged_ms is not None else ", nobody answered"
        yield (
            _subject(alarm),
            Job(
                alarm.priority,
                place_name(night, alarm.space),
                f"{alarm_title(alarm.kind)} since {since}{answered}. {sentence(action)}",
            ),
        )


def _subject(alarm: AlarmNight) -> str:
    """What an alarm is about: the sensor or relay it names, else its kind."""
    _, _, named = alarm.alarm.partition(":")
    return named if named and named != alarm.space else alarm.kind


def _all_alarms(night: Night) -> Sequence[AlarmNight]:
    return [*night.alarms, *(alarm for space in night.spaces for alarm in space.alarms)]


def _silent_sensors(night: Night) -> Told:
    for space in night.spaces:
        for sensor in space.sensors:
            since = silent_since(night, sensor)
            if since is not None:
                at = told.clock(since, night.window.zone)
                when = "all night" if since == night.window.from_ms else f"since {at}"
                yield (
                    sensor.sensor.id,
                    Job(
                        2,
                        space.space.name,
                        f"sensor {sensor.sensor.id} silent {when}. See to its power, cable and Wi-Fi.",
                    ),
                )


def _were_silent(night: Night) -> Told:
    """Sensors that were silent for long and came back, those of a space together."""
    for space in night.spaces:
        spells = [
            (sensor.sensor.id, span)
            for sensor in space.sensors
            if sensor.counted
            for span in long_silences(sensor)
            if span[1] < night.window.to_ms
        ]
        if not spells:
            continue
        names = list(dict.fromkeys(name for name, _ in spells))
        _, longest = max(spells, key=lambda spell: spell[1][1] - spell[1][0])
        words = f"{', '.join(names)} silent {told.clocks(*longest, night.window.zone)}"
        yield "were silent", Job(4, space.space.name, f"{words}. See to power, cable and Wi-Fi.")


MEND: dict[str, str] = {
    "no-effect": "{tool} ran and it did not help. {look}",
    "tank-empty": "Fill the water tank.",
    "relay-silent": "A relay did not answer. See to the relay board and its power.",
    "mains-off": "The mains were off. See to the board and the supply.",
    "daemon-away": "This box was off. See to its power.",
    "broker-lost": "The link to the boards was lost. See to the network.",
    "door-open": "The door stood open. Close it, and see why it did.",
    "water-cap": "The day's water was used up. See whether the nozzles drip, then raise the cap.",
    "sensor-silent": "A sensor was silent. See to its power, cable and Wi-Fi.",
}
"""By cause of the worst time outside (`causes.WORDS`): what to do about it."""

LOOK: dict[Role, str] = {
    Role.MIST: "Clean the mist filter and nozzles, read the water pressure.",
    Role.FAN: "Clean the fan and its filter, see that the inlet is free.",
    Role.HEATER: "See that the heater warms.",
    Role.COOLER: "See that the cooler cools.",
}


def _troubles(night: Night) -> Told:
    """What lay behind the worst of each space that was not well."""
    for verdict in verdicts(night):
        for finding in verdict.findings:
            if finding.grade is not Grade.BAD or finding.worst is None:
                continue
            mend = MEND.get(finding.worst.cause)
            role = REMEDY.get((finding.figures.quantity, finding.worst.stretch.side))
            if mend is None or role is None:
                continue
            words = mend.format(tool=capital(TOOL[role]), look=LOOK[role])
            yield finding.worst.cause, Job(3, verdict.space.space.name, words)


def _unseen(night: Night) -> Told:
    for verdict in verdicts(night):
        if verdict.grade is Grade.UNKNOWN:
            yield "unseen", Job(2, verdict.space.space.name, "no readings all night. See to its boards.")


def _sensor_findings(night: Night) -> Told:
    """What stands of the sensors: for daylight, so behind everything else."""
    for one in night.findings:
        yield one.sensor, Job(5, place_name(night, one.space), f"{reason_words(one.reason, one.facts)}.")


def _wished(night: Night) -> Told:
    """Humidity that is asked for and not steered to, because no sensor is checked."""
    for space in night.spaces:
        wished = space.quantities[Quantity.HUMIDITY].wished
        if wished is not None:
            words = (
                f"{wished:g} % is only wished for, kept near {UNCALIBRATED_AIM_PCT:g} %: check a humidity"
                " sensor (gillhouse calibrate)."
            )
            yield "wished", Job(6, space.space.name, words)


_RULES: tuple[Callable[[Night], Told], ...] = (
    _standing_alarms,
    _unseen,
    _silent_sensors,
    _troubles,
    _were_silent,
    _sensor_findings,
    _wished,
)


def water(night: Night) -> tuple[float, float]:
    """(litres given, litres that advise-only relays would have given)."""
    relays = [*night.relays, *(relay for space in night.spaces for relay in space.relays)]
    given = sum(relay.relay.litres_per_h * runs.on_ms(relay.driven) for relay in relays)
    advised = sum(relay.relay.litres_per_h * runs.on_ms(relay.advised) for relay in relays)
    return given / hold.MS_PER_H, advised / hold.MS_PER_H
