"""The alarm system's figures of a period, from the store.

Here: rows of the log as `alarm_figures` wants them, and when nothing could be noticed. Not here: the figures.
"""

from collections.abc import Iterator
from dataclasses import replace
from datetime import tzinfo

from gillhouse.audit.alarm_figures import AlarmFigures, Logged, Row, alarm_figures, together_s
from gillhouse.core.alarm_states import Holding
from gillhouse.core.inputs import Link
from gillhouse.core.outputs import AlarmNotice, EventKind, Transition
from gillhouse.core.schedule import next_day_start_ms
from gillhouse.store.reader import Reader
from gillhouse.store.records import OutboxAt

BEFORE_MS = 14 * 24 * 3_600_000
"""So long before the period rows are read, for what stood when it began."""

KINDS: dict[Transition, Row] = {
    Transition.ACT: Row.ACT,
    Transition.RTN: Row.RTN,
    Transition.ACK: Row.ACK,
    Transition.SUPP: Row.SUPP,
    Transition.UNSUPP: Row.UNSUPP,
}
"""The other transitions are no rows, but for holds by a person, which tell apart by what they hold with."""


def figures_between(reader: Reader, from_ms: int, to_ms: int, now_ms: int, zone: tzinfo) -> AlarmFigures:
    """Every figure of a period (wall ms); what stood is told at each 00:00 local inside it."""
    to_ms = max(min(to_ms, now_ms), from_ms + 1_000)
    rows = [row for at in reader.alarms(from_ms - BEFORE_MS, now_ms + 1) for row in _alarm(at.ts, at.notice)]
    rows += [row for sent in reader.outbox(from_ms, to_ms) for row in _message(sent)]
    moments = []
    midnight_ms = next_day_start_ms(from_ms, zone)
    while midnight_ms <= to_ms:
        moments.append(midnight_ms // 1000)
        midnight_ms = next_day_start_ms(midnight_ms, zone)
    span_s = (from_ms // 1000, -(-to_ms // 1000))
    found = alarm_figures(rows, span_s, moments, now_s=now_ms / 1000)
    return replace(found, blind_s=blind_s(reader, from_ms, to_ms))


def _alarm(ts: int, notice: AlarmNotice) -> Iterator[Logged]:
    kind = KINDS.get(notice.transition)
    if notice.transition in (Transition.SHELVE, Transition.UNSHELVE):
        mended = notice.facts.get("hold") == Holding.OUT_OF_SERVICE
        begins = notice.transition is Transition.SHELVE
        kind = (Row.OOS if begins else Row.UNOOS) if mended else (Row.SHELVE if begins else Row.UNSHELVE)
    if kind is not None:
        told = notice.announce if kind is Row.ACT else None
        yield Logged(
            ts / 1000, notice.alarm, kind, notice.occurrence, notice.priority, notice.who, announced=told
        )


def _message(sent: OutboxAt) -> Iterator[Logged]:
    """A message is one attempt to reach somebody, however often the channel was asked for it."""
    alarm = sent.alarm or ""
    yield Logged(sent.ts / 1000, alarm, Row.SEND, sent.occurrence or 0, actor=sent.channel)
    if sent.sent is not None and sent.last_error is None:
        yield Logged(sent.sent / 1000, alarm, Row.SEND_OK, sent.occurrence or 0, actor=sent.channel)
    elif sent.last_error is not None:
        yield Logged(sent.next_try / 1000, alarm, Row.SEND_FAIL, sent.occurrence or 0, actor=sent.channel)


DEAF_WITHOUT = (Link.BROKER, Link.STORE)
"""Without these nothing can be noticed; a farm file that was refused leaves the one before in force."""


def blind_s(reader: Reader, from_ms: int, to_ms: int) -> dict[str, int]:
    """Seconds in which nothing could have been noticed: nothing ran, the broker or the store was gone."""
    spans: dict[str, list[tuple[int, int]]] = {"box": [], **{link.value: [] for link in DEAF_WITHOUT}}
    down: dict[str, int] = {}

    def add(why: str, begin_ms: int, end_ms: int) -> None:
        begin_ms, end_ms = max(begin_ms, from_ms), min(end_ms, to_ms)
        if end_ms > begin_ms:
            spans[why].append((begin_ms // 1000, end_ms // 1000))

    for at in reader.events(from_ms - BEFORE_MS, to_ms + BEFORE_MS):
        event = at.event
        if event.kind is EventKind.STARTED:
            away_s = event.facts.get("away_s")
            if isinstance(away_s, int | float):
                add("box", at.ts - round(away_s * 1000), at.ts)
            for link in list(down):
                add(link, down.pop(link), at.ts)
        elif event.kind is EventKind.LINK and event.subject in spans:
            if event.facts.get("up") is False:
                down.setdefault(event.subject, at.ts)
            elif event.subject in down:
                add(event.subject, down.pop(event.subject), at.ts)
    for link, begin_ms in down.items():
        add(link, begin_ms, to_ms)
    return {why: together_s(found) for why, found in spans.items()}
