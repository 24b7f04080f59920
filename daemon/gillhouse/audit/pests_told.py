"""An outlook in words, as JSON, and as the chart's values.

Windows are told as days, never as a date: what is reckoned is not known to the hour. Not here: any reckoning.
"""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta, tzinfo
from typing import Any

from gillhouse.ahead.cap_wet import CALL_H, WARN_H
from gillhouse.ahead.pest_clock import DAY_MS, Begin, Sign, Sure, Window
from gillhouse.ahead.pests import PestStage
from gillhouse.ahead.rates import Range
from gillhouse.audit.pests_asked import Outlook, PestOutlook
from gillhouse.audit.wording import species_words
from gillhouse.core.snapshot import to_plain
from gillhouse.drawing.figures import Tick
from gillhouse.drawing.windows import Bar, Block, Row, Upright, Windows

STAGES = {
    PestStage.EGG: "eggs",
    PestStage.LARVA: "larvae",
    PestStage.PUPA: "pupae",
    PestStage.EGG_TO_ADULT: "in the blocks",
    PestStage.CYCLE: "mother larvae",
}
SHOWN_GENERATIONS = 3
"""Later ones are counted, not listed or drawn: their windows run together."""
BLOTCH = "American Mushroom Institute, page on bacterial blotch"


def day(ms: int, zone: tzinfo) -> str:
    """The local day of a moment: `Fri 20 Nov`."""
    local = datetime.fromtimestamp(ms / 1000, UTC).astimezone(zone)
    return f"{local:%a} {local.day} {local:%b}"


def lines(outlook: Outlook, zone: tzinfo, with_advice: bool) -> Iterator[str]:
    yield _heading(outlook, zone)
    if not outlook.hours_logged:
        yield "  no temperature is logged here: nothing can be reckoned; put a sensor there, best in a block"
    if outlook.left_out:
        yield f"  {outlook.left_out} sightings or counts after the batch was gone are left out; see --space"
    for one in outlook.pests:
        yield ""
        yield from _pest(one, outlook, zone)
        if with_advice:
            yield from (f"    {advice.kind}: {advice.text} [{advice.source}]" for advice in one.pest.advice)
            yield f"    width of windows: {one.pest.window_source}"
    yield ""
    yield from _wet(outlook, zone)
    yield from _warm(outlook)


def _heading(outlook: Outlook, zone: tzinfo) -> str:
    asked, end = outlook.asked, outlook.end
    if asked.book is not None:
        what = f"{asked.book.batch} ({species_words(asked.book.species)}) in {asked.space}"
    else:
        what = asked.space
    if end is None:
        return f"{what}: no end known from its species' days; looks six weeks ahead (--until names a day)"
    if asked.book is not None and asked.book.ended_ms is not None:
        return f"{what}: ended {day(end.to_ms, zone)}; windows stop there"
    if end.told:
        return f"{what}: until {day(end.to_ms, zone)}, as you say"
    return f"{what}: by its species' usual days it ends {_between(end.from_ms, end.to_ms, zone)}"


def _between(from_ms: int, to_ms: int | None, zone: tzinfo) -> str:
    if to_ms is None:
        return f"from {day(from_ms, zone)} on"
    first, last = day(from_ms, zone), day(to_ms, zone)
    return first if first == last else f"{first} to {last}"


# --- one pest ------------------------------------------------------------------------------------------


def _pest(one: PestOutlook, outlook: Outlook, zone: tzinfo) -> Iterator[str]:
    pest = one.pest
    yield f"  {pest.name} ({pest.latin})"
    if not pest.is_sourced:
        yield "    not sourced: uses your log only"
    elif one.begin is None:
        yield "    nothing to start from: tell a sighting (`gillhouse pests seen`), or --opened with its day"
    else:
        yield f"    {_begun(one.begin, zone)}"
        yield from _windows(one, zone)
        yield from _ends(one, outlook, zone)
        if one.sure is not None:
            yield from _sure(one, one.sure)
    yield from _counts(one, outlook, zone)


def _begun(begin: Begin, zone: tzinfo) -> str:
    on = day(begin.at_ms, zone)
    if begin.sign is Sign.OPENED:
        return f"none seen; from {on}, when it came or was opened, they could come in: the earliest"
    if begin.sign is Sign.CAUGHT:
        return f"reckoned from the first catch, {on}"
    seen = STAGES.get(begin.stage, "adults")
    return f"reckoned from {seen} seen on {on}"


def _windows(one: PestOutlook, zone: tzinfo) -> Iterator[str]:
    for number in range(1, SHOWN_GENERATIONS + 1):
        own = [window for window in one.windows if window.generation == number]
        if not own:
            return
        told = "; ".join(
            f"{_stage(window, one)} {_between(window.from_ms, window.to_ms, zone)}" for window in own
        )
        yield f"    generation {number}: {told}"


def _stage(window: Window, one: PestOutlook) -> str:
    return STAGES.get(window.stage, one.pest.young)


def _ends(one: PestOutlook, outlook: Outlook, zone: tzinfo) -> Iterator[str]:
    counted = one.generations
    if counted is not None:
        many = f"{counted.least}" if counted.least == counted.most else f"{counted.least} to {counted.most}"
        yield (
            f"    whole generations before the end: {many}, most likely {counted.likely}; fewer come where"
            " food or warmth fail: that is not reckoned"
        )
    if one.clear_by_ms is None:
        return
    flying = [w for w in one.windows if w.stage is PestStage.ADULT and _is_on(w, outlook.asked.now_ms)]
    for window in flying[-1:]:
        first = "" if window.likely_ms is None else f", most likely first about {day(window.likely_ms, zone)}"
        yield f"    generation {window.generation}'s {one.pest.young} can be coming out now{first}"
    end, by = outlook.end, day(one.clear_by_ms, zone)
    if end is not None and end.to_ms <= one.clear_by_ms:
        yield f"    the crop ends before its {one.pest.young}: due from {by} on at the earliest"
    else:
        yield f"    pick and clear before {by}: from then on the next {one.pest.young} can come out"


def _is_on(window: Window, now_ms: int) -> bool:
    return window.from_ms <= now_ms and (window.to_ms is None or now_ms <= window.to_ms)


def _sure(one: PestOutlook, sure: Sure) -> Iterator[str]:
    total = sum(sure.hours.values())
    if not total:
        return
    parts = [f"{round(100 * hours / total)} % {origin}" for origin, hours in sure.hours.items() if hours]
    yield (
        f"    how sure: temperatures {', '.join(parts)}; windows {round(100 * one.pest.window_share)} % wide"
        " each way"
    )
    for kind, words in OUTSIDE.items():
        hours = sure.tested[kind]
        if hours:
            yield f"    {round(hours / 24)} days of these {words}"
    if one.pest.note:
        yield f"    {one.pest.note}"
    sources = list(dict.fromkeys(stage.pace.source for stage in one.pest.stages))
    yield f"    source: {sources[0]}"


OUTSIDE = {
    Range.BELOW: "were colder than anything tested: taken straight down to no growth; they may be quicker",
    Range.ABOVE: "were warmer than anything tested: taken as at the warmest tested",
    Range.UNSTATED: "rest on a line whose tested range its source does not state",
}


def _counts(one: PestOutlook, outlook: Outlook, zone: tzinfo) -> Iterator[str]:
    if one.catches:
        last = max(one.catches, key=lambda each: each.at_ms)
        yield f"    cards: {last.per_trap_day:.1f} a card and day on {day(last.at_ms, zone)}; {_trend(one)}"
        if one.usual is None:
            yield "    your own usual: needs 6 counts before the last; no published count for cards was found"
        else:
            side = "over" if last.per_trap_day > one.usual.high else "within"
            yield (
                f"    {side} your own usual: {one.usual.middle:.1f}, nine of ten up to {one.usual.high:.1f} a"
                f" card and day ({one.usual.counts} counts)"
            )
    if one.larvae is None:
        return
    for limit in one.pest.thresholds:
        side = "reaches" if one.larvae >= limit.count else "is under"
        span = (
            f"{limit.count:g}" if limit.count == limit.most_count else f"{limit.count:g}-{limit.most_count:g}"
        )
        yield f"    larvae: {one.larvae} {side} the published {span} {limit.what} [{limit.source}]"
    if not one.pest.thresholds:
        yield f"    larvae: {one.larvae}; no published count that asks for action was found"


def _trend(one: PestOutlook) -> str:
    trend = one.trend
    if trend is None:
        return "a trend needs three counts"
    if trend.doubling_days is not None:
        return f"doubles in {trend.doubling_days:.0f} days (last {trend.counts} counts)"
    if trend.halving_days is not None:
        return f"halves in {trend.halving_days:.0f} days (last {trend.counts} counts)"
    return f"no clear trend in {trend.counts} counts"


def _hours(ms: int) -> str:
    return f"{ms / 3_600_000:.0f} h"


# --- wet caps and moulds -------------------------------------------------------------------------------


def _wet(outlook: Outlook, zone: tzinfo) -> Iterator[str]:
    caps = outlook.caps
    if not caps.known_ms or caps.mean_margin_c is None or caps.least_margin_c is None:
        yield "  wet caps: no air is logged here"
        return
    yield (
        f"  wet caps since {day(outlook.caps_from_ms, zone)}: {caps.wet_h:.1f} h of {_hours(caps.known_ms)}"
        f" known, longest {caps.longest_h:.1f} h; air {caps.mean_margin_c:.1f} C over dew, least"
        f" {caps.least_margin_c:.1f} C"
    )
    long = caps.longer_than(WARN_H)
    if long:
        strong = len(caps.longer_than(CALL_H))
        yield (
            f"  blotch: wet for {WARN_H:g} h or more {len(long)} times, last {day(long[-1][0], zone)}"
            f"{f'; {strong} of them {CALL_H:g} h or more' if strong else ''}: bacteria on a wet cap double in"
            f" under an hour, two doublings part a healthy cap from a blotched one [{BLOTCH}; 4 h is ours]"
        )


def _warm(outlook: Outlook) -> Iterator[str]:
    if outlook.cobweb_h >= 1:
        yield (
            f"  cobweb: warmth as good as {outlook.cobweb_h:.0f} h at its best, 25 C, in that time; none"
            " grows at 15 C or below [temperature study of Cladobotryum dendroides, abstract]. Treat a patch"
            " with `gillhouse pests treat`"
        )
    if outlook.block_over:
        told = ", ".join(f"{hours} h over {limit:g} C" for limit, hours in outlook.block_over.items())
        yield (
            f"  green mould: inside blocks {told}; oyster that has seen 36 C is infected more"
            " [a study of T. asperellum, abstract]"
        )
    else:
        yield "  green mould: no sensor inside a block (zone: core); hours over 30 C there are not known"


# --- for programs, and the chart -----------------------------------------------------------------------


def as_json(outlook: Outlook) -> dict[str, Any]:
    """Times are wall milliseconds."""
    asked = outlook.asked
    return {
        "space": asked.space,
        "batch": asked.book.batch if asked.book else None,
        "now_ms": asked.now_ms,
        "end": to_plain(outlook.end),
        "temperature": "block" if outlook.block else "air",
        "hours_logged": outlook.hours_logged,
        "left_out": outlook.left_out,
        "pests": [_pest_json(one) for one in outlook.pests],
        "caps": {
            "from_ms": outlook.caps_from_ms,
            "known_h": round(outlook.caps.known_ms / 3_600_000, 2),
            "wet_h": round(outlook.caps.wet_h, 2),
            "longest_h": round(outlook.caps.longest_h, 2),
            "least_margin_c": outlook.caps.least_margin_c,
            "mean_margin_c": outlook.caps.mean_margin_c,
            "warned": [list(span) for span in outlook.caps.longer_than(WARN_H)],
        },
        "cobweb_best_h": round(outlook.cobweb_h, 1),
        "block_hours_over": {f"{limit:g}": hours for limit, hours in outlook.block_over.items()},
    }


def _pest_json(one: PestOutlook) -> dict[str, Any]:
    return {
        "pest": one.pest.id,
        "sourced": one.pest.is_sourced,
        "begin": to_plain(one.begin),
        "windows": [to_plain(window) for window in one.windows],
        "generations": to_plain(one.generations),
        "clear_by_ms": one.clear_by_ms,
        "hours": {} if one.sure is None else {str(key): hours for key, hours in one.sure.hours.items()},
        "tested": {} if one.sure is None else {str(key): hours for key, hours in one.sure.tested.items()},
        "per_card_day": [[each.at_ms, round(each.per_trap_day, 3)] for each in one.catches],
        "doubling_days": one.trend.doubling_days if one.trend else None,
        "usual": to_plain(one.usual),
        "larvae": one.larvae,
        "sources": list(dict.fromkeys(stage.pace.source for stage in one.pest.stages)),
    }


def chart(outlook: Outlook, zone: tzinfo) -> Windows:
    """The calendar of all windows."""
    asked, end = outlook.asked, outlook.end
    begins = [one.begin.at_ms for one in outlook.pests if one.begin]
    from_ms = min([*begins, asked.now_ms]) - 3 * DAY_MS
    to_ms = max(end.to_ms if end else asked.now_ms + 42 * DAY_MS, asked.now_ms + 14 * DAY_MS) + 7 * DAY_MS
    name = asked.book.batch if asked.book else asked.space
    said = " ".join(line.strip() for line in lines(outlook, zone, with_advice=False))
    return Windows(
        key="pests",
        title=f"{name}: what may be there when",
        description=said,
        from_ms=from_ms,
        to_ms=to_ms,
        ticks=_weeks(from_ms, to_ms, zone),
        blocks=[_block(one, zone) for one in outlook.pests],
        uprights=[Upright(asked.now_ms, "now")],
        ending=(end.from_ms, end.to_ms) if end else None,
    )


def _weeks(from_ms: int, to_ms: int, zone: tzinfo) -> list[Tick]:
    """Mondays by the farm's clock, summer time or not; fewer where they would stand too close."""
    local = datetime.fromtimestamp(from_ms / 1000, UTC).astimezone(zone)
    monday = local.replace(hour=0, minute=0, second=0, microsecond=0) + timedelta(
        days=(7 - local.weekday()) % 7
    )
    weeks = (to_ms - from_ms) // (7 * DAY_MS) + 1
    step = 1 if weeks <= 14 else 2 if weeks <= 28 else 4
    moments = [
        round((monday + timedelta(weeks=week)).astimezone(UTC).timestamp() * 1000)
        for week in range(0, weeks, step)
    ]
    return [Tick(at, day(at, zone).split(" ", 1)[1]) for at in moments if from_ms <= at <= to_ms]


def _block(one: PestOutlook, zone: tzinfo) -> Block:
    stages: dict[PestStage, list[Bar]] = {}
    for window in one.windows:
        if window.generation > SHOWN_GENERATIONS:
            continue
        bar = Bar(window.generation, window.from_ms, window.likely_ms, window.to_ms)
        stages.setdefault(window.stage, []).append(bar)
    order = sorted(stages, key=list(PestStage).index)
    rows = [
        Row(STAGES.get(stage, one.pest.young), stages[stage], strong=stage is PestStage.ADULT)
        for stage in order
    ]
    told = f"clear before {day(one.clear_by_ms, zone)}" if one.clear_by_ms is not None else ""
    empty = "nothing to start from" if one.pest.is_sourced else "not sourced: uses your log only"
    return Block(one.pest.name, rows, one.clear_by_ms, told, empty)
