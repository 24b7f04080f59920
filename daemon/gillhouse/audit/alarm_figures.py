"""How well the alarms serve people: how many, in floods or alone, seen how fast, got out or not.

Here: figures from rows of the log, by the definitions beside each. Not here: reading the
store (`alarm_log`), words (`alarm_words`). Only a start that nothing kept back counts as announced.
Bins are fixed, floor(UTC seconds / 600), not sliding; percentiles are nearest-rank.
Sources, seen through articles about them: 10 alarms in 10 minutes begin a flood and fewer than 5 end it,
chattering is three times a minute, standing for a day is stale (EEMUA 191 and ISA-18.2 practice).
"""

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from math import ceil

HOUR_S = 3_600
DAY_S = 86_400
BIN_S = 600
BINS_A_DAY = DAY_S // BIN_S
FLOOD_FROM = 10
"""Announced alarms in a bin that begin a flood; sources disagree on "10 or more" and "more than 10"."""
FLOOD_UNDER = 5
CHATTER_TIMES, CHATTER_S = 3, 60
FLEETING_S = 10
STALE_S = DAY_S
TOP = 10
KEPT_BACK_TIMES, KEPT_BACK_S = 3, 7 * DAY_S


class Row(StrEnum):
    """What a row of the log tells."""

    ACT = "ACT"
    RTN = "RTN"
    ACK = "ACK"
    SHELVE = "SHELVE"
    UNSHELVE = "UNSHELVE"
    SUPP = "SUPP"
    UNSUPP = "UNSUPP"
    OOS = "OOS"
    UNOOS = "UNOOS"
    SEND = "SEND"
    SEND_OK = "SEND_OK"
    SEND_FAIL = "SEND_FAIL"


HELD = {Row.SHELVE: Row.UNSHELVE, Row.SUPP: Row.UNSUPP, Row.OOS: Row.UNOOS}
"""What keeps an alarm back, and what ends it."""


@dataclass(frozen=True, slots=True)
class Logged:
    """One row. Times are seconds since 1970 UTC."""

    at_s: float
    alarm: str
    kind: Row
    occurrence: int = 0
    priority: int = 3
    actor: str = ""
    """Of a SEND: the channel."""
    announced: bool | None = None
    """Of an ACT, where the log says so itself; None: by the holds in the rows before it."""


@dataclass(frozen=True, slots=True)
class Flood:
    from_s: int
    bins: int
    alarms: int
    peak: int


@dataclass(frozen=True, slots=True)
class Acked:
    """Seconds from the first start nobody had seen to the first acknowledgement."""

    count: int
    median_s: float | None
    p90_s: float | None
    most_s: float | None
    never: int
    """Starts nobody has acknowledged by the end."""


@dataclass(frozen=True, slots=True)
class Delivered:
    """Messages of one channel."""

    tried: int
    got_out: int
    median_s: float | None
    """From the alarm's start to the first that got out."""
    most_s: float | None


@dataclass(frozen=True, slots=True)
class AlarmFigures:
    """One period."""

    from_s: int
    to_s: int
    announced: int
    per_day: float
    per_hour: float
    per_10_min: float
    bins: Mapping[int, int]
    """Bins with an alarm: number since the period's begin -> how many."""
    bins_over_10_pct: float
    peak_bin: int
    peak_hour: int
    hours_over_30: int
    floods: tuple[Flood, ...]
    flood_pct: float
    by_priority_pct: Mapping[int, float]
    top: tuple[tuple[str, int], ...]
    """The ten most frequent."""
    top_pct: float
    chattering: tuple[str, ...]
    fleeting: tuple[str, ...]
    stale: tuple[str, ...]
    standing: Mapping[int, tuple[str, ...]]
    """By the moments asked for, seconds."""
    acked: Acked
    kept_back_h: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    """Hours by alarm and by what kept it back."""
    often_kept_back: tuple[str, ...] = ()
    """Kept quiet by people more than three times in seven days."""
    channels: Mapping[str, Delivered] = field(default_factory=dict)
    blind_s: Mapping[str, int] = field(default_factory=dict)
    """Seconds in which nothing could have been noticed, by why."""


@dataclass(slots=True)
class _Occurrence:
    alarm: str
    begun_s: float
    announced: bool
    ended_s: float | None = None
    acked_s: float | None = None


def alarm_figures(
    rows: Iterable[Logged],
    span_s: tuple[int, int],
    moments_s: Sequence[int] = (),
    flood_from: int = FLOOD_FROM,
    now_s: float | None = None,
) -> AlarmFigures:
    """Every figure of a period.

    Args:
        rows: in order of time; from before the period for what stood when it began, and up to now, for what
            ends after it.
        span_s: begin and end of the period.
        moments_s: when what stands is counted (00:00 local of each day).
        flood_from: a bin with so many begins a flood.
        now_s: up to when the rows go; what has not ended by then is still on.
    """
    log = sorted(rows, key=lambda row: row.at_s)
    begin_s, end_s = span_s
    starts = _announced(log)
    inside = [row for row in starts if begin_s <= row.at_s < end_s]
    occurrences = _occurrences(log, {id(row) for row in starts})
    last_s = max(end_s, now_s or 0, log[-1].at_s if log else end_s)
    bins = Counter(int(row.at_s) // BIN_S - begin_s // BIN_S for row in inside)
    hours = Counter(int(row.at_s) // HOUR_S for row in inside)
    count, days = len(inside), (end_s - begin_s) / DAY_S
    all_bins = ceil((end_s - begin_s) / BIN_S)
    floods = _floods(bins, begin_s, all_bins, flood_from)
    top = Counter(row.alarm for row in inside).most_common(TOP)
    chatter = _chattering(inside)
    own = [one for one in occurrences if begin_s <= one.begun_s < end_s]
    return AlarmFigures(
        from_s=begin_s,
        to_s=end_s,
        announced=count,
        per_day=count / days,
        per_hour=count / days / 24,
        per_10_min=count / days / BINS_A_DAY,
        bins=dict(sorted(bins.items())),
        bins_over_10_pct=_pct(sum(n > FLOOD_FROM for n in bins.values()), all_bins),
        peak_bin=max(bins.values(), default=0),
        peak_hour=max(hours.values(), default=0),
        hours_over_30=sum(n > 30 for n in hours.values()),
        floods=floods,
        flood_pct=_pct(sum(one.bins for one in floods), all_bins),
        by_priority_pct={n: _pct(sum(row.priority == n for row in inside), count) for n in (1, 2, 3)},
        top=tuple(top),
        top_pct=_pct(sum(n for _, n in top), count),
        chattering=tuple(sorted(chatter)),
        fleeting=tuple(sorted({one.alarm for one in own if _is_fleeting(one, chatter)})),
        stale=tuple(sorted({one.alarm for one in occurrences if _is_stale(one, span_s, last_s)})),
        standing={at: _standing(occurrences, at) for at in moments_s},
        acked=_acked(log, starts, span_s),
        kept_back_h=_kept_back(log, span_s),
        often_kept_back=_often_kept_back(log, span_s),
        channels=_channels(log, span_s),
    )


def _pct(part: float, whole: float) -> float:
    return 100.0 * part / whole if whole else 0.0


def _announced(log: Sequence[Logged]) -> list[Logged]:
    """Starts that nothing kept back."""
    holds: dict[str, set[Row]] = defaultdict(set)
    ends = {end: begin for begin, end in HELD.items()}
    found = []
    for row in log:
        if row.kind in HELD:
            holds[row.alarm].add(row.kind)
        elif row.kind in ends:
            holds[row.alarm].discard(ends[row.kind])
        elif row.kind is Row.ACT and (not holds[row.alarm] if row.announced is None else row.announced):
            found.append(row)
    return found


def _occurrences(log: Sequence[Logged], announced: set[int]) -> list[_Occurrence]:
    """Every start with its end and its acknowledgement, in order."""
    found: list[_Occurrence] = []
    last: dict[str, _Occurrence] = {}
    for row in log:
        known = last.get(row.alarm)
        if row.kind is Row.ACT:
            last[row.alarm] = _Occurrence(row.alarm, row.at_s, id(row) in announced)
            found.append(last[row.alarm])
        elif known is not None and row.kind is Row.RTN and known.ended_s is None:
            known.ended_s = row.at_s
        elif known is not None and row.kind is Row.ACK and known.acked_s is None:
            known.acked_s = row.at_s
    return found


def _floods(bins: Mapping[int, int], begin_s: int, all_bins: int, flood_from: int) -> tuple[Flood, ...]:
    """Begins at a bin with enough, ends before the first later one with fewer than five."""
    found: list[Flood] = []
    number = 0
    while number < all_bins:
        if bins.get(number, 0) < flood_from:
            number += 1
            continue
        first = number
        while number < all_bins and (number == first or bins.get(number, 0) >= FLOOD_UNDER):
            number += 1
        counts = [bins.get(one, 0) for one in range(first, number)]
        at_s = (begin_s // BIN_S + first) * BIN_S
        found.append(Flood(at_s, number - first, sum(counts), max(counts)))
    return tuple(found)


def _chattering(starts: Sequence[Logged]) -> dict[str, set[int]]:
    """Alarms with three starts inside any (t - 60 s, t], and the UTC hours in which that was."""
    times: dict[str, list[float]] = defaultdict(list)
    found: dict[str, set[int]] = {}
    for row in starts:
        own = times[row.alarm]
        own.append(row.at_s)
        if sum(row.at_s - CHATTER_S < at <= row.at_s for at in own) >= CHATTER_TIMES:
            found.setdefault(row.alarm, set()).add(int(row.at_s) // HOUR_S)
    return found


def _is_fleeting(one: _Occurrence, chatter: Mapping[str, set[int]]) -> bool:
    """Gone within seconds with no hand on it, and not one of a chatter of that hour."""
    if one.ended_s is None or one.ended_s - one.begun_s > FLEETING_S:
        return False
    seen = one.acked_s is not None and one.acked_s < one.ended_s
    return not seen and int(one.begun_s) // HOUR_S not in chatter.get(one.alarm, set())


def _is_stale(one: _Occurrence, span_s: tuple[int, int], last_s: float) -> bool:
    """On for more than a day, whether or not it has ended, and on at some time of the period."""
    ended_s = last_s if one.ended_s is None else one.ended_s
    return ended_s - one.begun_s > STALE_S and one.begun_s < span_s[1] and ended_s > span_s[0]


def _standing(occurrences: Sequence[_Occurrence], at_s: int) -> tuple[str, ...]:
    on = (one for one in occurrences if one.begun_s <= at_s and (one.ended_s is None or one.ended_s > at_s))
    return tuple(sorted({one.alarm for one in on}))


def _acked(log: Sequence[Logged], starts: Sequence[Logged], span_s: tuple[int, int]) -> Acked:
    """First acknowledgement minus the first start nobody had seen, along each chain of occurrences."""
    counts = {id(row) for row in starts}
    waiting: dict[str, float] = {}
    took: list[float] = []
    for row in log:
        if row.kind is Row.ACT and id(row) in counts:
            waiting.setdefault(row.alarm, row.at_s)
        elif row.kind is Row.ACK and row.alarm in waiting:
            begun_s = waiting.pop(row.alarm)
            if span_s[0] <= begun_s < span_s[1]:
                took.append(row.at_s - begun_s)
    never = sum(span_s[0] <= at < span_s[1] for at in waiting.values())
    return Acked(len(took), ranked(took, 50), ranked(took, 90), max(took, default=None), never)


def ranked(values: Sequence[float], percent: int) -> float | None:
    """The nearest-rank percentile: the smallest value that at least so many percent do not exceed."""
    if not values:
        return None
    return sorted(values)[max(1, ceil(percent * len(values) / 100)) - 1]


def _kept_back(log: Sequence[Logged], span_s: tuple[int, int]) -> dict[str, dict[str, float]]:
    """Hours inside the period, by alarm and by what kept it back."""
    ends = {end: begin for begin, end in HELD.items()}
    since: dict[tuple[str, Row], float] = {}
    found: dict[str, dict[str, float]] = {}

    def add(alarm: str, kind: Row, until_s: float) -> None:
        begun_s = since.pop((alarm, kind))
        hours = (min(until_s, span_s[1]) - max(begun_s, span_s[0])) / HOUR_S
        if hours > 0:
            own = found.setdefault(alarm, {})
            own[kind.value] = own.get(kind.value, 0.0) + hours

    for row in log:
        if row.kind in HELD:
            since.setdefault((row.alarm, row.kind), row.at_s)
        elif row.kind in ends and (row.alarm, ends[row.kind]) in since:
            add(row.alarm, ends[row.kind], row.at_s)
    for alarm, kind in list(since):
        add(alarm, kind, span_s[1])
    return found


def _often_kept_back(log: Sequence[Logged], span_s: tuple[int, int]) -> tuple[str, ...]:
    times: dict[str, list[float]] = defaultdict(list)
    for row in log:
        if row.kind is Row.SHELVE and span_s[0] <= row.at_s < span_s[1]:
            times[row.alarm].append(row.at_s)
    often = {
        alarm
        for alarm, own in times.items()
        for first, last in zip(own, own[KEPT_BACK_TIMES:], strict=False)
        if last - first <= KEPT_BACK_S
    }
    return tuple(sorted(often))


def _channels(log: Sequence[Logged], span_s: tuple[int, int]) -> dict[str, Delivered]:
    """Per channel: how many got out, and how long after the alarm's start the first did."""
    tried: Counter[str] = Counter()
    got_out: Counter[str] = Counter()
    begun: dict[str, float] = {}
    waits: dict[str, list[float]] = defaultdict(list)
    told: set[tuple[str, str]] = set()
    for row in log:
        if row.kind is Row.ACT:
            begun[row.alarm] = row.at_s
            told = {one for one in told if one[0] != row.alarm}
        elif span_s[0] <= row.at_s < span_s[1]:
            tried[row.actor] += row.kind is Row.SEND
            got_out[row.actor] += row.kind is Row.SEND_OK
            if row.kind is Row.SEND_OK and row.alarm in begun and (row.alarm, row.actor) not in told:
                told.add((row.alarm, row.actor))
                waits[row.actor].append(row.at_s - begun[row.alarm])
    return {
        name: Delivered(tried[name], got_out[name], ranked(waits[name], 50), max(waits[name], default=None))
        for name in sorted(tried)
        if tried[name] or got_out[name]
    }


def together_s(spans: Iterable[tuple[int, int]]) -> int:
    """Seconds covered by spans that may overlap."""
    joined: list[tuple[int, int]] = []
    for begin, end in sorted(spans):
        if joined and begin <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(end, joined[-1][1]))
        elif end > begin:
            joined.append((begin, end))
    return sum(end - begin for begin, end in joined)
