"""A year outdoors for a crop: weeks in its range, frost, heat, drying, waterings, slugs and fly generations.

Here: figures of any stretch of hours, open weeks and the spans they make, and when bags must be started
for one. Not here: file formats (`weather_files`), words and pictures.

A week is open for a crop when half of its known hours lie in its range, both ends included. Open weeks
with no more than two others between them make one span; a year may have several, and in a whole year one
may go over the new year. Weakness: air is not the block, sun is left out, and a typical year has no real
extremes: frost dates and heat waves need real years.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from statistics import fmean
from typing import Final

from gillhouse.ahead import slugs
from gillhouse.ahead.evaporation import SHELTERS, Cover, dryness_kpa, kept_warm_mm_day, shade_mm_day
from gillhouse.ahead.weather import (
    GAUGE_M,
    WEEK_H,
    WEEKS,
    YEAR_DAYS,
    Weather,
    WeatherHour,
    by_week,
    day_of_year,
    is_dark,
)
from gillhouse.core.caps import EDGE_WIND, GUESSED_WIND_M_S
from gillhouse.core.crops import Species, Stage
from gillhouse.core.drying import wind_at_2m
from gillhouse.core.settings import HoseSettings

FROST_C: Final = 0.0
HEAT_C: Final = 30.0
"""Warned of at the crop; frost with pins open, heat in the air. Common practice, no source."""
OPEN_SHARE: Final = 0.5
BRIDGED_WEEKS: Final = 2
"""So many closed weeks do not end a span. Our choice."""
KNOWN_H: Final = WEEK_H // 2
"""Fewer known hours tell nothing of a week."""


@dataclass(frozen=True, slots=True)
class SeasonPest:
    """Counted over a whole year by one straight line: a ceiling, since it leaves out egg-laying, food and
    deaths.
    """

    id: str
    name: str
    zero_c: float
    degree_days: float
    source: str


PESTS: Final = (
    SeasonPest("bradysia", "fungus gnats (Bradysia) on oyster", 2.03, 465.5,
               "line through Korean J. Appl. Entomol. 1998 (JAKO199811920246943), refitted by us"),
    SeasonPest("neoempheria", "shiitake gnats (Neoempheria)", 7.2, 293.6,
               "Jpn. J. Appl. Entomol. Zool. 56(1), 2012, males at long days"),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Crop:
    """What the calendar needs of a species."""

    id: str
    name: str
    low_c: float
    high_c: float
    source: str
    """Of the range."""
    spawn_days: tuple[float, float] | None = None
    pin_days: tuple[float, float] | None = None
    pick_days: tuple[float, float] | None = None
    """From pins to the first flush picked."""


@dataclass(frozen=True, slots=True)
class Figures:
    """Of any stretch of hours."""

    hours: int
    mean_c: float
    least_c: float
    most_c: float
    humidity_pct: float
    wind_m_s: float | None
    dryness_kpa: float
    kept_warm_mm_day: float
    """The upper limit of drying."""
    shade_mm_day: float
    edge_mm_day: float
    """In the shade at the windy edge, which dries first."""
    frost_h: int
    heat_h: int
    dark_h: int | None
    slug_h: int | None
    """None: whether it was dark is not known."""


@dataclass(frozen=True, slots=True)
class Week:
    week: int
    figures: Figures | None
    """None: less than half of it is known."""
    slug_nights: int | None
    waterings_a_day: float | None


@dataclass(frozen=True, slots=True)
class Span:
    """From the first open week to the last; over the new year the last is beyond 52."""

    first_week: int
    last_week: int
    open_weeks: int

    @property
    def first_day(self) -> int:
        return (self.first_week - 1) * 7 + 1

    @property
    def last_day(self) -> int:
        """Beyond 365 it lies in the next year."""
        if self.last_week <= WEEKS:
            return self.last_week * 7
        return YEAR_DAYS + (self.last_week - WEEKS) * 7

    @property
    def is_all_year(self) -> bool:
        return self.first_week == 1 and self.last_week == WEEKS


@dataclass(frozen=True, slots=True)
class Start:
    """When bags must be started for a span; days of the year, before 1 in the year before."""

    first_day: int
    """Started then, they have run through as the span begins."""
    last_day: int
    """The last that still gives one flush within it."""
    pins: tuple[int, int]
    """Of the first ones."""


@dataclass(frozen=True, slots=True)
class CropYear:
    crop: Crop
    in_band_h: Sequence[int | None]
    """One a week, of 168 where the week is whole."""
    share: Sequence[float | None]
    spans: Sequence[Span]
    starts: Sequence[Start | None]
    """One a span; None: too short for a flush, or the species' times are not sourced."""

    @property
    def open_weeks(self) -> list[int]:
        return [
            at for at, share in enumerate(self.share, start=1) if share is not None and share >= OPEN_SHARE
        ]


@dataclass(frozen=True, slots=True)
class Generations:
    pest: SeasonPest
    days: Sequence[int]
    """Day of the year each is complete."""
    left: float
    """Degree-days begun for the next."""

    def by_week(self) -> list[int]:
        """How many are complete at the end of each week, 1 to 52."""
        return [sum(day <= 7 * week for day in self.days) for week in range(1, WEEKS + 1)]


@dataclass(frozen=True, slots=True)
class Season:
    weather: Weather
    cover: Cover
    weeks: Sequence[Week]
    crops: Sequence[CropYear]
    pests: Sequence[Generations]
    notes: Sequence[str]


@dataclass(frozen=True, slots=True)
class OutdoorRange:
    """Where a species fruits at all, which is wider than where a room should hold it."""

    low_c: float
    high_c: float
    source: str


OUTDOORS: Final = {
    "grey-oyster": OutdoorRange(10.0, 21.0, "growth table of a growers' handbook, at second hand"),
    "phoenix-oyster": OutdoorRange(11.0, 28.0, "a spawn maker's strain sheet (best 15 to 18)"),
    "shiitake": OutdoorRange(
        11.0, 26.0, "blocks fruited in this daily range: Pettipher, J. Sci. Food Agric. 42, 1988"
    ),
    "lions-mane": OutdoorRange(6.0, 24.0, "a trade page, weak (best 16 to 20; none over 25)"),
    "enoki": OutdoorRange(5.0, 20.0, "a trade page, weak (best 8 to 12)"),
}
OWN_MARK: Final = "by the grower"
"""In the source of a figure that the farm's own species file sets: it goes first."""


def crop_of(species: Species) -> Crop | None:
    """Its fruiting temperatures outdoors and its times; None where no range is known.

    The grower's own figure first, then the range it fruits in outdoors where one is sourced, else the room's.
    """
    fruiting = species.stages.get(Stage.FRUITING)
    if fruiting is None or fruiting.temperature.low is None or fruiting.temperature.high is None:
        return None
    room = fruiting.temperature
    low_c, high_c = fruiting.temperature.low, fruiting.temperature.high
    source = (
        room.source
        if OWN_MARK in room.source
        else f"what a room should hold, narrower than outdoors: {room.source}"
    )
    outdoors = OUTDOORS.get(species.id)
    if outdoors is not None and OWN_MARK not in room.source:
        low_c, high_c, source = outdoors.low_c, outdoors.high_c, outdoors.source
    days = {stage: profile.days for stage, profile in species.stages.items()}
    return Crop(
        species.id, species.name, low_c, high_c, source,
        days.get(Stage.SPAWN_RUN), days.get(Stage.PINNING), days.get(Stage.FRUITING),
    )  # fmt: skip


def plan(weather: Weather, crops: Iterable[Crop], cover: Cover, hose: HoseSettings | None = None) -> Season:
    """The whole calendar.

    Args:
        hose: what a watering leaves and may be lost; the starting values where None.
    """
    water = hose or HoseSettings()
    weeks = _weeks(weather, cover, water.film_mm + water.spare_mm)
    hours = by_week(weather.hours)
    years = [crop_year(crop, hours, weather.is_whole) for crop in crops]
    notes = list(weather.notes)
    if any(hour.wind_m_s is None for hour in weather.hours):
        notes.append(f"wind guessed at {GUESSED_WIND_M_S:g} m/s where it is not given")
    if any(week.figures is not None and week.figures.slug_h is None for week in weeks):
        notes.append("slug nights not counted: neither sunshine nor latitude is in the file")
    pests = [generations(weather.hours, pest) for pest in PESTS]
    return Season(weather, cover, weeks, years, pests, tuple(notes))


def figures(hours: Sequence[WeatherHour], wind_share: float, latitude_deg: float | None) -> Figures:
    """The sums of a stretch.

    Args:
        hours: one at least.
        wind_share: of the wind outdoors that is felt at the crop, 0..1.
    """
    winds = [hour.wind_m_s for hour in hours if hour.wind_m_s is not None]
    temps = [hour.temp_c for hour in hours]
    dark = [is_dark(hour, latitude_deg) for hour in hours]
    felt = [
        wind_share * wind_at_2m(GUESSED_WIND_M_S if hour.wind_m_s is None else hour.wind_m_s, GAUGE_M)
        for hour in hours
    ]
    air = [(hour.temp_c, hour.humidity_pct) for hour in hours]
    known = None not in dark
    return Figures(
        hours=len(hours),
        mean_c=fmean(temps),
        least_c=min(temps),
        most_c=max(temps),
        humidity_pct=fmean(hour.humidity_pct for hour in hours),
        wind_m_s=fmean(winds) if winds else None,
        dryness_kpa=fmean(dryness_kpa(*one) for one in air),
        kept_warm_mm_day=fmean(kept_warm_mm_day(*one, wind) for one, wind in zip(air, felt, strict=True)),
        shade_mm_day=fmean(shade_mm_day(*one, wind) for one, wind in zip(air, felt, strict=True)),
        edge_mm_day=fmean(shade_mm_day(*one, EDGE_WIND * wind) for one, wind in zip(air, felt, strict=True)),
        frost_h=sum(temp <= FROST_C for temp in temps),
        heat_h=sum(temp > HEAT_C for temp in temps),
        dark_h=sum(map(bool, dark)) if known else None,
        slug_h=sum(slugs.is_plain_slug_hour(*one) for one in zip(hours, map(bool, dark), strict=True))
        if known
        else None,
    )


def months(weather: Weather, wind_share: float) -> dict[int, Figures]:
    """Month -> its figures, by the date printed in each row."""
    found: dict[int, list[WeatherHour]] = {}
    for hour in weather.hours:
        found.setdefault(hour.month, []).append(hour)
    return {month: figures(hours, wind_share, weather.latitude_deg) for month, hours in sorted(found.items())}


def in_band_h(hours: Iterable[WeatherHour], low_c: float, high_c: float) -> int:
    """Hours in a range, both ends included."""
    return sum(low_c <= hour.temp_c <= high_c for hour in hours)


def crop_year(crop: Crop, hours: dict[int, list[WeatherHour]], whole: bool) -> CropYear:
    """What the year is for one crop."""
    counts: list[int | None] = []
    shares: list[float | None] = []
    for week in range(1, WEEKS + 1):
        own = hours.get(week, [])
        count = in_band_h(own, crop.low_c, crop.high_c) if len(own) >= KNOWN_H else None
        counts.append(count)
        shares.append(None if count is None else count / len(own))
    found = spans([share is not None and share >= OPEN_SHARE for share in shares], whole)
    return CropYear(crop, counts, shares, found, [start(crop, span) for span in found])


def spans(is_open: Sequence[bool], whole: bool) -> list[Span]:
    """Open weeks put together, short gaps bridged; in a whole year the last may join the first."""
    found: list[list[int]] = []
    for week, one in enumerate(is_open, start=1):
        if not one:
            continue
        if found and week - found[-1][-1] <= BRIDGED_WEEKS + 1:
            found[-1].append(week)
        else:
            found.append([week])
    if whole and found and found[0][0] + len(is_open) - found[-1][-1] <= BRIDGED_WEEKS + 1:
        if len(found) == 1:
            return [Span(1, len(is_open), len(found[0]))]
        first = found.pop(0)
        found[-1] += [week + len(is_open) for week in first]
    return [Span(weeks[0], weeks[-1], len(weeks)) for weeks in found]


def start(crop: Crop, span: Span) -> Start | None:
    """When bags are started for a span; the spawn run is indoors, at its own warmth."""
    if crop.spawn_days is None or crop.pin_days is None or crop.pick_days is None:
        return None
    if span.last_day - span.first_day + 1 < crop.pin_days[0] + crop.pick_days[0]:
        return None
    spawn = round(crop.spawn_days[1])
    first = span.first_day - spawn
    last = span.last_day - round(crop.pin_days[1] + crop.pick_days[1]) - spawn
    pins = (span.first_day + round(crop.pin_days[0]), span.first_day + round(crop.pin_days[1]))
    return Start(first, max(last, first), pins)


def generations(hours: Iterable[WeatherHour], pest: SeasonPest) -> Generations:
    """Full generations from the first hour on, and the day each is complete; hourly sums, no upper limit."""
    begun = 0.0
    days: list[int] = []
    day, warmth = 0, 0.0
    for hour in hours:
        today = day_of_year(hour.month, hour.day)
        if today != day:
            begun = _closed(begun + warmth / 24.0, pest.degree_days, day, days)
            day, warmth = today, 0.0
        warmth += max(hour.temp_c - pest.zero_c, 0.0)
    begun = _closed(begun + warmth / 24.0, pest.degree_days, day, days)
    return Generations(pest, days, begun)


def _closed(begun: float, full: float, day: int, days: list[int]) -> float:
    while begun >= full:
        begun -= full
        days.append(day)
    return begun


def _weeks(weather: Weather, cover: Cover, watering_mm: float) -> list[Week]:
    hours = by_week(weather.hours)
    called: dict[int, int] = {}
    for at, night in slugs.nights(weather.hours, weather.latitude_deg):
        week = weather.hours[at].week
        called[week] = called.get(week, 0) + night.is_called
    found = []
    for week in range(1, WEEKS + 1):
        own = hours.get(week, [])
        if len(own) < KNOWN_H:
            found.append(Week(week, None, None, None))
            continue
        seen = figures(own, SHELTERS[cover].wind_share, weather.latitude_deg)
        nights = None if seen.slug_h is None else called.get(week, 0)
        found.append(Week(week, seen, nights, seen.edge_mm_day / watering_mm))
    return found
