"""How fast mycelium grows with warmth, and how long pins take to the pick.

Here: the cardinal temperature curve, the few species it is sourced for, and a pace from a farm's own log. Not
here: when a batch pinned (`records.batch_book`).

Weakness: the fastest mycelium is not the best crop (grey oyster grows best near 28 C and crops best near
22), so the curve never advises a temperature. For pins to pick no series over temperature was found for
any species: before the log can tell there is only the usual span of the species file, and where that has
none, nothing.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

LEAST_PAIRS: Final = 8
LEAST_APART_C: Final = 4.0
"""From so many crops, this far apart in warmth, a line is drawn. Common practice, no source."""
HOUR_MS: Final = 3_600_000
DAY_MS: Final = 24 * HOUR_MS


@dataclass(frozen=True, slots=True)
class Cardinal:
    """Least, best and most temperature of growth, degrees C."""

    least_c: float
    best_c: float
    most_c: float
    source: str


MYCELIUM: Final = {
    "lions-mane": Cardinal(
        3.0,
        26.0,
        37.0,
        "14 strains, Grigansky and others, Int. J. Med. Mushrooms 1:81, 1999, abstract",
    ),
}
"""The one complete set we found. A strain sheet of yours would give others."""
NOT_SOURCED: Final = "not sourced: uses your log only"


def relative_rate(temp_c: float, cardinal: Cardinal) -> float:
    """Growth as a share of the fastest, 0..1; nothing outside the least and the most.

    Raises:
        ValueError: the best is not over the middle of least and most, or not between them.
    Source: cardinal temperature model with inflection, Rosso and others, Appl. Environ. Microbiol.
    61:610, 1995
        (form from the documentation of a growth package).
    """
    least, best, most = cardinal.least_c, cardinal.best_c, cardinal.most_c
    if not (least + most) / 2.0 < best < most:
        raise ValueError(
            f"best {best:g} C must lie between the middle of {least:g} and {most:g}, and {most:g};"
            " check the three"
        )
    if not least < temp_c < most:
        return 0.0
    above = (temp_c - most) * (temp_c - least) ** 2
    below = (best - least) * (
        (best - least) * (temp_c - best) - (best - most) * (best + least - 2.0 * temp_c)
    )
    return above / below


def spawn_days(temps_c: Sequence[float], species: str, usual: tuple[float, float], usual_c: float) -> str:
    """How long a spawn run takes at other temperatures than the usual one, in words.

    Args:
        temps_c: hours of it, past or expected; one at least.
        usual: days it usually takes at `usual_c`.
    """
    cardinal = MYCELIUM.get(species)
    if cardinal is None:
        return NOT_SOURCED
    here = sum(relative_rate(temp, cardinal) for temp in temps_c) / len(temps_c)
    share = here / relative_rate(usual_c, cardinal)
    if share <= 0.02:
        return "stands still at these temperatures"
    return f"{usual[0] / share:.0f} to {usual[1] / share:.0f} days at these temperatures"


@dataclass(frozen=True, slots=True)
class Crop:
    """One flush from pins to its first pick, from the log."""

    mean_c: float
    days: float


@dataclass(frozen=True, slots=True)
class Pace:
    """Days = sum / (temperature - zero), from the farm's own crops."""

    zero_c: float
    sum_dd: float
    off_share: float
    """The greatest share a crop was off by."""
    crops: int


def pace_of(crops: Sequence[Crop]) -> Pace | None:
    """The line through the farm's own crops; None while there are too few, or warmth made none of them
    faster.

    1/days is fitted over temperature by least squares, as thresholds of development are.
    """
    good = [crop for crop in crops if crop.days > 0.0]
    temps = [crop.mean_c for crop in good]
    if len(good) < LEAST_PAIRS or max(temps) - min(temps) < LEAST_APART_C:
        return None
    middle_c = sum(temps) / len(temps)
    middle_rate = sum(1.0 / crop.days for crop in good) / len(good)
    spread = sum((temp - middle_c) ** 2 for temp in temps)
    slope = sum((crop.mean_c - middle_c) * (1.0 / crop.days - middle_rate) for crop in good) / spread
    if slope <= 0.0:
        return None
    zero_c = middle_c - middle_rate / slope
    if min(temps) <= zero_c:
        return None
    off = max(abs(1.0 / (slope * (crop.mean_c - zero_c)) - crop.days) / crop.days for crop in good)
    return Pace(zero_c, 1.0 / slope, off, len(good))


@dataclass(frozen=True, slots=True)
class Window:
    """When a flush is to be picked first."""

    from_ms: int
    to_ms: int
    source: str


def harvest_window(
    pinned_ms: int, mean_c: float | None, pace: Pace | None, usual_days: tuple[float, float] | None
) -> Window | None:
    """From the farm's own pace where there is one, else the species file's usual days; None where neither is.

    Args:
        mean_c: of the space since pins, or lately.
    """
    if pace is not None and mean_c is not None and mean_c > pace.zero_c:
        days = pace.sum_dd / (mean_c - pace.zero_c)
        off = days * pace.off_share
        begin, end = days - off, days + off
        source = f"{pace.crops} crops of your own log, within {pace.off_share:.0%}"
    elif usual_days is not None:
        begin, end = usual_days
        source = "the species file's usual days, at any temperature of its range"
    else:
        return None
    return Window(pinned_ms + round(max(begin, 0.0) * DAY_MS), pinned_ms + round(end * DAY_MS), source)
