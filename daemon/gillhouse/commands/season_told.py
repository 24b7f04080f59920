"""The season in words, as JSON and as the chart's figures. Not here: any figure of it (`ahead.season`)."""

from collections.abc import Iterator, Sequence
from typing import Any

from gillhouse.ahead import this_year
from gillhouse.ahead.evaporation import SHELTERS
from gillhouse.ahead.season import BRIDGED_WEEKS, CropYear, Season, Span, Start, Week
from gillhouse.ahead.slugs import PARTS
from gillhouse.ahead.this_year import WeekBeside
from gillhouse.ahead.weather import MONTHS, WEEKS, YEAR_DAYS, month_and_day, told_day
from gillhouse.drawing.calendar import Calendar, CropRow, WeekCell, WeekLane

HALF_SHARE = 0.25
"""From here to half a week is shown as `+` in the text."""
SOURCES = (
    "ranges: yours, else where it is known to fruit outdoors, else what a room should hold"
    " (docs/reference/crops.md)",
    "drying: Penman's wind term (Shuttleworth 1993) and FAO-56; it ranks weeks and promises no litres",
    "waterings: of what a hosing leaves and a cap may lose by your farm file's `hose`, at the windy edge,"
    " rain not counted; starting figures of ours",
    "slug nights: limits of a state university's slug page; that 90 % humidity is a wet surface, and which"
    " score calls a night, are our assumptions",
    "fly generations: a straight line from 1 January, a ceiling: egg-laying, food and deaths are left out",
    "a typical year has no real extremes: late frosts and heat waves are worse than it shows",
)


def text(season: Season, weeks: Sequence[WeekBeside] | None = None) -> Iterator[str]:
    weather = season.weather
    yield f"{weather.place}: {weather.kind}, {season.cover} ({SHELTERS[season.cover].source})"
    for note in season.notes:
        yield f"NOTE: {note}"
    yield ""
    yield f"{'':16}{_ruler()}"
    for year in season.crops:
        yield f"{year.crop.name[:15]:16}{''.join(_mark(share) for share in year.share)}"
    yield f"{'':16}# half of the week or more in its range  + a quarter  . less  ? not known"
    yield ""
    for year in season.crops:
        yield from _crop(year)
    yield ""
    yield from _months(season)
    yield ""
    for found in season.pests:
        when = f", by {', '.join(map(told_day, found.days))}" if found.days else ""
        yield f"{found.pest.name}: {len(found.days)} full generations at the most{when}"
    if weeks is not None:
        yield this_year.told(weeks)
    yield ""
    yield from (f"source: {line}" for line in SOURCES)


def record(season: Season, weeks: Sequence[WeekBeside] | None = None) -> dict[str, Any]:
    return {
        "place": season.weather.place,
        "latitude_deg": season.weather.latitude_deg,
        "kind": season.weather.kind,
        "space_kind": season.cover.value,
        "wind_share": {"value": SHELTERS[season.cover].wind_share, "source": SHELTERS[season.cover].source},
        "notes": list(season.notes),
        "weeks": [_week(week) for week in season.weeks],
        "crops": [_crop_record(year) for year in season.crops],
        "pests": [
            {
                "pest": one.pest.id, "name": one.pest.name, "threshold_c": one.pest.zero_c,
                "degree_days": one.pest.degree_days, "source": one.pest.source,
                "complete_on": [dated(day) for day in one.days],
                "complete_by_week": one.by_week(),
            }
            for one in season.pests
        ],
        "slug_score": [{"text": part.text, "source": part.source, "assumed": part.assumed} for part in PARTS],
        "this_year": None
        if weeks is None
        else [
            {
                "week": week.week, "mean_c": round(week.here_c, 2), "typical_c": round(week.typical_c, 2),
                "share_in_range": week.here_share, "typical_share": week.typical_share,
            }
            for week in weeks
        ],
        "sources": list(SOURCES),
    }  # fmt: skip


def chart(season: Season) -> Calendar:
    """The figures of the drawing."""
    crops = [
        CropRow(
            year.crop.name,
            [WeekCell(share, share is not None and share >= 0.5) for share in year.share],
            f"{len(year.open_weeks)} weeks open",
        )
        for year in season.crops
    ]
    seen = [week.figures for week in season.weeks]
    nights = [week.slug_nights for week in season.weeks]
    lanes = [
        _lane("frost, hours", [None if one is None else one.frost_h for one in seen], "{:.0f} h a week"),
        _lane("heat, hours", [None if one is None else one.heat_h for one in seen], "{:.0f} h a week"),
        _lane(
            "drying, shade", [None if one is None else one.shade_mm_day for one in seen], "{:.2f} mm a day"
        ),
        _lane("waterings", [week.waterings_a_day for week in season.weeks], "{:.1f} a day"),
        _lane("slug nights", nights, "{:.0f} a week"),
    ]
    weather = season.weather
    told = "; ".join(f"{year.crop.name}: {_spans(year)}" for year in season.crops)
    return Calendar(
        "season",
        f"{weather.place}: what the year is for each crop ({season.cover})",
        told,
        crops,
        lanes,
        f"{weather.kind}. A lane's greatest week is beside it. Slugs and waterings rest on assumptions.",
    )


def span_words(span: Span) -> str:
    if span.is_all_year:
        return "all year"
    return f"{told_day(span.first_day)} to {told_day(span.last_day)}"


def start_words(start: Start) -> str:
    first, last = told_day(start.first_day), told_day(start.last_day)
    by = f"by {first}" if start.last_day <= start.first_day else f"by {first}, the last by {last}"
    return f"start bags {by}; expect first pins {told_day(start.pins[0])} to {told_day(start.pins[1])}"


def dated(day: int) -> str:
    """`05-21`, for JSON."""
    month, number = month_and_day(day)
    return f"{month:02d}-{number:02d}"


def _ruler() -> str:
    line = [" "] * (WEEKS + 2)
    for month, name in enumerate(MONTHS, start=1):
        week = sum((31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)[: month - 1]) // 7
        line[week : week + 3] = list(name)
    return "".join(line).rstrip()


def _mark(share: float | None) -> str:
    if share is None:
        return "?"
    return "#" if share >= 0.5 else "+" if share >= HALF_SHARE else "."


def _spans(year: CropYear) -> str:
    if not year.spans:
        return "no week half in its range"
    return ", ".join(span_words(span) for span in year.spans)


def _crop(year: CropYear) -> Iterator[str]:
    crop = year.crop
    source = crop.source if len(crop.source) <= 110 else f"{crop.source[:107]}..."
    yield f"{crop.name} ({crop.low_c:g} to {crop.high_c:g} C): {len(year.open_weeks)} weeks open  [{source}]"
    if not year.spans:
        yield "    no week of it is half in this range: it wants a roof and heat, or another place"
    for span, start in zip(year.spans, year.starts, strict=True):
        length = (span.last_day - span.first_day + 1) // 7
        gaps = "" if span.open_weeks == length else f", {span.open_weeks} of {length} weeks"
        if span.is_all_year:
            yield f"    all year{gaps}: start whenever you like"
        elif start is not None:
            yield f"    {span_words(span)}{gaps}: {start_words(start)}"
        elif crop.pin_days is None or crop.pick_days is None or crop.spawn_days is None:
            yield f"    {span_words(span)}{gaps}: its times are not sourced: uses your log only"
        else:
            yield f"    {span_words(span)}{gaps}: too short for a flush"


def _months(season: Season) -> Iterator[str]:
    """Weeks put together by the month their first day is in."""
    yield (
        f"{'month':6}{'mean C':>8}{'frost h':>9}{'heat h':>8}{'dry kPa':>9}{'shade mm/d':>12}{'up to':>7}"
        f"{'waterings/d':>13}{'slug nights':>13}"
    )
    for month, name in enumerate(MONTHS, start=1):
        weeks = [week for week in season.weeks if month_and_day((week.week - 1) * 7 + 1)[0] == month]
        known = [(week, week.figures) for week in weeks if week.figures is not None]
        if not known:
            yield f"{name:6}{'not known':>12}"
            continue
        count = len(known)
        slugs = [week.slug_nights for week, _ in known if week.slug_nights is not None]
        yield (
            f"{name:6}{sum(one.mean_c for _, one in known) / count:8.1f}"
            f"{sum(one.frost_h for _, one in known):9d}"
            f"{sum(one.heat_h for _, one in known):8d}{sum(one.dryness_kpa for _, one in known) / count:9.2f}"
            f"{sum(one.shade_mm_day for _, one in known) / count:12.2f}"
            f"{sum(one.kept_warm_mm_day for _, one in known) / count:7.1f}"
            f"{sum(week.waterings_a_day or 0.0 for week, _ in known) / count:13.1f}"
            f"{sum(slugs) if slugs else 'not known':>13}"
        )


def _lane(name: str, values: Sequence[float | None], words: str) -> WeekLane:
    most = max((value for value in values if value is not None), default=None)
    return WeekLane(name, values, "not known" if most is None else "most " + words.format(most))


def _week(week: Week) -> dict[str, Any]:
    seen = week.figures
    if seen is None:
        return {
            "week": week.week,
            "begins": dated((week.week - 1) * 7 + 1),
            "known": False,
        }
    return {
        "week": week.week,
        "begins": dated((week.week - 1) * 7 + 1),
        "known": True,
        "hours": seen.hours,
        "mean_c": round(seen.mean_c, 2),
        "least_c": seen.least_c,
        "most_c": seen.most_c,
        "frost_hours": seen.frost_h,
        "heat_hours": seen.heat_h,
        "dryness_kpa": round(seen.dryness_kpa, 4),
        "shade_mm_per_day": round(seen.shade_mm_day, 3),
        "upper_mm_per_day": round(seen.kept_warm_mm_day, 3),
        "waterings_per_day": None if week.waterings_a_day is None else round(week.waterings_a_day, 2),
        "slug_hours": seen.slug_h,
        "slug_nights": week.slug_nights,
    }


def _crop_record(year: CropYear) -> dict[str, Any]:
    return {
        "crop": year.crop.id,
        "low_c": year.crop.low_c,
        "high_c": year.crop.high_c,
        "source": year.crop.source,
        "hours_in_range": list(year.in_band_h),
        "open_weeks": year.open_weeks,
        "bridged_weeks": BRIDGED_WEEKS,
        "spans": [
            {
                "from": dated(span.first_day),
                "to": dated(span.last_day),
                "over_new_year": span.last_day > YEAR_DAYS,
                "open_weeks": span.open_weeks,
                "start_bags": None
                if start is None
                else {
                    "by": dated(start.first_day),
                    "last": dated(start.last_day),
                    "first_pins": [dated(pin) for pin in start.pins],
                },
            }
            for span, start in zip(year.spans, year.starts, strict=True)
        ],
    }
