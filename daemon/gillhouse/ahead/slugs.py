"""Slug nights: a score from warmth, wetness, wind and dark, and whether your own counts bear it out.

Here: the score of an hour and of a night, and what counts say of it. Not here: weather files, notes
(`slug_notes`).

An hour in the dark counts 1 where slugs like to move and half where they still do (see `PARTS`, which
keeps what is sourced and what is our assumption apart). Mist of your own counts as wetness: it makes slug
weather, and the hours that count only because of it are told apart. A score is no count of slugs: the
published model of the same limits was right on 73 nights of 100 at five new places.
"""

from collections.abc import Container, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from gillhouse.ahead.weather import WeatherHour, is_dark

LEAST_C, MOST_C = 4.0, 21.0
COLD_LEAST_C: Final = 1.0
WIND_MOST_M_S: Final = 4.5
WET_PCT: Final = 90.0
COLD_SHARE: Final = 0.5
AFTER_FROST_H: Final = 96
AFTER_FROST_SHARE: Final = 0.5
CALL_FROM: Final = 4.0
NOON_H: Final = 12
LEAST_NIGHTS: Final = 8
LEAST_OF_EACH: Final = 3
WORTH_FROM, WORTHLESS_BELOW = 0.75, 0.6


@dataclass(frozen=True, slots=True)
class Part:
    text: str
    source: str
    assumed: bool


PARTS: Final = (
    Part("They move at 4 to 21 C, best near 16", "a state university's slug page (Oregon)", False),
    Part("Grey field slugs still feed at 1 C", "Folia Malacol. 19:267, 2011, abstract", False),
    Part("They stay in with wind over 2 to 4.5 m/s; the upper figure is used", "the same slug page", False),
    Part("A dry surface stops them, even beside a damp hiding place",
         "field slug model of Port and Young, and Spaull and Davies, project report PR53, 1988-92", False),
    Part("After frost they take 4 to 5 days to come back", "the same university, life events", False),
    Part("90 % humidity stands for a wet surface where nothing measures wetness", "our assumption", True),
    Part("Mist of the last hour counts as wet", "our assumption", True),
    Part("Under 4 C an hour counts half, and after frost all hours do for 4 days", "our assumption", True),
    Part("A night is called from a score of 4 on", "invented, yours to change", True),
    Part("Look two hours after dark, by torch", "common practice, no source", True),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class DarkHour:
    """One hour between dusk and dawn."""

    temp_c: float
    humidity_pct: float
    wind_m_s: float | None
    """None: not measured; then it counts as calm, since under cover it mostly is."""
    misted: bool = False
    wet: bool = False
    """Rain, or a surface known to be wet."""
    after_frost: bool = False
    """It froze within the last 4 days."""


@dataclass(frozen=True, slots=True)
class Night:
    points: float
    dark_h: int
    own_mist_h: int
    """Hours that count only because of your own mist."""
    wind_known: bool

    @property
    def is_called(self) -> bool:
        return self.points >= CALL_FROM


@dataclass(frozen=True, slots=True)
class Counted:
    """A night that somebody counted slugs on."""

    points: float
    found: int


@dataclass(frozen=True, slots=True)
class Worth:
    """Whether the score is worth anything here, by your own counts."""

    text: str
    nights: int
    right: float | None
    """Of all pairs of a called and an uncalled night, the share in which the called one had more; None:
    too few.
    """


def is_plain_slug_hour(hour: WeatherHour, dark: bool) -> bool:
    """The yes-or-no form, for whole years: dark, 4 to 21 C, 90 % or more, wind 4.5 m/s at most."""
    wind = 0.0 if hour.wind_m_s is None else hour.wind_m_s
    return (
        dark and LEAST_C <= hour.temp_c <= MOST_C and hour.humidity_pct >= WET_PCT and wind <= WIND_MOST_M_S
    )


def points(hour: DarkHour) -> float:
    """0 to 1 for one hour in the dark."""
    wet = hour.wet or hour.misted or hour.humidity_pct >= WET_PCT
    windy = hour.wind_m_s is not None and hour.wind_m_s > WIND_MOST_M_S
    if not wet or windy:
        return 0.0
    if LEAST_C <= hour.temp_c <= MOST_C:
        found = 1.0
    elif COLD_LEAST_C <= hour.temp_c < LEAST_C:
        found = COLD_SHARE
    else:
        return 0.0
    return found * (AFTER_FROST_SHARE if hour.after_frost else 1.0)


def night(hours: Sequence[DarkHour]) -> Night:
    """The score from dusk to dawn."""
    own = sum(
        1
        for hour in hours
        if hour.misted and not hour.wet and hour.humidity_pct < WET_PCT and points(hour) > 0.0
    )
    known = bool(hours) and all(hour.wind_m_s is not None for hour in hours)
    return Night(sum(points(hour) for hour in hours), len(hours), own, known)


def nights(
    hours: Sequence[WeatherHour], latitude_deg: float | None, misted: Container[int] = ()
) -> Iterator[tuple[int, Night]]:
    """Every night of a row of hours, with the index of the first hour of its noon-to-noon.

    In the order given; the first may be the end of a night, and hours that are missing score nothing.
    Where the dark is not known no hour is dark.

    Args:
        misted: indices of hours in which own nozzles ran.
    """
    dark: list[DarkHour] = []
    begun, since_frost, evening = 0, AFTER_FROST_H + 1, None
    for at, hour in enumerate(hours):
        since_frost = 0 if hour.temp_c < 0.0 else since_frost + 1
        own = hour.day_of_year - (hour.hour < NOON_H)
        if evening is not None and own != evening:
            yield begun, night(dark)
            dark, begun = [], at
        evening = own
        if is_dark(hour, latitude_deg):
            rained = hour.rain_mm is not None and hour.rain_mm > 0.0
            frozen = since_frost <= AFTER_FROST_H
            dark.append(DarkHour(hour.temp_c, hour.humidity_pct, hour.wind_m_s, at in misted, rained, frozen))
    if hours:
        yield begun, night(dark)


def worth(counted: Iterable[Counted]) -> Worth:
    """What your own counts say of the score.

    Asked of every pair of a called and an uncalled night: did the called one have more? Ties count half.
    By pure chance that is a half (the statistic of Mann and Whitney, Ann. Math. Statist. 18:50, 1947,
    from memory). The limits where it is called worth something are ours.
    """
    rows = list(counted)
    called = [row.found for row in rows if row.points >= CALL_FROM]
    quiet = [row.found for row in rows if row.points < CALL_FROM]
    short = min(len(called), len(quiet)) < LEAST_OF_EACH
    if len(rows) < LEAST_NIGHTS or short:
        return Worth(
            f"not known yet: {len(rows)} nights counted, {len(called)} of them called; wants {LEAST_NIGHTS}"
            f" with {LEAST_OF_EACH} of each kind. Count on quiet nights too",
            len(rows),
            None,
        )
    more = sum((one > other) + 0.5 * (one == other) for one in called for other in quiet)
    right = more / (len(called) * len(quiet))
    if right >= WORTH_FROM:
        verdict = "worth listening to here"
    elif right < WORTHLESS_BELOW:
        verdict = "worth nothing here: go by your own eyes, or change from which score it calls"
    else:
        verdict = "a little better than a coin here"
    return Worth(f"{verdict}: a called night had more slugs in {right:.0%} of comparisons", len(rows), right)
