"""What is coming up in a space, as lines to be told: hose, weighed logs, slugs, spawn runs, first picks.

Here: the models of this package joined for one space, and the words. The same lines serve the command and the
morning's report. Not here: where the facts come from (`audit.ahead_log`).
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum

from gillhouse.ahead import slugs
from gillhouse.ahead.evaporation import Cover
from gillhouse.ahead.growth import MYCELIUM, NOT_SOURCED, Crop, harvest_window, pace_of, spawn_days
from gillhouse.ahead.lacking import Has, lacking
from gillhouse.ahead.watering import Weighed, bag_outlook, dry_wind, upcoming
from gillhouse.ahead.weather import WeatherHour
from gillhouse.core.settings import HoseSettings

SHOWN_WATERINGS = 3
DAY_H = 24


class Kind(StrEnum):
    HOSE = "hose"
    DRY_WIND = "dry wind"
    WEIGHED = "weighed"
    SLUGS = "slugs"
    RUN = "spawn run"
    PICK = "first pick"
    MISSING = "missing"


@dataclass(frozen=True, slots=True)
class Line:
    space: str
    kind: Kind
    text: str
    sure: str
    """How sure it is, in words."""
    source: str


@dataclass(frozen=True, slots=True)
class Flush:
    """A batch that has pins and no picks yet."""

    batch: str
    species: str
    pinned_ms: int
    mean_c: float | None
    """Of its space since then."""
    usual_days: tuple[float, float] | None
    before: Sequence[Crop]
    """Earlier flushes of the species on this farm."""


@dataclass(frozen=True, slots=True)
class Run:
    """A batch that runs through."""

    batch: str
    species: str
    temps_c: Sequence[float]
    """Logged hours of its space since it began."""
    usual_days: tuple[float, float] | None
    usual_c: float | None
    """The middle of the range it should have."""


@dataclass(frozen=True, slots=True)
class OnScale:
    """A log or bag that somebody weighs."""

    name: str
    weighings: Sequence[Weighed]


@dataclass(frozen=True, slots=True)
class Ahead:
    """All that is known of one space."""

    space: str
    is_open: bool
    hose: HoseSettings
    left_mm: float | None
    """Water on its driest caps, by the running daemon's account; None: it keeps none."""
    pace: float
    forecast: Sequence[WeatherHour]
    """From now on, hour by hour."""
    when: Callable[[int], str]
    """Index of a forecast hour -> `Wed 14:00`."""
    lately: Sequence[WeatherHour]
    last_night: slugs.Night | None
    counted: Sequence[slugs.Counted]
    latitude_deg: float | None
    flushes: Sequence[Flush]
    runs: Sequence[Run]
    scale: Sequence[OnScale]
    mm_day: float
    """What a wet thing in the space's shade loses a day, of late."""
    day: Callable[[int], str]
    """Wall ms -> `Fri 27 Nov`."""
    has: Has


def lines(ahead: Ahead) -> list[Line]:
    """Everything to be told of a space, the most pressing first."""
    found: list[Line] = []
    if ahead.is_open:
        found += [*_hose(ahead), *_dry_wind(ahead), *_slugs(ahead)]
    return [*found, *_scale(ahead), *_runs(ahead), *_picks(ahead)]


def missing(ahead: Ahead) -> list[Line]:
    """What the models need and do not have; told apart so that a report can say it once."""
    return [Line(ahead.space, Kind.MISSING, text, "", "") for text in lacking(ahead.has)]


def _hose(ahead: Ahead) -> Iterator[Line]:
    if ahead.left_mm is None or not ahead.forecast:
        return
    source = (
        "the daemon's account of the caps, carried on with your forecast (Penman, Shuttleworth 1993; FAO-56)"
    )
    due = upcoming(ahead.left_mm, ahead.forecast, ahead.hose, Cover.SHADED, ahead.pace)
    sure = "ranks hours better than it tells litres"
    if not due:
        text = f"no hosing needed until {ahead.when(len(ahead.forecast) - 1)}"
        yield Line(ahead.space, Kind.HOSE, text, sure, source)
        return
    first = due[0]
    times = ", ".join(ahead.when(one.hour) for one in due[:SHOWN_WATERINGS])
    more = f" and {len(due) - SHOWN_WATERINGS} more" if len(due) > SHOWN_WATERINGS else ""
    text = f"hose by {times}{more}; about {first.mm:.2f} mm on the caps each time ({first.why})"
    yield Line(ahead.space, Kind.HOSE, text, sure, source)


def _dry_wind(ahead: Ahead) -> Iterator[Line]:
    found = dry_wind(ahead.forecast[:DAY_H], ahead.lately, ahead.hose.shelter)
    if found is not None:
        text = (
            f"dry wind in the next day: it takes {found.times:.1f} times as much water as lately"
            f" ({found.mm_day:.1f} against {found.usual_mm_day:.1f} mm a day at the windy edge);"
            " hose ahead of it, close the windward side"
        )
        yield Line(
            ahead.space,
            Kind.DRY_WIND,
            text,
            "as good as your forecast",
            "FAO-56; from which share on is ours",
        )


def _slugs(ahead: Ahead) -> Iterator[Line]:
    source = (
        "limits of a state university's slug page; wetness from humidity and the score are our assumptions"
    )
    sure = slugs.worth(ahead.counted).text
    last = ahead.last_night
    if last is not None and last.dark_h:
        own = f", {last.own_mist_h} of its hours only by your own mist" if last.own_mist_h else ""
        text = f"last night scored {last.points:.1f} of {last.dark_h} dark hours{own}"
        yield Line(ahead.space, Kind.SLUGS, text, sure, source)
    coming = next(iter(_forecast_nights(ahead)), None)
    if coming is not None and coming.is_called:
        text = (
            f"slug night: scores {coming.points:.1f} of {coming.dark_h} dark hours; look two hours after"
            " dark by torch, and keep mist off at night if you can"
        )
        yield Line(ahead.space, Kind.SLUGS, text, sure, source)


def _forecast_nights(ahead: Ahead) -> Iterator[slugs.Night]:
    for _, night in slugs.nights(ahead.forecast, ahead.latitude_deg):
        if night.dark_h:
            yield night


def _scale(ahead: Ahead) -> Iterator[Line]:
    source = "a tenth of the first weight: Hill, University of Kentucky FOR-83"
    for one in ahead.scale:
        found = bag_outlook(one.weighings, ahead.mm_day)
        text = f"{one.name}: {found.lost_pct:.0f} % of its weight gone"
        if found.is_due:
            text += "; soak it or water overnight"
        elif found.days_left is not None:
            text += f"; at this drying a tenth is gone in {found.days_left:.0f} days"
        sure = "its own pace, by the scale" if found.kg_per_mm is not None else "weigh it again for a pace"
        yield Line(ahead.space, Kind.WEIGHED, text, sure, source)


def _runs(ahead: Ahead) -> Iterator[Line]:
    for run in ahead.runs:
        cardinal = MYCELIUM.get(run.species)
        if cardinal is None or not run.temps_c or run.usual_days is None or run.usual_c is None:
            continue
        days = spawn_days(run.temps_c, run.species, run.usual_days, run.usual_c)
        sure = "the curve of mycelium on agar, not of your blocks"
        text = f"{run.batch} ({run.species}): the spawn run {_takes(days)}"
        yield Line(ahead.space, Kind.RUN, text, sure, cardinal.source)


def _takes(days: str) -> str:
    return days if days.startswith("stands") else f"takes {days}"


def _picks(ahead: Ahead) -> Iterator[Line]:
    for flush in ahead.flushes:
        window = harvest_window(flush.pinned_ms, flush.mean_c, pace_of(flush.before), flush.usual_days)
        if window is None:
            yield Line(ahead.space, Kind.PICK, f"{flush.batch}: first pick not known", "", NOT_SOURCED)
            continue
        span = f"{ahead.day(window.from_ms)} to {ahead.day(window.to_ms)}"
        text = f"{flush.batch} ({flush.species}): first pick {span}"
        yield Line(ahead.space, Kind.PICK, text, "a window, no date", window.source)
