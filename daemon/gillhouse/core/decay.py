"""Air changes per hour from the way CO2 falls: no label needed, only a sensor and some quiet.

What lives here: the fit of one decay, and finding decays in a log. What must not: reading a store, or what a
fan should do. How: with fresh air of constant CO2 and no source, CO2 above it falls as exp(-N t), so the
logarithm falls on a line whose slope is -N (concentration decay, after ASTM E741, of which only the abstract
was read; so sampling and limits here are common practice). With a steady source (a batch!) it falls towards
a level of its own, so N, that level and the start are fitted together.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import exp, log
from statistics import median

from gillhouse.core.least_squares import Interval, Line, Unknown, fit, line

NOISE_PPM = 10.0
"""Of a cheap CO2 sensor from one reading to the next (5 to 20 ppm)."""
NOISES = 3.0
"""Points nearer to the intake air than this many times the noise are left out. Common practice, no source."""
FALL = 3.0
"""CO2 above the intake must fall by this factor. Common practice, no source."""
INTAKE_DOUBT_PPM = 25.0
"""The fit is repeated with intake air this much lower and higher, and the change is told."""
LEAST_POINTS = 8
SMOOTH_MS = 5 * 60_000
HOUR_MS = 3_600_000
LONGEST_GAP_MS = 10 * 60_000
"""A log with a longer hole is two logs."""

Series = Sequence[tuple[int, float]]
"""(milliseconds, ppm), in order of time."""
Span = tuple[int, int]
"""From, to, milliseconds."""


class TooLittle(ValueError):
    """The data do not carry a fit; the words say why and what would."""


@dataclass(frozen=True, slots=True)
class Decay:
    """Air changes per hour of one decay."""

    changes: Interval
    """Per hour, with its fit interval: scatter alone, never the whole doubt."""
    r2: float
    points: int
    intake_ppm: float
    """Used by the line, or found by the curve."""
    if_lower: float | None
    """Air changes if the intake air had `INTAKE_DOUBT_PPM` less; None where it was fitted."""
    if_higher: float | None
    span: Span
    """When."""


def decay_line(series: Series, intake_ppm: float) -> Decay:
    """Air changes per hour of a decay without a source, towards intake air of `intake_ppm`.

    Raises:
        TooLittle: too few points, or CO2 did not fall far enough above the intake air.
    """
    used = _above(series, intake_ppm)
    _enough(used, intake_ppm)
    found = _log_line(used, intake_ppm)
    slope = found.slope_interval()
    others = []
    for doubt in (-INTAKE_DOUBT_PPM, INTAKE_DOUBT_PPM):
        kept = _above(series, intake_ppm + doubt)
        others.append(-_log_line(kept, intake_ppm + doubt).slope if len(kept) >= LEAST_POINTS else None)
    return Decay(
        Interval(-slope.value, -slope.high, -slope.low),
        found.r2,
        found.points,
        intake_ppm,
        others[0],
        others[1],
        (used[0][0], used[-1][0]),
    )


def decay_curve(series: Series) -> Decay:
    """Air changes per hour of a decay towards a level of its own: with a steady source, or unknown intake.

    `intake_ppm` of the result is the level it tends to: intake air plus what the source keeps up.

    Raises:
        TooLittle: too few points, or it did not flatten enough to tell the level.
    """
    if len(series) < LEAST_POINTS:
        raise TooLittle(f"{len(series)} readings are too few for a curve; {LEAST_POINTS} are the least")
    values = [value for _, value in series]
    hours = [(ms - series[0][0]) / HOUR_MS for ms, _ in series]
    drop, span_h = values[0] - min(values), max(hours[-1], 1e-3)
    if drop < 6 * NOISE_PPM:
        raise TooLittle(f"CO2 fell by {drop:.0f} ppm only; {6 * NOISE_PPM:.0f} are the least")
    unknowns = (
        Unknown(drop, 0.2 * drop, 20 * drop),
        Unknown(2.0 / span_h, 0.02 / span_h, 60.0 / span_h),
        Unknown(min(values) - 0.1 * drop, min(values) - 3 * drop, min(values) + 0.5 * drop),
    )

    def model(now: Sequence[float]) -> list[float]:
        return [now[2] + now[0] * exp(-now[1] * hour) for hour in hours]

    try:
        found = fit(model, unknowns, values)
    except ValueError as error:
        raise TooLittle(str(error)) from error
    changes = found.interval(1)
    if changes.half > changes.value:
        raise TooLittle("CO2 did not flatten out: wait longer, so that the level it falls to can be told")
    mean = sum(values) / len(values)
    total = sum((value - mean) ** 2 for value in values)
    r2 = 1.0 - found.residual**2 * len(values) / total if total else 1.0
    span = (series[0][0], series[-1][0])
    return Decay(changes, r2, len(values), found.parameters[2], None, None, span)


def _above(series: Series, intake_ppm: float) -> list[tuple[int, float]]:
    return [(ms, value) for ms, value in series if value - intake_ppm >= NOISES * NOISE_PPM]


def _log_line(used: Series, intake_ppm: float) -> Line:
    hours = [(ms - used[0][0]) / HOUR_MS for ms, _ in used]
    return line(hours, [log(value - intake_ppm) for _, value in used])


def _enough(used: Series, intake_ppm: float) -> None:
    if len(used) < LEAST_POINTS:
        raise TooLittle(
            f"{len(used)} readings stand clear of the air outside ({intake_ppm:.0f} ppm); "
            f"{LEAST_POINTS} are the least"
        )
    third = max(len(used) // 8, 1)
    first = median(value for _, value in used[:third]) - intake_ppm
    last = median(value for _, value in used[-third:]) - intake_ppm
    if first < FALL * last:
        raise TooLittle(
            f"CO2 above the air outside fell from {first:.0f} to {last:.0f} ppm; it must fall to a third"
        )


def quiet_spans(span: Span, busy: Sequence[Span], settle_ms: int, least_ms: int) -> list[Span]:
    """The parts of `span` that touch none of `busy` (a fan on, the door open, somebody inside).

    Args:
        settle_ms: left out after each busy time, for the air to mix and the sensor to follow.
        least_ms: shorter parts are left out.
    """
    found, at = [], span[0]
    for begin, end in sorted(busy):
        if begin - at >= least_ms:
            found.append((at, min(begin, span[1])))
        at = max(at, end + settle_ms)
    if span[1] - at >= least_ms:
        found.append((at, span[1]))
    return [part for part in found if part[1] - part[0] >= least_ms]


def falls(series: Series, spans: Sequence[Span], least_ms: int = HOUR_MS // 2) -> Iterator[Series]:
    """The stretches of `series` inside `spans` over which CO2 falls from its highest to its lowest."""
    for begin, end in spans:
        part = [point for point in series if begin <= point[0] < end]
        for whole in _without_holes(part):
            if len(whole) < LEAST_POINTS:
                continue
            smooth = _smoothed(whole)
            top = max(range(len(smooth)), key=lambda place: smooth[place])
            bottom = min(range(top, len(smooth)), key=lambda place: smooth[place])
            stretch = whole[top : bottom + 1]
            if len(stretch) >= LEAST_POINTS and stretch[-1][0] - stretch[0][0] >= least_ms:
                yield stretch


def _without_holes(part: Series) -> Iterator[Series]:
    begin = 0
    for place in range(1, len(part)):
        if part[place][0] - part[place - 1][0] > LONGEST_GAP_MS:
            yield part[begin:place]
            begin = place
    yield part[begin:]


def _smoothed(part: Series) -> list[float]:
    """Each point's median over five minutes around it."""
    smooth, low, high = [], 0, 0
    for ms, _ in part:
        while part[low][0] < ms - SMOOTH_MS // 2:
            low += 1
        while high < len(part) and part[high][0] <= ms + SMOOTH_MS // 2:
            high += 1
        smooth.append(median(value for _, value in part[low:high]))
    return smooth


def quiet_decays(
    series: Series, spans: Sequence[Span], intake_ppm: float | None, least_ms: int = HOUR_MS // 2
) -> list[Decay]:
    """Every decay in the quiet parts of a log that carries a fit, in order of time.

    Args:
        intake_ppm: CO2 of the air outside where it is known and nothing in the space breathes; None: the
            level is fitted, as a batch needs.
        least_ms: shorter falls are left out.
    """
    found = []
    for stretch in falls(series, spans, least_ms):
        try:
            found.append(decay_curve(stretch) if intake_ppm is None else decay_line(stretch, intake_ppm))
        except TooLittle:
            continue
    return found
