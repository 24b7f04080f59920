"""How long caps stay wet, by the air alone and the mist: what bacterial blotch lives on.

Here: spans of wet caps and how near the air is to dew, from readings of temperature and humidity and the
times mist ran. Not here: the film steering goes by (`core.film`), which knows litres and kilograms; this one
asks only what a grower can check by eye.

A cap counts as wet while mist runs, while the air is within `NEAR_DEW_C` of its dew point, or when it fell
within half an hour by more than it then stood over the dew point; and after that until a thin film has
dried in the shade. Blotch: bacteria on a wet cap can double in under an hour, and about two doublings part a
healthy cap from a blotched one, so two hours wet are told (American Mushroom Institute, page on bacterial
blotch). The four hours of the stronger word are ours.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from gillhouse.core.air import dew_point_c
from gillhouse.core.drying import shade_mm_per_day

HOUR_MS: Final = 3_600_000
DAY_MS: Final = 86_400_000
HOLD_MS: Final = 900_000
"""A reading speaks for so long at most; beyond it nothing is known."""
NEAR_DEW_C: Final = 0.5
"""Our choice, no source."""
FALL_WITHIN_MS: Final = 1_800_000
FILM_MM: Final = 0.05
"""What lies on a cap that has just been wetted. Invented."""
WARN_H: Final = 2.0
CALL_H: Final = 4.0

Span = tuple[int, int]


@dataclass(frozen=True, slots=True)
class AirAt:
    at_ms: int
    temp_c: float
    humidity_pct: float

    @property
    def margin_c(self) -> float:
        """How far it must cool to give dew; 0 for what reads 100 % or more."""
        return max(self.temp_c - dew_point_c(self.temp_c, min(max(self.humidity_pct, 1.0), 100.0)), 0.0)


@dataclass(frozen=True, slots=True)
class WetCaps:
    spans: tuple[Span, ...]
    """When caps were wet."""
    known_ms: int
    """Time of which something is known."""
    least_margin_c: float | None
    mean_margin_c: float | None

    @property
    def wet_h(self) -> float:
        return sum(end - begin for begin, end in self.spans) / HOUR_MS

    @property
    def longest_h(self) -> float:
        return max((end - begin for begin, end in self.spans), default=0) / HOUR_MS

    def longer_than(self, hours: float) -> tuple[Span, ...]:
        """The spans of at least so many hours."""
        return tuple(one for one in self.spans if one[1] - one[0] >= hours * HOUR_MS)


def wet_caps(
    air: Sequence[AirAt], mist: Sequence[Span], to_ms: int, wind_m_s: float = 0.0, film_mm: float = FILM_MM
) -> WetCaps:
    """When caps were wet.

    Args:
        air: in order of time.
        mist: when it ran, in order, not overlapping.
        to_ms: the last reading holds until here at most.
        wind_m_s: over the caps; still air dries slowest.
        film_mm: left on a cap by mist or dew.
    """
    spans: list[Span] = []
    known_ms, weighted, least = 0, 0.0, None
    film, since = 0.0, 0
    for place, one in enumerate(air):
        after = air[place + 1].at_ms if place + 1 < len(air) else to_ms
        end = min(after, one.at_ms + HOLD_MS)
        if end <= one.at_ms:
            continue
        margin = one.margin_c
        known_ms += end - one.at_ms
        weighted += margin * (end - one.at_ms)
        least = margin if least is None else min(least, margin)
        wetted_to = _misted_to(mist, one.at_ms, end)
        while since < place and air[since + 1].at_ms <= one.at_ms - FALL_WITHIN_MS:
            since += 1
        if margin < NEAR_DEW_C or _fell(air[since], one):
            wetted_to = end
        if wetted_to is not None:
            film = film_mm
        dried_at = _dried_at(one, (wetted_to or one.at_ms, end), film, wind_m_s)
        if film > 0.0:
            _add(spans, (one.at_ms, dried_at))
        film = max(film - _gone(one, wind_m_s) * (end - (wetted_to or one.at_ms)), 0.0)
        if after > end:
            film = 0.0  # a hole in the log: what was on the cap is not known
    return WetCaps(tuple(spans), known_ms, least, weighted / known_ms if known_ms else None)


def _fell(before: AirAt, now: AirAt) -> bool:
    """Whether the air fell within half an hour by more than it then stood over its dew point."""
    near = now.at_ms - before.at_ms <= FALL_WITHIN_MS + HOLD_MS
    return near and before.temp_c - now.temp_c > before.margin_c


def _misted_to(mist: Sequence[Span], from_ms: int, to_ms: int) -> int | None:
    """The end of the last mist within a time; None where there was none."""
    ends = [min(end, to_ms) for begin, end in mist if begin < to_ms and end > from_ms]
    return max(ends, default=None)


def _gone(air: AirAt, wind_m_s: float) -> float:
    """Millimetres that dry off in a millisecond."""
    return shade_mm_per_day(air.temp_c, air.humidity_pct, wind_m_s) / DAY_MS


def _dried_at(air: AirAt, span: Span, film_mm: float, wind_m_s: float) -> int:
    """When a film is gone that dries from the span's begin; its end where it lasts longer."""
    begin, end = span
    gone = _gone(air, wind_m_s)
    return end if gone * (end - begin) <= film_mm else begin + round(film_mm / gone)


def _add(spans: list[Span], span: Span) -> None:
    if span[1] <= span[0]:
        return
    if spans and span[0] <= spans[-1][1]:
        spans[-1] = (spans[-1][0], max(spans[-1][1], span[1]))
    else:
        spans.append(span)
