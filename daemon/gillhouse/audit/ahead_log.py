"""What the journal knows for `gillhouse ahead` and `season`: hours of air, nights,
flushes.

Here: asking the store. Not here: any model (`ahead`), words (`ahead.coming_up`).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta, tzinfo
from statistics import fmean
from typing import Any

from gillhouse.ahead import slugs
from gillhouse.ahead.coming_up import Ahead, Flush, Line, OnScale, Run, lines
from gillhouse.ahead.dusk import Tonight
from gillhouse.ahead.evaporation import shade_mm_day
from gillhouse.ahead.growth import Crop
from gillhouse.ahead.lacking import Has
from gillhouse.ahead.slug_notes import found_in
from gillhouse.ahead.watering import Weighed
from gillhouse.ahead.weather import Weather, WeatherError, WeatherHour
from gillhouse.ahead.weigh_notes import weighed_in
from gillhouse.audit.journal_series import OUTSIDE_ZONES, on_spans, relays_of, sensors_of
from gillhouse.audit.pests_log import logged_hours, standing_in, warmth_sensors
from gillhouse.config import Config
from gillhouse.core.caps import GUESSED_WIND_M_S
from gillhouse.core.crops import Stage, StageProfile
from gillhouse.core.outputs import EventKind
from gillhouse.core.quantities import Quantity
from gillhouse.core.settings import Role, SensorSettings, SpaceKind, SpaceSettings
from gillhouse.records.batch_book import Book, StageTime, books
from gillhouse.store.reader import Reader

HOUR_MS = 3_600_000
DAY_MS = 24 * HOUR_MS
YEAR_MS = 365 * DAY_MS
LATELY_MS = 10 * DAY_MS
NIGHTS_MS = 120 * DAY_MS
"""So far back counts of slugs are weighed."""
LAST_NIGHT_MS = 6 * DAY_MS
"""So far back one night is scored: frost of four days before counts."""
TONIGHT = timedelta(hours=12)
"""From dusk, the hours of a forecast that belong to the night that begins."""


@dataclass(frozen=True, slots=True)
class Asked:
    """What every space is asked with."""

    now_ms: int
    forecast: Sequence[WeatherHour]
    latitude_deg: float | None
    caps: Mapping[str, Mapping[str, Any]]
    """Of each open space the running daemon's account, as its status tells; empty where it does not run."""


def outdoor_sensors(config: Config, quantity: Quantity) -> list[SensorSettings]:
    return [
        sensor
        for sensor in config.farm.sensors.values()
        if sensor.quantity is quantity and (sensor.space is None or sensor.zone in OUTSIDE_ZONES)
    ]


def outdoor_weather(reader: Reader, config: Config, span: tuple[int, int]) -> Weather:
    """The farm's own outdoor log as weather; empty where no sensor stands outdoors."""
    hours = [hour for _, hour in _hours(reader, config, _outdoors(config), span)]
    return Weather(f"{config.farm.name}, outdoors", None, "your own log", hours)


def aheads(reader: Reader, config: Config, asked: Asked) -> list[Ahead]:
    """Every space of the farm, open ones first."""
    kept = books(reader)
    order = sorted(config.farm.spaces.values(), key=lambda space: space.kind is not SpaceKind.OPEN)
    return [_ahead(reader, config, space, asked, (kept, asked.caps.get(space.id))) for space in order]


@dataclass(frozen=True, slots=True)
class Outlook:
    """What a report may know beyond the log."""

    forecast: Sequence[WeatherHour] = ()
    """Hours to come, of the file the farm file names."""
    caps: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)
    """As `Asked.caps`."""


LOG_ALONE = Outlook()


def morning(reader: Reader, config: Config, wall_ms: int, outlook: Outlook = LOG_ALONE) -> tuple[Line, ...]:
    """What the morning's report says of each space: hosing and dry wind where a forecast is fed, slugs,
    weighed logs, runs, first picks.

    A night that was no slug night is passed over.
    """
    asked = Asked(wall_ms, outlook.forecast, config.farm.latitude_deg, outlook.caps)
    return tuple(line for one in aheads(reader, config, asked) for line in lines(_if_called(one)))


def _if_called(one: Ahead) -> Ahead:
    if one.last_night is None or one.last_night.is_called:
        return one
    return replace(one, last_night=None)


def called_tonight(
    reader: Reader, config: Config, now_ms: int, forecast: Sequence[WeatherHour] = ()
) -> list[Tonight]:
    """Open spaces for which the night that begins is called, at dusk.

    By the forecast where it reaches into the night. Else last night stands for it, in the space's own air
    (our assumption: dusk knows no other night).
    """
    asked = Asked(now_ms, forecast, config.farm.latitude_deg, {})
    coming = _coming(asked, config.farm.zone)
    found = []
    for space in config.farm.spaces.values():
        if space.kind is not SpaceKind.OPEN:
            continue
        night = coming or _last_night(_scored(reader, config, space, asked, LAST_NIGHT_MS), now_ms)
        if night is not None and night.is_called:
            found.append(Tonight(space.id, night.points, night.dark_h, by_forecast=coming is not None))
    return found


def _coming(asked: Asked, zone: tzinfo) -> slugs.Night | None:
    """Tonight by the forecast; None: it does not reach so far."""
    now = _local(asked.now_ms, zone).replace(tzinfo=None)
    soon = [hour for hour in asked.forecast if moment(hour, now) - now < TONIGHT]
    dark = (night for _, night in slugs.nights(soon, asked.latitude_deg) if night.dark_h)
    return next(dark, None)


def _ahead(
    reader: Reader,
    config: Config,
    space: SpaceSettings,
    asked: Asked,
    known: tuple[list[Book], Mapping[str, Any] | None],
) -> Ahead:
    kept, caps = known
    zone = config.farm.zone
    outdoors = _outdoors(config)
    lately = [hour for _, hour in _hours(reader, config, outdoors, (asked.now_ms - LATELY_MS, asked.now_ms))]
    scored = _scored(reader, config, space, asked) if space.kind is SpaceKind.OPEN else {}
    inside = _hours(reader, config, _insides(config, space.id), (asked.now_ms - NIGHTS_MS, asked.now_ms))
    recent = [one for one in inside if one[0] >= asked.now_ms - LATELY_MS]
    zones = [] if caps is None else list(caps["zones"].values())
    return Ahead(
        space=space.id,
        is_open=space.kind is SpaceKind.OPEN,
        hose=space.hose,
        left_mm=min(zones) if zones and caps is not None and caps["hosed_ms"] is not None else None,
        pace=1.0 if caps is None else float(caps["pace"]),
        forecast=asked.forecast,
        when=lambda index: moment(asked.forecast[index], _local(asked.now_ms, zone)).strftime("%a %H:%M"),
        lately=lately,
        last_night=_last_night(scored, asked.now_ms),
        counted=_counted(reader, space.id, scored),
        latitude_deg=asked.latitude_deg,
        flushes=_flushes(reader, config, space, kept, asked.now_ms),
        runs=_runs(reader, config, space, kept, asked.now_ms),
        scale=_scale(reader, space, inside),
        mm_day=24.0 * fmean(_shade_mm_h(hour, space) for _, hour in recent) if recent else 0.0,
        day=lambda ms: _local(ms, zone).strftime("%a %d %b").replace(" 0", " "),
        has=Has(
            outdoor_temperature=bool(outdoors[Quantity.TEMPERATURE]),
            outdoor_humidity=bool(outdoors[Quantity.HUMIDITY]),
            wind=any(one.quantity is Quantity.WIND for one in config.farm.sensors.values()),
            forecast=bool(asked.forecast),
            latitude=asked.latitude_deg is not None,
            hosings_told=caps is None or caps["hosed_ms"] is not None,
            open_space=space.kind is SpaceKind.OPEN,
        ),
    )


def moment(hour: WeatherHour, near: datetime) -> datetime:
    """The forecast hour's begin on the farm's clock, in the year that brings it nearest to `near`."""
    near = near.replace(tzinfo=None)
    years = (near.year - 1, near.year, near.year + 1)
    day = min(hour.day, 28) if hour.month == 2 else hour.day
    found = [datetime(year, hour.month, day, hour.hour) for year in years]  # noqa: DTZ001  the farm's clock
    return min(found, key=lambda one: abs(one - near))


def from_now(forecast: Weather, name: str, now: datetime) -> list[WeatherHour]:
    """The hours of a forecast that are still to come.

    Raises:
        WeatherError: none is.
    """
    begun = now.replace(tzinfo=None, minute=0, second=0, microsecond=0)
    found = [hour for hour in forecast.hours if moment(hour, now) >= begun]
    if not found:
        raise WeatherError(f"{name}: all of its hours are over; fetch a new one, or leave it out")
    return found


def _outdoors(config: Config) -> dict[Quantity, list[SensorSettings]]:
    kinds = (Quantity.TEMPERATURE, Quantity.HUMIDITY, Quantity.WIND)
    return {kind: outdoor_sensors(config, kind) for kind in kinds}


def _insides(config: Config, space: str) -> dict[Quantity, list[SensorSettings]]:
    kinds = (Quantity.TEMPERATURE, Quantity.HUMIDITY, Quantity.WIND)
    return {kind: sensors_of(config, space, kind) for kind in kinds}


def _hours(
    reader: Reader, config: Config, sensors: Mapping[Quantity, list[SensorSettings]], span: tuple[int, int]
) -> list[tuple[int, WeatherHour]]:
    """Hours whose temperature and humidity are both known, with the wall ms they begin."""
    begin = span[0] - span[0] % HOUR_MS
    warm, humid, wind = (
        logged_hours(reader, sensors[kind], begin, span[1])
        for kind in (Quantity.TEMPERATURE, Quantity.HUMIDITY, Quantity.WIND)
    )
    found = []
    for ms in sorted(warm.keys() & humid.keys()):
        local = _local(ms, config.farm.zone)
        hour = WeatherHour(local.month, local.day, local.hour, warm[ms], humid[ms], wind.get(ms))
        found.append((ms, hour))
    return found


def _scored(
    reader: Reader, config: Config, space: SpaceSettings, asked: Asked, back_ms: int = NIGHTS_MS
) -> dict[int, slugs.Night]:
    """Begin of each night's noon-to-noon, wall ms -> its score in the space's own air."""
    if asked.latitude_deg is None:
        return {}
    sensors = _insides(config, space.id)
    span = (asked.now_ms - back_ms, asked.now_ms)
    logged = _hours(reader, config, sensors, span)
    sprayed = on_spans(reader, relays_of(config, space.id, Role.MIST), span)
    wet = {ms for begin, end in sprayed for ms in range(begin - begin % HOUR_MS, end, HOUR_MS)}
    misted = {at for at, (ms, _) in enumerate(logged) if ms in wet}
    hours = [hour for _, hour in logged]
    return {logged[at][0]: night for at, night in slugs.nights(hours, asked.latitude_deg, misted)}


def _last_night(scored: Mapping[int, slugs.Night], now_ms: int) -> slugs.Night | None:
    """The last night that is over, of the last day and a half."""
    recent = {
        begin: night for begin, night in scored.items() if now_ms - 1.5 * DAY_MS < begin and night.dark_h
    }
    return recent[min(recent)] if recent else None


def _counted(reader: Reader, space: str, scored: Mapping[int, slugs.Night]) -> list[slugs.Counted]:
    """Counts by night; several notes of one night add up, and what was put right is left out."""
    by_night: dict[int, int] = {}
    for ms, text in _notes(reader, space):
        found = found_in(text)
        own = [begin for begin in scored if begin <= ms < begin + DAY_MS]
        if found is not None and own:
            by_night[own[-1]] = by_night.get(own[-1], 0) + found
    return [slugs.Counted(scored[begin].points, found) for begin, found in by_night.items()]


def _flushes(
    reader: Reader, config: Config, space: SpaceSettings, kept: Sequence[Book], now_ms: int
) -> list[Flush]:
    found = []
    for book in kept:
        place = next((one for one in book.places if one.to_ms is None), None)
        stage = book.stages[-1] if book.stages else None
        if book.ended_ms is not None or place is None or place.space != space.id or stage is None:
            continue
        if stage.stage is not Stage.FRUITING or stage.to_ms is not None:
            continue
        species = config.species.get(book.species)
        profile = None if species is None else species.stages.get(Stage.FRUITING)
        mean_c = _mean_c(reader, config, space.id, (stage.from_ms, now_ms))
        usual = None if profile is None else profile.days
        before = _earlier(reader, config, kept, book.species)
        found.append(Flush(book.batch, book.species, stage.from_ms, mean_c, usual, before))
    return found


def _runs(
    reader: Reader, config: Config, space: SpaceSettings, kept: Sequence[Book], now_ms: int
) -> list[Run]:
    found = []
    for book in standing_in(kept, space.id, now_ms):
        stage = book.stages[-1] if book.stages else None
        species = config.species.get(book.species)
        if stage is None or stage.stage is not Stage.SPAWN_RUN or stage.to_ms is not None or species is None:
            continue
        profile = species.stages.get(Stage.SPAWN_RUN)
        begin = stage.from_ms - stage.from_ms % HOUR_MS
        temps = logged_hours(reader, warmth_sensors(config, space.id), begin, now_ms)
        days = None if profile is None else profile.days
        found.append(Run(book.batch, book.species, list(temps.values()), days, _middle_c(profile)))
    return found


def _middle_c(profile: StageProfile | None) -> float | None:
    if profile is None or profile.temperature.low is None or profile.temperature.high is None:
        return None
    return (profile.temperature.low + profile.temperature.high) / 2.0


def _scale(reader: Reader, space: SpaceSettings, inside: Sequence[tuple[int, WeatherHour]]) -> list[OnScale]:
    """What was weighed in a space, by name, each with the drying reckoned since the time before."""
    by_name: dict[str, list[tuple[int, float]]] = {}
    for ms, text in _notes(reader, space.id):
        weighed = weighed_in(text)
        if weighed is not None:
            by_name.setdefault(weighed.name, []).append((ms, weighed.kg))
    found = []
    for name, weighings in by_name.items():
        before_ms, rows = weighings[0][0], []
        for ms, kg in weighings:
            mm = sum(_shade_mm_h(hour, space) for at, hour in inside if before_ms <= at < ms)
            rows.append(Weighed(kg, mm))
            before_ms = ms
        found.append(OnScale(name, rows))
    return found


def _shade_mm_h(hour: WeatherHour, space: SpaceSettings) -> float:
    """Drying in the space's shade; without a gauge the guessed wind outdoors, sheltered."""
    wind = GUESSED_WIND_M_S * space.hose.shelter if hour.wind_m_s is None else hour.wind_m_s
    return shade_mm_day(hour.temp_c, hour.humidity_pct, wind) / 24.0


def _notes(reader: Reader, space: str) -> list[tuple[int, str]]:
    """A space's notes that no later one puts right, in order of time."""
    notes = list(reader.events(0, 1 << 48, EventKind.NOTE))
    put_right = {at.event.facts["corrects"] for at in notes if "corrects" in at.event.facts}
    return [
        (at.ts, str(at.event.facts.get("text", "")))
        for at in notes
        if at.event.subject == space and at.seq not in put_right
    ]


def _earlier(reader: Reader, config: Config, kept: Sequence[Book], species: str) -> list[Crop]:
    """Flushes of a species that were picked: how long they fruited, and how warm it was."""
    found = []
    for book in kept:
        if book.species != species:
            continue
        for stage in book.stages:
            mean_c = _stage_mean_c(reader, config, book, stage)
            if mean_c is not None and stage.to_ms is not None:
                found.append(Crop(mean_c, (stage.to_ms - stage.from_ms) / DAY_MS))
    return found


def _stage_mean_c(reader: Reader, config: Config, book: Book, stage: StageTime) -> float | None:
    if stage.stage is not Stage.FRUITING or stage.to_ms is None:
        return None
    stood = [one for one in book.places if one.from_ms <= stage.from_ms]
    return _mean_c(reader, config, stood[-1].space, (stage.from_ms, stage.to_ms)) if stood else None


def _mean_c(reader: Reader, config: Config, space: str, span: tuple[int, int]) -> float | None:
    begin = span[0] - span[0] % HOUR_MS
    hours = logged_hours(reader, sensors_of(config, space, Quantity.TEMPERATURE), begin, span[1])
    return fmean(hours.values()) if hours else None


def _local(ms: int, zone: tzinfo) -> datetime:
    return datetime.fromtimestamp(ms / 1000, zone)
