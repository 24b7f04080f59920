"""`gillhouse demo --season barn`: twelve made-up weeks of an open barn, and whether what was foretold
came true.

Here: a grower who looks at a sensor, hoses when called, counts slugs every morning and wants to know of
flies. What is told comes from the very models that `ahead` and `pests` use; what happens comes from
`sim.barn_season`, which knows none of them. Nothing is left behind: there is no journal and no relay in
it.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from random import Random

from gillhouse.ahead import slugs
from gillhouse.ahead.evaporation import Cover
from gillhouse.ahead.pest_clock import Begin, Sign, windows
from gillhouse.ahead.pests import Pest, PestStage
from gillhouse.ahead.warmth import HOUR_MS, hourly
from gillhouse.ahead.watering import upcoming
from gillhouse.ahead.weather import WeatherHour, month_and_day, told_day
from gillhouse.config.pests_file import load_pests
from gillhouse.core.caps import EDGE, EDGE_WIND, Caps, ZoneAir, advance, is_called, outlook, seen_dry, soak
from gillhouse.core.settings import HoseSettings
from gillhouse.sim.barn_season import DAYS, HOURS, OPENED_DAY, BarnSeason, is_dark

HOSE = HoseSettings()
FIRST_DAY = 74
"""15 March."""
BEGIN_MS = 1_773_532_800_000
"""2026-03-15 00:00 UTC (GNU date); any would do."""
AWAKE = range(7, 20)
FORECAST_H = 24
SENSOR_PCT, FORECAST_C, FORECAST_PCT = 1.5, 0.8, 4.0
"""Errors of the invented sensor and forecast."""
PEST = "sciarid"
LOOKED_DAYS = 3
"""Every third day the grower tells when the first caps have just dried."""


@dataclass(frozen=True, slots=True)
class FlyTold:
    """A window for the first young flies, told on a day; days of the season."""

    told_on: float
    from_day: float
    to_day: float


@dataclass(slots=True)
class Lived:
    """What came of the season."""

    hosed_when_called: int = 0
    hosed_ahead: int = 0
    """In the evening, since the forecast said the caps would not last the night."""
    harmed_h: int = 0
    counted: list[slugs.Counted] | None = None
    flies_told: list[FlyTold] | None = None
    first_fly_day: float | None = None
    share_within: float = 0.0
    """Of all flies, within the last window told before the first came."""


def live(seed: int, told: Callable[[int], None]) -> Lived:
    """The whole season.

    Args:
        told: hears how many days have gone.
    """
    barn, rng = BarnSeason(seed), Random(f"barn instruments {seed}")
    pest = load_pests()[PEST]
    caps, lived = Caps(), Lived(counted=[], flies_told=[])
    assert lived.counted is not None and lived.flies_told is not None
    found, evening = 0, 12
    for at in range(HOURS):
        _hose(barn, caps, lived, (at, rng))
        wet = barn.water_mm > 0.0
        barn.pass_hour(at)
        if wet and barn.water_mm <= 0.0 and at % 24 in AWAKE and at // 24 % LOOKED_DAYS == 0:
            seen_dry(caps, HOSE, BEGIN_MS + (at + 1) * HOUR_MS)
        lived.harmed_h += barn.water_mm < -HOSE.spare_mm
        found += barn.slugs_in(at)
        if at % 24 == 12 and at >= 36:
            lived.counted.append(slugs.Counted(_score(barn, evening, at), found))
            found, evening = 0, at
        if at % (7 * 24) == 0 and at > OPENED_DAY * 24 and (not barn.flies_at or at < barn.flies_at[0]):
            lived.flies_told += _flies(barn, pest, at)
        if at % 24 == 23:
            told(at // 24 + 1)
    _judge_flies(barn, lived)
    return lived


def _hose(barn: BarnSeason, caps: Caps, lived: Lived, at_rng: tuple[int, Random]) -> None:
    """The grower, once an hour: the account's call first, in the evening the forecast."""
    at, rng = at_rng
    hour, now_ms = barn.hours[at], BEGIN_MS + at * HOUR_MS
    seen_pct = min(max(hour.humidity_pct + rng.gauss(0.0, SENSOR_PCT), 1.0), 100.0)
    air = ZoneAir(hour.temp_c, seen_pct, EDGE_WIND * HOSE.shelter * hour.wind_m_s)
    advance(caps, {EDGE: air}, 0.0, HOSE, now_ms)
    called = caps.soaked_wall_ms is None or is_called(caps, HOSE, outlook(caps, HOSE, now_ms))
    if at % 24 in AWAKE and called:
        lived.hosed_when_called += 1
    elif at % 24 == AWAKE[-1] and _dry_before_morning(barn, caps, at, rng):
        lived.hosed_ahead += 1
    else:
        return
    soak(caps, HOSE, now_ms)
    barn.hose(at)


def _dry_before_morning(barn: BarnSeason, caps: Caps, at: int, rng: Random) -> bool:
    coming = [
        WeatherHour(
            *_date(ahead),
            ahead % 24,
            barn.hours[ahead].temp_c + rng.gauss(0.0, FORECAST_C),
            min(max(barn.hours[ahead].humidity_pct + rng.gauss(0.0, FORECAST_PCT), 1.0), 100.0),
            barn.hours[ahead].wind_m_s,
        )
        for ahead in range(at, min(at + FORECAST_H, HOURS))
    ]
    due = upcoming(caps.zones[EDGE].water_mm, coming, HOSE, Cover.SHADED, caps.pace)
    return bool(due) and due[0].hour < AWAKE[0] + 24 - at % 24


def _date(at: int) -> tuple[int, int]:
    return month_and_day(FIRST_DAY + at // 24)


def _score(barn: BarnSeason, begin: int, end: int) -> float:
    """The night's score from the barn's own sensor; the wind in it is not measured."""
    dark = [
        slugs.DarkHour(barn.hours[at].temp_c, barn.hours[at].humidity_pct, None)
        for at in range(begin, end)
        if is_dark(at)
    ]
    return slugs.night(dark).points


def _flies(barn: BarnSeason, pest: Pest, at: int) -> Iterator[FlyTold]:
    """What the clock says that day: opened for flies so long ago, logged till now."""
    logged = {BEGIN_MS + past * HOUR_MS: barn.hours[past].temp_c for past in range(at)}
    hours = hourly(logged, {}, BEGIN_MS, BEGIN_MS + 2 * HOURS * HOUR_MS)
    begin = Begin(Sign.OPENED, BEGIN_MS + OPENED_DAY * 24 * HOUR_MS)
    for window in windows(pest, hours, begin, BEGIN_MS + 2 * HOURS * HOUR_MS):
        if window.generation == 1 and window.stage is PestStage.ADULT and window.to_ms is not None:
            yield FlyTold(at / 24.0, _day(window.from_ms), _day(window.to_ms))


def _day(wall_ms: int) -> float:
    return (wall_ms - BEGIN_MS) / HOUR_MS / 24.0


def _judge_flies(barn: BarnSeason, lived: Lived) -> None:
    if not barn.flies_at or not lived.flies_told:
        return
    lived.first_fly_day = barn.flies_at[0] / 24.0
    last = lived.flies_told[-1]
    within = sum(last.from_day <= at / 24.0 <= last.to_day for at in barn.flies_at)
    lived.share_within = within / len(barn.flies_at)


def text(lived: Lived) -> Iterator[str]:
    """What came of it, in words."""

    def day(number: float) -> str:
        return told_day(FIRST_DAY + int(number))

    yield f"{DAYS} days from {day(0)}, invented weather, invented barn."
    evenings = f"{lived.hosed_ahead} in the evening by the forecast"
    yield f"HOSE    {lived.hosed_when_called} times when called, {evenings};"
    yield f"        caps went without for {lived.harmed_h} of {HOURS} hours"
    counted = lived.counted or []
    called = [one.found for one in counted if one.points >= slugs.CALL_FROM]
    quiet = [one.found for one in counted if one.points < slugs.CALL_FROM]
    yield (
        f"SLUGS   {len(called)} nights called of {len(counted)}: {_mean(called):.1f} slugs found on them,"
        f" {_mean(quiet):.1f} on the others"
    )
    yield f"        the score is {slugs.worth(counted).text}"
    for one in lived.flies_told or []:
        yield f"FLIES   told on {day(one.told_on)}: young gnats from {day(one.from_day)} to {day(one.to_day)}"
    if lived.first_fly_day is None:
        yield "        none came within the season"
        return
    within = f"{lived.share_within:.0%} of all within the last window"
    yield f"        the first came on {day(lived.first_fly_day)}; {within}"


def _mean(values: list[int]) -> float:
    return sum(values) / len(values) if values else 0.0
