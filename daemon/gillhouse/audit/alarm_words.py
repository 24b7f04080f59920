"""The alarm system's figures as plain values and as a page of text, each beside what is usually asked of it.

Here: wording and targets. Not here: the figures themselves (`alarm_figures`).
"""

from collections.abc import Iterator
from datetime import UTC, datetime, tzinfo
from typing import Any

from gillhouse.audit.alarm_figures import AlarmFigures
from gillhouse.core.digest import TARGETS
from gillhouse.core.snapshot import to_plain

DAY_S = 86_400
STALE_UNDER = 5
LITTLE_PCT = 1.0
TOP_PCT = 5.0
ASSESS_DAYS = 30
"""Fewer days say little. Source: alarm practice asks for at least 30 (an article on ISA-18.2)."""


def as_plain(found: AlarmFigures) -> dict[str, Any]:
    """JSON values; numbers rounded to four places, what is by alarm, bin or moment as lists of objects."""
    plain: dict[str, Any] = to_plain(found)
    plain["bins"] = [{"bin": number, "alarms": count} for number, count in found.bins.items()]
    plain["by_priority_pct"] = list(found.by_priority_pct.values())
    plain["top"] = [{"alarm": alarm, "times": times} for alarm, times in found.top]
    plain["standing"] = [{"at_s": at, "alarms": list(alarms)} for at, alarms in found.standing.items()]
    plain["kept_back_h"] = [
        {"alarm": alarm, "by": by, "hours": hours}
        for alarm, own in found.kept_back_h.items()
        for by, hours in own.items()
    ]
    plain["channels"] = [{"channel": name, **to_plain(one)} for name, one in found.channels.items()]
    rounded: dict[str, Any] = _rounded(plain)
    return rounded


def _rounded(value: Any) -> Any:
    if isinstance(value, float):
        return round(value, 4)
    if isinstance(value, dict):
        return {key: _rounded(inner) for key, inner in value.items()}
    return [_rounded(inner) for inner in value] if isinstance(value, list) else value


def as_text(found: AlarmFigures, zone: tzinfo) -> str:
    """For a person: each figure, and what is wished for beside it."""
    return "\n".join([*_head(found, zone), *_load(found), *_quality(found), *_people(found)]) + "\n"


def _head(found: AlarmFigures, zone: tzinfo) -> Iterator[str]:
    begin, end = (datetime.fromtimestamp(at, UTC).astimezone(zone) for at in (found.from_s, found.to_s))
    days = (found.to_s - found.from_s) / DAY_S
    yield f"Alarms from {begin:%Y-%m-%d %H:%M} to {end:%Y-%m-%d %H:%M} ({days:.1f} days)"
    if days < ASSESS_DAYS:
        yield f"(Under {ASSESS_DAYS} days: look at single alarms rather than at shares.)"


def _load(found: AlarmFigures) -> Iterator[str]:
    most = TARGETS["alarms_a_day"]
    yield f"  told            {found.announced}, {found.per_day:.2f} a day (wished: {most} at most)"
    yield f"  most at once    {found.peak_bin} in 10 min, {found.peak_hour} in an hour (wished: 10 and 30)"
    share = ", ".join(f"{n}: {pct:.0f} %" for n, pct in found.by_priority_pct.items())
    yield f"  by priority     {share} (usual: 1 about 5, 2 about 15, 3 about 80)"
    minutes = sum(flood.bins for flood in found.floods) * 10
    yield (
        f"  floods          {len(found.floods)}, {minutes} min, {found.flood_pct:.2f} % of the time"
        f" (wished: under {LITTLE_PCT:g} %)"
    )


def _quality(found: AlarmFigures) -> Iterator[str]:
    yield f"  come and go     {_names(found.chattering)} (three times in a minute; wished: none)"
    yield f"  gone at once    {_names(found.fleeting)} (within ten seconds, by itself; wished: none)"
    yield f"  on over a day   {_names(found.stale)} (wished: fewer than {STALE_UNDER})"
    top = ", ".join(f"{alarm} {times}" for alarm, times in found.top[:3])
    yield f"  most often      {top or 'none'}; the first ten {found.top_pct:.0f} % (wished: {TOP_PCT:g} %)"
    yield f"  hushed often    {_names(found.often_kept_back)} (over three times in a week)"


def _people(found: AlarmFigures) -> Iterator[str]:
    acked = found.acked
    if acked.median_s is None:
        yield f"  seen            none acknowledged, {acked.never} waiting"
    else:
        yield (
            f"  seen            {acked.count}, half within {_minutes(acked.median_s)}, nine in ten within"
            f" {_minutes(acked.p90_s)}, the slowest {_minutes(acked.most_s)}; {acked.never} never"
        )
    for name, one in found.channels.items():
        yield (
            f"  channel {name}: {one.got_out} of {one.tried} got out, half within {_minutes(one.median_s)}"
            f" of the alarm, the slowest {_minutes(one.most_s)}"
        )
    blind = ", ".join(f"{why} {_minutes(seconds)}" for why, seconds in found.blind_s.items() if seconds)
    yield f"  not watched     {blind or 'never'}"


def _names(alarms: tuple[str, ...]) -> str:
    return ", ".join(alarms) or "none"


def _minutes(seconds: float | None) -> str:
    if seconds is None:
        return "-"
    return f"{seconds:.0f} s" if seconds < 100 else f"{seconds / 60:.0f} min"
