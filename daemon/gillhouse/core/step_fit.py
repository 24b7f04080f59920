"""What a measuring run tells of a space: fan flow, leakage, the batch's CO2, intake CO2, useful mist.

What lives here: pure fits over what was stored during a run. What must not: running one (see `step_test`),
reading a store. How: with the fan off CO2 climbs by the batch's breath less what leaks, with the fan on it
falls towards a level; one model of a fully mixed room with a sensor that lags is laid over both (balance:
S. Batterman, Int. J. Environ. Res. Public Health 14:145, 2017). Water in the air is followed over pulses
with the fan off, in the same way. Each figure has a 95 % fit interval; data that carry no figure are refused
with the reason. Flows are as true as the space's volume: the air changes are measured, the cubic metres not.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, hypot

from gillhouse.core.air import STANDARD_PA, humidity_ratio, volume_m3_per_kg
from gillhouse.core.least_squares import Fit, Interval, Model, Unknown, fit

HOUR_MS = 3_600_000
STEP_MS = 5_000
"""The model moves on by this."""
LEAST_RISE_PPM = 120.0
"""CO2 must climb by this with the fan off, and fall by this with it on: some ten times a cheap sensor's
noise. Common practice, no source."""
NOISE_PPM = 10.0
"""Of a cheap CO2 sensor (5 to 20 ppm); weighs beliefs against readings."""
INTAKE_DOUBT_PPM = 60.0
"""How far the intake air may well be from what is told, the sensor's own error included. Common practice, no
source: near the ground at night it can be tens of ppm above the world's mean."""
DRIFT_DOUBT = 0.04
"""Per hour: how fast a batch's breath may well change while it warms or cools (+20 % a kelvin, after a
growers' handbook quoted second hand)."""
LEAK_DRIFT_DOUBT = 0.25
"""Per hour: leakage goes with the root of the temperature difference to outside, and with the wind."""
LEAST_READINGS = 12
"""In each phase."""
LEAST_PULSES = 3
SHOWN_MS = 180_000
"""So long after a pulse both sensors have followed (lags of 20 to 120 s and 30 to 150 s)."""
MODEL_DOUBT = 0.15
"""Share of the mist's figure that is added (in squares) to its interval for what the model leaves out: films
that dry later, a humidity sensor three points off. Found with the trial run's room, which shares no physics
with this one."""
WIDEST = 1.0
"""A figure whose interval reaches further than this share to either side says nothing, and is refused."""

Series = Sequence[tuple[int, float]]
"""(milliseconds, value), in order of time."""
Span = tuple[int, int]


class NoFit(ValueError):
    """The data do not carry a figure; the words say why and what would."""


@dataclass(frozen=True, slots=True)
class AirRecord:
    """What was stored of a run's CO2: fan off while it climbs, on until it settles, off again for a while.

    The second climb, from low down, tells the batch's breath from what leaks.
    """

    volume_m3: float
    co2: Series
    fan_on: Sequence[Span]
    span: Span
    """From the fan's going off until the end of its run."""
    intake_ppm: float
    """As measured or told: where the search begins, no more."""


@dataclass(frozen=True, slots=True)
class AirFit:
    fan_m3_per_h: Interval
    """What running the fan adds."""
    leak_ach: Interval
    """Air changes per hour with the fan off."""
    source_m3_per_h: Interval
    """CO2 the batch gives off."""
    intake_ppm: Interval
    """As the space's own sensor would read it."""
    lag_s: float
    """Of the CO2 sensor."""
    residual_ppm: float
    points: int


@dataclass(frozen=True, slots=True)
class MistRecord:
    """What was stored of a run's pulses, with the fan off."""

    volume_m3: float
    humidity: Series
    temperature: Series
    mist_on: Sequence[Span]
    """Pulses of all nozzles together."""
    litres_per_h: float
    """Their label."""
    span: Span
    pressure_pa: float = STANDARD_PA


@dataclass(frozen=True, slots=True)
class MistFit:
    useful_share: Interval
    """Of the label's water, what a pulse leaves in the air as vapour after some minutes."""
    pulses: int
    residual_g_per_kg: float


def fit_air(record: AirRecord) -> AirFit:
    """Fan flow, leakage, source and intake CO2 from one run.

    Raises:
        NoFit: with the reason.
    """
    seen = [point for point in record.co2 if record.span[0] <= point[0] <= record.span[1]]
    switch = _first_on(record)
    _excited(seen, switch, record)
    # Beliefs beside the readings: intake air is about what was told, breath and leakage are about steady.
    values = [*(value for _, value in seen), 0.0, 0.0, 0.0]
    model = _co2_model([ms for ms, _ in seen], record)
    found = _fitted(model, _air_unknowns(seen, switch, record.intake_ppm), values)
    volume = record.volume_m3
    result = AirFit(
        fan_m3_per_h=found.interval(3).times(volume),
        leak_ach=_not_negative(found.interval(2)),
        source_m3_per_h=found.interval(1).times(volume / 1e6),
        intake_ppm=found.interval(4),
        lag_s=found.parameters[5],
        residual_ppm=found.residual,
        points=len(seen),
    )
    if result.fan_m3_per_h.half > WIDEST * result.fan_m3_per_h.value:
        raise NoFit("the fan's flow cannot be told from these readings: measure again, in calm weather")
    return result


def _first_on(record: AirRecord) -> int:
    later = [begin for begin, _ in record.fan_on if begin > record.span[0]]
    if not later:
        raise NoFit("the fan was not turned on after its rest: the run is incomplete")
    return later[0]


def _excited(seen: Series, switch: int, record: AirRecord) -> None:
    off = [value for ms, value in seen if ms <= switch]
    last_on = next(end for begin, end in record.fan_on if begin == switch)
    on = [value for ms, value in seen if switch < ms <= last_on]
    if len(off) < LEAST_READINGS or len(on) < LEAST_READINGS:
        raise NoFit(
            f"{len(off)} CO2 readings with the fan off and {len(on)} with it on; {LEAST_READINGS} of each "
            "are the least: the run is incomplete"
        )
    climbed = _mean(off[-3:]) - _mean(off[:3])
    fell = _mean(off[-3:]) - _mean(on[-3:])
    if climbed < LEAST_RISE_PPM:
        raise NoFit(
            f"CO2 climbed by {climbed:.0f} ppm with the fan off; {LEAST_RISE_PPM:.0f} are the least: measure "
            "with a batch inside, or wait longer"
        )
    if fell < LEAST_RISE_PPM:
        raise NoFit(
            f"CO2 fell by {fell:.0f} ppm with the fan on; {LEAST_RISE_PPM:.0f} are the least: does the fan "
            "turn?"
        )


def _air_unknowns(seen: Series, switch: int, intake_ppm: float) -> tuple[Unknown, ...]:
    """Start, climb (ppm/h), leakage and fan (air changes per hour), intake (ppm), lag (s), drifts (1/h)."""
    off = [point for point in seen if point[0] <= switch]
    hours = max((off[-1][0] - off[0][0]) / HOUR_MS, 0.05)
    climb = (_mean([v for _, v in off[-3:]]) - _mean([v for _, v in off[:3]])) / hours
    lowest = min(value for _, value in seen)
    first = seen[0][1]
    return (
        Unknown(first, first - 200.0, first + 200.0),
        Unknown(1.2 * climb, 0.1 * climb, 10.0 * climb),
        Unknown(0.3, 0.0, 5.0),
        Unknown(6.0, 0.1, 120.0),
        Unknown(min(intake_ppm, lowest), 150.0, lowest + 50.0),
        Unknown(60.0, 1.0, 240.0),
        Unknown(0.0, -0.5, 0.5),
        Unknown(0.0, -1.0, 1.0),
    )


def _co2_model(times: Sequence[int], record: AirRecord) -> Model:
    def told(now: Sequence[float]) -> list[float]:
        start, climb, leak, fan, intake, lag_s, drift, leak_drift = now
        inside = shown = start
        at, found = times[0], []
        spans, place = list(record.fan_on), 0
        middle = (times[0] + times[-1]) / 2
        keep = exp(-STEP_MS / 1000.0 / lag_s)
        for ms in times:
            while at < ms:
                step = min(STEP_MS, ms - at)
                while place < len(spans) and spans[place][1] <= at:
                    place += 1
                on = place < len(spans) and spans[place][0] <= at
                hours, since_h = step / HOUR_MS, (at - middle) / HOUR_MS
                leaks = leak * exp(leak_drift * since_h)
                changes = leaks + fan if on else leaks
                breath = climb * (1.0 + drift * since_h)
                inside += (breath - changes * (inside - intake)) * hours * (1.0 - 0.5 * changes * hours)
                follow = keep if step == STEP_MS else exp(-step / 1000.0 / lag_s)
                shown = inside + (shown - inside) * follow
                at += step
            found.append(shown)
        found.append((intake - record.intake_ppm) / INTAKE_DOUBT_PPM * NOISE_PPM)
        found.append(drift / DRIFT_DOUBT * NOISE_PPM)
        found.append(leak_drift / LEAK_DRIFT_DOUBT * NOISE_PPM)
        return found

    return told


def fit_mist(record: MistRecord) -> MistFit:
    """The mist's useful share from pulses far apart, the fan running all the while.

    The water in the air is taken from humidity and temperature of the same moment. Each pulse makes a step,
    which dies away towards the level that crop, floor and fan would keep. Readings within three minutes of a
    pulse are left out: two sensors that lag differently show water that is not there.

    Raises:
        NoFit: with the reason.
    """
    pulses = [span for span in record.mist_on if record.span[0] <= span[0] < record.span[1]]
    if len(pulses) < LEAST_PULSES:
        raise NoFit(f"{len(pulses)} mist pulses; {LEAST_PULSES} are the least: the run is incomplete")
    water = [
        point
        for point in air_water(record)
        if not any(begin <= point[0] < end + SHOWN_MS for begin, end in pulses)
    ]
    if len(water) < 2 * LEAST_READINGS:
        raise NoFit(
            f"{len(water)} humidity readings between pulses; {2 * LEAST_READINGS} are the least (100 % says "
            "'at least' and does not count)"
        )
    full = record.litres_per_h * _grams_per_kg_per_litre(record)
    values = [value for _, value in water]
    model = _water_model([ms for ms, _ in water], pulses, full)
    found = _fitted(model, _water_unknowns(values), values)
    share = _with_doubt(found.interval(1))
    if share.half > WIDEST * share.value:
        raise NoFit(
            "the pulses hardly moved the air's water: nozzles blocked, no water, or pulses too short or few"
        )
    return MistFit(share, len(pulses), found.residual)


def _water_unknowns(values: Sequence[float]) -> tuple[Unknown, ...]:
    """Start (g/kg), useful share, how fast a pulse dies away (per hour), level without mist (g/kg)."""
    first, lowest = values[0], min(values)
    return (
        Unknown(first, first - 2.0, first + 2.0),
        Unknown(0.5, 0.005, 1.5),
        Unknown(5.0, 0.2, 60.0),
        Unknown(lowest, lowest - 8.0, max(values)),
    )


def _water_model(times: Sequence[int], pulses: Sequence[Span], full: float) -> Model:
    """`full`: what the label would add with nothing lost, g/kg per hour."""

    def told(now: Sequence[float]) -> list[float]:
        start, share, fades, level = now
        found = []
        for ms in times:
            added = (start - level) * exp(-fades * (ms - times[0]) / HOUR_MS)
            for begin, end in pulses:
                if end <= ms:
                    since = (ms - (begin + end) / 2) / HOUR_MS
                    added += share * full * (end - begin) / HOUR_MS * exp(-fades * since)
            found.append(level + added)
        return found

    return told


def air_water(record: MistRecord) -> list[tuple[int, float]]:
    """Grams of water per kilogram of dry air at each humidity reading of the run; 100 % says "at least", not
    how much, and is left out."""
    found = []
    warm, place = record.temperature, 0
    for ms, humidity in record.humidity:
        while place + 1 < len(warm) and warm[place + 1][0] <= ms:
            place += 1
        within = record.span[0] <= ms < record.span[1]
        if within and warm and humidity < 100.0 and abs(warm[place][0] - ms) <= 180_000:
            found.append((ms, 1000.0 * humidity_ratio(warm[place][1], humidity, record.pressure_pa)))
    return found


def _grams_per_kg_per_litre(record: MistRecord) -> float:
    celsius = _mean([value for _, value in record.temperature]) if record.temperature else 18.0
    dry_kg = record.volume_m3 / volume_m3_per_kg(celsius, 0.011, record.pressure_pa)
    return 1000.0 / dry_kg


def _fitted(model: Model, unknowns: Sequence[Unknown], values: Sequence[float]) -> Fit:
    try:
        return fit(model, unknowns, values)
    except ValueError as error:
        raise NoFit(str(error)) from error


def _with_doubt(one: Interval) -> Interval:
    half = hypot(one.half, MODEL_DOUBT * one.value)
    return Interval(one.value, max(one.value - half, 0.0), one.value + half)


def _not_negative(one: Interval) -> Interval:
    return Interval(one.value, max(one.low, 0.0), one.high)


def _mean(values: Sequence[float]) -> float:
    return sum(values) / len(values)
