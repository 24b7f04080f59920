"""Water on the caps of an open space: what a hosing leaves, how it dries, when the next one is due.

Here: one account per zone in millimetres, and what is learnt of it. Not here: sensors, nozzles, alarms (see
`hosing`). Over zero is water on the cap; under zero is what the cap has given of its own since it was dry.
Water comes by hose and by what nozzles let fall; it goes as `drying` says, times a pace learnt from this
place. The windy edge dries first, and its time decides. How long a dry cap stands before it is harmed no
source tells: the grower sets what it may lose (`HoseSettings.spare_mm`).
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import exp
from typing import Final

from gillhouse.core.drying import hours_to_dry, shade_mm_per_day
from gillhouse.core.settings import HoseSettings

HOUR_MS: Final = 3_600_000
WINDY_ZONES: Final = ("windward", "windy", "edge")
"""A zone called so is the windy edge."""
EDGE: Final = "windy edge"
"""What it is called where no sensor stands there."""
EDGE_WIND: Final = 2.5
"""Air over the windy edge moves so much faster: the greatest ratio of fastest to slowest air healthy caps
bear (Bowman, Mushroom Science 12, 1989, abstract)."""
GUESSED_WIND_M_S: Final = 2.5
"""Outdoors, where nothing measures it: a light breeze. Our choice, no source."""
SMOOTH_MS: Final = 20 * 60_000
"""Gusts and sun swing humidity; over this it is smoothed for advice. Common practice, no source."""
LONGEST_STEP_MS: Final = 12 * HOUR_MS
"""After a longer silence no more than this is booked."""
CAP_M2_PER_KG: Final = 0.04
"""Cap surface by weight of blocks near harvest: the middle of an invented range, 0.02 to 0.06."""
ON_CAPS: Final = 0.15
"""Share of what nozzles spray that comes down on caps: half falls out, a third of that on the crop. Our
choice, no source."""
LEAST_CAP_M2: Final = 1.0
PACE_LEAST, PACE_MOST = 0.5, 2.0
"""What is learnt stays within these."""
SEEN_WEIGHT: Final = 0.5
"""How far one look of a person moves the pace..."""
FELT_WEIGHT: Final = 0.25
"""... and what the air told of one hosing."""
CALM_AGAIN: Final = 1.5
"""A call ends by itself only when there is this many times its notice left."""
PEAK_WITHIN_MS: Final = HOUR_MS
"""The air is dampest within so long after a hosing."""
PEAK_LEAST: Final = 0.0004
"""kg/kg: less of a rise tells nothing."""
FADED: Final = 0.25
"""The air has told that it is dry when so little of the rise is left."""


@dataclass(frozen=True, slots=True)
class ZoneAir:
    """The air over the caps of one zone."""

    temperature_c: float
    humidity_pct: float
    wind_m_s: float


@dataclass(slots=True)
class ZoneWater:
    """The account of one zone."""

    water_mm: float = 0.0
    mm_per_h: float = 0.0
    """Reckoned drying, smoothed, before the learnt pace."""
    known_wall_ms: int = 0
    """When its air was last known; 0: never."""
    given_mm: float = 0.0
    """Put on since the last hosing, that included..."""
    taken_mm: float = 0.0
    """... and reckoned to have dried since."""


@dataclass(slots=True)
class Caps:
    """All that is remembered of one open space."""

    zones: dict[str, ZoneWater] = field(default_factory=dict)
    at_wall_ms: int = 0
    soaked_wall_ms: int | None = None
    """Last hosing; None: nobody ever told of one, so none is called for by this account."""
    pace: float = 1.0
    """True drying over reckoned, learnt."""
    expected_h: float = 0.0
    """How long the last hosing was expected to last."""
    called: bool = False
    """The hose is called for."""
    excess: float | None = None
    """How much more water the air inside carries than outside, kg/kg, smoothed..."""
    before: float = 0.0
    """... before the last hosing..."""
    peak: float = 0.0
    """... and at its dampest since."""
    listening: bool = False
    """Waiting for the air to tell that the last hosing has dried."""


@dataclass(frozen=True, slots=True)
class Outlook:
    """What the windy edge has left, at the present drying."""

    zone: str
    dry_h: float
    """Until its caps are dry; 0: they are."""
    harm_h: float
    """Until they have lost what they may."""


def advance(
    caps: Caps, airs: Mapping[str, ZoneAir], fallen_mm: float, hose: HoseSettings, wall_ms: int
) -> None:
    """Brings the account of every zone to this moment.

    Args:
        airs: by zone, of those whose air is known now; a zone not named before begins as dry as the driest,
            or just hosed where it was hosed before anything was known.
        fallen_mm: what nozzles have put on the caps since the last call.
    """
    elapsed_ms = min(max(wall_ms - caps.at_wall_ms, 0), LONGEST_STEP_MS) if caps.at_wall_ms else 0
    caps.at_wall_ms = wall_ms
    begun_mm = 0.0 if caps.soaked_wall_ms is None else hose.film_mm
    begun_mm = min((own.water_mm for own in caps.zones.values()), default=begun_mm)
    for zone in airs:
        caps.zones.setdefault(zone, ZoneWater(begun_mm, given_mm=begun_mm))
    for zone, own in caps.zones.items():
        taken_mm = own.mm_per_h * elapsed_ms / HOUR_MS
        own.taken_mm += taken_mm
        own.given_mm += fallen_mm
        water_mm = own.water_mm + fallen_mm - taken_mm * caps.pace
        own.water_mm = min(max(water_mm, -2.0 * hose.spare_mm), hose.film_mm)
        air = airs.get(zone)
        if air is None:
            continue
        seen = shade_mm_per_day(air.temperature_c, air.humidity_pct, air.wind_m_s) / 24.0
        near = 1.0 - exp(-elapsed_ms / SMOOTH_MS) if own.known_wall_ms else 1.0
        own.mm_per_h += near * (seen - own.mm_per_h)
        own.known_wall_ms = wall_ms


def soak(caps: Caps, hose: HoseSettings, wall_ms: int) -> None:
    """Everything was hosed: every zone is as wet as it gets."""
    caps.soaked_wall_ms = wall_ms
    for own in caps.zones.values():
        own.water_mm = own.given_mm = hose.film_mm
        own.taken_mm = 0.0
    first = outlook(caps, hose, wall_ms)
    caps.expected_h = first.dry_h if first is not None else 0.0
    caps.before = caps.excess or 0.0
    caps.peak, caps.listening = caps.before, caps.excess is not None


def outlook(caps: Caps, hose: HoseSettings, wall_ms: int) -> Outlook | None:
    """Of the zone that is harmed first; None while no zone's air has been known of late."""
    known = [
        Outlook(
            zone,
            hours_to_dry(own.water_mm, own.mm_per_h * caps.pace),
            hours_to_dry(own.water_mm + hose.spare_mm, own.mm_per_h * caps.pace),
        )
        for zone, own in caps.zones.items()
        if own.known_wall_ms and wall_ms - own.known_wall_ms <= HOUR_MS
    ]
    return min(known, key=lambda one: (one.harm_h, one.zone), default=None)


def is_called(caps: Caps, hose: HoseSettings, first: Outlook | None) -> bool | None:
    """Whether the hose is called for; None while nothing is known of the air.

    Before the first hosing anybody told of, it is not: what lies on the caps is not known.
    """
    if caps.soaked_wall_ms is None:
        return False
    notice_ms = hose.call_ms * (CALM_AGAIN if caps.called else 1.0)
    return None if first is None else first.harm_h * HOUR_MS <= notice_ms


def seen_dry(caps: Caps, hose: HoseSettings, wall_ms: int) -> float | None:
    """A person saw the first caps just dry: learns from it, and goes on from there.

    Returns: hours since the last hosing; None where nobody told of one.
    """
    first = outlook(caps, hose, wall_ms)
    if caps.soaked_wall_ms is None or first is None:
        return None
    own = caps.zones[first.zone]
    _learn(caps, own, SEEN_WEIGHT)
    own.water_mm = 0.0
    caps.listening = False
    return (wall_ms - caps.soaked_wall_ms) / HOUR_MS


def feel(caps: Caps, excess: float | None, fallen_mm: float, wall_ms: int, hose: HoseSettings) -> bool:
    """Listens to the air after a hosing: dampness inside over outside rises, and fades as caps dry.

    Args:
        excess: humidity ratio inside less outside, kg/kg; None: not known.
        fallen_mm: nozzles that spray meanwhile end the listening: two waters cannot be told apart.
    Returns: whether the pace was learnt from it just now.
    """
    if excess is None or fallen_mm > 0.0:
        caps.listening = False
        caps.excess = excess
        return False
    caps.excess = excess if caps.excess is None else caps.excess + 0.1 * (excess - caps.excess)
    if not caps.listening or caps.soaked_wall_ms is None:
        return False
    if wall_ms - caps.soaked_wall_ms <= PEAK_WITHIN_MS:
        caps.peak = max(caps.peak, caps.excess)
        return False
    rise = caps.peak - caps.before
    if rise < PEAK_LEAST:
        caps.listening = False
        return False
    if caps.excess - caps.before >= FADED * rise:
        return False
    caps.listening = False
    first = outlook(caps, hose, wall_ms)
    if first is None:
        return False
    _learn(caps, caps.zones[first.zone], FELT_WEIGHT)
    return True


def _learn(caps: Caps, own: ZoneWater, weight: float) -> None:
    """`own` has just dried: what was given over what was reckoned to be taken is the true pace."""
    if own.taken_mm <= 0.0 or own.given_mm <= 0.0:
        return
    true = min(max(own.given_mm / own.taken_mm, PACE_LEAST), PACE_MOST)
    learnt: float = caps.pace * (true / caps.pace) ** weight
    caps.pace = min(max(learnt, PACE_LEAST), PACE_MOST)


def fallen_mm(litres: float, crop_kg: float) -> float:
    """What a number of litres sprayed leaves on the caps, mm."""
    return litres * ON_CAPS / max(crop_kg * CAP_M2_PER_KG, LEAST_CAP_M2)
